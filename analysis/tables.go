package analysis

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// grammar is what a kind of file in TOML may hold. The order of the tables is that of the suggestions in messages.
type grammar struct {
	file   string      // what a person calls it
	short  string      // its size in words
	hint   string      // after the list of tables
	tables []tableKeys // the first is the top of the file, with no name
}

// tableKeys is one table and its keys. each is set for a table in double brackets: what every block of it is for, and the most blocks there may be.
type tableKeys struct {
	name string
	keys []string
	each string
	most int
}

func (t *tableKeys) brackets() string {
	if t.each != "" {
		return "[[" + t.name + "]]"
	}
	return "[" + t.name + "]"
}

// table returns the table of that name, nil where there is none; the top of the file has none.
func (g *grammar) table(name string) *tableKeys {
	for i := range g.tables {
		if name != "" && g.tables[i].name == name {
			return &g.tables[i]
		}
	}
	return nil
}

func (g *grammar) keysOf(table string) []string {
	if t := g.table(table); t != nil {
		return t.keys
	}
	return g.tables[0].keys
}

// place is where a key or table header stands in the file, with the text of its value and the offsets of a list's elements.
type place struct {
	line, column int
	raw          string
	elements     []uint32
}

type namedFile struct {
	path, written, key string
	at                 place
}

// surveyReader holds one survey, or another file of the same kind, while it is read. Paths name its keys: "title", "panel.prime", "position[3].mic_m" with
// positions counted from 1; a table's own path is "panel" or "position[3]".
type surveyReader struct {
	file      string
	grammar   *grammar
	doc       []byte
	lineStart []int
	places    map[string]place
	values    map[string]any
	count     map[string]int // of the listed tables
	files     []namedFile
	err       *SurveyError // the first fault; the readers do nothing once it is set
}

// fail records the first fault, at the place of the key or table at path.
func (r *surveyReader) fail(path, found, expected, do string) {
	r.failAt(r.places[path], path, found, expected, do)
}

func (r *surveyReader) failAt(at place, key, found, expected, do string) {
	if r.err != nil {
		return
	}
	// What is not there has no place of its own: the table's header, or the top of the file.
	if at.line == 0 {
		at = r.places[parentPath(key)]
	}
	r.err = &SurveyError{File: r.file, Line: max(at.line, 1), Column: max(at.column, 1),
		Key: printable(key), Found: printable(found), Expected: expected, Do: printable(do)}
}

// printable keeps what the file holds from breaking the message's one line, or the terminal.
func printable(text string) string {
	return shorten(strings.Map(func(c rune) rune {
		if unicode.IsPrint(c) {
			return c
		}
		return '?'
	}, text), 300)
}

func parentPath(path string) string {
	return path[:max(strings.LastIndexByte(path, '.'), 0)]
}

// readTables fills places and values; it finds syntax errors, unknown keys, and keys given twice.
func readTables(data []byte, path string, g *grammar) *surveyReader {
	r := &surveyReader{file: path, grammar: g, places: map[string]place{}, values: map[string]any{}, count: map[string]int{}}
	r.parse(data)
	return r
}

func (r *surveyReader) parse(data []byte) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(data) > maxSurveyBytes {
		r.failAt(place{}, "", fmt.Sprintf("more than %d MiB", maxSurveyBytes>>20), r.grammar.short, "give the "+r.grammar.file+", not a recording")
		return
	}
	r.doc = data
	r.lineStart = []int{0}
	for i, b := range data {
		if b == '\n' {
			r.lineStart = append(r.lineStart, i+1)
		}
	}
	if i := notText(data); i >= 0 {
		r.failAt(r.placeAt(i), "", fmt.Sprintf("the byte 0x%02X", data[i]), "UTF-8 text", "save the "+r.grammar.file+" as plain text in UTF-8")
		return
	}
	// Unknown keys are refused before the file is decoded: decoding takes quadratic time in the number of tables.
	r.index()
	if r.err != nil {
		return
	}
	var root map[string]any
	if err := toml.Unmarshal(data, &root); err != nil {
		r.syntaxError(err)
		return
	}
	for key, value := range root {
		switch value := value.(type) {
		case map[string]any:
			r.addValues(key+".", value)
		case []any:
			for i, element := range value {
				if table, ok := element.(map[string]any); ok {
					r.addValues(fmt.Sprintf("%s[%d].", key, i+1), table)
				}
			}
			r.values[key] = value
		default:
			r.values[key] = value
		}
	}
}

