// Package dsp works on sampled signals: spectra, delays, resampling, sweeps and their deconvolution, and the faults of a
// recording. Samples in, samples out: it knows nothing of panels or surveys.
//
// Conventions, unless a function says otherwise: the time dependence is e^{+jωt}; a spectrum is X[k] = Σ_n x[n] e^{−j2πkn/N}, without
// scaling; a response later in time has a phase that falls with frequency; times are in seconds and frequencies in hertz
// unless the name says samples.
package dsp

import (
	"math"
	"math/bits"
	"slices"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
)

// plans holds one pool of transform plans per length that isn't transformed in tiles: a plan has scratch space of its own, so that no two goroutines may
// share one, but making one costs as much as several transforms.
var plans sync.Map // int → *sync.Pool of *fourier.FFT

func planPool(n int) *sync.Pool {
	if p, ok := plans.Load(n); ok {
		return p.(*sync.Pool)
	}
	p, _ := plans.LoadOrStore(n, &sync.Pool{New: func() any { return fourier.NewFFT(n) }})
	return p.(*sync.Pool)
}

// SmoothLength returns a length of at least n samples at which the transform is fast and accurate: the smallest without a prime factor above 5 that is even
// or, above 432 samples, a multiple of 64. It returns 2 for n below 2.
func SmoothLength(n int) int {
	if n <= 2 {
		return 2
	}
	unit := 2
	if n > 432 { // from there on the next is in tiles
		unit = tileUnit
	}
	units := (n + unit - 1) / unit
	best := 1 << bits.Len(uint(units-1))
	for p5 := 1; p5 < best; p5 *= 5 {
		for p35 := p5; p35 < best; p35 *= 3 {
			m := p35
			for m < units {
				m *= 2
			}
			best = min(best, m)
		}
	}
	return best * unit
}

// RealSpectrum computes the discrete Fourier transform of real samples, X[k] = Σ_i x[i] e^{−j2πki/n} for k = 0 … n/2,
// unscaled: n/2+1 values (integer division), value k at frequency k/n of the sample rate. Samples shorter than n are taken as
// followed by zeros; longer ones wrap, as the sum says. It returns nil for n < 1. Any n is correct; SmoothLength gives fast
// ones. x is not changed. Safe for concurrent use.
func RealSpectrum(x []float64, n int) []complex128 {
	if n < 1 {
		return nil
	}
	inTiles := tileLength(n)
	if inTiles && len(x) <= n {
		return tilesFor(n).spectrum(x)
	}
	buf := make([]float64, n)
	copied := copy(buf, x)
	for i, v := range x[copied:] {
		buf[i%n] += v
	}
	if n == 1 {
		return []complex128{complex(buf[0], 0)}
	}
	if inTiles {
		return tilesFor(n).spectrum(buf)
	}
	pool := planPool(n)
	plan := pool.Get().(*fourier.FFT)
	defer pool.Put(plan)
	return plan.Coefficients(nil, buf)
}

// RealSignal is the inverse of RealSpectrum: the n real samples x[i] = (1/n) Σ_k X[k] e^{+j2πki/n}, the sum running over all n
// frequencies, of which X holds the first n/2+1 and the others are their conjugates. RealSignal(RealSpectrum(x, n), n) is x,
// padded to n. Missing values of X count as 0, those beyond n/2 are ignored, and so are the imaginary parts at 0 and, for even
// n, at half the sample rate, which no real signal has. It returns nil for n < 1. X is not changed. Safe for concurrent use.
func RealSignal(X []complex128, n int) []float64 {
	if n < 1 {
		return nil
	}
	half := X
	if len(X) < n/2+1 {
		half = append(slices.Clip(X), make([]complex128, n/2+1-len(X))...)
	}
	if n == 1 {
		return []float64{real(half[0])}
	}
	if tileLength(n) {
		return tilesFor(n).signal(half)
	}
	pool := planPool(n)
	plan := pool.Get().(*fourier.FFT)
	defer pool.Put(plan)
	x := plan.Sequence(nil, half[:n/2+1])
	scale := 1 / float64(n)
	for i := range x {
		x[i] *= scale
	}
	return x
}

// hann is the window of Hann over n samples, at the middle of sample i.
func hann(i, n int) float64 {
	return 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
}

// halfHann is its first half, rising from 0 to 1 over n samples.
func halfHann(i, n int) float64 { return hann(i, 2*n) }

func power(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
