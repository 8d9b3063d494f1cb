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

// The resampling kernel's sum against the loop it stands for.
func TestBetweenAgainstLoop(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for n := range 40 {
		x, a, b := make([]float64, n), make([]float64, n), make([]float64, n)
		want, w := 0.0, r.Float64()
		for i := range x {
			x[i], a[i], b[i] = r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
			want += x[i] * (a[i] + w*(b[i]-a[i]))
		}
		if got := between(x, a, b, w); math.Abs(got-want) > 1e-14 {
			t.Errorf("%d samples: %g, want %g but for the order of sums", n, got, want)
		}
	}
}

// A kernel filled in vectors is that of one lag after the other, to the bit.
func TestDelayKernelAgainstLoop(t *testing.T) {
	for _, lags := range [][2]int{{-20, 20}, {-3, 17}, {0, 9}, {-40, -1}, {5, 31}, {-1, 1}} {
		for _, delay := range [][2]float64{{0, 0.25}, {3, -0.4}, {-1000, 1e-8}} {
			got := make([]float64, 64)
			delayKernel(got, lags[0], lags[1], delay[0], delay[1])
			for m := lags[0]; m < lags[1]; m++ {
				numerator := -math.Sin(math.Pi*delay[1]) / math.Pi
				if math.Mod(float64(m)-delay[0], 2) != 0 {
					numerator = -numerator
				}
				if want := numerator / (float64(m) - delay[0] - delay[1]); got[(m+64)%64] != want {
					t.Fatalf("lags %v, delay %v, lag %d: %g, want %g", lags, delay, m, got[(m+64)%64], want)
				}
			}
		}
	}
}
