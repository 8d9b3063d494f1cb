package scatter

import "math"

// span is a range of distances, in metres.
type span struct{ from, to float64 }

func (s *span) include(distances ...float64) {
	for _, d := range distances {
		if d > s.to {
			s.to = d
		}
		if d < s.from || s.from == 0 {
			s.from = d
		}
	}
}

// radial interpolates functions of the distance r from a place whose height differs by some dz, such as e^{ikR} with R² = r² + dz², by Chebyshev
// polynomials in (r−c)/(r+c). In this variable all of their singularities, r = ±i dz and r = 0, lie on the unit circle, whatever dz.
type radial struct {
	centre, reach float64
	terms         int
}

// newRadial covers a span. Phase is by how much, in radians, the fastest of the functions turns over it. The error stays below 1e-10 of the
// functions, mostly far below: the factor on phase is found by trying, from places almost on the panel to places far away.
func newRadial(s span, phase float64) radial { return newRadialTo(11, s, phase) }

// newRadialTo is newRadial to about so many digits.
func newRadialTo(digits float64, s span, phase float64) radial {
	c := math.Sqrt(s.from * s.to)
	f := radial{centre: c, reach: max((s.to-c)/(s.to+c), 1e-6)}
	// the ellipse with foci ±reach that touches the unit circle gives the rate of convergence
	rate := math.Log((1 + math.Sqrt(1-f.reach*f.reach)) / f.reach)
	f.terms = int(math.Ceil(digits*math.Ln10/rate+1.3*phase)) + 2
	return f
}

// node returns the distance at which the function's value number i is wanted.
func (f radial) node(i int) float64 {
	u := f.reach * math.Cos(math.Pi*(float64(i)+0.5)/float64(f.terms))
	return f.centre * (1 + u) / (1 - u)
}

// series turns values at the nodes, one function per column, into the coefficients of the polynomials.
func (f radial) series(values *matrix) *matrix {
	out := newMatrix(values.rows, values.cols)
	row := make([]complex128, f.terms)
	for m := range f.terms {
		for i := range row {
			row[i] = complex(-modeNorm(m)/float64(f.terms)*math.Cos(float64(m)*math.Pi*(float64(i)+0.5)/float64(f.terms)), 0)
		}
		subtractProduct(out.row(m), row, values.v, values.cols)
	}
	return out
}

// position returns the polynomials' variable, between −1 and 1.
func (f radial) position(r float64) float64 { return (r - f.centre) / ((r + f.centre) * f.reach) }

// polynomials sets dst to the values of all polynomials at distance r.
func (f radial) polynomials(dst []complex128, r float64) {
	x := f.position(r)
	before, p := x, 1.0
	for m := range dst {
		dst[m] = complex(p, 0)
		before, p = p, 2*x*p-before
	}
}

// sum returns the value of a series at distance r.
func (f radial) sum(series []complex128, r float64) complex128 {
	// Even and odd polynomials go by themselves, T_{m+2} = 2 T_2 T_m − T_{m−2}: half as long a chain of sums that wait for each other.
	x := f.position(r)
	step := 4*x*x - 2
	even, evenBefore := 1.0, 0.5*step
	odd, oddBefore := x, x
	var re, im float64
	for len(series) > 1 {
		re += even*real(series[0]) + odd*real(series[1])
		im += even*imag(series[0]) + odd*imag(series[1])
		even, evenBefore = step*even-evenBefore, even
		odd, oddBefore = step*odd-oddBefore, odd
		series = series[2:]
	}
	if len(series) > 0 {
		re += even * real(series[0])
		im += even * imag(series[0])
	}
	return complex(re, im)
}
