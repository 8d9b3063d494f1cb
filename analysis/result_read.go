package analysis

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
)

const (
	largestResult = 64 << 20 // bytes; a survey of 37 positions with ten takes each at 192 kHz has some 10 MB
	mostEntries   = 1 << 16  // of a list of objects or words
	mostNumbers   = 1 << 20  // of a list of numbers
)

// ResultError is a result file that can't be read: where, what was found, what was expected.
type ResultError struct {
	File         string
	Line, Column int    // from 1, in bytes; 0 where only Path tells the place
	Path         string // such as positions[3].gate.end_s; empty for the whole file
	Found        string
	Expected     string
}

// Error says all of it in one line.
func (e *ResultError) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	if e.Path != "" {
		b.WriteString(": " + e.Path)
	}
	return b.String() + ": " + e.Found + ": expected " + e.Expected
}

// LoadResult reads the result file at path as ReadResult does.
func LoadResult(path string) (r *Result, unknown []string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return nil, nil, &ResultError{File: path, Found: "a folder", Expected: "a result file of leadline check --data"}
	}
	return ReadResult(f, path)
}

// ReadResult reads what report.JSON writes; name stands for the file in errors. The input is not trusted: it may be of any content, at most 64 MiB are read, no declared
// size or count is believed, and every list is bound in length. Fields that this version doesn't know are skipped, since a newer version of the same schema may have added
// them; unknown lists their paths, the first 20. Lists, words and numbers that may be unknown (Num) may be missing, since an older version may not have written them; they are then empty
// or unknown, never 0. Everything else must be there, once, of the right type and in range; lists over bands, wells, positions and angles must have one entry for each.
// Errors are ResultErrors, or come from r.
func ReadResult(r io.Reader, name string) (result *Result, unknown []string, err error) {
	data, err := io.ReadAll(io.LimitReader(r, largestResult+1))
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	d := &resultReader{file: name, data: data}
	switch {
	case len(data) > largestResult:
		return nil, nil, d.fail("", "more than "+strconv.Itoa(largestResult>>20)+" MiB", "a result of leadline check")
	case len(bytes.TrimSpace(data)) == 0:
		return nil, nil, d.fail("", "an empty file", "a result of leadline check --data")
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	d.data = data
	if err := d.checkSyntax(); err != nil {
		return nil, nil, err
	}
	d.decoder = json.NewDecoder(bytes.NewReader(data))
	d.decoder.UseNumber()
	result = new(Result)
	if err := d.value(reflect.ValueOf(result).Elem(), ""); err != nil {
		return nil, nil, err
	}
	if err := d.check(result); err != nil {
		return nil, nil, err
	}
	return result, d.unknown, nil
}

// resultReader walks the JSON and the struct together, so that every error has its place.
type resultReader struct {
	file    string
	data    []byte
	decoder *json.Decoder
	unknown []string
}

func (d *resultReader) fail(path, found, expected string) *ResultError {
	return &ResultError{File: d.file, Path: path, Found: found, Expected: expected}
}

// failAt adds the line and the column of a byte.
func (d *resultReader) failAt(offset int, path, found, expected string) *ResultError {
	e := d.fail(path, found, expected)
	before := d.data[:min(max(offset, 0), len(d.data))]
	e.Line = bytes.Count(before, []byte("\n")) + 1
	e.Column = len(before) - bytes.LastIndexByte(before, '\n')
	return e
}

// checkSyntax tells what is no JSON, or of another schema, before anything is built from it.
func (d *resultReader) checkSyntax() error {
	var head struct {
		Schema any `json:"schema"`
	}
	err := json.Unmarshal(d.data, &head)
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		at := int(syntax.Offset)
		if at >= len(d.data) && strings.Contains(syntax.Error(), "unexpected end") {
			return d.failAt(len(d.data), "", "the file ends early", "the rest of the result; write it anew")
		}
		return d.failAt(at-1, "", "no JSON ("+syntax.Error()+")", "a result of leadline check --data")
	}
	if err == nil && head.Schema != any(Schema) { // otherwise the walk says what is wrong
		expected := fmt.Sprintf("%q, a result of leadline check --data", Schema)
		switch schema := head.Schema.(type) {
		case nil:
			return d.fail("schema", "none", expected)
		case string:
			if strings.HasPrefix(schema, strings.TrimRight(Schema, "0123456789")) {
				expected = fmt.Sprintf("%q: make the result anew with this version, or use the version that made it", Schema)
			}
			return d.fail("schema", quote(schema), expected)
		}
	}
	return nil
}

// quote is s in quotes, cut where it is long.
func quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return strconv.Quote(s)
}

