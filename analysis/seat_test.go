package analysis

import (
	"context"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/leadline/leadline/analysis/scatter"
)

// predictedSeats runs a prediction with the given seats on a small panel.
func predictedSeats(t *testing.T, seats ...SurveySeat) *Result {
	t.Helper()
	s := benchSeats(t, "room-a", "panel-as-designed")
	s.Positions, s.Seats = s.Positions[:2], seats
	s.Panel.DepthsM = []float64{0, 0.05, 0.12, 0.03}
	r, err := Predict(context.Background(), s, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The rules of thumb, by the table of the trade's figures (common practice, no source): prime 11, wells 35 mm wide, 13 cm deep over all with a 3 mm back: 94 cm and 39 cm.
func TestSeatRulesOfThumb(t *testing.T) {
	seq, err := QuadraticResidue(11)
	if err != nil {
		t.Fatal(err)
	}
	// the deepest of the sequence, 9, is 127 mm deep at the design frequency
	f0 := DesignSpeedOfSoundMS * 9 / (2 * 11 * 0.127)
	p := &Panel{Sequence: "quadratic residue", Prime: 11, Periods: 1, DesignFrequencyHz: Num(f0), DepthsM: SequenceDepths(seq, 11, f0, DesignSpeedOfSoundMS), WellWidthM: 0.035, BackM: 0.003}
	rules := distanceRules(p, DesignSpeedOfSoundMS)
	near(t, "three wavelengths", float64(rules[0].DistanceM), 0.94, 0.012, "told in whole centimetres, from a depth in whole centimetres")
	near(t, "three times the depth", float64(rules[1].DistanceM), 0.39, 0.005, "told in whole centimetres")
	for _, r := range rules {
		if r.Source != "common practice, no source" {
			t.Errorf("source %q", r.Source)
		}
	}
}

// From which distance on a level keeps to a limit, by straight lines.
func TestSeatDistanceKept(t *testing.T) {
	never := func(float64) bool { return false }
	points := func(levels ...float64) (out []SeatPoint) {
		for _, l := range levels {
			out = append(out, SeatPoint{WorstDB: Num(l)})
		}
		return out
	}
	d := []float64{0.5, 1, 1.5, 2}
	at, first := keptFrom(d, points(-4, -8, -12, -14), -10, never)
	near(t, "between", float64(at), 1.25, 1e-9, "half way")
	if first {
		t.Error("not at the first")
	}
	at, _ = keptFrom(d, points(-12, -4, -9, -11), -10, never) // kept, lost, and kept for good
	near(t, "for good", float64(at), 1.75, 1e-9, "half way")
	if at, _ = keptFrom(d, points(-4, -8, -9, -9.5), -10, never); at.Known() {
		t.Errorf("never: got %g", at)
	}
	if at, first = keptFrom(d, points(-14, -18, -19, -20), -10, never); !first || at != 0.5 {
		t.Errorf("everywhere: got %g, %t", at, first)
	}
	// from 1.4 m on the reflection comes too late for the limit
	at, _ = keptFrom(d, points(-4, -8, -9, -9.5), -10, func(d float64) bool { return d > 1.4 })
	near(t, "late", float64(at), 1.5, 1e-9, "the next distance")
}

// Another panel beside hangs as designed, the middle of all where it was; built depths take the place of designed ones where a panel hangs as designed.
func TestSeatOneMorePanel(t *testing.T) {
	p := Panel{DepthsM: []float64{0, 0.05, 0.12}, WellWidthM: 0.04, FinThicknessM: 0.005, HeightM: 0.6, CapM: 0.01, BackM: 0.005}
	one := (&run{survey: &Survey{Panel: p}, result: &Result{}}).layout()
	section, want := one.section(p.HeightM), panelSection(&p)
	if !cmp.Equal(section, want, cmpopts.EquateApprox(0, 1e-12)) {
		t.Errorf("one panel: %s", cmp.Diff(section, want))
	}
	two := oneMore(one)
	near(t, "width", two.widthM(), 2*p.WidthM(), 1e-9, "rounding")
	near(t, "middle", two.panels[0].X0M+two.panels[1].X1M, 0, 1e-9, "rounding")
	four := oneMore((&run{survey: &Survey{Panel: p, Row: &SurveyRow{Order: "DIM"}}, result: &Result{}}).layout())
	built := []scatter.Well{{DepthM: 0.001}, {DepthM: 0.051}, {DepthM: 0.121, Loss: 0.1}}
	got := wellsAsBuilt(four, built)
	for i, w := range slices.Concat(built, []scatter.Well{{DepthM: 0.12}, {DepthM: 0.07}, {}}, []scatter.Well{built[2], built[1], built[0]}, built) {
		if math.Abs(got[i].DepthM-w.DepthM) > 1e-12 || got[i].Loss != w.Loss {
			t.Errorf("well %d: got %v, want %v", i+1, got[i], w)
		}
	}
}

// A seat's figures are those that the prediction for positions gives for the same place, and a panel that hangs where the seat sees it alike either way around does alike.
func TestSeatsPredicted(t *testing.T) {
	r := predictedSeats(t, SurveySeat{Name: "axis", PlaceM: [3]float64{0, 1, 0}}, SurveySeat{Name: "aside", PlaceM: [3]float64{0.4, 0.8, 0.1}},
		SurveySeat{Name: "area", Area: &SeatArea{NearestM: 0.7, FarthestM: 1.2, AsideM: 0.2}})
	g := r.Seating
	if g == nil || len(g.Seats) != 3 {
		t.Fatal("no seats")
	}
	// the positions' own path, on a grid of its own
	s := benchSeats(t, "room-a", "panel-as-designed")
	p := s.Panel
	p.DepthsM = []float64{0, 0.05, 0.12, 0.03}
	grid := newGrid(predictionEndHz, 0.01)
	for i := range 2 {
		seat := &g.Seats[i]
		at := seat.PlaceM
		o, err := solveOutside(context.Background(), panelSection(&p), placeAt(s.SourceM), []scatter.Place{placeAt(at)}, 343.2, grid, func(float64) {})
		if err != nil {
			t.Fatal(err)
		}
		field, err := o.panel(wellsOf(p.DepthsM), true, nil)
		if err != nil {
			t.Fatal(err)
		}
		direct := distance(s.SourceM, at)
		for b, hz := range g.BandHz {
			low, high := hz*math.Pow(10, -0.05), hz*math.Pow(10, 0.05)
			sum, n := 0.0, 0.0
			for k := grid.first; k <= grid.last; k++ {
				if f := float64(k) * grid.stepHz; f >= low && f <= high {
					sum += squared(field[0][k] * cmplx.Rect(4*math.Pi*direct, 0))
					n++
				}
			}
			near(t, "reflected level", float64(seat.Design.ReflectionDB[b]), 10*math.Log10(sum/n), 0.4, "lines at the bands' edges count whole in the one, in part in the other")
		}
		if seat.Sweep.DistanceM[slices.Index(seat.Sweep.DistanceM, at[1])] != at[1] || len(seat.Tuning.Points) != 5 {
			t.Errorf("%s: its own distance is not in the sweep, or places of the panel are missing", seat.Name)
		}
	}
	axis := &g.Seats[0]
	near(t, "lying, straight ahead", float64(axis.Lying.WorstDB), float64(axis.Design.WorstDB), 1e-3, "on the axis a panel looks alike lying and upright")
	// with half the lines
	w := &seatRun{run: &run{survey: s, air: r.Air, result: r, options: Options{}}}
	fresh, err := w.newSeatRun(g.Criterion)
	if err != nil {
		t.Fatal(err)
	}
	s.Panel = p
	fresh.of = 1
	single := singlePanel(&p)
	section := single.section(p.HeightM)
	coarse, err := fresh.solve(context.Background(), &section, []seatScene{{grid: fresh.coarse, wells: [][]scatter.Well{single.wells()}, source: s.SourceM, places: [][3]float64{{0, 0.5, 0}, {0, 1, 0}, {0.4, 0.8, 0.1}}}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []SeatPoint{axis.Sweep.Design[slices.Index(axis.Sweep.DistanceM, 0.5)], axis.Design.point(), g.Seats[1].Design.point()} {
		f := fresh.view.figures([]*listened{&coarse[0].states[0][i]})
		near(t, "strongest third octave with half the lines", float64(f.WorstDB), float64(want.WorstDB), 0.3, "late sound folds back into half the time")
		near(t, "comb with half the lines", float64(f.MeanCombDB), float64(want.MeanCombDB), 0.1, "as above")
	}
	area := &g.Seats[2]
	if at := area.PlaceM; at[1] < 0.7 || at[1] > 1.2 || math.Abs(at[0]) > 0.2+1e-9 {
		t.Errorf("best place %v is not in the area", at)
	}
	// nothing in the area is better, by the sweep through it
	for i, d := range area.Sweep.DistanceM {
		if d < 0.7 || d > 1.2 {
			continue
		}
		if p := area.Sweep.Design[i]; p.WorstDB <= -10 && (area.Design.WorstDB > -10 || p.disturbance() < math.Hypot(float64(area.Design.MeanCombDB), float64(area.Design.MeanUnevenness))-1e-9) {
			t.Errorf("%g m is better than the chosen %g m", d, area.PlaceM[1])
		}
	}
	for _, seat := range g.Seats {
		if seat.Advice.Text == "" || len(seat.Advice.Reasons) < 7 || !strings.Contains(strings.Join(seat.Advice.Reasons, " "), "common practice, no source") {
			t.Errorf("%s: advice %q, %d reasons", seat.Name, seat.Advice.Text, len(seat.Advice.Reasons))
		}
	}
	if !strings.Contains(g.Criterion.Text, "ends at 5.7") {
		t.Error("the criterion does not say where the prediction ends")
	}
}
