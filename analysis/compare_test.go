package analysis

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func figureWithin(v, half float64) figure { return figure{[]float64{v}, half} }

// Two figures of 10 ± 3 and 14 ± 4 differ by 4 ± 5: squares add (JCGM 100:2008, 5.1.2, equation 10 with sensitivities of 1; the numbers are Pythagoras's).
// The probabilities are those of the normal distribution's table: 1.960 for 5 %, 2.576 for 1 %.
func TestChangeOfTwoFigures(t *testing.T) {
	c := change(figureWithin(10, 3), figureWithin(14, 4))
	near(t, "change", float64(c.Change), 4, 1e-12, "exact")
	near(t, "low", float64(c.Low), -1, 1e-12, "exact")
	near(t, "high", float64(c.High), 9, 1e-12, "exact")
	if c.Apart {
		t.Error("10 ± 3 and 14 ± 4 overlap")
	}
	if c := change(figureWithin(10, 3), figureWithin(17.1, 4)); !c.Apart || c.Low < 0 {
		t.Errorf("10 ± 3 and 17.1 ± 4 lie apart: %+v", c)
	}
	for _, z := range []struct{ deviations, p float64 }{{1.960, 0.05}, {2.576, 0.01}, {1.645, 0.10}, {0, 1}} {
		c := change(figureWithin(0, 1.959964), figureWithin(z.deviations, 0))
		near(t, fmt.Sprintf("probability of %g standard deviations", z.deviations), float64(c.Probability), z.p, 5e-5*max(1, z.p), "the table has three digits")
	}
	unknown := change(figureWithin(1, math.NaN()), figureWithin(2, 1))
	if unknown.Change != 1 || unknown.Low.Known() || unknown.Probability.Known() {
		t.Errorf("without an interval: %+v", unknown)
	}
	// two explanations on either side: the sign can't be told
	both := change(figure{[]float64{10, 20}, 1}, figureWithin(15, 1))
	if both.Low > -5 || both.High < 5 || both.Probability != 1 || both.Apart {
		t.Errorf("with two explanations: %+v", both)
	}
}

// The worked example of the step-down procedure that textbooks print: of p = 0.01, 0.04, 0.03, 0.005 at 5 % the first and the last hold (from memory; 0.005 < 0.05/4, 0.01 < 0.05/3,
// 0.03 > 0.05/2, so 0.03 and 0.04 don't).
func TestJudgeTogether(t *testing.T) {
	var changes []*Change
	for _, p := range []float64{0.01, 0.04, 0.03, 0.005} {
		changes = append(changes, &Change{Change: 1, Low: 0.1, High: 1.9, Probability: Num(p)})
	}
	changes = append(changes, &Change{Probability: Unknown()}, &Change{Low: -1, High: 1, Probability: Unknown()})
	judge(changes)
	for i, want := range []string{significant, possible, possible, significant, "", ""} {
		if changes[i].Significance != want {
			t.Errorf("change %d: %q, want %q", i, changes[i].Significance, want)
		}
	}
}

// Drawn at random: with independent errors the change's interval holds the true change in 95 of 100 cases and an unchanged panel of 13 wells is called changed in at most
// one of twenty; with errors that both surveys share in part the interval holds it more often, as the words in HowSure claim.
func TestChangeIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	const wells, runs = 13, 4000
	for _, shared := range []float64{0, 0.7} {
		held, alarms := 0, 0
		for range runs {
			var changes []*Change
			for range wells {
				common := math.Sqrt(shared) * rng.NormFloat64()
				own := math.Sqrt(1 - shared)
				c := change(figureWithin(common+own*rng.NormFloat64(), 1.959964), figureWithin(common+own*rng.NormFloat64(), 1.959964))
				if c.Low <= 0 && c.High >= 0 {
					held++
				}
				changes = append(changes, &c)
			}
			judge(changes)
			for _, c := range changes {
				if c.Significance == significant {
					alarms++
					break
				}
			}
		}
		coverage, alarm := float64(held)/(wells*runs), float64(alarms)/runs
		t.Logf("share of error in common %.1f: intervals hold %.3f, false alarms %.3f", shared, coverage, alarm)
		if shared == 0 {
			near(t, "coverage", coverage, 0.95, 0.004, "four standard deviations of 52000 draws")
			if alarm > 0.05+4*math.Sqrt(0.05*0.95/runs) {
				t.Errorf("false alarms in %.3f of the runs, want at most 0.05", alarm)
			}
		} else if coverage < 0.99 || alarm > 0.005 {
			t.Errorf("shared errors: intervals hold %.3f, false alarms %.3f; want more than 0.99 and next to none", coverage, alarm)
		}
	}
}

