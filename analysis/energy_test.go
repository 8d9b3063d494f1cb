package analysis

import (
	"math"
	"math/cmplx"
	"testing"
)

func repeated(n int, e float64) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = e
	}
	return v
}

func fromLevels(levels ...float64) []float64 {
	var v []float64
	for _, l := range levels {
		v = append(v, math.Pow(10, l/10))
	}
	return v
}

func arc37(f func(theta float64) float64) []float64 {
	var v []float64
	for a := -90; a <= 90; a += 5 {
		v = append(v, f(float64(a)*math.Pi/180))
	}
	return v
}

// The figures follow from the formula of ISO 17497-2:2012 and AES-4id-2001 (formula from memory), computed in high precision.
func TestDiffusionCoefficient(t *testing.T) {
	const why = "six digits are printed in the table"
	sinc := func(widths float64) func(float64) float64 {
		return func(theta float64) float64 {
			u := math.Pi * widths * math.Sin(theta)
			if u == 0 {
				return 1
			}
			return math.Pow(math.Sin(u)/u, 2)
		}
	}
	for _, c := range []struct {
		name     string
		energies []float64
		want     float64
	}{
		{"all equal", repeated(37, 3), 1},
		{"one alone", append(repeated(36, 0), 5), 0},
		{"12 of 37 equal", append(repeated(12, 1), repeated(25, 0)...), 0.305556},
		{"60, 60, 60, 50 dB", fromLevels(60, 60, 60, 50), 0.730897},
		{"0 to -12 dB", fromLevels(0, -3, -6, -9, -12), 0.456254},
		{"one at +10 dB", append(repeated(36, 1), 10), 0.404412},
		{"one at +20 dB", append(repeated(36, 1), 100), 0.023416},
		{"cos", arc37(func(a float64) float64 { return math.Max(0, math.Cos(a)) }), 0.781763},
		{"cos²", arc37(func(a float64) float64 { return math.Cos(a) * math.Cos(a) }), 23.0 / 36},
		{"strip of one wavelength", arc37(sinc(1)), 0.407512},
		{"strip of two", arc37(sinc(2)), 0.203425},
		{"strip of four", arc37(sinc(4)), 0.090297},
	} {
		near(t, c.name, float64(DiffusionCoefficient(c.energies)), c.want, 1e-6, why)
		scaled := make([]float64, len(c.energies))
		for i, e := range c.energies {
			scaled[i] = 1e-7 * e
		}
		near(t, c.name+", 70 dB lower", float64(DiffusionCoefficient(scaled)), float64(DiffusionCoefficient(c.energies)), 1e-12, "a level offset leaves d unchanged")
	}
	near(t, "normalised", float64(NormalisedDiffusion(0.5, 0.1)), 0.444444, 1e-6, why)
	near(t, "normalised below 0", float64(NormalisedDiffusion(0.2, 0.25)), -0.066667, 1e-6, why)
	for name, bad := range map[string][]float64{"one": {1}, "none": nil, "silence": {0, 0}, "negative": {1, -1}, "unknown": {1, math.NaN()}} {
		if DiffusionCoefficient(bad).Known() {
			t.Errorf("%s: expected an unknown coefficient", name)
		}
	}
}

// The interval must agree with brute force: the spread of d when the energies scatter as their standard errors say.
func TestDiffusionIntervalAgainstBruteForce(t *testing.T) {
	energies := fromLevels(0, -1, -4, -2, -7, -3)
	errs := make([]float64, len(energies))
	for i, e := range energies {
		errs[i] = 0.02 * e
	}
	d := float64(DiffusionCoefficient(energies))
	variance := 0.0
	for i := range energies {
		moved := append([]float64(nil), energies...)
		moved[i] += errs[i]
		step := float64(DiffusionCoefficient(moved)) - d
		variance += step * step
	}
	got := diffusionInterval(energies, errs, 4)
	near(t, "half width", float64(got.High)-d, studentT95(18)*math.Sqrt(variance), 0.03*math.Sqrt(variance)*2, "first order against 2 % steps")
}

// JCGM 100:2008, table G.2: 95 % for 1 to 5 degrees of freedom.
func TestStudent(t *testing.T) {
	for freedom, want := range map[int]float64{1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571} {
		near(t, "t", studentT95(freedom), want, 5e-4, "the table has three decimals")
	}
}

// Mommertz, Applied Acoustics 60 (2000) 201: a scaled copy does not scatter, an orthogonal field scatters all.
func TestCorrelationScattering(t *testing.T) {
	flat := []complex128{1, 1i, -2, 0.5 - 0.5i}
	scaled := make([]complex128, len(flat))
	for i, p := range flat {
		scaled[i] = p * cmplx.Rect(0.3, 1.1)
	}
	near(t, "scaled copy", float64(CorrelationScattering(scaled, flat)), 0, 1e-12, "rounding")
	near(t, "orthogonal", float64(CorrelationScattering([]complex128{1, 1, 0, 0}, []complex128{1, -1, 5, 5})), 1, 1e-12, "rounding")
	if s := CorrelationScattering(flat[:1], flat[:1]); s.Known() {
		t.Errorf("one receiver: got %g, expected unknown", s)
	}
}
