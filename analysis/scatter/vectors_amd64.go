package scatter

import "golang.org/x/sys/cpu"

var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// subtractProductVectors is subtractProduct for n > 0 columns and count > 0 rows. See product_amd64.s.
//
//go:noescape
func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int)

// hankelVectors sets h to H0 and H1 of numbers between 1 and maxHankelX, up to the first that is not; it returns how many it has done. See hankel_amd64.s.
//
//go:noescape
func hankelVectors(h *[2]complex128, x *float64, n int) int

// traceVectors is tracePlain for n rays, a multiple of four, up to the first four of which one's kr is not between 1 and maxHankelX; it returns how many it has done. See rays_amd64.s.
//
//go:noescape
func traceVectors(traced *[2]complex128, list *ray, n int, k, inverseK float64) int
