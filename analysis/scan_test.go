package analysis

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
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
	defer func(n int) { receiversAtOnce = n }(receiversAtOnce)
	receiversAtOnce = 256
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

// What medianWithin says without sorting holds for the sorted samples, and it says so of an ordinary response.
func TestMedianWithin(t *testing.T) {
	const share = 0.003
	r := rand.New(rand.NewPCG(2, 3))
	said := 0
	for i := range 3000 {
		x := make([]float64, 1+i%50)
		offset := 0.001 * r.NormFloat64() * float64(i%3)
		for n := range x {
			x[n] = offset + 0.001*r.NormFloat64()
		}
		x[r.IntN(len(x))] = 1
		middle, peak := median(slices.Clone(x)), 0.0
		for _, v := range x {
			peak = max(peak, math.Abs(v-middle))
		}
		if medianWithin(x, share) {
			said++
			if math.Abs(middle) > share*peak {
				t.Fatalf("median %g, peak %g: not within %g of it", middle, peak, share)
			}
		}
	}
	if said < 300 {
		t.Errorf("said of %d of 3000 only", said)
	}
	x := make([]float64, 4800)
	for n := range x {
		x[n] = 1e-4 * r.NormFloat64()
	}
	x[1000] = -1
	if !medianWithin(x, share) {
		t.Error("not said of a response with noise 80 dB below its peak")
	}
}

// Responses cut to what the gate needs are gated as before.
func TestForgetBeyondGates(t *testing.T) {
	const rate = 48000.0
	r := rand.New(rand.NewPCG(5, 8))
	x := make([]float64, 4000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	window := dsp.GateWindow{OpenS: 0.02011, FullS: 0.0206, FallS: 0.0281, ClosedS: 0.0303}
	m := &measuredPosition{sampleRateHz: rate, startS: 0.0031, fileStartS: 0.0031, directS: 0.0152, empty: slices.Clone(x), panel: [][]float64{slices.Clone(x)}}
	want, wantS := windowed(x, m.startS, rate, window)
	positions, gates := []*measuredPosition{m}, []gate{{window: window}}
	for range keptPositions { // as many as make it cut
		positions, gates = append(positions, &measuredPosition{sampleRateHz: rate}), append(gates, gate{})
	}
	(&run{positions: positions, gates: gates}).forgetBeyondGates()
	if n := len(m.empty); n >= len(x)/2 || n != len(m.panel[0]) {
		t.Fatalf("%d samples kept of the empty room, %d of the panel, of %d", n, len(m.panel[0]), len(x))
	}
	for _, kept := range [][]float64{m.empty, m.panel[0]} {
		got, gotS := windowed(kept, m.startS, rate, window)
		if len(got) != len(want) || math.Abs(gotS-wantS) > 1e-12 {
			t.Fatalf("%d samples from %g s, want %d from %g s", len(got), gotS, len(want), wantS)
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-9 {
				t.Fatalf("sample %d: %g, want %g: times differ by rounding alone", i, got[i], want[i])
			}
		}
	}
}

// Of a survey of many positions those that a drift is estimated from are few, of a small one all.
func TestDriftPositions(t *testing.T) {
	for n, want := range map[int]int{33: 33, 65: 65, 66: 33, 2000: 33} {
		a := &alignment{takes: make([]map[string][]response, n)}
		if got := a.driftPositions(); len(got) != want {
			t.Errorf("of %d: %d, want %d", n, len(got), want)
		}
	}
}
