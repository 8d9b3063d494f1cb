//go:build !amd64

package dsp

// No instructions of its own: peak.go, window.go, resample.go and fractional.go do everything.

func peakVectors(x *float64, n int) float64                                    { return 0 }
func countVectors(x *float64, n int, limit float64) int                        { return 0 }
func turnsVectors(sums *[16]float64, turns *[32]float64, x *float64, n int)    {}
func betweenVectors(x, a, b *float64, n int, w float64) float64                { return 0 }
func kernelVectors(dst *float64, n int, first, whole, part, numerator float64) {}
