package scatter

import (
	"errors"
	"math"
	"math/cmplx"
	"sync"
)

// matrix is a dense complex matrix, row by row.
type matrix struct {
	rows, cols int
	v          []complex128
}

func newMatrix(rows, cols int) *matrix {
	return &matrix{rows: rows, cols: cols, v: make([]complex128, rows*cols)}
}

// reshape gives m another shape, with anything in it; its memory serves again.
func (m *matrix) reshape(rows, cols int) {
	m.rows, m.cols = rows, cols
	if cap(m.v) < rows*cols {
		m.v = make([]complex128, rows*cols)
	}
	m.v = m.v[:rows*cols]
}

func (m *matrix) row(i int) []complex128 { return m.v[i*m.cols : (i+1)*m.cols] }

var errSingular = errors.New("the boundary equations have no unique solution at this frequency")

// solveInPlace solves a·x = b for all columns of b by elimination with partial pivoting; a is destroyed and b holds x.
//
// It goes along the diagonal (Crout): at each step one column of L and one row of U come into being, each as one product of a row and a
// matrix. L is therefore kept transposed.
func solveInPlace(a, b *matrix) error {
	n := a.rows
	lower := lowers.Get().(*matrix)
	defer lowers.Put(lower)
	lower.reshape(n, n)
	factors := make([]complex128, n)
	for i := range n {
		column := lower.row(i)[i:] // from the diagonal down
		for k := range n {
			if k < i {
				factors[k] = a.v[k*n+i]
			} else {
				column[k-i] = a.v[k*n+i]
			}
		}
		subtractProduct(column, factors[:i], lower.v[i:], n)
		pivot, best := i, 0.0
		for k, z := range column {
			if size := math.Abs(real(z)) + math.Abs(imag(z)); size > best {
				pivot, best = i+k, size
			}
		}
		if best == 0 || math.IsNaN(best) {
			return errSingular
		}
		if pivot != i {
			swap(a.row(pivot)[i:], a.row(i)[i:])
			swap(b.row(pivot), b.row(i))
			for k := range i + 1 {
				row := lower.row(k)
				row[i], row[pivot] = row[pivot], row[i]
			}
		}
		inverse := 1 / column[0]
		a.v[i*n+i] = inverse
		for k := range column {
			column[k] *= inverse
		}
		for k := range i {
			factors[k] = lower.v[k*n+i]
		}
		subtractProduct(a.row(i)[i+1:], factors[:i], a.v[i+1:], n)
		subtractProduct(b.row(i), factors[:i], b.v, b.cols)
	}
	substituteBack(a, b, 0)
	return nil
}

var lowers = sync.Pool{New: func() any { return new(matrix) }}

// solveSymmetric solves a·x = b where a, n × n and symmetric, and b stand side by side in m, of which x replaces b. It reads and destroys the upper
// half of a. There is no pivoting: it is for matrices whose imaginary part is definite because sound is radiated.
func solveSymmetric(m *matrix) error {
	n, factors := m.rows, make([]complex128, m.rows)
	for i := range n {
		for k := range i {
			factors[k] = m.v[k*m.cols+i] * m.v[k*m.cols+k]
		}
		subtractProduct(m.row(i)[i:], factors[:i], m.v[i:], m.cols)
		pivot := m.v[i*m.cols+i]
		if pivot == 0 || cmplx.IsNaN(pivot) {
			return errSingular
		}
		m.v[i*m.cols+i] = 1 / pivot
	}
	substituteBack(m, m, n)
	return nil
}

// substituteBack solves u·x = b for the upper triangle u of a, whose diagonal holds the inverse of its numbers, and the columns of b from first on.
func substituteBack(a, b *matrix, first int) {
	for i := a.rows - 1; i >= 0; i-- {
		row, inverse := b.row(i)[first:], a.v[i*a.cols+i]
		subtractProduct(row, a.row(i)[i+1:a.rows], b.v[min(i+1, b.rows-1)*b.cols+first:], b.cols)
		for c := range row {
			row[c] *= inverse
		}
	}
}

func swap(a, b []complex128) {
	for i := range a {
		a[i], b[i] = b[i], a[i]
	}
}