// next reads a token and tells where it begins.
func (d *resultReader) next(path string) (token json.Token, start int, err error) {
	start = int(d.decoder.InputOffset())
	for start < len(d.data) && strings.IndexByte(" \t\r\n,:", d.data[start]) >= 0 {
		start++
	}
	token, err = d.decoder.Token()
	if err != nil { // the syntax was checked, so this is a number beyond all bounds or the like
		return nil, start, d.failAt(start, path, err.Error(), "a result of leadline check --data")
	}
	return token, start, nil
}

// kindOf names a token.
func kindOf(t json.Token) string {
	switch t := t.(type) {
	case json.Delim:
		if t == '{' {
			return "an object"
		}
		return "a list"
	case string:
		return "the text " + quote(t)
	case bool:
		return strconv.FormatBool(t)
	case json.Number:
		return "the number " + quote(t.String())
	}
	return "null"
}

// value reads one JSON value into v.
func (d *resultReader) value(v reflect.Value, path string) error {
	token, start, err := d.next(path)
	if err != nil {
		return err
	}
	return d.fill(v, path, token, start)
}

var (
	numType     = reflect.TypeFor[Num]()
	samplesType = reflect.TypeFor[Samples]()
)

func (d *resultReader) fill(v reflect.Value, path string, token json.Token, start int) error {
	wrong := func(expected string) error { return d.failAt(start, path, kindOf(token), expected) }
	switch {
	case v.Type() == numType && token == nil:
		v.SetFloat(math.NaN())
		return nil
	case v.Type() == samplesType:
		if _, is := token.(string); !is && token != nil {
			return wrong("samples as one base64 string")
		}
		var s Samples
		if err := s.UnmarshalJSON(d.data[start:d.decoder.InputOffset()]); err != nil {
			return d.failAt(start, path, err.Error(), "32-bit floats as base64")
		}
		v.Set(reflect.ValueOf(s))
		return nil
	}
	switch v.Kind() {
	case reflect.Float64:
		n, is := token.(json.Number)
		if !is {
			return wrong(map[bool]string{true: "a number or null", false: "a number"}[v.Type() == numType])
		}
		f, err := n.Float64()
		if err != nil {
			return wrong("a number that a 64-bit float can hold")
		}
		v.SetFloat(f)
	case reflect.Int:
		n, is := token.(json.Number)
		if !is {
			return wrong("a whole number")
		}
		i, err := strconv.ParseInt(n.String(), 10, 32)
		if err != nil {
			return wrong("a whole number of at most nine digits")
		}
		v.SetInt(i)
	case reflect.Bool:
		b, is := token.(bool)
		if !is {
			return wrong("true or false")
		}
		v.SetBool(b)
	case reflect.String:
		s, is := token.(string)
		if !is {
			return wrong("text")
		}
		v.SetString(s)
	case reflect.Pointer:
		if token == nil {
			return nil
		}
		v.Set(reflect.New(v.Type().Elem()))
		return d.fill(v.Elem(), path, token, start)
	case reflect.Slice:
		if token == nil {
			return nil
		}
		if token != json.Delim('[') {
			return wrong("a list")
		}
		return d.list(v, path, start)
	case reflect.Array:
		if token != json.Delim('[') {
			return wrong(fmt.Sprintf("a list of %d numbers", v.Len()))
		}
		n := 0
		for ; d.decoder.More(); n++ {
			if n == v.Len() {
				return d.failAt(start, path, "a longer list", fmt.Sprintf("%d numbers", v.Len()))
			}
			if err := d.value(v.Index(n), fmt.Sprintf("%s[%d]", path, n)); err != nil {
				return err
			}
		}
		if n < v.Len() {
			return d.failAt(start, path, fmt.Sprintf("a list of %d", n), fmt.Sprintf("%d numbers", v.Len()))
		}
		_, _, err := d.next(path)
		return err
	case reflect.Struct:
		if token != json.Delim('{') {
			return wrong("an object")
		}
		return d.object(v, path, start)
	}
	return nil
}

func (d *resultReader) list(v reflect.Value, path string, start int) error {
	most := mostEntries
	if v.Type().Elem().Kind() == reflect.Float64 {
		most = mostNumbers
	}
	v.Set(reflect.MakeSlice(v.Type(), 0, 0))
	for n := 0; d.decoder.More(); n++ {
		if n == most {
			return d.failAt(start, path, fmt.Sprintf("more than %d entries", most), "fewer")
		}
		entry := reflect.New(v.Type().Elem()).Elem()
		if err := d.value(entry, fmt.Sprintf("%s[%d]", path, n)); err != nil {
			return err
		}
		v.Set(reflect.Append(v, entry))
	}
	_, _, err := d.next(path)
	return err
}

