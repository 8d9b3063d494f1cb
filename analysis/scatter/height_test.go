package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// heightDefect against its definition: the mean over one mouth's height of the field of the other's,
// (1/h) ∫∫ e^{ikR}/(4πR) dz dz′, less that of an infinitely tall strip, (i/4) H0(kρ).
func TestHeightDefectAgainstDoubleIntegral(t *testing.T) {
	worst := 0.0
	for _, h := range []float64{0.3, 0.6, 2} {
		for _, k := range []float64{4, 10, 40, 80} {
			for _, rho := range []float64{0.013, 0.05, 0.3, 1.5} {
				// the midpoint rule in both heights: R depends on their difference alone, which occurs n − |i| times
				const n = 40000
				step := h / n
				var sum complex128
				for i := range n {
					r := math.Hypot(rho, step*float64(i))
					sum += cmplx.Rect(modeNorm(min(i, 1))*float64(n-i)/(4*math.Pi*r), k*r)
				}
				want := sum*complex(step*step/h, 0) - lineSource(k, rho)
				wrong := cmplx.Abs(heightDefect(k, rho, h)-want) / cmplx.Abs(want)
				worst = max(worst, wrong)
				below(t, fmt.Sprintf("h = %g m, k = %g/m, ρ = %g m: error of heightDefect", h, k, rho), wrong, 0.005, "it corrects a correction: half a per cent of it is 0.1 % of the mouths' coupling or less")
			}
		}
	}
	t.Logf("largest error %.2g", worst)
}

// A panel much taller than the Fresnel zone, seen from afar, scatters as an infinitely tall one does: by stationary phase over the height, and with
// the spreading of point sources, the field is that of the plane problem times √(k/(2π(r1+r2))) e^{−iπ/4} (Born and Wolf, appendix III, for the method;
// from e^{ikR}/(4πR) and (i/4)H0 at large kR). The ends' echo, which turns by a full wave when v² grows by 4, goes in the mean over three heights.
func TestTallPanel(t *testing.T) {
	const c, r1, r2 = 343.0, 150.0, 100.0
	source, receivers := polar(r1, 20), []Place{polar(r2, -20), polar(r2, 0), polar(r2, 50)}
	for _, hz := range []float64{500, 1000, 2000} {
		k := 2 * math.Pi * hz / c
		wells, plane := prime7(0, 0)
		e := exteriorOf(t, k, plane, source, receivers, DefaultMesh)
		spreading := cmplx.Rect(math.Sqrt(k/(2*math.Pi*(r1+r2))), -math.Pi/4)
		wantPanel, wantFlat := panelOf(t, e, wells, Losses{}), flatOf(e)
		panel, flat := make([]complex128, len(receivers)), make([]complex128, len(receivers))
		for i, weight := range []float64{0.25, 0.5, 0.25} {
			v := math.Sqrt(16 + 2*float64(i))
			_, tall := prime7(2*v/math.Sqrt(2*(1/r1+1/r2)*hz/c), 0)
			e := exteriorOf(t, k, tall, source, receivers, DefaultMesh)
			for r, p := range panelOf(t, e, wells, Losses{}) {
				panel[r] += complex(weight, 0) * p / spreading
				flat[r] += complex(weight, 0) * e.Flat(r) / spreading
			}
		}
		const reason = "stationary phase is off by the order of 1/(kr), made worse by the wells' resonances; the ends leave some 0.1 % after the mean"
		below(t, fmt.Sprintf("%g Hz: panel against the plane problem", hz), worstPart(panel, wantPanel), 0.005, reason)
		below(t, fmt.Sprintf("%g Hz: flat board against the plane problem", hz), worstPart(flat, wantFlat), 0.005, reason)
		t.Logf("%g Hz: panel off by %.2f %%, flat board by %.2f %%", hz, 100*worstPart(panel, wantPanel), 100*worstPart(flat, wantFlat))
	}
}

