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

// turnOut multiplies rows of tile by the complex number of the row in turns and that of row and column in lanes, and puts them to v with rows and columns exchanged: the first
// four rows, from row first on and step rows apart, become four columns, the next four stand stride floats on, and so on n times.
func turnOut(v, tile, turns, lanes []float64, stride, first, step, n int) {
	checkTurn(v, tile, turns, lanes, stride, first, step, n)
	if hasVectors {
		turnOutVectors(&v[0], &tile[8*first], &turns[2*first], &lanes[8*first], stride, step, n)
	} else {
		turnOutPlain(v, tile, turns, lanes, stride, first, step, n)
	}
}

func turnOutPlain(v, tile, turns, lanes []float64, stride, first, step, n int) {
	for i := range 4 * n {
		r := first + step*i
		row := complex(turns[2*r], turns[2*r+1])
		for c := range 4 {
			z := complex(tile[8*r+c], tile[8*r+4+c]) * (complex(lanes[8*r+c], lanes[8*r+4+c]) * row)
			at := i/4*stride + 8*c + i%4
			v[at], v[at+4] = real(z), imag(z)
		}
	}
}

// checkTurn panics where the slices are too short, as Go's own code would.
func checkTurn(v, tile, turns, lanes []float64, stride, first, step, n int) {
	last := first + step*(4*n-1)
	low, high := min(first, last), max(first, last)
	_, _, _, _, _ = v[stride*(n-1)+31], tile[8*low], tile[8*high+7], turns[2*high+1], lanes[8*high+7]
}

// turnIn is the way back, multiplying likewise.
func turnIn(tile, v, turns, lanes []float64, stride, first, step, n int) {
	checkTurn(v, tile, turns, lanes, stride, first, step, n)
	if hasVectors {
		turnInVectors(&tile[8*first], &v[0], &turns[2*first], &lanes[8*first], stride, step, n)
	} else {
		turnInPlain(tile, v, turns, lanes, stride, first, step, n)
	}
}

func turnInPlain(tile, v, turns, lanes []float64, stride, first, step, n int) {
	for i := range 4 * n {
		r := first + step*i
		row := complex(turns[2*r], turns[2*r+1])
		for c := range 4 {
			at := i/4*stride + 8*c + i%4
			z := complex(v[at], v[at+4]) * (complex(lanes[8*r+c], lanes[8*r+4+c]) * row)
			tile[8*r+c], tile[8*r+4+c] = real(z), imag(z)
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
