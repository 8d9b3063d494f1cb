package dsp

import (
	"math"
	"math/cmplx"
	"testing"
)

// Eight at a time against one after the other.
func TestGatesAgainstSingleTransforms(t *testing.T) {
	for _, n := range []int{2, 270, 300, 512, 1600} {
		for _, count := range []int{1, 2, 7, 8, 21} {
			var X, want [][]complex128
			var windows [][]float64
			for i := range count {
				x := RealSpectrum(randomSamples(uint64(i), n), n)
				x[0] += 5i // which no real signal has, so it doesn't count
				window := randomSamples(uint64(100+i), n)
				y := RealSignal(x, n)
				for j := range y {
					y[j] *= window[j]
				}
				X, windows, want = append(X, x), append(windows, window), append(want, RealSpectrum(y, n))
			}
			NewGates(n).Apply(X, windows)
			for i := range X {
				for k := range want[i] {
					if cmplx.Abs(X[i][k]-want[i][k]) > 1e-14*math.Sqrt(float64(n))*10 {
						t.Fatalf("n = %d, %d signals, signal %d, line %d: %v, want %v", n, count, i, k, X[i][k], want[i][k])
					}
				}
			}
		}
	}
}

func BenchmarkGates(b *testing.B) {
	const n = 270
	var X [][]complex128
	var windows [][]float64
	for i := range 8 {
		X, windows = append(X, RealSpectrum(randomSamples(uint64(i), n), n)), append(windows, make([]float64, n))
	}
	g := NewGates(n)
	b.Run("eight at once", func(b *testing.B) {
		for b.Loop() {
			g.Apply(X, windows)
		}
	})
	b.Run("one by one", func(b *testing.B) {
		for b.Loop() {
			for i, x := range X {
				y := RealSignal(x, n)
				for j, w := range windows[i] {
					y[j] *= w
				}
				X[i] = RealSpectrum(y, n)
			}
		}
	})
}
