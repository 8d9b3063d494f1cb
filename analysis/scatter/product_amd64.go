package scatter

import "golang.org/x/sys/cpu"

var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// subtractProductVectors is subtractProduct for n > 0 columns and count > 0 rows, see product_amd64.s.
//
//go:noescape
func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int)
