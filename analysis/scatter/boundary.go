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

// quadrature returns the rule for an element of length l seen from distance r: the coarse one suffices
// (relative error (kl)⁴/4320, below 1e-4 at an eighth of a wavelength) unless the point is close.
func quadrature(r, l float64) [][2]float64 {
	if r > 3.5*l {
		return gauss2[:]
	}
	return gauss8[:]
}

// rays are the straight ways from some points y to one point x, with the Hankel functions of their lengths r.
type rays struct {
	k         float64
	x         Point
	direction []Point         // (x−y)/r
	kr        []float64       // lengths, times k
	hankel    [][2]complex128 // H0⁽¹⁾(kr) and H1⁽¹⁾(kr)
	distances []float64       // for who needs them: of x from the middles of elements
}

// to begins anew, with rays to x.
func (s *rays) to(k float64, x Point) {
	s.k, s.x, s.direction, s.kr = k, x, s.direction[:0], s.kr[:0]
}

// from adds the ray from y.
func (s *rays) from(y Point) {
	dx, dy := s.x.X-y.X, s.x.Y-y.Y
	r := math.Sqrt(dx*dx + dy*dy)
	inverse := 1 / r
	s.direction = append(s.direction, Point{dx * inverse, dy * inverse})
	s.kr = append(s.kr, s.k*r)
}

// trace evaluates the functions, once all rays are there.
func (s *rays) trace() {
	if len(s.hankel) < len(s.kr) {
		s.hankel = make([][2]complex128, 2*len(s.kr))
	}
	hankels(s.hankel[:len(s.kr)], s.kr)
}

// green returns G = (i/4) H0⁽¹⁾(kr) of ray i.
func (s *rays) green(i int) complex128 { return scaleI(s.hankel[i][0], 0.25) }

// slope returns (1/4) H1⁽¹⁾(kr) times the part along t of ray i: α t·∇_x G, and −ik times that is t·∇_x G.
func (s *rays) slope(i int, t Point) complex128 {
	return scale(s.hankel[i][1], 0.25*s.direction[i].dot(t))
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

// influence tells what every element of a run does to a point x of the boundary with the given normal: the elements' coefficients of
// ½ − D − α N for piecewise constant pressure, with α = 0 unless the point is coupled. The hypersingular N is reduced to the elements' end points
// (Maue's identity, Z. Phys. 126 (1949) 601):
//
//	∫ ∂²G/∂n_x∂n_y ds = k² n_x·n_y ∫ G ds − t_x·∇_x [G(x,b) − G(x,a)].
func (r *run) influence(k float64, x, normal Point, coupled bool, dst []complex128, s *rays) {
	s.to(k, x)
	if coupled {
		s.from(r.from)
	}
	s.distances = s.distances[:0]
	for i := range r.count {
		if coupled {
			s.from(r.at(float64(i + 1)))
		}
		distance := x.distance(r.middle(i))
		s.distances = append(s.distances, distance)
		for _, point := range quadrature(distance, r.lengthM) {
			s.from(r.at(float64(i) + point[0]))
		}
	}
	s.trace()

	tangent := Point{normal.Y, -normal.X}
	var before complex128
	ray := 0
	if coupled {
		before, ray = s.slope(0, tangent), 1
	}
	for i := range r.count {
		var after complex128
		if coupled {
			after = s.slope(ray, tangent)
			ray++
		}
		distance := s.distances[i]
		var single, double complex128 // ∫ G ds and (−i/k) ∫ ∂G/∂n_y ds
		for _, point := range quadrature(distance, r.lengthM) {
			weight := point[1] * r.lengthM
			single += scale(s.green(ray), weight)
			double += scale(s.slope(ray, r.normal), weight)
			ray++
		}
		dst[i] = 0
		if own := distance < r.lengthM/4; own {
			single, double = 0.5i/complex(k, 0)*integralH0(k*r.lengthM/2), 0
			dst[i] = 0.5
		}
		if coupled {
			dst[i] += scale(after-before, r.turn)
			double += scale(single, normal.dot(r.normal))
		}
		dst[i] -= scaleI(double, k)
		before = after
	}
}
