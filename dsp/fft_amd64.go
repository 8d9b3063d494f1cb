package dsp

import "golang.org/x/sys/cpu"

var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// See fft_kernels.go for what each does.

//go:noescape
func pass2Vectors(dst, src, tw *float64, m, s int)

//go:noescape
func pass3Vectors(dst, src, tw *float64, m, s int)

//go:noescape
func pass4Vectors(dst, src, tw *float64, m, s int)

//go:noescape
func pass5Vectors(dst, src, tw *float64, m, s int)

//go:noescape
func gatherVectors(tile, src *float64, stride, n int)

//go:noescape
func scatterSwappedVectors(dst, tile *float64, stride, n int)

//go:noescape
func turnOutVectors(v, tile, turns, lanes *float64, stride, step, n int)

//go:noescape
func turnInVectors(tile, v, turns, lanes *float64, stride, step, n int)

//go:noescape
func filterVectors(a, b, p *float64, lanes, turns *complex128, n int)
