package analysis

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// rowSurvey is a survey with a [row] of the given lines.
func rowSurvey(row ...string) string {
	return `[panel]
sequence = "quadratic residue"
prime = 7
design_frequency_hz = 500
well_width_m = 0.05
fin_thickness_m = 0.006
height_m = 0.6
cap_m = 0.01
back_m = 0.005
[source]
position_m = [0, 2, 0]
[row]
` + strings.Join(row, "\n") + `
[[position]]
name = "a"
mic_m = [0, 1, 0]
panel = "a.wav"
`
}

func TestRowSurvey(t *testing.T) {
	parse := func(row ...string) *SurveyRow {
		t.Helper()
		s, err := ParseSurvey([]byte(rowSurvey(row...)), "s.toml")
		if err != nil {
			t.Fatal(err)
		}
		return s.Row
	}
	if r := parse(`order = "DD DI"`, "gap_m = 0.02"); r.Order != "DDDI" || r.GapM != 0.02 || r.Panels != 0 || r.Parts != nil {
		t.Errorf("got %+v", r)
	}
	if r := parse("panels = 4", `kinds = "D I"`, "half_fins = true", "parts = 2", "gap_m = 0"); r.Order != "" || r.Panels != 4 || r.Kinds != "DI" || !r.HalfFins || !slices.Equal(r.Parts, []int{3, 4}) {
		t.Errorf("got %+v", r)
	}
	if r := parse(`order = "D"`, "parts = [2, 5]"); !slices.Equal(r.Parts, []int{2, 5}) || r.Kinds != "DIMB" {
		t.Errorf("got %+v", r)
	}
	if s, err := ParseSurvey([]byte(strings.Replace(rowSurvey(), "[row]\n", "", 1)), "s.toml"); err != nil || s.Row != nil {
		t.Errorf("without [row]: %v, %v", s, err)
	}
}

func TestRowSurveyFaults(t *testing.T) {
	for _, c := range []struct {
		name string
		row  []string
		want string // of the message's beginning
	}{
		{"nothing", nil, `s.toml:12:2: row.order: found nothing, expected a letter for each panel`},
		{"letter", []string{`order = "D D Q"`}, `s.toml:13:14: row.order: found 'Q' in "D D Q", expected the letters D, I, M and B; write D for`},
		{"small letter", []string{`order = 'DDi'`}, `s.toml:13:12: row.order: found 'i' in 'DDi', expected the letters D, I, M and B; write the capital I`},
		{"escaped", []string{`order = "D\u0051"`}, `s.toml:13:1: row.order: found 'Q' in`},
		{"not text", []string{"order = 4"}, `s.toml:13:1: row.order: found 4, expected one line of text`},
		{"unknown key", []string{`order = "D"`, "gap = 0.1"}, `s.toml:14:1: row.gap: found an unknown key, expected a key of [row]; did you mean gap_m?`},
		{"two rows", []string{`order = "D"`, "[[row]]"}, `s.toml:14:3: row: found [[row]], expected [row]`},
		{"both counts", []string{`order = "DD"`, "panels = 3"}, `s.toml:14:1: row.panels: found 3, expected 2, the letters of order`},
		{"too many", []string{"panels = 17"}, `s.toml:13:1: row.panels: found 17, expected a whole number from 1 to 16`},
		{"kinds alone", []string{`order = "D"`, `kinds = "D"`}, `s.toml:14:1: row.kinds: found kinds without panels`},
		{"millimetres", []string{`order = "DD"`, "gap_m = 20"}, `s.toml:14:1: row.gap_m: found 20, expected 0.005 to 2 metres; is this in millimetres? then write 0.02`},
		{"slit", []string{`order = "DD"`, "gap_m = 0.001"}, `s.toml:14:1: row.gap_m: found 0.001, expected 0.005 to 2 metres`},
		{"shared fins apart", []string{`order = "DD"`, "gap_m = 0.02", "half_fins = true"}, `s.toml:15:1: row.half_fins: found half_fins beside a gap`},
		{"parts", []string{`order = "DD"`, "parts = [3, 3]"}, `s.toml:14:1: row.parts: found [3, 3], 6 wells in all, expected the 7 wells of the panel`},
		{"part", []string{`order = "DD"`, "parts = [3.5, 3.5]"}, `s.toml:14:10: row.parts: found 3.5 for box 1, expected a whole number`},
		{"parts beyond", []string{`order = "DD"`, "parts = 8"}, `s.toml:14:1: row.parts: found 8, expected a whole number from 1 to 7`},
		{"wide", []string{`order = "DDDDDDDDDDDDDDDDDDDDDDDDDDDDDDDD"`}, `s.toml:13:1: row.order: found "DDDDDDDDDDDDDDDDDDDDDDDDDDDDDDDD", which makes a row 12.74 metres wide, expected at most 12 metres`},
	} {
		_, err := ParseSurvey([]byte(rowSurvey(c.row...)), "s.toml")
		if got := fmt.Sprint(err); !strings.HasPrefix(got, c.want) {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}
