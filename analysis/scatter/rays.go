package scatter

import (
	"math"
	"slices"
)

// ray is the straight way from a point y to a point x.
type ray struct {
	dx, dy float64 // x − y
	tx, ty float64 // a unit vector along which the slope is wanted
}

// four is what four rays are at every wavenumber.
type four struct {
	r, inverse, root [4]float64 // length r in metres, 1/r, 1/√r
	along            [4]float64 // (x−y)·t/r
}

// rays are some rays with the Hankel functions of their lengths r.
type rays struct {
	x      Point // where those begin that from adds
	list   []ray
	fours  []four
	traced [][2]complex128 // per ray: H0⁽¹⁾(kr), and H1⁽¹⁾(kr) (x−y)·t/r
}

// from adds the ray from y, with its slope along t.
func (s *rays) from(y, t Point) {
	s.list = append(s.list, ray{s.x.X - y.X, s.x.Y - y.Y, t.X, t.Y})
}

// measure appends the rays four at once, so that it repeats the last one up to a multiple of four.
func (s *rays) measure(to []four) []four {
	n := len(s.list)
	if n == 0 {
		return to
	}
	for len(s.list)%4 != 0 {
		s.list = append(s.list, s.list[n-1])
	}
	to = slices.Grow(to, len(s.list)/4)[:len(to)+len(s.list)/4]
	fours := to[len(to)-len(s.list)/4:]
	if hasVectors {
		measureVectors(&fours[0], &s.list[0], len(fours))
	} else {
		measurePlain(fours, s.list)
	}
	s.list = s.list[:n]
	return to
}

func measurePlain(fours []four, list []ray) {
	for i := range fours {
		f := &fours[i]
		for lane, y := range list[4*i : 4*i+4] {
			r := math.Sqrt(y.dx*y.dx + y.dy*y.dy)
			f.r[lane], f.inverse[lane] = r, 1/r
			f.root[lane], f.along[lane] = math.Sqrt(f.inverse[lane]), (y.dx*y.tx+y.dy*y.ty)*f.inverse[lane]
		}
	}
}

// trace evaluates the functions at wavenumber k.
func (s *rays) trace(k float64, fours []four) [][2]complex128 {
	if len(s.traced) < 4*len(fours) {
		s.traced = make([][2]complex128, 8*len(fours))
	}
	inverse, root := 1/k, math.Sqrt(1/k)
	for i := 0; i < len(fours); i++ {
		if hasVectors {
			i += traceVectors(&s.traced[4*i], &fours[i], len(fours)-i, k, inverse, root)
			if i == len(fours) {
				break
			}
		}
		tracePlain(s.traced[4*i:4*i+4], &fours[i], k)
	}
	return s.traced
}

func tracePlain(traced [][2]complex128, f *four, k float64) {
	for lane := range traced {
		h0, h1 := hankel(k * f.r[lane])
		traced[lane] = [2]complex128{h0, scale(h1, f.along[lane])}
	}
}

// green returns G = (i/4) H0⁽¹⁾(kr) of a traced ray.
func green(traced *[2]complex128) complex128 { return scaleI(traced[0], 0.25) }

// slope returns (1/4) H1⁽¹⁾(kr) times the part along t of a traced ray, and that times f: α t·∇_x G, and −ik times that is t·∇_x G.
func slope(traced *[2]complex128, f float64) complex128 { return scale(traced[1], 0.25*f) }
