package dsp

import "math"

// The steps of a transform on tiles. A tile holds four columns of complex numbers side by side: row i has its four real parts at 8i and its four
// imaginary parts at 8i+4. So nothing ever has to cross from one column to another, and processors of the amd64 kind have each step in their own
// instructions, four columns at once (fft_amd64.s). Those round once where Go's own code rounds twice: results differ in the last digits between
// kinds of processors, never between runs.

// pass does one pass of Stockham's transform (Cochran et al., Proc. IEEE 55 (1967) 1664) with the given radix from src to dst: for p < m, q < s and output j
//
//	dst[q + s(radix·p + j)] = w_pj Σ_i e^{−j2πij/radix} src[q + s(p + m·i)],
//
// with w_p0 = 1 and the other w_pj, complex, one after the other in tw.
func pass(radix int, dst, src, tw []float64, m, s int) {
	_, _ = dst[8*radix*m*s-1], src[8*radix*m*s-1]
	_ = tw[2*(radix-1)*m-1]
	switch {
	case !hasVectors:
		passPlain(radix, dst, src, tw, m, s)
	case radix == 2:
		pass2Vectors(&dst[0], &src[0], &tw[0], m, s)
	case radix == 3:
		pass3Vectors(&dst[0], &src[0], &tw[0], m, s)
	case radix == 4:
		pass4Vectors(&dst[0], &src[0], &tw[0], m, s)
	default:
		pass5Vectors(&dst[0], &src[0], &tw[0], m, s)
	}
}

func passPlain(radix int, dst, src, tw []float64, m, s int) {
	var x, y [5]complex128
	for p := range m {
		w := tw[2*(radix-1)*p:][:2*(radix-1)]
		for q := range s {
			for lane := range 4 {
				for i := range radix {
					at := 8*(q+s*(p+m*i)) + lane
					x[i] = complex(src[at], src[at+4])
				}
				switch radix {
				case 2:
					y[0], y[1] = x[0]+x[1], x[0]-x[1]
				case 3:
					sum, d := x[1]+x[2], x[1]-x[2]
					c := x[0] - complex(0.5*real(sum), 0.5*imag(sum))
					t := complex(sin60*imag(d), -sin60*real(d))
					y[0], y[1], y[2] = x[0]+sum, c+t, c-t
				case 4:
					a, b, c, d := x[0]+x[2], x[0]-x[2], x[1]+x[3], x[1]-x[3]
					t := complex(imag(d), -real(d))
					y[0], y[1], y[2], y[3] = a+c, b+t, a-c, b-t
				default:
					a, b, c, d := x[1]+x[4], x[1]-x[4], x[2]+x[3], x[2]-x[3]
					e := x[0] + complex(cos72*real(a)+cos144*real(c), cos72*imag(a)+cos144*imag(c))
					f := x[0] + complex(cos144*real(a)+cos72*real(c), cos144*imag(a)+cos72*imag(c))
					g := complex(sin72*imag(b)+sin144*imag(d), -sin72*real(b)-sin144*real(d))
					h := complex(sin144*imag(b)-sin72*imag(d), -sin144*real(b)+sin72*real(d))
					y[0], y[1], y[2], y[3], y[4] = x[0]+(a+c), e+g, f+h, f-h, e-g
				}
				for j := range radix {
					v := y[j]
					if j > 0 {
						v *= complex(w[2*j-2], w[2*j-1])
					}
					at := 8*(q+s*(radix*p+j)) + lane
					dst[at], dst[at+4] = real(v), imag(v)
				}
			}
		}
	}
}

const (
	sin60  = 0.86602540378443864676
	cos72  = 0.30901699437494742410
	cos144 = -0.80901699437494742410
	sin72  = 0.95105651629515357212
	sin144 = 0.58778525229247312917
)

// gather fills a tile of n rows from complex numbers, of which four neighbours of each stretch of stride floats count.
func gather(tile, src []float64, stride, n int) {
	_, _ = tile[8*n-1], src[stride*(n-1)+7]
	if hasVectors {
		gatherVectors(&tile[0], &src[0], stride, n)
		return
	}
	for i := range n {
		for lane := range 4 {
			tile[8*i+lane], tile[8*i+4+lane] = src[stride*i+2*lane], src[stride*i+2*lane+1]
		}
	}
}

// scatterSwapped is the way back, real and imaginary parts exchanged.
func scatterSwapped(dst, tile []float64, stride, n int) {
	_, _ = tile[8*n-1], dst[stride*(n-1)+7]
	if hasVectors {
		scatterSwappedVectors(&dst[0], &tile[0], stride, n)
		return
	}
	for i := range n {
		for lane := range 4 {
			dst[stride*i+2*lane+1], dst[stride*i+2*lane] = tile[8*i+lane], tile[8*i+4+lane]
		}
	}
}

