package scatter

// subtractProduct subtracts from the row dst the product of the row f and a matrix whose rows begin stride apart in src:
//
//	dst[c] -= Σ_p f[p] · src[p·stride + c]
//
// Nearly all the time of solving equations is spent here, so that processors of the amd64 kind have it in their own instructions.
// Those round once where Go's own code rounds twice; results differ in the last digits between kinds of processors, never between runs.
func subtractProduct(dst, f, src []complex128, stride int) {
	if len(dst) == 0 || len(f) == 0 {
		return
	}
	src = src[:(len(f)-1)*stride+len(dst)]
	if hasVectors {
		subtractProductVectors(&dst[0], len(dst), &f[0], len(f), &src[0], stride)
		return
	}
	subtractProductPlain(dst, f, src, stride)
}

func subtractProductPlain(dst, f, src []complex128, stride int) {
	for p, factor := range f {
		fr, fi := real(factor), imag(factor)
		row := src[p*stride:][:len(dst)]
		for c, s := range row {
			sr, si := real(s), imag(s)
			d := dst[c]
			dst[c] = complex(real(d)-(fr*sr-fi*si), imag(d)-(fr*si+fi*sr))
		}
	}
}
