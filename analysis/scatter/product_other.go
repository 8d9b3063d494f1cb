//go:build !amd64

package scatter

const hasVectors = false

func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int) {
	panic("unreachable")
}