func compareNamed(t testing.TB, results ...*Result) *Comparison {
	t.Helper()
	var named []NamedResult
	for i, r := range results {
		named = append(named, NamedResult{File: fmt.Sprintf("survey-%d.json", i+1), Result: r})
	}
	c, err := Compare(named)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The bench: well 4 built 10 mm too shallow and well 11 7.5 mm too deep, then mended; and a panel measured in two rooms, in which nothing changed.
func TestCompareBench(t *testing.T) {
	wrong, mended, elsewhere := benchResult(t, "room-b-panel-built-1"), benchResult(t, "room-b-panel-as-designed"), benchResult(t, "room-a-panel-as-designed")
	c := compareNamed(t, wrong, mended)
	if c.Outcome != Changed || len(c.Whole.Wells) != 13 {
		t.Fatalf("%s: %s", c.Outcome, c.Headline)
	}
	for _, w := range c.Whole.Wells {
		truth, changed := map[int]float64{4: 0.010, 11: -0.0075}[w.Number]
		if (w.DepthM.Significance == significant) != changed || w.DepthM.Apart != changed {
			t.Errorf("well %d: %q, intervals apart %v", w.Number, w.DepthM.Significance, w.DepthM.Apart)
		}
		if float64(w.DepthM.Low) > truth || float64(w.DepthM.High) < truth {
			t.Errorf("well %d: %.4f to %.4f m doesn't hold the true change of %.4f", w.Number, float64(w.DepthM.Low), float64(w.DepthM.High), truth)
		}
	}
	if !strings.Contains(c.Headline, "well 4 is 10.1") || !strings.Contains(c.Headline, "“differs” to “as designed”") {
		t.Error(c.Headline)
	}
	if same := compareNamed(t, mended, mended); same.Outcome != Unchanged {
		t.Errorf("a survey against itself: %s", same.Headline)
	}
	rooms := compareNamed(t, elsewhere, mended)
	if rooms.Outcome != Unchanged {
		t.Errorf("one panel in two rooms: %s", rooms.Headline)
	}
	chain := compareNamed(t, mended, wrong, mended)
	if chain.Outcome != Unchanged || len(chain.Steps) != 2 || chain.Steps[0].Wells[3].DepthM.Significance != significant || chain.Steps[1].Wells[3].DepthM.Significance != significant {
		t.Errorf("there and back: %s, %d steps", chain.Headline, len(chain.Steps))
	}
}

// edited reads the small result with changes made to it.
func edited(t testing.TB, change func(*Result)) *Result {
	t.Helper()
	r := mustRead(t, smallResult(t))
	change(r)
	return r
}

func TestCompareRefuses(t *testing.T) {
	base := edited(t, func(*Result) {})
	for _, c := range []struct {
		name   string
		change func(*Result)
		want   []string
	}{
		{"prediction", func(r *Result) { r.Kind = "predict" }, []string{"prediction", "leadline check --data"}},
		{"other number of wells", func(r *Result) { r.Panel.DesignDepthM = append(r.Panel.DesignDepthM, 0.1) }, []string{"3 wells", "2"}},
		{"other well width", func(r *Result) { r.Panel.WellWidthM = 0.041 }, []string{"wells' width is 41.0 mm", "40.0 mm"}},
		{"other height", func(r *Result) { r.Panel.HeightM = 0.7 }, []string{"height is 700.0 mm", "500.0 mm"}},
		{"other fins", func(r *Result) { r.Panel.FinThicknessM = 0.0056 }, []string{"fins' thickness"}},
		{"other design", func(r *Result) { r.Panel.DesignDepthM = []float64{0, 0.06} }, []string{"well 2 is designed 60.0 mm deep", "50.0 mm", "check the older one again"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Compare([]NamedResult{{File: "old.json", Result: base}, {File: "new.json", Result: edited(t, c.change)}})
			if err == nil || !strings.HasPrefix(err.Error(), "new.json: ") {
				t.Fatalf("got %v, want an error that begins with the file", err)
			}
			for _, w := range c.want {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q lacks %q", err, w)
				}
			}
		})
	}
	if _, err := Compare([]NamedResult{{File: "one.json", Result: base}}); err == nil {
		t.Error("one result was compared")
	}
}

