package analysis

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/leadline/leadline/analysis/scatter"
)

// Fields without kept solutions, 300 receivers in two parts, against the solutions kept.
func TestFieldsWithoutKeptSolutions(t *testing.T) {
	p := &Panel{DepthsM: []float64{0, 0.02, 0.05}, WellWidthM: 0.05, FinThicknessM: 0.004, HeightM: 0.5, CapM: 0.01, BackM: 0.005}
	g := grid{stepHz: 200, first: 2, last: 6}
	source := placeAt([3]float64{0.3, 2, 0})
	var receivers []scatter.Place
	for i := range 300 {
		angle := math.Pi * (float64(i)/300 - 0.5) * 0.9
		receivers = append(receivers, placeAt([3]float64{math.Sin(angle), math.Cos(angle), 0}))
	}
	quiet := func(float64) {}
	o, err := solveOutside(context.Background(), panelSection(p), source, receivers, 343, g, quiet)
	if err != nil {
		t.Fatal(err)
	}
	wantPanel, err := o.panel(wellsOf(p.DepthsM), true, nil)
	if err != nil {
		t.Fatal(err)
	}
	wantFlat := o.flat()
	panel, flat, err := fieldsAt(context.Background(), panelSection(p), source, receivers, wellsOf(p.DepthsM), 343, g, quiet)
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for r := range receivers {
		for k := range g.count() {
			worst = max(worst, cmplx.Abs(panel[r][k]-wantPanel[r][k])/(1e-30+cmplx.Abs(wantPanel[r][k])), cmplx.Abs(flat[r][k]-wantFlat[r][k])/(1e-30+cmplx.Abs(wantFlat[r][k])))
		}
	}
	if worst > 1e-9 {
		t.Errorf("relative difference %.2g: want 1e-9, which the series in a receiver's distance allow over other spans", worst)
	}
}

func TestSpreadEvenly(t *testing.T) {
	for n, want := range map[int]int{0: 0, 1: 1, 65: 65, 66: 33, 130: 65, 2000: 65} {
		got := spreadEvenly(n, 65)
		if len(got) != want || want > 0 && (got[0] != 0 || got[len(got)-1] >= n) {
			t.Errorf("of %d: %d numbers, want %d: %v", n, len(got), want, got)
		}
	}
}

// A long response is cut around its direct sound and faded out; what the gates see stays as it was.
func TestLongResponsesAreCut(t *testing.T) {
	const rate = 96000.0
	r := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 96000)
	for i := range x {
		x[i] = 1e-4 * r.NormFloat64()
	}
	x[20000] = 1
	for _, c := range []struct {
		files         int
		before, after float64 // seconds
	}{{99, 0.010, 0.060}, {6000, 0.010, 0.040}} {
		y := aroundDirect(x, rate, c.files)
		at := int(onset(y, rate) + 0.5)
		if at != int(math.Round(c.before*rate)) || len(y) != int(math.Round((c.before+c.after)*rate)) {
			t.Fatalf("%d files: direct sound at %d of %d samples, want %g s before it and %g s after", c.files, at, len(y), c.before, c.after)
		}
		for i := range len(y) - int(0.003*rate) {
			if y[i] != x[20000-at+i] {
				t.Fatalf("%d files: sample %d changed", c.files, i)
			}
		}
		if last := y[len(y)-1]; math.Abs(last) > 1e-6 {
			t.Errorf("the end is %g, not faded", last)
		}
	}
	if y := aroundDirect(x[19500:22000], rate, 6000); len(y) != 2500 {
		t.Errorf("a short response was cut to %d samples", len(y))
	}
}
