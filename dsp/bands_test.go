package dsp

import (
	"math"
	"testing"
)

// IEC 61260-1:2014, base ten: G = 10^0.3, third octaves at 1000·10^(k/10).
func TestThirdOctaveMidBands(t *testing.T) {
	bands, err := FractionalOctaves(3, 85, 290)
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{100, 125.892541, 158.489319, 199.526231}
	if len(bands) != len(want)+1 {
		t.Fatalf("got %d bands, want %d", len(bands), len(want)+1)
	}
	for i, w := range want {
		if math.Abs(bands[i].CentreHz-w) > 1e-6 {
			t.Errorf("mid-band %d: got %.7f, want %.6f Hz", i, bands[i].CentreHz, w)
		}
		if ratio := bands[i].HighHz / bands[i].CentreHz; math.Abs(ratio-1.12202) > 1e-5 {
			t.Errorf("upper edge: got ratio %.6f, want 1.12202", ratio)
		}
		if i > 0 && math.Abs(bands[i].LowHz-bands[i-1].HighHz) > 1e-9*bands[i].LowHz {
			t.Errorf("bands %d and %d leave a gap", i-1, i)
		}
	}
	twelfths, err := FractionalOctaves(12, 900, 1100)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range twelfths {
		if math.Abs(b.CentreHz-1000) < 1 {
			t.Errorf("an even fraction has an edge, not a mid-band, at 1 kHz (IEC 61260-1:2014, 5.4)")
		}
	}
}

// Class 1 limits of IEC 61260-1:2014, table 1 (from memory): lowest and highest attenuation at normalised frequencies of a third octave.
func TestBandsAreClass1(t *testing.T) {
	inf := math.Inf(1)
	limits := []struct{ low, high, least, most float64 }{
		{1, 1, -0.4, 0.4},
		{0.974019, 1.02667, -0.4, 0.5},
		{0.947190, 1.05575, -0.4, 0.7},
		{0.919577, 1.08746, -0.4, 1.4},
		{0.891252, 1.12201, -0.4, 5.3}, // just inside the edges
		{0.772574, 1.29437, 16.6, inf},
		{0.531427, 1.88173, 40.5, inf},
		{0.327477, 3.05365, 60, inf},
		{0.185462, 5.39195, 70, inf},
	}
	const step = 0.01
	bands, err := FractionalOctaves(3, 85, 115)
	if err != nil || len(bands) != 1 {
		t.Fatalf("%v %v", bands, err)
	}
	tone := func(ratio float64) float64 {
		spectrum := make([]complex128, 60000)
		k := int(math.Round(100 * ratio / step))
		spectrum[k] = complex(1/math.Sqrt(step), 0)
		return -10 * math.Log10(BandEnergy(spectrum, step, bands[0]))
	}
	for _, l := range limits {
		for _, ratio := range []float64{l.low, l.high} {
			if a := tone(ratio); a < l.least || a > l.most {
				t.Errorf("attenuation at %g times the mid-band: got %.2f dB, want %g to %g", ratio, a, l.least, l.most)
			}
		}
	}
}

// Parseval: all bands together hold the energy between the outer edges.
func TestBandsAddUp(t *testing.T) {
	spectrum := make([]complex128, 400)
	for k := range spectrum {
		spectrum[k] = complex(math.Sin(float64(k)), math.Cos(3*float64(k)))
	}
	bands, err := FractionalOctaves(3, 500, 4000)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, b := range bands {
		sum += BandEnergy(spectrum, 12.5, b)
	}
	whole := BandEnergy(spectrum, 12.5, Band{LowHz: bands[0].LowHz, HighHz: bands[len(bands)-1].HighHz})
	if math.Abs(sum/whole-1) > 1e-12 {
		t.Errorf("bands hold %g of the whole %g", sum, whole)
	}
}

func TestGateWindow(t *testing.T) {
	g := GateWindow{OpenS: 1, FullS: 2, FallS: 5, ClosedS: 7}
	for at, want := range map[float64]float64{0.9: 0, 1: 0, 2: 1, 3: 1, 5: 1, 7: 0, 8: 0, 1.5: 0.21747, 6: 0.21747} { // a quarter of the way: 0.35875 − 0.14128
		if got := g.At(at); math.Abs(got-want) > 1e-6 {
			t.Errorf("window at %g: got %g, want %g", at, got, want)
		}
	}
}

// The Fourier integral of a delayed impulse and of a box of samples in closed form.
func TestSpectrumAt(t *testing.T) {
	x := make([]float64, 50)
	x[10] = 2
	const rate, start, step = 48000.0, 0.003, 50.0
	for k, z := range SpectrumAt(x, start, rate, step, 100) {
		phase := 2 * math.Pi * float64(k) * step * (start + 10/rate)
		if math.Hypot(real(z)-2*math.Cos(phase), imag(z)-2*math.Sin(phase)) > 1e-10 {
			t.Fatalf("bin %d: got %v", k, z)
		}
	}
}
