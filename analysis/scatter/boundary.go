package scatter

import "math"

// Point is a place in the plane of the panel's cross-section, in metres: X along the front, Y out of the panel.
type Point struct{ X, Y float64 }

func (p Point) distance(q Point) float64 {
	x, y := p.X-q.X, p.Y-q.Y
	return math.Sqrt(x*x + y*y)
}

func (p Point) dot(q Point) float64 { return p.X*q.X + p.Y*q.Y }

// run is a row of equal straight elements of a rigid boundary.
type run struct {
	from, step Point   // where the first element begins, and from there to where the next begins
	normal     Point   // unit vector into the air
	count      int     // elements
	lengthM    float64 // of one element
	turn       float64 // 1 where the air lies to the left of step, −1 where it lies to the right, as in a mirror image
	coupled    bool    // whether the derivative equation is added here
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

const coarseFrom = 3.5 // lengths

// quadrature returns the rule for an element of length l seen from distance r: the coarse one suffices
// (relative error (kl)⁴/4320, below 1e-4 at an eighth of a wavelength) unless the point is close.
func quadrature(r, l float64) [][2]float64 {
	if r > coarseFrom*l {
		return gauss2[:]
	}
	return gauss8[:]
}

// gaussOf returns the rule of so many points.
func gaussOf(points uint8) [][2]float64 {
	if int(points) == len(gauss2) {
		return gauss2[:]
	}
	return gauss8[:]
}

func scale(z complex128, f float64) complex128 { return complex(real(z)*f, imag(z)*f) }

// scaleI returns i·f·z.
func scaleI(z complex128, f float64) complex128 { return complex(-f*imag(z), f*real(z)) }

// lineSource returns G at distance r: the pressure of a unit line source, (i/4) H0⁽¹⁾(kr).
func lineSource(k, r float64) complex128 {
	h0, _ := hankel(k * r)
	return 0.25i * h0
}

// coupling returns Burton and Miller's weight i/k of the derivative equation (Proc. R. Soc. A 323, 1971, 201;
// the sign belongs to e^{-iωt}).
//
// The derivative equation is there because the plain one also has the resonances of the box's inside. For these it is enough to add
// it to a part of the boundary: the wave inside that would go with a second solution had to meet an absorbing wall there. It takes
// the back, as at the mouths, where velocities are singular, it would cost accuracy.
func coupling(k float64) complex128 { return complex(0, 1/k) }

// influence tells, once the rays are traced, what every element of a run does to a point with the given normal: the elements' coefficients of
// ½ − D − α N for piecewise constant pressure, with α = 0 unless the point is coupled. The hypersingular N is reduced to the elements' end points
// (Maue's identity, Z. Phys. 126 (1949) 601):
//
//	∫ ∂²G/∂n_x∂n_y ds = k² n_x·n_y ∫ G ds − t_x·∇_x [G(x,b) − G(x,a)].
//
// near holds how many rays stand for each element; it returns the rays that are left.
func (r *run) influence(k float64, normal Point, coupled bool, dst []complex128, traced [][2]complex128, near []uint8) [][2]complex128 {
	cosine := normal.dot(r.normal)
	for i, rays := range near {
		var single, double complex128 // ∫ G ds and (−i/k) ∫ ∂G/∂n_y ds
		dst[i] = 0
		switch int(rays) {
		case 0: // its own
			single = 0.5i / complex(k, 0) * integralH0(k*r.lengthM/2)
			dst[i] = 0.5
		case len(gauss2): // as below, with equal weights
			a, b, weight := &traced[0], &traced[1], r.lengthM/8
			double = complex(weight*(real(a[1])+real(b[1])), weight*(imag(a[1])+imag(b[1])))
			if coupled {
				single = complex(-weight*(imag(a[0])+imag(b[0])), weight*(real(a[0])+real(b[0])))
			}
		default:
			for q, point := range gauss8 {
				weight := point[1] * r.lengthM / 4
				single += scaleI(traced[q][0], weight)
				double += scale(traced[q][1], weight)
			}
		}
		traced = traced[rays:]
		if coupled {
			double += scale(single, cosine)
		}
		dst[i] -= scaleI(double, k)
	}
	if coupled {
		for i := range near {
			dst[i] += scale(traced[i+1][1]-traced[i][1], r.turn/4)
		}
		traced = traced[len(near)+1:]
	}
	return traced
}