// turn multiplies n rows from src, srcStride floats apart, by the complex number of the row in tile and that of row and column in lanes, and puts them to
// dst, dstStride apart.
func turn(dst, src, tile, lanes []float64, dstStride, srcStride, n int) {
	_, _, _, _ = dst[dstStride*(n-1)+7], src[srcStride*(n-1)+7], tile[2*n-1], lanes[8*n-1]
	if hasVectors {
		turnVectors(&dst[0], &src[0], &tile[0], &lanes[0], dstStride, srcStride, n)
		return
	}
	for i := range n {
		row := complex(tile[2*i], tile[2*i+1])
		for lane := range 4 {
			w := complex(lanes[8*i+lane], lanes[8*i+4+lane]) * row
			v := complex(src[srcStride*i+lane], src[srcStride*i+4+lane]) * w
			dst[dstStride*i+lane], dst[dstStride*i+4+lane] = real(v), imag(v)
		}
	}
}

// rowsIn makes four rows the columns of a tile; rows hold blocks of four real and four imaginary parts.
func rowsIn(tile []float64, rows *[4][]float64, n int) {
	_ = tile[8*n-1]
	for _, r := range rows {
		_ = r[2*n-1]
	}
	if hasVectors {
		rowsInVectors(&tile[0], &rows[0][0], &rows[1][0], &rows[2][0], &rows[3][0], n/4)
		return
	}
	for lane, r := range rows {
		for i := range n {
			at := i/4*8 + i%4
			tile[8*i+lane], tile[8*i+4+lane] = r[at], r[at+4]
		}
	}
}

// rowsOut is the way back.
func rowsOut(tile []float64, rows *[4][]float64, n int) {
	_ = tile[8*n-1]
	for _, r := range rows {
		_ = r[2*n-1]
	}
	if hasVectors {
		rowsOutVectors(&tile[0], &rows[0][0], &rows[1][0], &rows[2][0], &rows[3][0], n/4)
		return
	}
	for lane, r := range rows {
		for i := range n {
			at := i/4*8 + i%4
			r[at], r[at+4] = tile[8*i+lane], tile[8*i+4+lane]
		}
	}
}

// filterTiles replaces z, row i of a, and the conjugate c of its partner, row n−1−i of b, by S z + D (jc cos φ − z sin φ) and S c − D (jz cos φ − c sin φ), and exchanges real
// and imaginary parts. Of S and D, 16 floats for each row in p, come four real and four imaginary parts in turn; e^{−jφ} is that of the column in lanes times that of the row in
// turns, of which there are n.
func filterTiles(a, b, p []float64, lanes, turns []complex128) {
	n := len(turns)
	_, _, _, _ = a[8*n-1], b[8*n-1], p[16*n-1], lanes[3]
	if hasVectors {
		filterVectors(&a[0], &b[0], &p[0], &lanes[0], &turns[0], n)
	} else {
		filterTilesPlain(a, b, p, lanes, turns)
	}
}

func filterTilesPlain(a, b, p []float64, lanes, turns []complex128) {
	for i, turn := range turns {
		k := 8 * (len(turns) - 1 - i)
		for lane := range 4 {
			w := p[16*i+lane:]
			z, c := complex(a[8*i+lane], a[8*i+4+lane]), complex(b[k+lane], -b[k+4+lane])
			S, D, turned := complex(w[0], w[4]), complex(w[8], w[12]), lanes[lane]*turn
			sin, jcos := complex(-imag(turned), 0), complex(0, real(turned))
			u, v := S*z+D*(jcos*c-sin*z), S*c-D*(jcos*z-sin*c)
			a[8*i+lane], a[8*i+4+lane] = imag(u), real(u)
			b[k+lane], b[k+4+lane] = -imag(v), real(v)
		}
	}
}

// root returns e^{−j2πk/n}, the angle brought into the first eighth of the circle before the sine is taken.
func root(k, n int) (re, im float64) {
	k %= n
	if k < 0 {
		k += n
	}
	eighth := 8 * k / n
	switch eighth {
	case 0:
		s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		return c, -s
	case 1, 2: // about a quarter: e^{−jπ/2} e^{−jφ}
		s, c := math.Sincos(2 * math.Pi * (float64(4*k-n) / float64(4*n)))
		return -s, -c
	case 3, 4:
		s, c := math.Sincos(2 * math.Pi * (float64(2*k-n) / float64(2*n)))
		return -c, s
	case 5, 6:
		s, c := math.Sincos(2 * math.Pi * (float64(4*k-3*n) / float64(4*n)))
		return s, c
	default:
		s, c := math.Sincos(2 * math.Pi * (float64(k-n) / float64(n)))
		return c, -s
	}
}
