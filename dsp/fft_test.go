package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sync"
	"testing"

	godsp "github.com/mjibson/go-dsp/fft"
)

func randomSamples(seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

func TestSmoothLength(t *testing.T) {
	smooth := func(n int) bool {
		if n%2 != 0 {
			return false
		}
		for _, p := range []int{2, 3, 5} {
			for n%p == 0 {
				n /= p
			}
		}
		return n == 1
	}
	for n := -1; n < 5000; n++ {
		want := max(n, 2)
		for !smooth(want) || (want > 432 && want%64 != 0) {
			want++
		}
		if got := SmoothLength(n); got != want {
			t.Fatalf("SmoothLength(%d) = %d, want %d by trial division", n, got, want)
		}
	}
}

// The transform against its own defining sum, at even, odd and prime lengths, with samples shorter and longer than n.
func TestRealSpectrumIsTheDefiningSum(t *testing.T) {
	x := randomSamples(1, 37)
	for _, n := range []int{1, 2, 3, 8, 30, 31, 37, 45, 64} {
		X := RealSpectrum(x, n)
		if len(X) != n/2+1 {
			t.Fatalf("n = %d: %d values, want %d", n, len(X), n/2+1)
		}
		for k := range X {
			var want complex128
			for i, v := range x {
				want += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*float64(k)*float64(i)/float64(n)))
			}
			// Rounding of a sum of 37 terms of size 1.
			if cmplx.Abs(X[k]-want) > 1e-12 {
				t.Errorf("n = %d, k = %d: %v, want %v", n, k, X[k], want)
			}
		}
	}
	if RealSpectrum(x, 0) != nil || RealSignal(nil, 0) != nil {
		t.Error("a length below 1 must give nil")
	}
}

func TestRealSignalInvertsRealSpectrum(t *testing.T) {
	for _, n := range []int{1, 2, 3, 17, 30, 96000, 131072} {
		x := randomSamples(2, n)
		for i, v := range RealSignal(RealSpectrum(x, n), n) {
			// Rounding grows with log n; 1e-13 leaves a factor of ten at the longest.
			if math.Abs(v-x[i]) > 1e-13 {
				t.Fatalf("n = %d: sample %d came back as %v, was %v", n, i, v, x[i])
			}
		}
	}
}

// An independent implementation, where it is accurate: powers of two.
func TestRealSpectrumAgainstGoDSP(t *testing.T) {
	for _, n := range []int{2, 64, 4096, 65536} {
		x := randomSamples(3, n)
		want := godsp.FFTReal(x)
		for k, v := range RealSpectrum(x, n) {
			// √n is the size of a spectral value of white samples; both sides round.
			if cmplx.Abs(v-want[k]) > 1e-12*math.Sqrt(float64(n)) {
				t.Fatalf("n = %d, k = %d: %v, go-dsp has %v", n, k, v, want[k])
			}
		}
	}
}

// Run with -race: many goroutines, few lengths.
func TestTransformsAreSafeForConcurrentUse(t *testing.T) {
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 50 {
				n := 96 + 24*(i%3)
				x := randomSamples(uint64(g), n)
				for j, v := range RealSignal(RealSpectrum(x, n), n) {
					if math.Abs(v-x[j]) > 1e-13 {
						t.Errorf("goroutine %d: sample %d of %d is wrong", g, j, n)
						return
					}
				}
			}
		})
	}
	wg.Wait()
}
