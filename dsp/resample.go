package dsp

import (
	"fmt"
	"math"
	"sync"
)

// The resampling kernel: a sinc under a Kaiser window (Kaiser and Schafer, IEEE Trans. ASSP 28 (1980) 105) for 120 dB, so
// that pass band and stop band keep below 100 dB with a margin. Its transition ends at half the lower of the two rates.
const (
	resampleZeros      = 96                                                           // zero crossings of the sinc on each side
	resampleStopDB     = 120                                                          // attenuation of the stop band
	resampleBeta       = 0.1102 * (resampleStopDB - 8.7)                              // Kaiser's formula above 50 dB
	resampleTransition = (resampleStopDB - 8) / (2.285 * 2 * resampleZeros * math.Pi) // Kaiser's width, re half the rate
	resampleCutoff     = 1 - resampleTransition/2                                     // centre of the transition, re half the rate
	resamplePhases     = 1024                                                         // rows of the kernel between two samples
	resampleMaxRatio   = 16                                                           // keeps the table below 30 MB
)

// ResamplePassBand is the upper edge of what Resample keeps within 1e-5, as a fraction of half the lower of the two sample rates.
const ResamplePassBand = 1 - resampleTransition

// kaiser returns I0(β√z)/I0(β), the window of Kaiser at z = 1 − (place/half width)², by the power series of the modified Bessel function of order 0 (Abramowitz and
// Stegun 9.6.12).
func kaiser(z float64) float64 {
	c, square := &kaiserSeries, z*z
	even, odd := c[len(c)-2], c[len(c)-1]
	for k := len(c) - 4; k >= 0; k -= 2 { // two sums, so that neither waits for itself
		even, odd = c[k]+square*even, c[k+1]+square*odd
	}
	return even + z*odd
}

// kaiserSeries holds (β²/4)^k/(k!)², over their sum; the next is 1e-19 of it.
var kaiserSeries = func() (c [36]float64) {
	sum, term := 0.0, 1.0
	for k := range c {
		c[k] = term
		sum += term
		term *= resampleBeta * resampleBeta / 4 / float64((k+1)*(k+1))
	}
	for k := range c {
		c[k] /= sum
	}
	return c
}()

// Resample reads x at another rate: ratio = new sample rate / old sample rate, and y[m] is the band-limited signal through x
// at the time m/ratio, counted in samples of x; so the first samples coincide and amplitudes are kept. The result covers the
// time from the first to the last sample of x: floor((len(x)−1)·ratio) + 1 samples. Any ratio from 1/16 to 16 is good,
// also one of 1 + 30·10⁻⁶. Up to ResamplePassBand of half the lower rate every component is kept within 1e-5 (−100 dB) of its
// amplitude; what lies above half the lower rate is attenuated by more than 100 dB, so nothing folds back. Within 96 samples
// (of the lower rate) from either end the silence outside x is part of the result. x is not changed. A ratio out of range or
// not a number is an error.
func Resample(x []float64, ratio float64) ([]float64, error) {
	if !(ratio >= 1.0/resampleMaxRatio && ratio <= resampleMaxRatio) {
		return nil, fmt.Errorf("resampling by a ratio of %g: a ratio of the two sample rates from 1/%d to %d is needed; check the rates of the files",
			ratio, resampleMaxRatio, resampleMaxRatio)
	}
	n := len(x)
	if n == 0 {
		return nil, nil
	}
	if ratio == 1 {
		return append([]float64(nil), x...), nil
	}
	scale := min(1, ratio) // the kernel is stretched where the new rate is the lower one
	half := int(math.Ceil(resampleZeros / scale))
	phases := resamplePhases
	if q, ok := smallDenominator(1 / ratio); ok {
		phases = q
	}
	table := keptTable(half, phases, scale)

	y := make([]float64, int(math.Floor(float64(n-1)*ratio*(1+1e-15)))+1)
	for m := range y {
		at := float64(m) / ratio
		base := int(at)
		row := (at - float64(base)) * float64(phases)
		r := min(int(row), phases-1)
		w := row - float64(r)
		first := base - half + 1
		from, to := max(0, -first), min(2*half, n-first)
		if to <= from {
			continue
		}
		y[m] = between(x[first+from:first+to], table[r][from:to], table[r+1][from:to], w)
	}
	return y, nil
}