func (r *surveyReader) addValues(prefix string, table map[string]any) {
	for key, value := range table {
		r.values[prefix+key] = value
	}
}

// notText returns the offset of the first byte that no text in UTF-8 has, or −1.
func notText(data []byte) int {
	for i := 0; i < len(data); {
		c, size := utf8.DecodeRune(data[i:])
		if c == 0 || c == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

func (r *surveyReader) placeAt(offset int) place {
	line := sort.SearchInts(r.lineStart, offset+1)
	return place{line: line, column: utf8.RuneCount(r.doc[r.lineStart[line-1]:offset]) + 1}
}

func (r *surveyReader) syntaxError(err error) {
	var at place
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		line, column := decode.Position()
		offset := min(r.lineStart[min(line, len(r.lineStart))-1]+column-1, len(r.doc))
		at = r.placeAt(offset)
	}
	message := strings.TrimPrefix(err.Error(), "toml: ")
	found, expected := "text that can't be read as TOML ("+message+")", "key = value"
	do := "look at the quotes, brackets and equals signs here and on the line before"
	switch {
	case strings.Contains(message, "already"):
		found, expected, do = message, "each key and table once", "keep one of the two"
	case strings.Contains(message, "got U+002C"):
		do = "write decimals with a point, 0.04 rather than 0,04"
	case strings.Contains(message, "escape"):
		do = "write / between folders, also on Windows"
	case strings.Contains(message, "U+000A at start of value"), strings.Contains(message, "U+000D at start of value"), strings.Contains(message, "expected value"):
		do = "write the value after the equals sign"
	case strings.Contains(message, "start of value"):
		do = "put text between straight double quotes"
	}
	r.failAt(at, "", found, expected, do)
}

// index notes where each key stands and refuses the unknown ones.
func (r *surveyReader) index() {
	var p unstable.Parser
	p.Reset(r.doc)
	table, prefix := "", ""
	for r.err == nil && p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table, prefix = r.indexHeader(e)
		case unstable.KeyValue:
			r.indexKey(table, prefix, keyNodes(e), e)
		}
	}
	if r.err == nil && p.Error() != nil {
		// The decoder meets the same error and knows where it stands.
		var root map[string]any
		if err := toml.Unmarshal(r.doc, &root); err != nil {
			r.syntaxError(err)
		} else {
			r.syntaxError(p.Error())
		}
	}
}

func keyNodes(e *unstable.Node) []*unstable.Node {
	var nodes []*unstable.Node
	for it := e.Key(); it.Next(); {
		nodes = append(nodes, it.Node())
	}
	return nodes
}

func keyText(nodes []*unstable.Node) string {
	parts := make([]string, len(nodes))
	for i, n := range nodes {
		parts[i] = string(n.Data)
	}
	return strings.Join(parts, ".")
}

// indexHeader notes a [table] or [[table]] and returns its name and the prefix of its keys' paths.
func (r *surveyReader) indexHeader(e *unstable.Node) (table, prefix string) {
	nodes := keyNodes(e)
	name, at := keyText(nodes), r.placeAt(int(nodes[0].Raw.Offset))
	isArray, t := e.Kind == unstable.ArrayTable, r.grammar.table(name)
	switch {
	case len(nodes) > 1 || t == nil:
		r.unknownTable(at, name)
	case isArray && t.each == "":
		r.failAt(at, name, "[["+name+"]]", "["+name+"]", "write single brackets, since there is only one")
	case !isArray && t.each != "":
		r.failAt(at, name, "["+name+"]", "[["+name+"]]", "write double brackets, one such block for each "+t.each)
	case isArray:
		return name, r.addListed(t, at) + "."
	default:
		r.note(name, at)
	}
	return name, name + "."
}

// note keeps the first place of a key or table; decoding tells of a second one.
func (r *surveyReader) note(path string, at place) {
	if _, twice := r.places[path]; !twice {
		r.places[path] = at
	}
}

// addListed notes one more block of a listed table.
func (r *surveyReader) addListed(t *tableKeys, at place) (path string) {
	r.count[t.name]++
	path = fmt.Sprintf("%s[%d]", t.name, r.count[t.name])
	r.places[path] = at
	if r.count[t.name] > t.most {
		r.fail(path, fmt.Sprintf("more than %d %ss", t.most, t.name), "fewer", "split the "+r.grammar.file)
	}
	return path
}

