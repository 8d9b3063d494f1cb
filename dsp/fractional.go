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
	n := len(x)
	y := make([]float64, n)
	whole, part, simple := plainDelay(y, x, 0, delaySamples)
	if simple {
		return y
	}
	// The kernel is needed from lag −(n−1) to n−1. On a circle of at least 2n−1 its wrapped ends meet only outputs that are
	// not kept.
	size := SmoothLength(2*n - 1)
	kernel := make([]float64, size)
	delayKernel(kernel, 1-n, n, whole, part)
	X, K := RealSpectrum(x, size), RealSpectrum(kernel, size)
	for k := range K {
		K[k] *= X[k]
	}
	copy(y, RealSignal(K, size))
	return y
}

// plainDelay fills y with the samples of the delayed x from the sample from on where that takes no sum, and else tells the delay's whole and other part.
func plainDelay(y, x []float64, from int, delaySamples float64) (whole, part float64, done bool) {
	switch {
	case len(y) == 0 || math.IsInf(delaySamples, 0):
		return 0, 0, true
	case math.IsNaN(delaySamples):
		for i := range y {
			y[i] = math.NaN()
		}
		return 0, 0, true
	}
	whole = math.Round(delaySamples)
	part = delaySamples - whole
	if part != 0 {
		return whole, part, false
	}
	for i := range y {
		if at := float64(from+i) - whole; at >= 0 && at < float64(len(x)) {
			y[i] = x[int(at)]
		}
	}
	return whole, part, true
}

// delayKernel puts sinc(m − whole − part) for the lags m from first to last−1 on a circle.
func delayKernel(circle []float64, first, last int, whole, part float64) {
	if first < 0 && last > 0 {
		delayKernel(circle, first, 0, whole, part)
		first = 0
	}
	// sin π(m − delay) = ∓ sin(π part), computed once: exact signs however large the delay.
	numerator := -math.Sin(math.Pi*part) / math.Pi
	if math.Mod(float64(first)-whole, 2) != 0 {
		numerator = -numerator
	}
	at := first
	if first < 0 {
		at += len(circle)
	}
	dst := circle[at : at+last-first]
	if n := len(dst) &^ 7; hasVectors && n > 0 {
		kernelVectors(&dst[0], n, float64(first), whole, part, numerator)
		dst, first = dst[n:], first+n
	}
	for i := range dst {
		dst[i] = numerator / (float64(first+i) - whole - part)
		numerator = -numerator
	}
}

// Delays moves the same samples by several delays, of which only a stretch is wanted: what does not depend on the delay is computed once.
type Delays struct {
	x           []float64
	from, count int
	circle      []float64 // holds the kernel
	filter      *filter   // by the spectrum of x; nil until a delay needs it
}

// NewDelays prepares x for By, which will return count samples from the sample from on, all of them within x. x must not be changed until the last call. For use by one
// goroutine at a time.
func NewDelays(x []float64, from, count int) *Delays { return &Delays{x: x, from: from, count: count} }

// By returns FractionalDelay(x, delaySamples)[from : from+count]; rounding differs.
func (d *Delays) By(delaySamples float64) []float64 {
	y := make([]float64, d.count)
	whole, part, simple := plainDelay(y, d.x, d.from, delaySamples)
	if simple {
		return y
	}
	// The lags from each sample of x to each wanted one: on a circle that holds them all once, wrapped ends meet only outputs that are not kept.
	first, last := d.from-len(d.x)+1, d.from+d.count
	if d.filter == nil {
		size := SmoothLength(last - first)
		d.circle = make([]float64, size)
		d.filter = newFilter(RealSpectrum(d.x, size), size)
	}
	delayKernel(d.circle, first, last, whole, part)
	d.filter.cut(y, d.circle, d.from)
	return y
}
