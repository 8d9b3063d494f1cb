package dsp

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

func mustSweep(t testing.TB, spec SweepSpec) *Sweep {
	t.Helper()
	s, err := NewSweep(spec)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g within %.2g", what, got, want, tolerance)
	}
}

// Farina, AES preprint 5093 (2000); Novak et al., JAES 63 (2015) 786. The numbers were computed from the formulas in high
// precision outside this project, and are given to the digits shown.
func TestSweepConstants(t *testing.T) {
	spec := SuggestSweep(20, 20000, 10, 48000)
	spec.Plain = true
	s := mustSweep(t, spec)
	near(t, "L", s.RateS, 1.4476483, 5e-8)
	for n, want := range map[int]float64{1: 0, 2: 1.0034333, 3: 1.5904042, 4: 2.0068666, 5: 2.3299} {
		tolerance := 5e-8
		if n == 5 {
			tolerance = 5e-5
		}
		near(t, "lead", s.HarmonicLeadS(n), want, tolerance)
	}
	near(t, "f(T/2)", s.FrequencyHz(5), 632.4555, 5e-5)
	near(t, "f(T)", s.FrequencyHz(10), 20000, 1e-8)
	near(t, "t(632.4555 Hz)", s.TimeS(632.4555), 5, 1e-6)

	spec.Plain = false
	s = mustSweep(t, spec)
	near(t, "L, synchronised", s.RateS, 1.45, 1e-15)
	near(t, "T, synchronised", s.DurationS, 10.0162452, 5e-8)
	if !math.IsNaN(s.HarmonicLeadS(0)) {
		t.Error("order 0 has no lead")
	}
}

// What "synchronised" means: sin of n times the phase is the sweep itself, L ln n later in its course.
func TestSynchronisedSweepIsItsOwnHarmonic(t *testing.T) {
	spec := SuggestSweep(20, 2000, 3, 48000)
	spec.FadeInS, spec.FadeOutS, spec.LevelDBFS = 0, 0, 0
	s := mustSweep(t, spec)
	phase := func(tS float64) float64 { return 2 * math.Pi * s.LowHz * s.RateS * math.Expm1(tS/s.RateS) }
	for n := 2; n <= 5; n++ {
		for tS := 0.0; tS < s.DurationS-s.HarmonicLeadS(n); tS += 0.0137 {
			// Phases of some 10⁴ radians carry rounding of some 1e-12.
			near(t, "harmonic", math.Sin(float64(n)*phase(tS)), s.Value(tS+s.HarmonicLeadS(n)), 1e-10)
		}
	}
}

// By stationary phase the spectrum of the sweep is (A/2)√(L/f) fs, half the energy per octave being the same in each.
func TestSweepSpectrum(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 2, 48000))
	x := s.Samples()
	n := SmoothLength(len(x))
	X := RealSpectrum(x, n)
	for _, f := range []float64{100, 1000, 4000, 12000} {
		k := int(f / 48000 * float64(n))
		want := math.Pow(10, -12.0/20) / 2 * math.Sqrt(s.RateS/f) * 48000
		// Fresnel ripples of the fades: within 3 % away from the ends.
		near(t, "spectrum", cmplx.Abs(X[k])/want, 1, 0.03)
	}
}

func TestPlayback(t *testing.T) {
	spec := SuggestSweep(50, 20000, 1, 44100)
	spec.Repeats, spec.Pilot, spec.LevelDBFS = 3, true, -20
	s := mustSweep(t, spec)
	x := s.Playback()
	starts := s.StartsSamples()
	if len(starts) != 3 || starts[0] != 44100 {
		t.Fatalf("starts at %v", starts)
	}
	sweep := s.Samples()
	peak := 0.0
	for i, v := range sweep {
		peak = math.Max(peak, math.Abs(v))
		for _, start := range starts {
			if x[start+i] != v {
				t.Fatalf("sample %d after the start at %d is %v, the sweep's is %v", i, start, x[start+i], v)
			}
		}
	}
	near(t, "peak of −20 dBFS", peak, 0.1, 1e-4) // some sample falls within 2.5° of a crest
	if x[starts[0]-1] != 0 || x[0] != 0 || x[len(x)-1] != 0 || x[starts[0]-44100/2+500] == 0 {
		t.Error("silence and pilot are not where they belong")
	}
	if math.Abs(sweep[0]) > 0 || math.Abs(sweep[len(sweep)-1]) > 1e-4*peak {
		t.Error("the fades must start and end at 0")
	}
}

