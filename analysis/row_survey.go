package analysis

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// SurveyRow is the optional [row] table: several panels side by side, predicted as one finite structure beside the single panel that is checked.
// Its middle hangs where the middle of the survey's panel is.
type SurveyRow struct {
	Order    string  // a letter of rowKinds per panel, from the lowest x; empty where only Panels is given
	Panels   int     // how many panels the search of orders has; 0 for no search
	Kinds    string  // the letters that the search may use
	GapM     float64 // between neighbouring panels
	HalfFins bool    // panels that touch share a fin: each carries half of it
	Parts    []int   // wells of each box that a panel is built of, from the lowest x; nil for one box
}

// rowKinds is the notation of [row].order: what the panel at a place is, re the survey's panel.
const rowKinds = "DIMB" // as designed; inverted: depths complemented; mirrored: turned upside down; both

const (
	maxRowPanels  = 32
	maxSearched   = 16 // panels
	maxRowWidthM  = 12.0
	closedGapM    = 0.005 // narrower gaps than this are no gaps of a carpenter's
	defaultSearch = rowKinds
)

var (
	rowKeys  = []string{"order", "panels", "kinds", "gap_m", "half_fins", "parts"}
	gapLimit = limit{closedGapM, 2, false, "metres", 0.005, 0.1}
)

// readRow reads the [row] table.
func (r *surveyReader) readRow(s *Survey) {
	if _, ok := r.places["row"]; !ok {
		return
	}
	row := &SurveyRow{Order: r.letters("row.order", maxRowPanels), Panels: r.whole("row.panels", 1, maxSearched, 0), Kinds: r.letters("row.kinds", len(rowKinds))}
	switch {
	case row.Order == "" && row.Panels == 0:
		r.missing("row.order", `a letter for each panel, such as "D D D I", or panels = 4 to have orders searched`)
	case row.Order != "" && row.Panels != 0 && len(row.Order) != row.Panels:
		r.fail("row.panels", r.raw("row.panels"), fmt.Sprintf("%d, the letters of order", len(row.Order)), "make both agree, or leave one of them out")
	case row.Kinds != "" && row.Panels == 0:
		r.fail("row.kinds", "kinds without panels", "panels, the number of panels in the search", "add panels, or leave kinds out")
	}
	if row.Kinds == "" {
		row.Kinds = defaultSearch
	}
	if zero, ok := asNumber(r.values["row.gap_m"]); !ok || zero != 0 {
		if gap := r.number("row.gap_m", gapLimit); gap.Known() {
			row.GapM = float64(gap)
		}
	}
	row.HalfFins = r.yes("row.half_fins")
	if row.HalfFins && row.GapM > 0 {
		r.fail("row.half_fins", "half_fins beside a gap", "panels that touch, gap_m = 0", "leave one of the two out")
	}
	row.Parts = r.parts("row.parts", len(s.Panel.DepthsM))
	if r.err != nil {
		return
	}
	path, panels := "row.order", len(row.Order)
	if row.Order == "" {
		path, panels = "row.panels", row.Panels
	}
	if wells := panels * len(s.Panel.DepthsM); wells > maxWells {
		r.fail(path, fmt.Sprintf("%d panels of %d wells", panels, len(s.Panel.DepthsM)), fmt.Sprintf("at most %d wells in a row", maxWells), "predict a shorter row")
	}
	if w := newRowLayout(&s.Panel, row, strings.Repeat("D", panels)).widthM(); r.err == nil && w > maxRowWidthM {
		r.fail(path, fmt.Sprintf("%s, which makes a row %.4g metres wide", r.raw(path), w), fmt.Sprintf("at most %g metres", maxRowWidthM), "predict a shorter row")
	}
	s.Row = row
}

// letters returns the letters of rowKinds that the text at path holds, without the spaces between them.
func (r *surveyReader) letters(path string, most int) string {
	text := r.text(path)
	var out strings.Builder
	for i, c := range text {
		switch {
		case c == ' ':
		case strings.ContainsRune(rowKinds, c):
			out.WriteRune(c)
		default:
			do := "write D for a panel as designed, I for inverted, M for mirrored, B for both, with or without spaces between"
			if strings.ContainsRune(rowKinds, c-'a'+'A') {
				do = fmt.Sprintf("write the capital %c", c-'a'+'A')
			}
			r.failAt(r.inText(path, i), path, fmt.Sprintf("%q in %s", c, r.raw(path)), "the letters D, I, M and B", do)
			return ""
		}
	}
	if out.Len() > most {
		r.fail(path, fmt.Sprintf("%d letters", out.Len()), fmt.Sprintf("at most %d", most), "leave some out")
	}
	return out.String()
}

// inText returns the place of byte i of the text at path where it stands as it is in the file, else that of its key.
func (r *surveyReader) inText(path string, i int) place {
	at, text := r.places[path], r.values[path].(string)
	if at.line == 0 {
		return at
	}
	line := string(r.doc[r.lineStart[at.line-1]:])
	line, _, _ = strings.Cut(line, "\n")
	before := len(string([]rune(line)[:at.column-1]))
	if start := strings.Index(line[before:], text); before+start > 0 && start >= 0 && strings.ContainsAny(line[before+start-1:before+start], `"'`) {
		at.column += utf8.RuneCountInString(line[before : before+start+i])
	}
	return at
}

// parts returns over how many boxes, and with how many wells each, a panel of so many wells is split.
func (r *surveyReader) parts(path string, wells int) []int {
	value, ok := r.values[path]
	if !ok {
		return nil
	}
	if _, isList := value.([]any); !isList {
		n := r.whole(path, 1, wells, 1)
		out := make([]int, n)
		for i := range out {
			out[i] = (i+1)*wells/n - i*wells/n
		}
		return out
	}
	list := r.numbers(path, "box", limit{1, float64(wells), false, "wells", 0, 0})
	var out []int
	sum := 0
	for i, v := range list {
		if v != float64(int(v)) {
			r.failAt(r.elementPlace(path, i), path, fmt.Sprintf("%g for box %d", v, i+1), "a whole number of wells", "write it without a fraction")
			return nil
		}
		out, sum = append(out, int(v)), sum+int(v)
	}
	if r.err == nil && sum != wells {
		r.fail(path, fmt.Sprintf("%s, %d wells in all", r.raw(path), sum), fmt.Sprintf("the %d wells of the panel", wells), "give the number of wells in each box, or the number of boxes alone")
	}
	return out
}