// indexKey notes one key of a table. At the top of the file it may name a table: panel.prime = 13, or panel = {prime = 13}.
func (r *surveyReader) indexKey(table, prefix string, nodes []*unstable.Node, e *unstable.Node) {
	name, value := string(nodes[0].Data), e.Value()
	at := r.placeAt(int(nodes[0].Raw.Offset))
	at.raw = r.valueText(e)
	if t := r.grammar.table(name); table == "" && t != nil {
		r.indexTableKey(t, at, nodes, e)
		return
	}
	if len(nodes) > 1 || !slices.Contains(r.grammar.keysOf(table), name) {
		r.unknownKey(at, table, prefix+keyText(nodes), keyText(nodes))
		return
	}
	if value.Kind == unstable.Array {
		for it := value.Children(); it.Next(); {
			at.elements = append(at.elements, it.Node().Raw.Offset)
		}
	}
	r.note(prefix+name, at)
}

func (r *surveyReader) indexTableKey(t *tableKeys, at place, nodes []*unstable.Node, e *unstable.Node) {
	name, value := t.name, e.Value()
	switch {
	case t.each != "" && len(nodes) == 1 && value.Kind == unstable.Array:
		for it := value.Children(); it.Next() && r.err == nil; {
			if it.Node().Kind != unstable.InlineTable {
				r.failAt(at, name, at.raw, "[["+name+"]] blocks", "write one [["+name+"]] for each "+t.each)
				return
			}
			r.indexInline(name, r.addListed(t, at)+".", it.Node())
		}
	case t.each != "":
		r.failAt(at, name, at.raw, "[["+name+"]] blocks", "write one [["+name+"]] for each "+t.each)
	case len(nodes) > 1:
		r.note(name, at)
		r.indexKey(name, name+".", nodes[1:], e)
	case value.Kind == unstable.InlineTable:
		r.note(name, at)
		r.indexInline(name, name+".", value)
	default:
		r.failAt(at, name, at.raw, "a table", "write ["+name+"] on a line of its own and its keys below")
	}
}

func (r *surveyReader) indexInline(table, prefix string, value *unstable.Node) {
	for it := value.Children(); it.Next() && r.err == nil; {
		if e := it.Node(); e.Kind == unstable.KeyValue {
			r.indexKey(table, prefix, keyNodes(e), e)
		}
	}
}

// valueText is what stands after the equals sign, cut to one line of a message.
func (r *surveyReader) valueText(e *unstable.Node) string {
	text := string(r.doc[e.Raw.Offset:min(e.Raw.Offset+min(e.Raw.Length, 400), uint32(len(r.doc)))])
	nodes := keyNodes(e)
	last := nodes[len(nodes)-1].Raw
	text = text[min(int(last.Offset+last.Length-e.Raw.Offset), len(text)):]
	text = strings.Join(strings.Fields(strings.TrimLeft(text, " \t=")), " ")
	return shorten(text, 60)
}

func shorten(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + " …"
	}
	return text
}

func (r *surveyReader) unknownTable(at place, name string) {
	var all []string
	for _, t := range r.grammar.tables[1:] {
		all = append(all, t.brackets())
	}
	do := "write one of " + strings.Join(all, ", ") + r.grammar.hint
	for _, t := range r.grammar.tables[1:] {
		if looksLike(name, t.name) {
			do = "did you mean [" + t.name + "]?"
		}
	}
	r.failAt(at, name, "an unknown table", "a table of the "+r.grammar.file, do)
}

// unknownKey suggests the nearest known key, in its own table first.
func (r *surveyReader) unknownKey(at place, table, path, name string) {
	where, keys := "the top of the file", r.grammar.keysOf(table)
	if t := r.grammar.table(table); t != nil {
		where = t.brackets()
	}
	do := "it may be " + strings.Join(keys, ", ")
	if near := nearest(name, keys); near != "" {
		do = "did you mean " + near + "?"
	}
	for _, t := range r.grammar.tables {
		if t.name == table || !slices.Contains(t.keys, name) {
			continue
		}
		switch {
		case t.name == "":
			do = "it belongs at the top of the file, before the first [table]"
		case t.each != "":
			do = "it belongs in a " + t.brackets()
		default:
			do = "it belongs in " + t.brackets()
		}
		break
	}
	r.failAt(at, path, "an unknown key", "a key of "+where, do)
}

