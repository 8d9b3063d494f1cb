package dsp

import "math"

// FractionalDelay moves samples in time by any number of samples, whole or not: y[i] = Σ_n x[n] sinc(i − delaySamples − n),
// sinc(u) = sin(πu)/(πu), which is the band-limited signal through the samples x, with silence before and after them, read
// delaySamples earlier. A positive delay moves the signal to later times. The result is as long as x; what moves beyond
// either end is lost, and nothing wraps round. Whole delays are exact copies. The scale is unchanged. A delay that is NaN
// gives NaN throughout, an infinite one silence. x is not changed.
//
// The sum is the exact one, not a windowed kernel: it is computed as a fast convolution of padded spectra.
func FractionalDelay(x []float64, delaySamples float64) []float64 {
	return NewDelays(x).By(delaySamples)
}

// Delays moves the same samples by several delays: what does not depend on the delay is computed once.
type Delays struct {
	x        []float64
	spectrum []complex128 // nil until a delay needs it
}

// NewDelays prepares x for By. x must not be changed until the last call. For use by one goroutine at a time.
func NewDelays(x []float64) *Delays { return &Delays{x: x} }

// By returns FractionalDelay(x, delaySamples).
func (d *Delays) By(delaySamples float64) []float64 {
	x, n := d.x, len(d.x)
	y := make([]float64, n)
	switch {
	case n == 0 || math.IsInf(delaySamples, 0):
		return y
	case math.IsNaN(delaySamples):
		for i := range y {
			y[i] = math.NaN()
		}
		return y
	}
	whole := math.Round(delaySamples)
	part := delaySamples - whole
	if part == 0 {
		for i := range y {
			if from := float64(i) - whole; from >= 0 && from < float64(n) {
				y[i] = x[int(from)]
			}
		}
		return y
	}
	// The kernel is needed from lag −(n−1) to n−1. On a circle of at least 2n−1 its wrapped ends meet only outputs that are
	// not kept.
	size := SmoothLength(2*n - 1)
	kernel := make([]float64, size)
	// sin π(m − delay) = ∓ sin(π part), computed once: exact signs however large the delay.
	numerator := -math.Sin(math.Pi*part) / math.Pi
	if math.Mod(float64(1-n)-whole, 2) != 0 {
		numerator = -numerator
	}
	for m := 1 - n; m < n; m++ {
		at := m
		if m < 0 {
			at += size
		}
		kernel[at] = numerator / (float64(m) - whole - part)
		numerator = -numerator
	}
	if d.spectrum == nil {
		d.spectrum = RealSpectrum(x, size)
	}
	K := RealSpectrum(kernel, size)
	for k, X := range d.spectrum {
		K[k] = X * K[k]
	}
	copy(y, RealSignal(K, size))
	return y
}
