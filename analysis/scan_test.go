package analysis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"runtime"
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
		y := aroundDirect(x, 1, rate, c.files)
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
	if y := aroundDirect(x[19500:22000], 1, rate, 6000); len(y) != 2500 {
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
		middle, peak := median(slices.Clone(x)), 0.0 // from the median
		for _, v := range x {
			peak = max(peak, math.Abs(v-middle))
		}
		if medianWithin(x, share, dsp.Peak(x)) {
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
	if !medianWithin(x, share, dsp.Peak(x)) {
		t.Error("not said of a response with noise 80 dB below its peak")
	}
}

// What takeOffset says is left is what is left, also of samples that are all alike.
func TestOffsetLeavesItsPeak(t *testing.T) {
	for _, x := range [][]float64{{1, 1.5, 0.5, 1, 1, 1}, {0.7}, {-2, -2, -2}, {0, 0}, {1, 0, 0, 0, 1e-3}} {
		was := slices.Clone(x)
		text, left := takeOffset(x, dsp.Peak(x))
		if left != dsp.Peak(x) || text != "" && slices.Equal(x, was) {
			t.Errorf("%v became %v: %g left, %q", was, x, left, text)
		}
	}
}

// Responses cut to what the gate needs are gated as before.
func TestKeepGated(t *testing.T) {
	const rate = 48000.0
	r := rand.New(rand.NewPCG(5, 8))
	x := make([]float64, 4000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	window := dsp.GateWindow{OpenS: 0.02011, FullS: 0.0206, FallS: 0.0281, ClosedS: 0.0303}
	m := &measuredPosition{sampleRateHz: rate, startS: 0.0031, fileStartS: 0.0031, directS: 0.0152, empty: slices.Clone(x), panel: [][]float64{slices.Clone(x)}}
	want, wantS := windowed(x, m.startS, rate, window)
	m.keepGated(window)
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
		if got := driftPositions(n); len(got) != want {
			t.Errorf("of %d: %d, want %d", n, len(got), want)
		}
	}
}

// scanSurvey is a survey of many positions, each with the files of the virtual bench's nearest one.
func scanSurvey(t *testing.T, positions int) *Survey {
	t.Helper()
	s, err := LoadSurvey("../fixtures/virtual-bench/room-b-panel-built-1.toml")
	if err != nil {
		t.Fatal(err)
	}
	bench := s.Positions
	s.Positions = nil
	for i := range positions {
		angle := -75 + 150*float64(i)/float64(positions-1)
		p := slices.MinFunc(bench, func(a, b SurveyPosition) int {
			return cmp.Compare(math.Abs(angleDeg(a.MicM)-angle), math.Abs(angleDeg(b.MicM)-angle))
		})
		p.Name = fmt.Sprint("scan", i)
		p.MicM = [3]float64{math.Sin(angle * math.Pi / 180), math.Cos(angle * math.Pi / 180), 0}
		s.Positions = append(s.Positions, p)
	}
	seat := bench[0]
	seat.Name = "seat"
	s.Seats = append(s.Seats, SurveySeat{Name: "seat", PlaceM: seat.MicM, Take: &seat})
	return s
}

// rewrite changes what is in the files of some positions, each file once.
func rewrite(t *testing.T, positions []*SurveyPosition, change func(*dsp.Audio)) {
	t.Helper()
	dir := t.TempDir()
	done := map[string]string{}
	for _, p := range positions {
		for _, files := range []*[]string{&p.Empty, &p.Flat, &p.Panel} {
			*files = slices.Clone(*files)
			for i, file := range *files {
				if done[file] == "" {
					a, err := dsp.ReadWAV(file)
					if err != nil {
						t.Fatal(err)
					}
					change(a)
					done[file] = filepath.Join(dir, fmt.Sprint(len(done), ".wav"))
					if err := dsp.WriteWAVFile(done[file], a, dsp.WAVFormat{SampleRateHz: a.SampleRateHz, BitsPerSample: 64, Float: true}); err != nil {
						t.Fatal(err)
					}
				}
				(*files)[i] = done[file]
			}
		}
	}
}

// ringing is a loudspeaker that rings at 1.8 kHz for some milliseconds.
func ringing(a *dsp.Audio) {
	const radius = 0.98
	turn := 2 * radius * math.Cos(2*math.Pi*1800/float64(a.SampleRateHz))
	x := a.Channels[0]
	for n := 2; n < len(x); n++ {
		x[n] += turn*x[n-1] - radius*radius*x[n-2]
	}
}

// twiceTheRate is the same at twice the sample rate.
func twiceTheRate(a *dsp.Audio) {
	a.SampleRateHz *= 2
	a.Channels[0], _ = dsp.Resample(a.Channels[0], 2)
}

// Positions that come and go give what they give where all are kept whole, also where the loudspeaker is divided out and where one that comes has a higher sample rate.
func TestStreamedPositionsAgainstKept(t *testing.T) {
	s := scanSurvey(t, 150)
	rewrite(t, []*SurveyPosition{&s.Positions[4]}, twiceTheRate)
	streamedAgainstKept(t, s, false)
	s = scanSurvey(t, 150)
	all := []*SurveyPosition{s.Seats[0].Take}
	for i := range s.Positions {
		all = append(all, &s.Positions[i])
	}
	rewrite(t, all, ringing)
	streamedAgainstKept(t, s, true)
}

func streamedAgainstKept(t *testing.T, s *Survey, divided bool) {
	t.Helper()
	s.Positions[7].Panel = append(s.Positions[7].Panel, s.Positions[8].Panel...) // two takes
	s.Positions[11].Empty, s.Positions[13].Flat = nil, nil
	kept := measured(t, s)
	defer func(n int) { keptPositions = n }(keptPositions)
	keptPositions = 100
	streamed := measured(t, s)
	whole := 0
	for _, i := range []int{4, 7, 11, 13} {
		if !streamed.positions[i].gatedOnly {
			t.Errorf("position %d, which is unlike the others, was kept whole", i)
		}
	}
	for i, m := range streamed.positions {
		k := kept.positions[i]
		if m.panel != nil {
			whole++
		}
		if streamed.gates[i] != kept.gates[i] || fmt.Sprint(m.alignment) != fmt.Sprint(k.alignment) || !(math.Abs(m.subtracted-k.subtracted) <= 1e-9) {
			t.Errorf("position %d: gate %v, want %v; alignment %v, want %v; subtracted %g, want %g", i, streamed.gates[i], kept.gates[i], m.alignment, k.alignment, m.subtracted, k.subtracted)
		}
	}
	if whole < 50 || whole > 100 {
		t.Errorf("%d of 150 positions were kept whole", whole)
	}
	if !reflect.DeepEqual(streamed.result.Warnings, kept.result.Warnings) || streamed.result.LoudspeakerDivided != divided || kept.result.LoudspeakerDivided != divided || !slices.Equal(streamed.source, kept.source) {
		t.Errorf("warnings %v, want %v; or another source; or not divided as it should be: %v, %v", streamed.result.Warnings, kept.result.Warnings, streamed.result.LoudspeakerDivided, kept.result.LoudspeakerDivided)
	}
	if len(streamed.seatPositions) != 1 || !slices.Equal(streamed.seatPositions[0].panel[0], kept.seatPositions[0].panel[0]) {
		t.Error("another seat")
	}
	for name, sets := range map[string][2][][]complex128{"empty": {streamed.empty, kept.empty}, "flat": {streamed.flat, kept.flat}, "panel": {streamed.panel, kept.panel}} {
		worst, largest := 0.0, 0.0
		for i := range sets[0] {
			if len(sets[0][i]) != len(sets[1][i]) {
				t.Fatalf("%s %d: %d values, want %d", name, i, len(sets[0][i]), len(sets[1][i]))
			}
			for k, v := range sets[0][i] {
				worst, largest = max(worst, cmplx.Abs(v-sets[1][i][k])), max(largest, cmplx.Abs(v))
			}
		}
		if !(worst <= 1e-9*largest) {
			t.Errorf("%s: off by %g of %g: times differ by rounding alone", name, worst, largest)
		}
	}
	for _, r := range []*run{streamed, kept} {
		r.fillPositions()
		r.timeView()
	}
	if !reflect.DeepEqual(streamed.result.TimeView, kept.result.TimeView) {
		t.Error("another time view")
	}
}

// What a check holds on to once everything is gated: three spectra per position and their alignment, some kilobytes, where the responses are 30 times that.
func TestMemoryOfManyPositions(t *testing.T) {
	held := func(positions int) float64 {
		s := scanSurvey(t, positions)
		before := liveHeap()
		r := measured(t, s)
		after := liveHeap()
		runtime.KeepAlive(r)
		return after - before
	}
	held(201) // what is kept for all runs
	few, many := held(300), held(900)
	each := (many - few) / 600
	t.Logf("%.1f MB at 300 positions, %.1f MB at 900: %.1f kB each", few/1e6, many/1e6, each/1e3)
	atMost(t, "kB per position", each/1e3, 16, "spectra of three states on 132 to 263 frequencies, 16 bytes each, twice where the memory is rounded up")
}

// liveHeap is what can't be collected, in bytes.
func liveHeap() float64 {
	runtime.GC()
	runtime.GC() // what a finaliser held
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}