// between sums the samples times what stands at w, 0 to 1, of the way from a to b.
func between(x, a, b []float64, w float64) float64 {
	sum := 0.0
	if n := len(x) &^ 7; hasVectors && n > 0 {
		sum = betweenVectors(&x[0], &a[0], &b[0], n, w)
		x, a, b = x[n:], a[n:], b[n:]
	}
	for i, v := range x {
		sum += v * (a[i] + w*(b[i]-a[i]))
	}
	return sum
}

// lastTable is the kernel that was used last: many signals in a row are often read at one ratio.
var lastTable struct {
	sync.Mutex
	half, phases int
	scale        float64
	rows         [][]float64
}

func keptTable(half, phases int, scale float64) [][]float64 {
	t := &lastTable
	t.Lock()
	defer t.Unlock()
	if t.half != half || t.phases != phases || t.scale != scale {
		t.half, t.phases, t.scale, t.rows = half, phases, scale, resampleTable(half, phases, scale)
	}
	return t.rows
}

// resampleTable holds the kernel for reading at r/phases of the way from one sample to the next, r = 0 … phases:
// entry i of a row weighs the sample i − half + 1 places after the one before the reading point. It is resampleKernel with the sines by addition of angles; what
// is read from the other side is the same backwards.
func resampleTable(half, phases int, scale float64) [][]float64 {
	table := make([][]float64, phases+1)
	all := make([]float64, 2*half*(phases+1))
	cut := resampleCutoff * scale
	sines, cosines := make([]float64, 2*half), make([]float64, 2*half)
	for i := range sines {
		sines[i], cosines[i] = math.Sincos(math.Pi * cut * float64(i-half+1))
	}
	for r := range table {
		row := all[2*half*r:][:2*half]
		table[r] = row
		if other := phases - r; other < r {
			for i, v := range table[other] {
				row[len(row)-1-i] = v
			}
			continue
		}
		part := float64(r) / float64(phases)
		sin, cos := math.Sincos(math.Pi * cut * part)
		for i := range row {
			u := float64(i-half+1) - part
			v := u * scale / resampleZeros
			switch {
			case u == 0:
				row[i] = cut
			case v > -1 && v < 1:
				row[i] = (sines[i]*cos - cosines[i]*sin) / (math.Pi * u) * kaiser(1-v*v)
			}
		}
	}
	return table
}

// interpolate reads the band-limited signal through x at any time, counted in samples, with the kernel of Resample.
func interpolate(x []float64, at float64) float64 {
	sum := 0.0
	for i := max(0, int(at)-resampleZeros); i < min(len(x), int(at)+resampleZeros+2); i++ {
		sum += x[i] * resampleKernel(float64(i)-at, 1)
	}
	return sum
}

// resampleKernel is the windowed sinc at u samples from its centre; scale is the lower rate over the rate of the samples.
func resampleKernel(u, scale float64) float64 {
	v := u * scale / resampleZeros
	if v <= -1 || v >= 1 {
		return 0
	}
	cut := resampleCutoff * scale
	s := 1.0
	if u != 0 {
		s = math.Sin(math.Pi*cut*u) / (math.Pi * cut * u)
	}
	return cut * s * kaiser(1-v*v)
}

// smallDenominator finds the denominator of a step that is a fraction of small whole numbers, such as 147/160, so that the
// table can hold exactly the phases needed.
func smallDenominator(step float64) (int, bool) {
	for q := 1; q <= resamplePhases; q++ {
		p := step * float64(q)
		if math.Abs(p-math.Round(p)) < 1e-14*p {
			return q, true
		}
	}
	return 0, false
}