func (d *resultReader) object(v reflect.Value, path string, start int) error {
	if path != "" {
		path += "."
	}
	fields := map[string]int{}
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		fields[name] = i
		if v.Field(i).Type() == numType {
			v.Field(i).SetFloat(math.NaN())
		}
	}
	seen := map[string]bool{}
	for d.decoder.More() {
		token, at, err := d.next(path)
		if err != nil {
			return err
		}
		key := token.(string) // the syntax was checked
		i, known := fields[key]
		if !known {
			const most = 20
			if len(d.unknown) < most {
				d.unknown = append(d.unknown, path+strings.Trim(quote(key), `"`))
			}
			var skipped json.RawMessage
			if err := d.decoder.Decode(&skipped); err != nil {
				return d.failAt(at, path+key, err.Error(), "a value")
			}
			continue
		}
		if seen[key] {
			return d.failAt(at, path+key, "the same key a second time", "it once")
		}
		seen[key] = true
		if err := d.value(v.Field(i), path+key); err != nil {
			return err
		}
	}
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		if seen[name] || v.Field(i).Type() == numType {
			continue
		}
		switch v.Field(i).Kind() {
		case reflect.String, reflect.Slice, reflect.Pointer:
		default:
			return d.failAt(start, path+name, "nothing", "a value: the file is not whole")
		}
	}
	_, _, err := d.next(path)
	return err
}

