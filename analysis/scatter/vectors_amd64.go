package scatter

import "golang.org/x/sys/cpu"

var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// subtractProductVectors is subtractProduct for n > 0 columns and count > 0 rows. See product_amd64.s.
//
//go:noescape
func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int)

// integralsVectors is integralsPlain for four functions and count > 0 points. See product_amd64.s.
//
//go:noescape
func integralsVectors(dst, z *complex128, count int, value *float64, stride int)

// measureVectors is measurePlain for n > 0 fours. See rays_amd64.s.
//
//go:noescape
func measureVectors(fours *four, list *ray, n int)

// traceVectors is tracePlain for n fours, up to the first whose kr are neither all up to 1 nor all between 1 and maxHankelX; it returns how many it has done. rootK is √(1/k). See rays_amd64.s.
//
//go:noescape
func traceVectors(traced *[2]complex128, fours *four, n int, k, inverseK, rootK float64) int
