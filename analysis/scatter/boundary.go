package scatter

import "math"

// Point is a place in the plane of the panel's cross-section, in metres: X along the front, Y out of the panel.
type Point struct{ X, Y float64 }

func (p Point) distance(q Point) float64 {
	x, y := p.X-q.X, p.Y-q.Y
	return math.Sqrt(x*x + y*y)
}

// along returns the part of p−q along the unit vector t.
func (p Point) along(q, t Point) float64 { return (p.X-q.X)*t.X + (p.Y-q.Y)*t.Y }

// run is a row of equal straight elements of a rigid boundary.
type run struct {
	from, step Point   // where the first element begins, and from there to where the next begins
	normal     Point   // unit vector into the air
	count      int     // elements
	lengthM    float64 // of one element
	turn       float64 // 1 where the air lies to the left of step, −1 where it lies to the right, as in a mirror image
	mouth      *piece  // nil for a wall
	shape      int     // runs of equal shape differ only in where they begin
}

// at returns the point u elements from the beginning.
func (r *run) at(u float64) Point { return Point{r.from.X + u*r.step.X, r.from.Y + u*r.step.Y} }

func (r *run) middle(i int) Point { return r.at(float64(i) + 0.5) }

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
	if r > 3.5*l {
		return gauss2[:]
	}
	return gauss8[:]
}

// doubleLayer returns ∫ ∂G/∂n_y ds over element i for a point x off the boundary, G = (i/4) H0⁽¹⁾(kr).
func (r *run) doubleLayer(k float64, i int, x Point) complex128 {
	var sum complex128
	for _, g := range quadrature(x.distance(r.middle(i)), r.lengthM) {
		y := r.at(float64(i) + g[0])
		d := x.distance(y)
		_, h1 := hankel(k * d)
		// ∂G/∂n_y = −G'(r) (x−y)·n/r with G' = −(ik/4) H1
		sum += scale(h1, g[1]*x.along(y, r.normal)/d)
	}
	return scale(sum, r.lengthM*k) * 0.25i
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

// incident returns p_inc + α ∂p_inc/∂n at point x of the boundary, for a unit line source at s.
func incident(k float64, x, normal, s Point) complex128 {
	d := x.distance(s)
	h0, h1 := hankel(k * d)
	return 0.25i*h0 + 0.25*scale(h1, x.along(s, normal)/d)
}

// influence tells what every element of a run does to a point x of the boundary with the given normal. Each element has an entry of
// equal length in dst. Its first number is the element's coefficient of ½ − D − α N for piecewise constant pressure; the
// hypersingular N is reduced to the elements' end points (Maue's identity, Z. Phys. 126 (1949) 601):
//
//	∫ ∂²G/∂n_x∂n_y ds = k² n_x·n_y ∫ G ds − t_x·∇_x [G(x,b) − G(x,a)].
//
// In a mouth there follow, for each mode m, the integral of G + α ∂G/∂n_x times cos(mπu/w), and after these, for each mode from 1, that
// times sin(mπu/w), where u is counted from the element's middle. ½α is included where x is that middle.
func (r *run) influence(k float64, x, normal Point, dst []complex128) {
	size := len(dst) / r.count
	tangent := Point{normal.Y, -normal.X}
	facing := normal.X*r.normal.X + normal.Y*r.normal.Y
	slope := func(y Point) complex128 { // α t·∇G
		d := x.distance(y)
		_, h1 := hankel(k * d)
		return scale(h1, 0.25*x.along(y, tangent)/d)
	}
	before := slope(r.from)
	for i := range r.count {
		entry := dst[i*size:][:size]
		clear(entry)
		after := slope(r.at(float64(i + 1)))
		distance := x.distance(r.middle(i))
		rule := quadrature(distance, r.lengthM)
		var single, double complex128
		for g, point := range rule {
			y := r.at(float64(i) + point[0])
			d := x.distance(y)
			h0, h1 := hankel(k * d)
			weight := 0.25 * point[1] * r.lengthM
			h0, h1 = complex(-weight*imag(h0), weight*real(h0)), scale(h1, weight/d)
			single += h0
			double += scale(h1, x.along(y, r.normal))
			if r.mouth != nil {
				r.mouth.addMoments(entry[1:], h0+scale(h1, x.along(y, normal)), len(rule), g)
			}
		}
		if own := distance < r.lengthM/4; own {
			exact := 0.5i / complex(k, 0) * integralH0(k*r.lengthM/2)
			if r.mouth != nil {
				for m := range r.mouth.modes {
					entry[1+m] += exact - single + 0.5*coupling(k)
				}
			}
			single, double = exact, 0
			entry[0] = 0.5
		}
		entry[0] += scale(after-before, r.turn) - complex(0, k)*(double+scale(single, facing))
		before = after
	}
}
