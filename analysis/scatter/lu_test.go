package scatter

import (
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A complex system is the real one [A −B; B A] [x; y] = [b; c] of twice the size, which gonum solves.
func TestSolveAgainstGonum(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 3, 5, 8, 17, 33, 64, 65, 130} {
		const columns = 3
		a, b := newMatrix(n, n), newMatrix(n, columns)
		for i := range a.v {
			a.v[i] = complex(random.NormFloat64(), random.NormFloat64())
		}
		for i := range b.v {
			b.v[i] = complex(random.NormFloat64(), random.NormFloat64())
		}
		for i := 0; i+1 < n; i += 2 {
			a.row(i)[i] = 0 // so that it can't do without pivoting
		}
		big, right := mat.NewDense(2*n, 2*n, nil), mat.NewDense(2*n, columns, nil)
		for i := range n {
			for j, z := range a.row(i) {
				big.Set(i, j, real(z))
				big.Set(i, n+j, -imag(z))
				big.Set(n+i, j, imag(z))
				big.Set(n+i, n+j, real(z))
			}
			for j, z := range b.row(i) {
				right.Set(i, j, real(z))
				right.Set(n+i, j, imag(z))
			}
		}
		var want mat.Dense
		if err := want.Solve(big, right); err != nil {
			t.Fatal(err)
		}
		if err := solveInPlace(a, b); err != nil {
			t.Fatalf("n = %d: %v", n, err)
		}
		var got, reference []complex128
		for i := range n {
			for j := range columns {
				got = append(got, b.row(i)[j])
				reference = append(reference, complex(want.At(i, j), want.At(n+i, j)))
			}
		}
		wrong := worstPart(got, reference)
		below(t, "error of the solution", wrong, 1e-11, "double precision times the condition of a random matrix, up to some thousands")
		t.Logf("n = %d: %.1g", n, wrong)
	}
}

func TestSolveSingular(t *testing.T) {
	for name, values := range map[string][]complex128{
		"zero":          {0, 0, 0, 0},
		"empty column":  {0, 1, 0, 2i},
		"not a number":  {cmplx.NaN(), 1, cmplx.NaN(), 2},
		"equal rows":    {1, 2i, 1, 2i},
		"multiple rows": {1, 2i, 2i, -4},
	} {
		a := &matrix{rows: 2, cols: 2, v: append([]complex128(nil), values...)}
		if err := solveInPlace(a, newMatrix(2, 1)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
