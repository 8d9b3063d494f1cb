package dsp

import "math"

const magnitude = 1<<63 - 1 // the bits of a number without its sign, which are in the order of magnitudes

// Peak returns the largest magnitude of the samples; 0 of none. None may be NaN.
func Peak(x []float64) float64 {
	var a, b, c, d uint64 // four, so that none waits for another
	if n := len(x) &^ 15; hasVectors && n > 0 {
		a = math.Float64bits(peakVectors(&x[0], n))
		x = x[n:]
	}
	for ; len(x) >= 4; x = x[4:] {
		a = max(a, math.Float64bits(x[0])&magnitude)
		b = max(b, math.Float64bits(x[1])&magnitude)
		c = max(c, math.Float64bits(x[2])&magnitude)
		d = max(d, math.Float64bits(x[3])&magnitude)
	}
	for _, v := range x {
		a = max(a, math.Float64bits(v)&magnitude)
	}
	return math.Float64frombits(max(a, b, c, d))
}

// CountWithin returns how many samples have a magnitude of at most limit, a number from 0 up. None may be NaN.
func CountWithin(x []float64, limit float64) int {
	count := 0
	if n := len(x) &^ 15; hasVectors && n > 0 {
		count = countVectors(&x[0], n, limit)
		x = x[n:]
	}
	above := math.Float64bits(limit) + 1
	for _, v := range x {
		count += int((math.Float64bits(v)&magnitude - above) >> 63) // 1 where the difference is below 0
	}
	return count
}
