package dsp

import "sync"

// Gates multiplies real signals of one length by windows and gives the spectra of that, from spectra: what a time gate makes of predicted responses. Eight signals
// share one transform: two as real and imaginary part, four such pairs side by side. It is not changed by use: safe for concurrent use.
type Gates struct {
	n       int
	columns columns
	scratch sync.Pool // of *[3][]float64
}

// NewGates prepares signals of n samples; n is SmoothLength of something.
func NewGates(n int) *Gates {
	g := &Gates{n: n, columns: newColumns(n)}
	g.scratch.New = func() any { return &[3][]float64{make([]float64, 8*n), make([]float64, 8*n), make([]float64, 8*n)} }
	return g
}

const gatesAtOnce = 8

// Apply replaces each spectrum X[i], n/2+1 lines as in RealSpectrum, by that of its signal times windows[i], n samples. What becomes of one does not depend on the others but for
// rounding in the order of 1e-16 of the largest.
func (g *Gates) Apply(X [][]complex128, windows [][]float64) {
	for len(X) > 0 {
		count := min(gatesAtOnce, len(X))
		g.some(X[:count], windows[:count])
		X, windows = X[count:], windows[count:]
	}
}

func (g *Gates) some(X [][]complex128, windows [][]float64) {
	s := g.scratch.Get().(*[3][]float64)
	defer g.scratch.Put(s)
	tile, signals, spare, n := s[0], s[1], s[2], g.n
	clear(tile)
	// Line k of two signals is a + jb, line n−k the same of the conjugates; exchanged, as it goes backwards.
	for i, x := range X {
		at := tile[i/2:]
		for k, z := range x[:n/2+1] {
			re, im := real(z), imag(z)
			back := n - k
			if k == 0 || back == k { // no imaginary part is there
				im, back = 0, k
			}
			if i%2 == 0 {
				at[8*k] += im
				at[8*k+4] += re
				if back != k {
					at[8*back] -= im
					at[8*back+4] += re
				}
			} else {
				at[8*k] += re
				at[8*k+4] -= im
				if back != k {
					at[8*back] += re
					at[8*back+4] += im
				}
			}
		}
	}
	g.columns.transform(signals, tile, spare)
	scale := 1 / float64(n)
	for lane := range 4 {
		var even, odd []float64
		if 2*lane < len(X) {
			even = windows[2*lane]
		}
		if 2*lane+1 < len(X) {
			odd = windows[2*lane+1]
		}
		for i := range n {
			var a, b float64 // exchanged back
			if even != nil {
				a = signals[8*i+4+lane] * even[i] * scale
			}
			if odd != nil {
				b = signals[8*i+lane] * odd[i] * scale
			}
			signals[8*i+lane], signals[8*i+4+lane] = a, b
		}
	}
	g.columns.transform(tile, signals, spare)
	for i, x := range X {
		at := tile[i/2:]
		for k := range x[:n/2+1] {
			back := n - k
			if k == 0 {
				back = 0
			}
			re, im, reBack, imBack := at[8*k], at[8*k+4], at[8*back], at[8*back+4]
			if i%2 == 0 {
				x[k] = complex((re+reBack)/2, (im-imBack)/2)
			} else {
				x[k] = complex((im+imBack)/2, (reBack-re)/2)
			}
		}
	}
}
