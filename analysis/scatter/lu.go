package scatter

import (
	"errors"
	"math"
)

// matrix is a dense complex matrix, row by row.
type matrix struct {
	rows, cols int
	v          []complex128
}

func newMatrix(rows, cols int) *matrix {
	return &matrix{rows: rows, cols: cols, v: make([]complex128, rows*cols)}
}

func (m *matrix) row(i int) []complex128 { return m.v[i*m.cols : (i+1)*m.cols] }

var errSingular = errors.New("the boundary equations have no unique solution at this frequency")

// solveInPlace solves a·x = b for all columns of b by elimination with partial pivoting; a is destroyed and b holds x.
func solveInPlace(a, b *matrix) error {
	n := a.rows
	for k := range n {
		pivot, best := k, 0.0
		for i := k; i < n; i++ {
			z := a.v[i*n+k]
			if size := math.Abs(real(z)) + math.Abs(imag(z)); size > best {
				pivot, best = i, size
			}
		}
		if best == 0 || math.IsNaN(best) {
			return errSingular
		}
		if pivot != k {
			swap(a.row(pivot), a.row(k))
			swap(b.row(pivot), b.row(k))
		}
		rowK, rightK := a.row(k)[k+1:], b.row(k)
		inverse := 1 / a.v[k*n+k]
		for i := k + 1; i < n; i++ {
			factor := a.v[i*n+k] * inverse
			if factor == 0 {
				continue
			}
			subtractScaled(a.row(i)[k+1:], rowK, factor)
			subtractScaled(b.row(i), rightK, factor)
		}
	}
	for k := n - 1; k >= 0; k-- {
		rightK := b.row(k)
		inverse := 1 / a.v[k*n+k]
		for j := range rightK {
			rightK[j] *= inverse
		}
		for i := range k {
			if factor := a.v[i*n+k]; factor != 0 {
				subtractScaled(b.row(i), rightK, factor)
			}
		}
	}
	return nil
}

func swap(a, b []complex128) {
	for i := range a {
		a[i], b[i] = b[i], a[i]
	}
}

// subtractScaled sets dst -= factor·src.
func subtractScaled(dst, src []complex128, factor complex128) {
	fr, fi := real(factor), imag(factor)
	src = src[:len(dst)]
	for i, s := range src {
		sr, si := real(s), imag(s)
		d := dst[i]
		dst[i] = complex(real(d)-(fr*sr-fi*si), imag(d)-(fr*si+fi*sr))
	}
}
