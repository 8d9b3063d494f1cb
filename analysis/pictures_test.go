package analysis

import (
	"math"
	"strings"
	"testing"
)

// What each picture shows is said from the result's own numbers, and nothing is said where nothing is known.
func TestSeen(t *testing.T) {
	if got := (&Result{Kind: "check"}).seen(); len(got) != 0 {
		t.Errorf("an empty result shows %v", got)
	}
	nan := Unknown()
	band := func(centre float64, usable bool, normalised, difference, tolerance Num) Band {
		d := unknownDiffusion()
		d.Normalised = normalised
		return Band{CentreHz: centre, LowHz: centre / 1.122, HighHz: centre * 1.122, Usable: usable, Diffusion: d, LevelDifferenceRMSDB: difference, ToleranceDB: tolerance}
	}
	res := &Result{Kind: "check", ToleranceM: 0.003, SourceM: [3]float64{0, 2, 0},
		Receivers: Receivers{Count: 2, SmallestDeg: -30, LargestDeg: 30},
		Wells: []Well{{Number: 1, BuiltM: 0.01, DifferenceM: 0, Verdict: "ok"}, {Number: 2, BuiltM: 0.06, DifferenceM: 0.01, Verdict: "deep"},
			{Number: 3, BuiltM: nan, DifferenceM: nan, Verdict: "undecided"}},
		Bands: []Band{band(1000, false, 0.9, 9, 1), band(math.Pow(10, 3.1), true, 0.1, 0.5, 1), band(math.Pow(10, 3.2), true, 0.5, 2.5, 1)},
		Positions: []Position{
			{Used: true, Gate: Gate{StartS: 0.008, EndS: 0.0101}, PanelDB: []Num{0, -4, -9}, FlatDB: []Num{0, 0, -2}},
			{Used: true, Gate: Gate{StartS: 0.008, EndS: 0.012}, PanelDB: []Num{0, -6, -3}, FlatDB: []Num{0, -8, 0}},
		}}
	want := map[string]string{
		"setup":     "2 microphones from −30° to 30°, the source 2.00 m from the panel; the shortest gate stays open for 2.1 ms.",
		"section":   "1 of 3 wells are where the design has them, within 3 mm; well 2 is 10.0 mm too deep; 1 can't be told.",
		"levels":    "The strongest sound off the panel is between 3.0 and 4.0 dB weaker than the strongest off the flat board, from band to band.",
		"agreement": "In 1 of 2 bands measurement and prediction lie further apart than the tolerance would explain; the largest difference is 2.5 dB at 1.6 kHz.",
		"diffusion": "The panel spreads sound clearly more evenly than a flat board in 1 of 2 bands (normalised diffusion coefficient above 0.2), best at 1.6 kHz (0.50).",
	}
	got := res.seen()
	if len(got) != len(want) {
		t.Errorf("%d sentences, want %d: %v", len(got), len(want), got)
	}
	for _, s := range got {
		if text := strings.ReplaceAll(s.Text, "\u00a0", " "); text != want[s.Picture] {
			t.Errorf("%s: %q, want %q", s.Picture, text, want[s.Picture])
		}
	}
}
