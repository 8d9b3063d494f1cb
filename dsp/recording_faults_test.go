package dsp

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func sine(n int, frequencyHz, amplitude, rate float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*frequencyHz*float64(i)/rate)
	}
	return x
}

func clip(x []float64, level, gain float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = gain * math.Max(-level, math.Min(level, v))
	}
	return y
}

func quantise(x []float64, bits int) []float64 {
	full := math.Exp2(float64(bits - 1))
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = math.Max(-full, math.Min(full-1, math.Round(v*full))) / full
	}
	return y
}

func TestFindClipping(t *testing.T) {
	const rate = 48000
	loud := append(make([]float64, 4800), sine(9600, 997, 1.3, rate)...)
	for name, x := range map[string][]float64{
		"16 bits at full scale":          quantise(loud, 16),
		"24 bits at full scale":          quantise(loud, 24),
		"floating point, a gain later":   clip(loud, 1, 0.37),
		"24 bits, a gain later":          quantise(clip(loud, 1, 0.37), 24),
		"only the lower half, low level": quantise(clip(append(make([]float64, 100), sine(20000, 59.3, 0.5, rate)...), 0.4999, 0.1), 24),
	} {
		f := FindClipping(x, rate)
		if len(f) != 1 {
			t.Errorf("%s: %v", name, f)
			continue
		}
		if full := strings.Contains(f[0].Text, "at full scale"); full != strings.Contains(name, "full scale") {
			t.Errorf("%s: %s", name, f[0].Text)
		}
		if strings.Contains(name, "gain later") && !strings.Contains(f[0].Text, "-8.6 dB") {
			t.Errorf("%s: %s; the tops stand at 20 lg 0.37 = −8.6 dB", name, f[0].Text)
		}
		if !strings.HasPrefix(name, "only") && math.Abs(f[0].TimeS-0.1) > 0.001 {
			t.Errorf("%s: at %v s, want the first crest, after 0.1 s", name, f[0].TimeS)
		}
	}
	// A sweep through a coarse converter has equal samples at every slow crest, and no flat tops.
	s := mustSweep(t, SweepSpec{LowHz: 20, HighHz: 20000, Seconds: 5, SampleRateHz: 192000, Repeats: 1, LevelDBFS: -0.1})
	noisy := s.Samples()
	for i, v := range randomSamples(3, len(noisy)) {
		noisy[i] = 0.9*noisy[i] + 1e-4*v
	}
	for name, x := range map[string][]float64{"16 bits": quantise(s.Samples(), 16), "24 bits": quantise(s.Samples(), 24), "noise": quantise(noisy, 16), "silence": make([]float64, 1000), "nothing": nil} {
		if f := FindClipping(x, 192000); len(f) != 0 {
			t.Errorf("%s is not clipped: %v", name, f)
		}
	}
}

func TestFindDropouts(t *testing.T) {
	const rate = 48000
	s := mustSweep(t, SuggestSweep(50, 20000, 2, rate))
	clean := quantise(s.Samples(), 24)
	for i, v := range randomSamples(4, len(clean)) {
		clean[i] += 1e-5 * v
	}
	clean = quantise(clean, 24)
	if f := FindDropouts(clean, rate); len(f) != 0 {
		t.Errorf("nothing is missing: %v", f)
	}
	if f := FindDropouts(quantise(s.Samples(), 16), rate); len(f) != 0 {
		t.Errorf("nothing is missing at 16 bits without noise: %v", f)
	}
	damage := func(change func(x []float64)) []Fault {
		x := append([]float64(nil), clean...)
		change(x)
		return FindDropouts(x, rate)
	}
	for name, c := range map[string]struct {
		faults []Fault
		atS    float64
		text   string
	}{
		"zeros":  {damage(func(x []float64) { clear(x[60000:60064]) }), 1.25, "no signal (zeros) for 1.33 ms"},
		"stuck":  {damage(func(x []float64) { fill(x[30000:30480], x[29999]) }), 0.625, "the same value for 10 ms"},
		"repeat": {damage(func(x []float64) { copy(x[48000:48512], x[47488:48000]) }), 1, "10.7 ms of the signal came twice"},
	} {
		if len(c.faults) != 1 || math.Abs(c.faults[0].TimeS-c.atS) > 0.0011 || !strings.Contains(c.faults[0].Text, c.text) {
			t.Errorf("%s: %+v, want one at %v s with %q", name, c.faults, c.atS, c.text)
		}
	}
}