// A reflector of 0.6 × 1.2 m, source and receiver 3 m before its middle, 343 m/s, re an infinite plane: Kirchhoff's approximation with Fresnel's integrals
// (Rindel, "Attenuation of sound reflections due to diffraction", NAM 1986, from memory; the figures are computed).
// The Kirchhoff integral without Fresnel's approximation is summed here, which also serves above the table.
func TestFiniteReflector(t *testing.T) {
	const c, distance, width, height = 343.0, 3.0, 0.6, 1.2
	place := Place{Point: Point{0, distance}}
	const infinite = 1 / (4 * math.Pi * 2 * distance)
	for _, row := range []struct{ hz, tableDB, allowedDB float64 }{
		{100, -17.101, 4}, {250, -9.246, 4}, {500, -3.601, 1.2}, {1000, 0.880, 1.2}, {2000, math.NaN(), 0.4}, {4000, math.NaN(), 0.4},
	} {
		k := 2 * math.Pi * row.hz / c
		const n = 100
		var sum complex128
		for i := range n {
			for j := range n {
				x, z := width*((float64(i)+0.5)/n-0.5), height*((float64(j)+0.5)/n-0.5)
				r := math.Sqrt(distance*distance + x*x + z*z)
				g := cmplx.Rect(1/(4*math.Pi*r), k*r)
				sum += 2 * g * g * complex(1/r, -k) * complex(distance/r*width*height/(n*n), 0) // 2 p ∂G/∂n
			}
		}
		kirchhoff := 20 * math.Log10(cmplx.Abs(sum)/infinite)
		if !math.IsNaN(row.tableDB) {
			within(t, fmt.Sprintf("%g Hz: Kirchhoff's integral against the table, dB", row.hz), kirchhoff, row.tableDB, 0.25, "Fresnel's approximation takes the obliquity and 1/r as constant over 11° each way")
		}
		for _, depth := range []float64{0.02, 0.1} {
			var levels []float64
			for _, turned := range []bool{false, true} {
				s := Section{Boxes: []Box{{-width / 2, width / 2, depth}}, HeightM: height}
				if turned {
					s = Section{Boxes: []Box{{-height / 2, height / 2, depth}}, HeightM: width}
				}
				e := exteriorOf(t, k, s, place, []Place{place}, Mesh{PerWavelength: max(12, 2*math.Pi/k/0.02), Functions: 1})
				levels = append(levels, 20*math.Log10(cmplx.Abs(e.Flat(0))/infinite))
			}
			within(t, fmt.Sprintf("%g Hz, %g m thick: level re the infinite plane, dB", row.hz, depth), levels[0], kirchhoff, row.allowedDB,
				"Kirchhoff's approximation leaves out the edges' own waves: no more than plausible for a board of 0.2 to 0.4 wavelengths, about 1 dB from one wavelength on, and little above three")
			within(t, fmt.Sprintf("%g Hz, %g m thick: the board turned by 90°, dB", row.hz, depth), levels[1], levels[0], 0.1, "width and height are treated differently but mean the same; 1 % is what DefaultMesh promises")
			t.Logf("%g Hz, %g m thick: %.2f dB, turned by 90° %.2f dB; Kirchhoff %.2f dB, table %.2f dB", row.hz, depth, levels[0], levels[1], kirchhoff, row.tableDB)
		}
	}
}

// What mirrors the whole arrangement must not change the sound; and the shorter rule for places at mid-height must agree with the full one.
func TestMirrors(t *testing.T) {
	for _, capM := range []float64{0, 0.02} {
		for _, hz := range []float64{300, 1000, 4000} {
			field := func(wells []Well, turn, z float64) []complex128 {
				_, section := prime7(0.6, capM)
				e := exteriorOf(t, 2*math.Pi*hz/343, section, Place{Point{turn * 0.5, 2}, z}, []Place{{Point{turn * -0.3, 1}, z}, {Point{turn * 0.6, 0.5}, -z / 2}}, DefaultMesh)
				return append(panelOf(t, e, wells, Losses{}), flatOf(e)...)
			}
			wells := wellsOf(0, 0.049, 0.196, 0.098, 0.03, 0.15, 0.01)
			reversed := wellsOf(0.01, 0.15, 0.03, 0.098, 0.196, 0.049, 0)
			what := fmt.Sprintf("closed ends of %g m, %g Hz: ", capM, hz)
			below(t, what+"left and right exchanged", worstPart(field(reversed, -1, 0.2), field(wells, 1, 0.2)), 1e-5, "elements on the border of the near rule fall to one side or the other by rounding, each within 1e-4 of its own part")
			below(t, what+"upside down", worstPart(field(wells, 1, -0.2), field(wells, 1, 0.2)), 1e-9, "the same figure by another order of summation")
			below(t, what+"1 nm off mid-height", worstPart(field(wells, 1, 1e-9), field(wells, 1, 0)), 1e-6, "the quadrature over half the height and over all of it, and the change itself of some 1e-8")
		}
	}
}