// nearest returns the candidate that name most likely means, or "".
func nearest(name string, candidates []string) string {
	best, bestDistance := "", math.MaxInt
	for _, c := range candidates {
		if !looksLike(name, c) {
			continue
		}
		if d := editDistance(strings.ToLower(name), strings.ToLower(c)); d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// looksLike tells a slip of the keyboard, or a key without its unit, from another word.
func looksLike(name, known string) bool {
	name, known = strings.ToLower(name), strings.ToLower(known)
	if len(name) > 2*len(known)+8 {
		return false
	}
	return editDistance(name, known) <= max(1, len(known)/3) ||
		len(name) > 2 && (strings.HasPrefix(known, name) || strings.HasPrefix(name, known))
}

// editDistance is Levenshtein's: the fewest bytes to insert, delete or replace.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := diagonal
			if a[i] != b[j] {
				replaced++
			}
			diagonal = row[j+1]
			row[j+1] = min(replaced, diagonal+1, row[j]+1)
		}
	}
	return row[len(b)]
}

// limit is the range of a number: both ends belong to it, unless above excludes the low one. A value outside that falls into
// the usual range in another unit was most likely written in that unit.
type limit struct {
	low, high           float64
	above               bool
	unit                string
	usualLow, usualHigh float64
}

func (l limit) holds(v float64) bool { // NaN is outside
	return v >= l.low && v <= l.high && !(l.above && v == l.low)
}

func (l limit) String() string {
	if l.above {
		return fmt.Sprintf("more than %g and at most %g %s", l.low, l.high, l.unit)
	}
	return fmt.Sprintf("%g to %g %s", l.low, l.high, l.unit)
}

// otherUnits are the units in which a number is written by mistake.
var otherUnits = map[string][]struct {
	name   string
	toUnit func(float64) float64
}{
	"metres": {
		{"centimetres", func(v float64) float64 { return v / 100 }},
		{"millimetres", func(v float64) float64 { return v / 1000 }},
	},
	"seconds": {{"milliseconds", func(v float64) float64 { return v / 1000 }}},
	"hertz":   {{"kilohertz", func(v float64) float64 { return v * 1000 }}},
	"degrees Celsius": {
		{"degrees Fahrenheit", func(v float64) float64 { return (v - 32) / 1.8 }},
		{"kelvin", func(v float64) float64 { return v - 273.15 }},
	},
}

// cure says what is probably wrong with a value outside the limit.
func (l limit) cure(v float64) string {
	for _, u := range otherUnits[l.unit] {
		if c := u.toUnit(v); math.Abs(c) >= l.usualLow && math.Abs(c) <= l.usualHigh && l.holds(c) {
			return fmt.Sprintf("is this in %s? then write %.4g", u.name, c)
		}
	}
	if v < 0 && l.holds(-v) {
		return "write it without the minus sign"
	}
	return "check the value and its unit"
}

func (r *surveyReader) has(path string) bool {
	_, ok := r.values[path]
	return ok
}

func (r *surveyReader) raw(path string) string { return r.places[path].raw }

// missing reports a key that has to be there.
func (r *surveyReader) missing(path, expected string) {
	table, key := parentPath(path), path[strings.LastIndexByte(path, '.')+1:]
	found, to := "nothing", "["+table+"]"
	if name, _, ok := strings.Cut(table, "["); ok {
		to = "this [[" + name + "]]"
	} else if _, ok := r.places[table]; !ok {
		found = "no [" + table + "]"
	}
	r.fail(path, found, expected, "add "+key+" to "+to)
}

// number returns the number at path, Unknown where there is none.
func (r *surveyReader) number(path string, l limit) Num {
	value, ok := r.values[path]
	if !ok {
		return Unknown()
	}
	v, ok := asNumber(value)
	switch {
	case !ok:
		r.fail(path, r.raw(path), l.String(), numberCure(value))
	case !l.holds(v):
		r.fail(path, r.raw(path), l.String(), l.cure(v))
	default:
		return Num(v)
	}
	return Unknown()
}

func (r *surveyReader) required(path string, l limit) float64 {
	if !r.has(path) {
		r.missing(path, l.String())
	}
	return float64(r.number(path, l))
}

func asNumber(value any) (float64, bool) {
	switch value := value.(type) {
	case float64:
		return value, true
	case int64:
		return float64(value), true
	}
	return 0, false
}

