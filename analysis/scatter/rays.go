package scatter

import "math"

// ray is the straight way from a point y to a point x.
type ray struct {
	dx, dy float64 // x − y
	tx, ty float64 // a unit vector along which the slope is wanted
}

// rays are some rays with the Hankel functions of their lengths r.
type rays struct {
	k         float64
	x         Point // where those begin that from adds
	list      []ray
	traced    [][2]complex128 // per ray: H0⁽¹⁾(kr), and H1⁽¹⁾(kr) (x−y)·t/r
	distances []float64       // for who needs them: of x from the middles of elements
}

// to begins anew, with rays to x.
func (s *rays) to(k float64, x Point) {
	s.k, s.x, s.list, s.distances = k, x, s.list[:0], s.distances[:0]
}

// from adds the ray from y, with its slope along t.
func (s *rays) from(y, t Point) {
	s.list = append(s.list, ray{s.x.X - y.X, s.x.Y - y.Y, t.X, t.Y})
}

// trace evaluates the functions, once all rays are there. Four go at once, so that it repeats the last one up to a multiple of four.
func (s *rays) trace() {
	n := len(s.list)
	if n == 0 {
		return
	}
	for len(s.list)%4 != 0 {
		s.list = append(s.list, s.list[n-1])
	}
	all := len(s.list)
	if len(s.traced) < all {
		s.traced = make([][2]complex128, 2*all)
	}
	for i := 0; i < all; i += 4 {
		if hasVectors {
			i += traceVectors(&s.traced[i], &s.list[i], all-i, s.k, 1/s.k)
			if i == all {
				break
			}
		}
		tracePlain(s.traced[i:i+4], s.list[i:i+4], s.k)
	}
	s.list = s.list[:n]
}

func tracePlain(traced [][2]complex128, list []ray, k float64) {
	for i, y := range list {
		r := math.Sqrt(y.dx*y.dx + y.dy*y.dy)
		h0, h1 := hankel(k * r)
		traced[i] = [2]complex128{h0, scale(h1, (y.dx*y.tx+y.dy*y.ty)/r)}
	}
}

// green returns G = (i/4) H0⁽¹⁾(kr) of ray i.
func (s *rays) green(i int) complex128 { return scaleI(s.traced[i][0], 0.25) }

// slope returns (1/4) H1⁽¹⁾(kr) times the part along t of ray i, and that times f: α t·∇_x G, and −ik times that is t·∇_x G.
func (s *rays) slope(i int, f float64) complex128 { return scale(s.traced[i][1], 0.25*f) }