// rectanglesInWall is z/ρc (e^{-iωt}) of one w × h piston upon an equal one at its side, dx between their middles, in an infinite rigid wall (Rayleigh's integral:
// Morse and Ingard, "Theoretical Acoustics", section 7.4, from memory): −ik/(2πwh) ∬∬ e^{ikR}/R, reduced to the differences of the coordinates.
func rectanglesInWall(k, w, h, dx float64) (sum complex128) {
	const n = 40
	for _, side := range []float64{-1, 1} {
		for i := range n {
			for _, gi := range gauss8 {
				s := (float64(i) + gi[0]) / n // u = w s³, v = h q³: fine where R vanishes
				u, du := w*s*s*s, 3*w*s*s*gi[1]/n
				for j := range n {
					for _, gj := range gauss2 {
						q := (float64(j) + gj[0]) / n
						v, dv := h*q*q*q, 3*h*q*q*gj[1]/n
						r := math.Hypot(dx+side*u, v)
						sum += cmplx.Rect(2*(1-u/w)*(1-v/h)*du*dv/r, k*r)
					}
				}
			}
		}
	}
	return sum * complex(0, -k/(2*math.Pi))
}

// Mouths of finite height: what one does to itself and to its neighbour, in a wide box, against pistons in a wall.
func TestMouthsOfFiniteHeight(t *testing.T) {
	const w, dx = 0.05, 0.11
	for _, h := range []float64{0.3, 0.6} {
		for _, k := range []float64{5, 10, 20} {
			lambda := 2 * math.Pi / k
			var self, other complex128
			for _, half := range []float64{1.5 * lambda, 1.75 * lambda} { // as in TestBaffledStrip
				s := Section{Boxes: []Box{{-half, half, lambda / 4}}, Mouths: []Mouth{{-(dx + w) / 2, -(dx - w) / 2}, {(dx - w) / 2, (dx + w) / 2}}, HeightM: h}
				e := exteriorOf(t, k, s, Place{Point: Point{0.3, 2}}, []Place{{Point: Point{0, 1}}}, Mesh{PerWavelength: 8 * lambda / w, Functions: 12})
				self, other = self-0.5*pistonImpedance(e, 0, 0), other-0.5*pistonImpedance(e, 0, 1)
			}
			wantSelf, wantOther := rectanglesInWall(k, w, h, 0), rectanglesInWall(k, w, h, dx)
			const reason = "8 elements across the mouth leave 1 % (TestBaffledStrip), the box's edges and the mean distance w/3 within one mouth as much again"
			for _, c := range []struct {
				what      string
				got, want complex128
			}{{"itself", self, wantSelf}, {"its neighbour", other, wantOther}} {
				below(t, fmt.Sprintf("h = %g m, k = %g/m: error of a mouth's effect on %s", h, k, c.what), cmplx.Abs(c.got-c.want), 0.02*cmplx.Abs(wantSelf), reason)
				t.Logf("h = %g m, k = %g/m: on %s z/ρc = %.4f, Rayleigh %.4f", h, k, c.what, c.got, c.want)
			}
		}
	}
}

// A tall panel under a wave that comes from above at 15° and is heard below at 15°: the problem is the plane one at k cos 15°. The height modes bring
// this in for the wells; the outside's coupling stays at k.
func TestElevatedPlaces(t *testing.T) {
	const far, height = 100.0, 4.0
	sin, cos := math.Sincos(15 * math.Pi / 180)
	at := func(azimuth, side float64) Place {
		p := polar(far*cos, azimuth)
		p.Z = side * far * sin
		return p
	}
	source, receivers := at(10, 1), []Place{at(-30, -1), at(0, -1), at(40, -1)}
	for _, hz := range []float64{500, 700, 1500, 2000} {
		k := 2 * math.Pi * hz / 343
		reflected := func(k, heightM float64) (ratio []complex128) { // panel over flat board: the spreading and the vertical pattern drop out
			wells, section := prime7(heightM, 0)
			e := exteriorOf(t, k, section, source, receivers, DefaultMesh)
			for r, p := range panelOf(t, e, wells, Losses{}) {
				ratio = append(ratio, p/e.Flat(r))
			}
			return ratio
		}
		got := reflected(k, height)
		oblique, upright := worstPart(got, reflected(k*cos, 0)), worstPart(got, reflected(k, 0))
		below(t, fmt.Sprintf("%g Hz: difference to the plane problem at k cos 15°", hz), oblique, 0.2, "the outside stays at k, 3.4 % too high, and the wells' resonances multiply this by up to 4")
		below(t, fmt.Sprintf("%g Hz: the same, against the difference to the plane problem at k", hz), oblique, upright/2, "if the wells didn't see the elevation it would be the other way round")
		t.Logf("%g Hz: differs by %.0f %% from the plane problem at k cos 15°, by %.0f %% from that at k", hz, 100*oblique, 100*upright)
	}
}
