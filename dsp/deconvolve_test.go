package dsp

import (
	"math"
	"strings"
	"testing"
)

func mustInverse(t testing.TB, e *Excitation, tailS float64) *Inverse {
	t.Helper()
	v, err := NewInverse(e, tailS)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func mustDeconvolve(t testing.TB, v *Inverse, segment []float64) *Deconvolution {
	t.Helper()
	d, err := v.Deconvolve(segment[:min(len(segment), v.Size())])
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// convolve is the full linear convolution.
func convolve(x, h []float64) []float64 {
	n := SmoothLength(len(x) + len(h) - 1)
	X, H := RealSpectrum(x, n), RealSpectrum(h, n)
	for k := range X {
		X[k] *= H[k]
	}
	return RealSignal(X, n)[:len(x)+len(h)-1]
}

// thirdOctave is the third octave around 100·10^(k/10) Hz: k = 10 is 1 kHz.
func thirdOctave(k int) Band {
	centre := 100 * math.Pow(10, float64(k)/10)
	return Band{centre, centre * math.Pow(10, -0.05), centre * math.Pow(10, 0.05)}
}

func peakOf(x []float64) float64 { return math.Abs(x[argMaxAbs(x)]) }

// The same recording divided by SciPy, from a script that shares only the formulas.
func TestDeconvolveAgainstSciPy(t *testing.T) {
	recording := readReference(t, "deconvolve_recording.txt")[0]
	want := readReference(t, "deconvolve_response.txt")[0]
	spec := SweepSpec{LowHz: 60, HighHz: 1600, Seconds: 0.5, SampleRateHz: 4000, FadeInS: 0.03, FadeOutS: 0.01, LevelDBFS: -6, Repeats: 1}
	s := mustSweep(t, spec)
	v := mustInverse(t, s.Excitation(), 0.1)
	if v.Size() != len(want) {
		t.Fatalf("%d lags, SciPy has %d", v.Size(), len(want))
	}
	got := mustDeconvolve(t, v, recording).Cut(0, v.Size())
	peak := peakOf(want)
	for i := range want {
		// Both round at some 1e-16 of the recording, and the division magnifies that by at most the range of the sweep's
		// spectrum, 10³; 1e-6 is what was promised.
		if math.Abs(got[i]-want[i]) > 1e-6*peak {
			t.Fatalf("lag %d: %v, SciPy has %v", i, got[i], want[i])
		}
	}
}

// Lags cut out at once are those of the whole division.
func TestCutIsDeconvolutionsCut(t *testing.T) {
	e := mustSweep(t, SuggestSweep(50, 20000, 0.2, 48000)).Excitation()
	v := mustInverse(t, e, 0.1)
	segment := append(make([]float64, 331), e.Samples...)
	d := mustDeconvolve(t, v, segment)
	for _, from := range []int{0, 331, -100, -3 * v.Size(), v.Size() - 1} {
		for _, count := range []int{0, 1, 4800, v.Size()} {
			got := make([]float64, count)
			if err := v.Cut(got, segment, from); err != nil {
				t.Fatal(err)
			}
			if !sameBits(got, d.Cut(from, count)) {
				t.Fatalf("%d lags from %d on differ", count, from)
			}
		}
	}
}

// The truth itself: a known response comes back, filtered by the documented pass band and by nothing else.
func TestDeconvolveRecoversAKnownResponse(t *testing.T) {
	for name, spec := range map[string]SweepSpec{
		"synchronised": SuggestSweep(50, 20000, 2, 48000),
		"plain":        {LowHz: 30, HighHz: 20000, Seconds: 1, SampleRateHz: 44100, Plain: true, FadeInS: 0.02, FadeOutS: 0.005, Repeats: 1, LevelDBFS: -3},
		"no fades":     {LowHz: 100, HighHz: 10000, Seconds: 1, SampleRateHz: 48000, Repeats: 1},
	} {
		s := mustSweep(t, spec)
		v := mustInverse(t, s.Excitation(), 0.2)
		fir := make([]float64, 4000)
		for i, r := range randomSamples(5, len(fir)) {
			fir[i] = 0.1 * r * math.Exp(-float64(i)/500)
		}
		fir[0], fir[100], fir[350] = 0, 1, -0.7
		got := mustDeconvolve(t, v, convolve(s.Samples(), fir)).Cut(0, v.Size())

		X := RealSpectrum(fir, v.Size())
		for k := range X {
			X[k] *= complex(v.PassBand(float64(k)*spec.SampleRateHz/float64(v.Size())), 0)
		}
		want := RealSignal(X, v.Size())
		peak := peakOf(want)
		for i := range want {
			// Division where the sweep has power is exact but for rounding; 1e-6 of the peak was promised.
			if math.Abs(got[i]-want[i]) > 1e-6*peak {
				t.Fatalf("%s: lag %d is %v, want %v", name, i, got[i], want[i])
			}
		}
	}
}

func TestPassBand(t *testing.T) {
	v := mustInverse(t, mustSweep(t, SuggestSweep(50, 20000, 1, 48000)).Excitation(), 0.1)
	low, high := v.FlatBandHz()
	near(t, "flat from", low, 50*math.Pow(2, 1.0/6), 1e-9)
	for f, want := range map[float64]float64{0: 0, 49: 0, 50 * math.Pow(2, 1.0/12): 0.5, low * 1.001: 1, 1000: 1, high * 0.999: 1, 20000 / math.Pow(2, 1.0/12): 0.5, 20001: 0, math.NaN(): 0} {
		near(t, "pass band", v.PassBand(f), want, 1e-9)
	}
	// The documented formula everywhere, and closely at the corners.
	edge := func(octaves float64) float64 { return 0.5 - 0.5*math.Cos(math.Pi*min(1, max(0, octaves*6))) }
	for _, around := range []float64{50, low, 1000, high, 20000} {
		for i := -3000; i <= 3000; i++ {
			for _, step := range []float64{1e-16, 1e-11, 1e-4} {
				f := around * (1 + step*float64(i))
				if got, want := v.PassBand(f), edge(math.Log2(f/50))*edge(math.Log2(20000/f)); math.Abs(got-want) > 1e-15 { // 6 and 1/6 round differently
					t.Fatalf("pass band at %v Hz: %v, want %v", f, got, want)
				}
			}
		}
	}
}

// Distortion of known size and phase: order n of the sweep's own phase, at −40 dB, through a different response per order.
func TestHarmonicsStandAtLLnN(t *testing.T) {
	spec := SuggestSweep(50, 20000, 4, 48000)
	spec.LevelDBFS = 0
	s := mustSweep(t, spec)
	x := s.Samples()
	amplitudes := map[int]float64{2: 0.02, 3: -0.01, 4: 0.005, 5: 0.003}
	for i := range x {
		tS := float64(i) / 48000
		phase := 2 * math.Pi * s.LowHz * s.RateS * math.Expm1(tS/s.RateS)
		for n, a := range amplitudes {
			// An order ends where it would pass the sweep's own end, so that nothing folds.
			x[i] += a * s.fade(tS) * s.fade(tS+s.HarmonicLeadS(n)) * math.Sin(float64(n)*phase)
		}
	}
	v := mustInverse(t, s.Excitation(), 0.5)
	recording := FractionalDelay(append(x, make([]float64, 2000)...), 480.3)
	d := mustDeconvolve(t, v, recording)
	direct, value := d.Onset(0, 24000)
	near(t, "direct sound, samples", direct, 480.3, 1e-3)
	// The pass band takes the rest of the pulse's height: its integral over half the sample rate.
	near(t, "its height", value, (20000*math.Pow(2, -1.0/12)-50)/24000, 0.01)
	for n := 2; n <= HarmonicOrders; n++ {
		at, peak := d.Onset(int(direct-s.HarmonicLeadS(n)*48000)-200, int(direct-s.HarmonicLeadS(n)*48000)+200)
		// Each order's response is a pulse at its place to a tenth of a sample: its lower edge, n times the sweep's, and the
		// fades move its top a little.
		near(t, "place of an order, samples", at, direct-s.HarmonicLeadS(n)*48000, 0.1)
		near(t, "its height re the direct sound's", peak/value, amplitudes[n], 0.03*math.Abs(amplitudes[n]))
		h, err := d.Harmonic(n, direct, 0.002, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		if i := argMaxAbs(h); i != 96 || (h[i] > 0) != (amplitudes[n] > 0) {
			t.Errorf("order %d: peak %v at sample %d, want the sign of %v at 2 ms", n, h[i], i, amplitudes[n])
		}
	}
	levels, err := d.HarmonicLevels(direct, 0.005, 0.2, []Band{thirdOctave(3), thirdOctave(10), thirdOctave(15), thirdOctave(20)}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(levels) != 16 {
		t.Fatalf("%d levels, want 4 orders in 4 bands", len(levels))
	}
	for _, l := range levels {
		if l.Band.HighHz*float64(l.Order) > 20000*math.Pow(2, -1.0/6) {
			if !math.IsNaN(l.LevelDB) {
				t.Errorf("order %d of %g Hz is beyond the sweep, but has level %v", l.Order, l.Band.CentreHz, l.LevelDB)
			}
			continue
		}
		// 0.2 dB: the cuts end inside the pulse's own ringing at 50 Hz, and at 200 Hz the order's lower edge is near.
		near(t, "level, dB", l.LevelDB, 20*math.Log10(math.Abs(amplitudes[l.Order])), 0.2)
	}
}

// White noise of known power: its density in the response is, by Parseval, σ²|G|² M/N.
func TestNoiseInTheResponse(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 1, 48000))
	v := mustInverse(t, s.Excitation(), 0.3)
	const sigma = 0.01
	noise := randomSamples(7, v.Size()+48000)
	for i := range noise {
		noise[i] *= sigma
	}
	n, err := v.Noise(noise[:48000])
	if err != nil {
		t.Fatal(err)
	}
	// A second stretch of the same noise, deconvolved: what the estimate from the first foretells.
	h := mustDeconvolve(t, v, noise[48000:]).Cut(0, 20000)
	for _, k := range []int{7, 10, 16, 20} {
		band := thirdOctave(k)
		// A third octave at 500 Hz holds 115 Hz × 0.4 s of independent values: 15 % standard error, 0.7 dB; three times that.
		near(t, "noise in the response, dB", 10*math.Log10(bandPower(h, 48000, band)/(n.Density(band)*20000)), 0, 2.1)
		// And in closed form: G² is 4 f/(A² L fs²) by stationary phase.
		amplitude := math.Pow(10, -12.0/20)
		want := sigma * sigma * 4 * band.CentreHz / (amplitude * amplitude * s.RateS * 48000 * 48000) // and M = N here
		near(t, "density, dB re closed form", 10*math.Log10(n.Density(band)/want), 0, 1.5)
	}
	// A unit pulse at the excitation's scale has |DFT|² = 1.
	pulse := make([]float64, 9600)
	pulse[100] = 1
	near(t, "SNR", n.SNRdB(pulse, thirdOctave(10)), 10*math.Log10(1/(n.Density(thirdOctave(10))*9600)-1), 0.01)
	if _, err := v.Noise(noise[:100]); err == nil || !strings.Contains(err.Error(), "silence") {
		t.Errorf("2 ms of silence: %v", err)
	}
}

func TestDeconvolutionErrors(t *testing.T) {
	good := mustSweep(t, SuggestSweep(50, 20000, 1, 48000)).Excitation()
	for name, change := range map[string]func(e *Excitation) float64{
		"no samples":       func(e *Excitation) float64 { e.Samples = nil; return 0.1 },
		"no rate":          func(e *Excitation) float64 { e.SampleRateHz = 0; return 0.1 },
		"band beyond rate": func(e *Excitation) float64 { e.HighHz = 30000; return 0.1 },
		"silent":           func(e *Excitation) float64 { e.Samples = make([]float64, 100); return 0.1 },
		"negative tail":    func(e *Excitation) float64 { return -1 },
		"endless tail":     func(e *Excitation) float64 { return math.Inf(1) },
	} {
		e := *good
		tail := change(&e)
		if _, err := NewInverse(&e, tail); err == nil {
			t.Errorf("%s must be refused", name)
		}
	}
	if _, err := NewInverse(nil, 0); err == nil {
		t.Error("no excitation must be refused")
	}
	v := mustInverse(t, good, 0.1)
	if _, err := v.Deconvolve(make([]float64, v.Size()+1)); err == nil {
		t.Error("a segment that doesn't fit must be refused")
	}
	if v.Cut(nil, make([]float64, v.Size()+1), 0) == nil || v.Cut(make([]float64, v.Size()+1), nil, 0) == nil {
		t.Error("a segment or lags that don't fit must be refused")
	}
	d := mustDeconvolve(t, v, good.Samples)
	if _, err := d.Harmonic(6, 0, 0.001, 0.1); err == nil {
		t.Error("order 6 must be refused")
	}
	if !math.IsNaN(mustDeconvolve(t, v, nil).CompactnessDB()) {
		t.Error("silence has no compactness")
	}
	if c := d.CompactnessDB(); c < 40 {
		t.Errorf("the sweep itself has a compactness of %v dB", c)
	}
}