// check tests what types can't: ranges and lengths that belong together.
func (d *resultReader) check(r *Result) error {
	var first *ResultError
	expect := func(ok bool, path, found, expected string) {
		if !ok && first == nil {
			first = d.fail(path, found, expected)
		}
	}
	positive := func(v float64, path string) {
		expect(v > 0 && v < 1e9, path, fmt.Sprint(v), "a number above 0 and below 1e9")
	}
	length := func(n, want int, path, of string) {
		expect(n == 0 || n == want, path, fmt.Sprintf("%d entries", n), fmt.Sprintf("none, or one for each of the %d %s", want, of))
	}
	ordered := func(i *Interval, path string) {
		if i != nil {
			expect(!(i.Low > i.High), path, fmt.Sprintf("%v to %v", i.Low, i.High), "the low end first")
		}
	}
	expect(r.Kind == "check" || r.Kind == "predict", "kind", quote(r.Kind), `"check" or "predict"`)
	expect(r.Verdict == AsDesigned || r.Verdict == Differs || r.Verdict == Undecided, "verdict", quote(string(r.Verdict)), fmt.Sprintf("%q, %q or %q", AsDesigned, Differs, Undecided))
	positive(r.Air.SpeedOfSoundMS, "air.speed_of_sound_m_s")
	positive(r.ToleranceM, "tolerance_m")
	p := &r.Panel
	for _, c := range []struct {
		v    float64
		path string
	}{{p.WidthM, "width_m"}, {p.HeightM, "height_m"}, {p.DepthM, "depth_m"}, {p.WellWidthM, "well_width_m"}} {
		positive(c.v, "panel."+c.path)
	}
	expect(p.FinThicknessM >= 0 && p.FinThicknessM < 1e9, "panel.fin_thickness_m", fmt.Sprint(p.FinThicknessM), "0 or more")
	wells := len(p.DesignDepthM)
	expect(wells > 0, "panel.design_depth_m", "an empty list", "one depth for each well")
	expect(len(p.WellCentreM) == wells, "panel.well_centre_m", fmt.Sprintf("%d entries", len(p.WellCentreM)), fmt.Sprintf("one for each of the %d wells", wells))
	length(len(r.Wells), wells, "wells", "wells")
	for i, w := range r.Wells {
		path := fmt.Sprintf("wells[%d]", i)
		expect(w.Number == i+1, path+".number", fmt.Sprint(w.Number), fmt.Sprint(i+1))
		expect(i >= wells || w.DesignM == p.DesignDepthM[i], path+".design_m", fmt.Sprint(w.DesignM), "the same as in panel.design_depth_m")
		expect(w.DesignM >= 0 && w.DesignM < 1e3, path+".design_m", fmt.Sprint(w.DesignM), "metres, 0 or more")
		expect(!(w.BuiltM < 0) && !(w.LowM > w.BuiltM) && !(w.BuiltM > w.HighM) && !(w.LowM > w.HighM), path, fmt.Sprintf("built %v m, interval %v to %v", w.BuiltM, w.LowM, w.HighM), "0 or more, inside the interval")
		expect(!(w.LossLow > w.LossHigh), path+".loss_low_db", fmt.Sprint(w.LossLow), "no more than loss_high_db")
		expect(w.Verdict == "ok" || w.Verdict == "shallow" || w.Verdict == "deep" || w.Verdict == "undecided", path+".verdict", quote(w.Verdict), `"ok", "shallow", "deep" or "undecided"`)
	}
	if r.Fit != nil {
		for i, e := range r.Fit.Explanations {
			expect(len(e.DepthM) == wells, fmt.Sprintf("fit.explanations[%d].depth_m", i), fmt.Sprintf("%d entries", len(e.DepthM)), fmt.Sprintf("one for each of the %d wells", wells))
		}
	}
	bands := len(r.Bands)
	for i, b := range r.Bands {
		path := fmt.Sprintf("bands[%d]", i)
		expect(b.LowHz > 0 && b.LowHz < b.CentreHz && b.CentreHz < b.HighHz && b.HighHz < 1e9, path, fmt.Sprintf("a band from %v over %v to %v Hz", b.LowHz, b.CentreHz, b.HighHz), "frequencies above 0, in this order")
		expect(i == 0 || r.Bands[i-1].CentreHz < b.CentreHz, path+".centre_hz", fmt.Sprint(b.CentreHz), "more than that of the band before")
		ordered(b.CorrelationInterval, path+".correlation_scattering_interval")
		ordered(b.Diffusion.PanelInterval, path+".diffusion.panel_interval")
		ordered(b.Diffusion.FlatInterval, path+".diffusion.flat_interval")
		ordered(b.Diffusion.NormalisedInterval, path+".diffusion.normalised_interval")
	}
	for i := range r.Positions {
		q := &r.Positions[i]
		path := fmt.Sprintf("positions[%d].", i)
		for _, l := range []struct {
			n    int
			path string
		}{
			{len(q.PanelDB), "panel_db"}, {len(q.FlatDB), "flat_db"}, {len(q.PredictedDB), "predicted_panel_re_flat_db"}, {len(q.PredictedFlatDB), "predicted_flat_db"},
			{len(q.PanelIntervalDB), "panel_interval_db"}, {len(q.FlatIntervalDB), "flat_interval_db"}, {len(q.PanelResidualDB), "panel_residual_db"}, {len(q.FlatResidualDB), "flat_residual_db"},
			{len(q.Comb.Panel.ReflectionDB), "comb.panel.reflection_db"}, {len(q.Comb.Panel.PeakToNotchDB), "comb.panel.peak_to_notch_db"},
			{len(q.Comb.Flat.ReflectionDB), "comb.flat.reflection_db"}, {len(q.Comb.Flat.PeakToNotchDB), "comb.flat.peak_to_notch_db"},
			{len(q.Comb.PredictedPanel.ReflectionDB), "comb.predicted_panel.reflection_db"}, {len(q.Comb.PredictedPanel.PeakToNotchDB), "comb.predicted_panel.peak_to_notch_db"},
			{len(q.Comb.PredictedFlat.ReflectionDB), "comb.predicted_flat.reflection_db"}, {len(q.Comb.PredictedFlat.PeakToNotchDB), "comb.predicted_flat.peak_to_notch_db"},
		} {
			length(l.n, bands, path+l.path, "bands")
		}
	}
	if f := r.FarField; f != nil {
		length(len(f.Bands), bands, "far_field.bands", "bands")
		for i, b := range f.Bands {
			for _, l := range []struct {
				n    int
				path string
			}{{len(b.PanelDB), "panel_db"}, {len(b.FlatDB), "flat_db"}, {len(b.TextbookDB), "textbook_db"}} {
				length(l.n, len(f.AngleDeg), fmt.Sprintf("far_field.bands[%d].%s", i, l.path), "angles")
			}
		}
	}
	if v := r.TimeView; v != nil {
		for _, l := range []struct {
			n    int
			path string
		}{{len(v.Empty), "empty"}, {len(v.Panel), "panel"}, {len(v.PanelDiff), "panel_reflection"}, {len(v.FlatDiff), "flat_reflection"}, {len(v.Window), "window"}} {
			length(l.n, len(v.TimeS), "time_view."+l.path, "times")
		}
	}
	if s := r.Responses; s != nil {
		positive(s.StepHz, "responses.step_hz")
		length(len(s.Positions), len(r.Positions), "responses.positions", "positions")
		for i := range s.Positions {
			positive(s.Positions[i].SampleRateHz, fmt.Sprintf("responses.positions[%d].sample_rate_hz", i))
		}
	}
	if first != nil {
		return first
	}
	return nil
}
