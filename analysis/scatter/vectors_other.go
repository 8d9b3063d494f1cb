//go:build !amd64

package scatter

const hasVectors = false

func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int) {
	panic("unreachable")
}

func integralsVectors(dst, z *complex128, count int, value *float64, stride int) {
	panic("unreachable")
}

func measureVectors(fours *four, list *ray, n int) { panic("unreachable") }

func traceVectors(traced *[2]complex128, fours *four, n int, k, inverseK, rootK float64) int {
	panic("unreachable")
}
