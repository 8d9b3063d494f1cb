package dsp

// peakVectors is Peak and countVectors CountWithin of n samples, n a multiple of 16 and not 0.

//go:noescape
func peakVectors(x *float64, n int) float64

//go:noescape
func countVectors(x *float64, n int, limit float64) int

// turnsVectors sums, for eight frequencies, n samples times turning cosines and sines: SpectrumAt's inner loop, operation for operation. turns holds eight cosines of a
// step, eight sines, eight cosines of the start, eight sines; sums receives the eight with cosines, then the eight with sines.
//
//go:noescape
func turnsVectors(sums *[16]float64, turns *[32]float64, x *float64, n int)

// betweenVectors sums x[i]·(a[i] + w·(b[i] − a[i])) over n samples, n a multiple of 8 and not 0, in eight sums.
//
//go:noescape
func betweenVectors(x, a, b *float64, n int, w float64) float64

// kernelVectors fills n samples, n a multiple of 8 and not 0, with ±numerator/(m − whole − part) for m from first on, the signs in turn.
//
//go:noescape
func kernelVectors(dst *float64, n int, first, whole, part, numerator float64)
