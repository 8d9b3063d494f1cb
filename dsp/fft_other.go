//go:build !amd64

package dsp

// No instructions of its own: fft_kernels.go does everything.
const hasVectors = false

func pass2Vectors(dst, src, tw *float64, m, s int)            {}
func pass3Vectors(dst, src, tw *float64, m, s int)            {}
func pass4Vectors(dst, src, tw *float64, m, s int)            {}
func pass5Vectors(dst, src, tw *float64, m, s int)            {}
func gatherVectors(tile, src *float64, stride, n int)         {}
func scatterSwappedVectors(dst, tile *float64, stride, n int) {}
func turnOutVectors(v, tile, turns, lanes *float64, stride, step, n int) {
}
func turnInVectors(tile, v, turns, lanes *float64, stride, step, n int) {
}
func filterVectors(a, b, p *float64, lanes, turns *complex128, n int) {}
