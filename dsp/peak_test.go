package dsp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Peak, CountWithin and SpectrumAt against the loops they stand for, to the bit.
func TestPeakCountAndSpectrumAgainstLoops(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 7))
	for n := range 70 {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Round(8*r.NormFloat64()) / 8 // some on the limit
		}
		if n > 3 {
			x[r.IntN(n)] = math.Inf(-1 + 2*(n%2))
		}
		limit := 0.25 * float64(n%5)
		peak, count := 0.0, 0
		for _, v := range x {
			peak = max(peak, math.Abs(v))
			if math.Abs(v) <= limit {
				count++
			}
		}
		if got := Peak(x); got != peak {
			t.Errorf("%d samples: peak %g, want %g", n, got, peak)
		}
		if got := CountWithin(x, limit); got != count {
			t.Errorf("%d samples: %d within %g, want %d", n, got, limit, count)
		}
	}
	for _, n := range []int{0, 1, 2, 300} {
		x := make([]float64, n)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		const count, startS, rate, stepHz = 29, 0.0071, 96000.0, 25.0
		for k, got := range SpectrumAt(x, startS, rate, stepHz, count) {
			w := 2 * math.Pi * float64(k) * stepHz
			turnSin, turnCos := math.Sincos(w / rate)
			s, c := math.Sincos(w * startS)
			var re, im float64
			for _, v := range x {
				re += v * c
				im += v * s
				c, s = c*turnCos-s*turnSin, c*turnSin+s*turnCos
			}
			if want := complex(re, im); got != want {
				t.Errorf("%d samples, line %d: %v, want %v", n, k, got, want)
			}
		}
	}
}