func numberCure(value any) string {
	if _, ok := value.(string); ok {
		return "write the number without quotes, with a decimal point"
	}
	return "write one number"
}

// whole returns the whole number at path, or fallback where there is none.
func (r *surveyReader) whole(path string, low, high, fallback int) int {
	value, ok := r.values[path]
	if !ok {
		return fallback
	}
	v, ok := value.(int64)
	if !ok || v < int64(low) || v > int64(high) {
		do := "check the value"
		if !ok {
			do = "write it without quotes and without a decimal point"
		}
		r.fail(path, r.raw(path), fmt.Sprintf("a whole number from %d to %d", low, high), do)
		return fallback
	}
	return int(v)
}

// yes returns the truth value at path, false where there is none.
func (r *surveyReader) yes(path string) bool {
	value, ok := r.values[path]
	if !ok {
		return false
	}
	v, ok := value.(bool)
	if !ok {
		r.fail(path, r.raw(path), "true or false", "write it without quotes")
	}
	return v
}

// numbers returns the list of numbers at path. what names an element, such as "well", for the messages.
func (r *surveyReader) numbers(path, what string, l limit) []float64 {
	elements, ok := r.values[path].([]any)
	if !ok {
		r.fail(path, r.raw(path), "a list of numbers, each "+l.String(), "write them in square brackets, with commas between")
		return nil
	}
	list := make([]float64, len(elements))
	for i, element := range elements {
		v, ok := asNumber(element)
		if !ok {
			r.failAt(r.elementPlace(path, i), path, fmt.Sprintf("%s %d of %s", what, i+1, r.raw(path)), "a number", numberCure(element))
			return nil
		}
		if !l.holds(v) {
			r.failAt(r.elementPlace(path, i), path, fmt.Sprintf("%g for %s %d", v, what, i+1), l.String(), l.cure(v))
			return nil
		}
		list[i] = v
	}
	return list
}

// point returns the place [x, y, z] at path.
func (r *surveyReader) point(path string) (p [3]float64) {
	list := r.numbers(path, "coordinate", placeLimit)
	if r.err == nil && len(list) != 3 {
		r.fail(path, r.raw(path), "three numbers [x, y, z] in metres", "give x to the right, y out of the panel, z up")
	}
	copy(p[:], list)
	if d := distance3(p, [3]float64{}); r.err == nil && d > distanceLimit.high {
		r.fail(path, r.raw(path), "a place at most 20 metres from the middle of the panel's front face", "check the values and their unit")
	}
	return p
}

func (r *surveyReader) elementPlace(path string, i int) place {
	at := r.places[path]
	if i < len(at.elements) && at.elements[i] > 0 {
		return r.placeAt(int(at.elements[i]))
	}
	return at
}

// text returns the text at path, "" where there is none.
func (r *surveyReader) text(path string) string {
	value, ok := r.values[path]
	if !ok {
		return ""
	}
	text, ok := value.(string)
	if !ok || strings.TrimSpace(text) == "" || len(text) > 1000 || strings.ContainsFunc(text, func(c rune) bool { return !unicode.IsPrint(c) }) {
		r.fail(path, r.raw(path), "one line of text in quotes", "write it between double quotes, without line breaks")
		return ""
	}
	return text
}

// takes returns the resolved paths at path, which holds one file or a list of files; nil where there are none.
func (r *surveyReader) takes(path string) []string {
	value, ok := r.values[path]
	if !ok {
		return nil
	}
	elements, isList := value.([]any)
	if !isList {
		elements = []any{value}
	}
	if len(elements) > maxTakes {
		r.fail(path, fmt.Sprintf("%d files", len(elements)), fmt.Sprintf("at most %d", maxTakes), "leave some takes out")
		return nil
	}
	var files []string
	for i, element := range elements {
		at := r.places[path]
		if isList {
			at = r.elementPlace(path, i)
		}
		written, ok := element.(string)
		if !ok || strings.TrimSpace(written) == "" || strings.ContainsRune(written, 0) {
			r.failAt(at, path, r.raw(path), "the path of a WAV file in quotes, or a list of such paths", "write it between double quotes, with / between folders")
			return nil
		}
		file := filepath.FromSlash(written)
		if !filepath.IsAbs(file) {
			file = filepath.Join(filepath.Dir(r.file), file)
		}
		files = append(files, file)
		r.files = append(r.files, namedFile{path: file, written: written, key: path, at: at})
	}
	return files
}