func fill(x []float64, v float64) {
	for i := range x {
		x[i] = v
	}
}

func TestFindHum(t *testing.T) {
	const rate = 48000
	noise := randomSamples(6, rate)
	hum := func(mains, amplitude float64) []float64 {
		x := make([]float64, rate)
		for i, v := range noise {
			tS := float64(i) / rate
			x[i] = 1e-4*v + amplitude*(math.Sin(2*math.Pi*mains*tS)+0.3*math.Sin(2*math.Pi*3*mains*tS+1))
		}
		return x
	}
	const sweep = 0.1 // rms
	for _, mains := range []float64{50, 60} {
		for _, off := range []float64{0.997, 1, 1.004} { // grids wander
			f := FindHum(hum(mains*off, 1e-3), rate, sweep)
			if len(f) != 1 || f[0].TimeS != -1 || !strings.Contains(f[0].Text, map[float64]string{50: "50 Hz", 60: "60 Hz"}[mains]) {
				t.Errorf("hum of %v Hz: %+v", mains*off, f)
				continue
			}
			// Both lines' rms re the sweep's: 20 lg(1e-3·√(1.09/2)/0.1) = −42.6 dB.
			if !strings.Contains(f[0].Text, "-43 dB") && !strings.Contains(f[0].Text, "-42 dB") {
				t.Errorf("hum of %v Hz: %s, want about −43 dB", mains*off, f[0].Text)
			}
		}
	}
	for name, x := range map[string][]float64{"noise alone": hum(50, 0), "hum far below the sweep": hum(50, 2e-5), "too short": hum(50, 1e-3)[:10000], "silence": make([]float64, rate), "a tone": sine(rate, 77, 0.01, rate)} {
		if f := FindHum(x, rate, sweep); len(f) != 0 {
			t.Errorf("%s: %v", name, f)
		}
	}
	// Noise must not look like hum: its lines scatter, and only one in thousands would pass.
	for seed := range uint64(40) {
		x := randomSamples(100+seed, rate/2)
		if f := FindHum(x, rate, 1); len(f) != 0 {
			t.Errorf("noise with seed %d: %v", seed, f)
		}
	}
}

func TestFindClicksInAResidual(t *testing.T) {
	const rate = 48000
	r := randomSamples(8, 2*rate)
	for i := range r {
		r[i] *= 1e-3 * (1 + 10*math.Exp(-math.Pow((float64(i)/rate-1)/0.2, 2)))
	}
	if f := FindClicks(r, rate, 0.1); len(f) != 0 {
		t.Errorf("noise that swells is no click: %v", f)
	}
	r[30000] += 0.05
	for i := 70000; i < 71500; i++ {
		r[i] *= 60
	}
	f := FindClicks(r, rate, 0.1)
	// Noise passes any threshold only at its crests: the burst is met some milliseconds after it begins.
	if len(f) != 2 || math.Abs(f[0].TimeS-0.625) > 1e-4 || math.Abs(f[1].TimeS-70000.0/rate) > 5e-3 ||
		!strings.Contains(f[0].Text, "click") || !strings.Contains(f[1].Text, "noise of 0.03 s") {
		t.Errorf("a click and a burst: %+v", f)
	}
	if f := FindClicks(nil, rate, 0.1); len(f) != 0 {
		t.Errorf("nothing: %v", f)
	}
	for i := 0; i < len(r); i += 4000 {
		r[i] += 1
	}
	if f := FindClicks(r, rate, 0.1); len(f) != 10 || !strings.Contains(f[9].Text, "in all") {
		t.Errorf("many clicks: %d faults", len(f))
	}
}

func TestRankedAgainstSorting(t *testing.T) {
	for n := 1; n < 60; n++ {
		for _, levels := range []float64{1, 3, 1e9} { // values from many alike to none
			x := randomSamples(uint64(n), n)
			for i := range x {
				x[i] = math.Round(levels * x[i])
			}
			sorted := slices.Sorted(slices.Values(x))
			for k := range sorted {
				if got := ranked(slices.Clone(x), k); got != sorted[k] {
					t.Fatalf("rank %d of %v is %v, want %v", k, x, got, sorted[k])
				}
			}
		}
	}
}