func TestSweepErrorsSayWhatToDo(t *testing.T) {
	good := SuggestSweep(50, 20000, 2, 48000)
	for name, c := range map[string]struct {
		change func(*SweepSpec)
		want   string
	}{
		"rate missing":    {func(s *SweepSpec) { s.SampleRateHz = 0 }, "sample rate"},
		"beyond Nyquist":  {func(s *SweepSpec) { s.HighHz = 24000 }, "half the sample rate"},
		"NaN":             {func(s *SweepSpec) { s.LowHz = math.NaN() }, "low frequency"},
		"endless":         {func(s *SweepSpec) { s.Seconds = math.Inf(1) }, "length in seconds"},
		"reversed":        {func(s *SweepSpec) { s.LowHz, s.HighHz = s.HighHz, s.LowHz }, "less than an octave"},
		"too loud":        {func(s *SweepSpec) { s.LevelDBFS = 1 }, "0 or below"},
		"no repeat":       {func(s *SweepSpec) { s.Repeats = 0 }, "at least 1"},
		"negative fade":   {func(s *SweepSpec) { s.FadeInS = -1 }, "fade-in"},
		"fades too long":  {func(s *SweepSpec) { s.FadeInS, s.FadeOutS = 1, 1.5 }, "shorten"},
		"far too long":    {func(s *SweepSpec) { s.Seconds = 1e9 }, "at most 600 s"},
		"too short":       {func(s *SweepSpec) { s.Seconds, s.FadeInS, s.FadeOutS = 0.05, 0, 0 }, "too short to be synchronised"},
		"no room, pilot":  {func(s *SweepSpec) { s.Pilot, s.SilenceBeforeS = true, 0.1 }, "pilot"},
		"no band, pilot":  {func(s *SweepSpec) { s.Pilot, s.HighHz = true, 600 }, "pilot"},
		"endless silence": {func(s *SweepSpec) { s.SilenceAfterS = math.Inf(1) }, "silence after"},
	} {
		spec := good
		c.change(&spec)
		if _, err := NewSweep(spec); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, c.want)
		}
	}
}

func TestExcitationFromSamples(t *testing.T) {
	spec := SuggestSweep(40, 18000, 1.5, 48000)
	spec.Repeats, spec.Pilot = 2, true
	s := mustSweep(t, spec)
	e, start, err := ExcitationFromSamples(s.Playback(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	// The fade hides the first sweep's very beginning; where it stands is found to that.
	if first := s.StartsSamples()[0]; start < first || start > first+400 {
		t.Errorf("the sweep starts at %d, found at %d", first, start)
	}
	// An order's response must be found to a fraction of a sample: L to some 1e-6 of itself.
	near(t, "L", e.RateS/s.RateS, 1, 3e-6)
	near(t, "low", e.LowHz, s.FrequencyHz(float64(start-s.StartsSamples()[0])/48000), 0.1)
	near(t, "high", e.HighHz, 18000, 100)

	linear := make([]float64, 48000)
	for i := range linear {
		tS := float64(i) / 48000
		linear[i] = 0.3 * math.Sin(2*math.Pi*(100*tS+5000*tS*tS))
	}
	if e, _, err = ExcitationFromSamples(linear, 48000); err != nil || e.RateS != 0 {
		t.Errorf("a linear sweep: %v, L = %v; it can serve, but without distortion orders", err, e.RateS)
	}
	near(t, "high of the linear sweep", e.HighHz, 10100, 700)
	tone := make([]float64, 48000)
	for i := range tone {
		tone[i] = math.Sin(0.1 * float64(i))
	}
	for name, x := range map[string][]float64{"silence": make([]float64, 1000), "a tone": tone, "a click": {0, 1, 0}, "nothing": nil, "NaN": {0, math.NaN()}} {
		if _, _, err := ExcitationFromSamples(x, 48000); err == nil {
			t.Errorf("%s must be refused", name)
		}
	}
}

// A sweep made at one rate, moved to another, is the sweep made there.
func TestExcitationAtAnotherRate(t *testing.T) {
	spec := SuggestSweep(50, 18000, 1, 48000)
	spec.Plain = true
	e, err := mustSweep(t, spec).Excitation().AtRate(44100)
	if err != nil {
		t.Fatal(err)
	}
	spec.SampleRateHz = 44100
	want := mustSweep(t, spec).Excitation()
	for i := range e.Samples {
		// The resampling is good to −100 dB of the sweep's −12 dBFS where a quick fade at 18 kHz doesn't widen its spectrum.
		if math.Abs(e.Samples[i]-want.Samples[i]) > 3e-5 {
			t.Fatalf("sample %d is %v, want %v", i, e.Samples[i], want.Samples[i])
		}
	}
	near(t, "high", e.HighHz, 18000, 1e-9)
	if e, err := e.AtRate(16000); err != nil || e.HighHz > 8000 || e.RateS != want.RateS {
		t.Errorf("at 16 kHz: %v, %v", e, err)
	}
	for _, rate := range []float64{0, math.NaN(), 1000} {
		if _, err := want.AtRate(rate); err == nil {
			t.Errorf("a rate of %v must be refused", rate)
		}
	}
}
