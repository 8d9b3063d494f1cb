//go:build !amd64

package scatter

const hasVectors = false

func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int) {
	panic("unreachable")
}

func hankelVectors(h *[2]complex128, x *float64, n int) int { panic("unreachable") }

func traceVectors(traced *[2]complex128, list *ray, n int, k, inverseK float64) int {
	panic("unreachable")
}
