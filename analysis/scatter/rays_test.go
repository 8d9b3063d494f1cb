package scatter

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Rays four at once against one after the other through the standard library's Bessel functions, whose own error is 1e-14 and more where kr is large: lengths from near the
// singularity to far away, numbers that are no multiple of four, distances outside the vectors' range among the rest.
func TestRaysTwin(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	s := &rays{}
	for n := range 40 {
		const k = 20.
		s.list, s.x = nil, Point{0.3, -0.2}
		for range n {
			turn, r := 2*math.Pi*random.Float64(), math.Exp(16*random.Float64()-9)/k
			s.from(Point{s.x.X + r*math.Cos(turn), s.x.Y + r*math.Sin(turn)}, Point{math.Sin(3 * turn), math.Cos(3 * turn)})
		}
		fours := s.measure(nil)
		s.trace(k, fours)
		for i, y := range s.list {
			r := math.Hypot(y.dx, y.dy)
			x := k * r
			h0, h1 := complex(math.J0(x), math.Y0(x)), complex(math.J1(x), math.Y1(x))
			slope := scale(h1, y.dx/r*y.tx+y.dy/r*y.ty)
			// rounding of kr turns the phase by kr times 2e-16
			allowed := 5e-14 + 1e-15*x
			below(t, "H0 over its modulus", cmplx.Abs(s.traced[i][0]-h0)/cmplx.Abs(h0), allowed, "series and polynomials are good for 3e-14, rounding of kr for the rest")
			below(t, "H1's part over its modulus", cmplx.Abs(s.traced[i][1]-slope)/cmplx.Abs(h1), allowed, "series and polynomials are good for 3e-14, rounding of kr for the rest")
		}
		plain := make([][2]complex128, 4*len(fours))
		plainFours := make([]four, len(fours))
		list := s.list[:4*len(fours)] // what measure has added is still there
		measurePlain(plainFours, list)
		for i := range plainFours {
			tracePlain(plain[4*i:][:4], &plainFours[i], k)
		}
		for i := range n {
			x := k * math.Hypot(s.list[i].dx, s.list[i].dy)
			below(t, "H0 against the portable twin", cmplx.Abs(plain[i][0]-s.traced[i][0])/cmplx.Abs(plain[i][0]), 2e-15+1e-15*x, "rounding")
		}
	}
}