func TestCompareDetails(t *testing.T) {
	before := edited(t, func(r *Result) { r.Warnings = []Warning{{"level", "p1", "quiet"}, {"clip", "p1", "loud"}} })

	after := edited(t, func(r *Result) {
		r.Warnings = []Warning{{"level", "p1", "quieter still"}, {"level", "p2", "quiet"}}
		r.Bands[0].Diffusion.Panel, r.Bands[0].Diffusion.PanelInterval = 0.8, &Interval{0.78, 0.82}
		r.Air.SpeedOfSoundMS = 346
	})
	c := compareNamed(t, before, after)
	if g, l := c.Whole.Gained, c.Whole.Lost; len(g) != 1 || g[0].Where != "p2" || len(l) != 1 || l[0].Code != "clip" {
		t.Errorf("warnings gained %v, lost %v", g, l)
	}
	b := c.Whole.Bands[0].Panel
	near(t, "half of the interval", float64(b.High-b.Change), math.Hypot(0.02, 0.02), 1e-12, "exact")
	if b.Significance != possible || c.Outcome != Unchanged || c.Whole.RigChange.Known() {
		t.Errorf("a band without a flat board: %+v, %s", b, c.Headline)
	}
	// with a flat board whose coefficient changed by 0.01, which the rig must have done
	for r, flat := range map[*Result]Num{before: 0.3, after: 0.31} {
		r.Bands[0].Diffusion.Flat = flat
	}
	c = compareNamed(t, before, after)
	b = c.Whole.Bands[0].Panel
	near(t, "half of the interval with the rig's part", float64(b.High-b.Change), 0.03, 1e-12, "√(0.02² + 0.02² + 0.01²)")
	if b.Significance != significant || c.Outcome != Changed || !strings.Contains(c.Headline, "in one band") {
		t.Errorf("band: %+v, %s", b, c.Headline)
	}
	if !strings.Contains(strings.Join(c.HowSure, " "), "343.2 and 346.0") {
		t.Error("the speed of sound that differs is not told")
	}

	moved := compareNamed(t, before, edited(t, func(r *Result) { r.SourceM[1] += 0.05 }))
	if len(moved.Whole.Bands) != 0 || !strings.Contains(moved.Whole.BandsWhy, "50") {
		t.Errorf("source moved: %d bands, %q", len(moved.Whole.Bands), moved.Whole.BandsWhy)
	}
	arc := compareNamed(t, before, edited(t, func(r *Result) { r.Positions[0].MicM[0] += 0.03 }))
	if !strings.Contains(arc.Whole.BandsWhy, "microphones stand elsewhere") {
		t.Errorf("microphone moved: %q", arc.Whole.BandsWhy)
	}

	// where two sets of depths fit alike, a change that only one of them shows is none
	two := edited(t, func(r *Result) {
		r.Wells[1].BuiltM, r.Wells[1].LowM, r.Wells[1].HighM, r.Wells[1].Verdict = 0.06, 0.059, 0.061, "undecided"
		r.Fit.Explanations = append(r.Fit.Explanations, Explanation{DepthM: []float64{0.0002, 0.0541}})
	})
	if w := compareNamed(t, before, two).Whole.Wells[1].DepthM; w.Significance != none || w.Low > 0 {
		t.Errorf("with two explanations: %+v", w)
	}

	poor := edited(t, func(r *Result) {
		r.Fit.Misfit = 0.6
		for i := range r.Wells {
			r.Wells[i].Verdict = "undecided"
		}
	})
	p := compareNamed(t, before, poor)
	if !strings.Contains(p.Whole.WellsWhy, "survey-2: no depths explain more than 40") || p.Whole.Wells[0].DepthM.Significance != "" {
		t.Errorf("a fit that explains nothing: %q, %+v", p.Whole.WellsWhy, p.Whole.Wells[0])
	}

	blind := func() *Result {
		return edited(t, func(r *Result) {
			r.Wells, r.Fit, r.Verdict = nil, nil, Undecided
			r.Bands[0].Diffusion.PanelInterval = nil
		})
	}
	if c := compareNamed(t, blind(), blind()); c.Outcome != CannotTell || c.Whole.WellsWhy == "" {
		t.Errorf("nothing known: %s, %q", c.Outcome, c.Whole.WellsWhy)
	}

	named, err := Compare([]NamedResult{{File: "a/result.json", Result: before}, {File: "b/result.json", Result: after}, {File: "b/result.json", Result: after}, {File: `C:\x\last.json`, Result: after}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"a/result.json", "b/result.json", "b/result.json (2)", "last"} {
		if got := named.Surveys[i].Name; got != want {
			t.Errorf("survey %d is called %q, want %q", i+1, got, want)
		}
	}
}

// FuzzCompare: whatever two files hold, comparing them ends with an error or with a comparison that can be written, and that turned round has the opposite changes.
func FuzzCompare(f *testing.F) {
	good := smallResult(f)
	f.Add(good, good)
	f.Add(good, bytes.ReplaceAll(good, []byte("0.054"), []byte("0.0545")))
	f.Add(good, bytes.ReplaceAll(good, []byte("0.0531"), []byte("null")))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		p, _, errA := ReadResult(bytes.NewReader(a), "a.json")
		q, _, errB := ReadResult(bytes.NewReader(b), "b.json")
		if errA != nil || errB != nil {
			return
		}
		c, err := Compare([]NamedResult{{File: "a.json", Result: p}, {File: "b.json", Result: q}})
		if err != nil {
			return
		}
		if _, err := json.Marshal(c); err != nil {
			t.Fatal(err)
		}
		back, err := Compare([]NamedResult{{File: "b.json", Result: q}, {File: "a.json", Result: p}})
		if err != nil {
			t.Fatalf("one way compares, the other not: %v", err)
		}
		if c.Outcome != back.Outcome {
			t.Errorf("outcome %s, turned round %s", c.Outcome, back.Outcome)
		}
		for i, w := range c.Whole.Wells {
			x, y := w.DepthM, back.Whole.Wells[i].DepthM
			if x.Change.Known() && x.Change != -y.Change || x.Low.Known() && x.Low != -y.High || x.Significance != y.Significance {
				t.Errorf("well %d: %+v, turned round %+v", i+1, x, y)
			}
		}
	})
}
