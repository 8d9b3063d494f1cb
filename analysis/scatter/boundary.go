package scatter

import "math"

// Point is a place in the plane of the panel's cross-section, in metres: X along the front, Y out of the panel.
type Point struct{ X, Y float64 }

// element is one straight piece of a rigid boundary, running from a to b; the normal n points into the air,
// and the tangent t from a to b is the normal turned by −90°.
type element struct {
	a, b, mid Point
	n, t      Point
	length    float64
}

func newElement(a, b Point) element {
	dx, dy := b.X-a.X, b.Y-a.Y
	l := math.Hypot(dx, dy)
	return element{
		a: a, b: b, mid: Point{(a.X + b.X) / 2, (a.Y + b.Y) / 2},
		t: Point{dx / l, dy / l}, n: Point{-dy / l, dx / l}, length: l,
	}
}

// at returns the point at fraction u (0 to 1) of the element.
func (e *element) at(u float64) Point {
	return Point{e.a.X + u*(e.b.X-e.a.X), e.a.Y + u*(e.b.Y-e.a.Y)}
}

// Gauss–Legendre points and weights on 0…1 (Abramowitz and Stegun table 25.4).
var (
	gauss2 = [...][2]float64{{0.21132486540518713, 0.5}, {0.7886751345948129, 0.5}}
	gauss8 = [...][2]float64{
		{0.019855071751231884, 0.05061426814518813}, {0.10166676129318664, 0.11119051722668724},
		{0.2372337950418355, 0.15685332293894363}, {0.4082826787521751, 0.18134189168918100},
		{0.5917173212478249, 0.18134189168918100}, {0.7627662049581645, 0.15685332293894363},
		{0.8983332387068134, 0.11119051722668724}, {0.9801449282487681, 0.05061426814518813},
	}
)

// quadrature returns the rule for an element of length l seen from distance r: the coarse one suffices
// (relative error (kl)⁴/4320, below 1e-4 at an eighth of a wavelength) unless the point is close.
func quadrature(r, l float64) [][2]float64 {
	if r > 3*l {
		return gauss2[:]
	}
	return gauss8[:]
}

// layers returns the single-layer and the double-layer integral of one element at point x,
//
//	s = ∫ G ds,  d = ∫ ∂G/∂n_y ds,  G = (i/4) H0⁽¹⁾(kr),
//
// for x not on the element.
func (e *element) layers(k float64, x Point) (s, d complex128) {
	for _, g := range quadrature(math.Hypot(x.X-e.mid.X, x.Y-e.mid.Y), e.length) {
		y := e.at(g[0])
		rx, ry := x.X-y.X, x.Y-y.Y
		r := math.Hypot(rx, ry)
		h0, h1 := hankel(k * r)
		weight := g[1] * e.length
		s += scale(h0, weight)
		// ∂G/∂n_y = −G'(r) (x−y)·n/r with G' = −(ik/4) H1
		d += scale(h1, weight*k*(rx*e.n.X+ry*e.n.Y)/r)
	}
	return s * 0.25i, d * 0.25i
}

// selfLayer returns ∫ G ds at the element's own middle.
func (e *element) selfLayer(k float64) complex128 {
	return 0.5i / complex(k, 0) * integralH0(k*e.length/2)
}

// gradient returns the derivative of G(|x−y|) with respect to x along the direction t.
func gradient(k float64, x, y, t Point) complex128 {
	rx, ry := x.X-y.X, x.Y-y.Y
	r := math.Hypot(rx, ry)
	_, h1 := hankel(k * r)
	return -0.25i * scale(h1, k*(rx*t.X+ry*t.Y)/r)
}

func scale(z complex128, f float64) complex128 { return complex(real(z)*f, imag(z)*f) }

// lineSource returns G at distance r: the pressure of a unit line source, (i/4) H0⁽¹⁾(kr).
func lineSource(k, r float64) complex128 {
	h0, _ := hankel(k * r)
	return 0.25i * h0
}

// coupling returns Burton and Miller's weight i/k of the derivative equation (Proc. R. Soc. A 323, 1971, 201;
// the sign belongs to e^{-iωt}).
func coupling(k float64) complex128 { return complex(0, 1/k) }

// boundaryRows assembles the named rows of ½ − D − α N for piecewise constant pressure, collocated at the middles of the elements.
// The hypersingular N is reduced to the elements' end points (Maue's identity, Z. Phys. 126 (1949) 601):
//
//	∫ ∂²G/∂n_x∂n_y ds = k² n_x·n_y ∫ G ds − t_x·∇_x [G(x,b) − G(x,a)].
func boundaryRows(k float64, elements []element, which []int) *matrix {
	m := newMatrix(len(which), len(elements))
	alpha := coupling(k)
	for r, i := range which {
		x := &elements[i]
		row := m.row(r)
		var last Point
		var gradLast complex128
		for j := range elements {
			e := &elements[j]
			var s, d complex128
			if i == j {
				s = e.selfLayer(k)
			} else {
				s, d = e.layers(k, x.mid)
			}
			gradA := gradLast
			if j == 0 || e.a != last {
				gradA = gradient(k, x.mid, e.a, x.t)
			}
			gradB := gradient(k, x.mid, e.b, x.t)
			last, gradLast = e.b, gradB
			hyper := scale(s, k*k*(x.n.X*e.n.X+x.n.Y*e.n.Y)) - (gradB - gradA)
			row[j] = -d - alpha*hyper
		}
		row[i] += 0.5
	}
	return m
}

// incident returns the right-hand side p_inc + α ∂p_inc/∂n at the middle of an element, for a unit line source at s.
func (e *element) incident(k float64, s Point) complex128 {
	return lineSource(k, math.Hypot(e.mid.X-s.X, e.mid.Y-s.Y)) + coupling(k)*gradient(k, e.mid, s, e.n)
}
