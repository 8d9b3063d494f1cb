package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// baffledStrip is z/ρc of a strip of width d in an infinite rigid wall, driven evenly: k∫₀^d (1 − u/d) H₀⁽²⁾(ku) du for e^{jωt}
// (Morse and Ingard, "Theoretical Acoustics", section 7.4, from memory; the figures are computed from the integral in high precision).
var baffledStrip = []struct{ kd, resistance, reactance float64 }{
	{0.5, 0.247412, 0.363563},
	{1, 0.479680, 0.492476},
	{2, 0.849045, 0.493470},
}

// stripInBox returns the exterior of one well of width 1 in the front of a wide box.
func stripInBox(t *testing.T, k, half float64, perStrip, functions int) *Exterior {
	t.Helper()
	lambda := 2 * math.Pi / k
	s := Section{Boxes: []Box{{-half, half, lambda / 4}}, Mouths: []Mouth{{-0.5, 0.5}}}
	return exteriorOf(t, k, s, Place{Point: Point{3, 40}}, []Place{{Point: Point{-1, 30}}}, Mesh{PerWavelength: lambda * float64(perStrip), Functions: functions})
}

// pistonImpedance returns z/ρc of mouth i upon mouth j, e^{-iωt}, for even velocities: the mean pressure per velocity iωρ·v = ∂p/∂y. An even
// velocity is √h0/2 Σ ∫p_f dξ φ_f in the functions of the mouths.
func pistonImpedance(e *Exterior, i, j int) (z complex128) {
	even := make([]float64, e.functions)
	polynomials := make([]float64, e.functions)
	for _, g := range gauss8 { // exact up to p_15
		orthonormals(polynomials, 2*g[0]-1)
		for f, p := range polynomials {
			even[f] += math.Sqrt(weightIntegral) * g[1] * p
		}
	}
	for f, u := range even {
		for g, v := range even {
			z += scale(e.height[0].z.row(i*e.functions + f)[j*e.functions+g], u*v)
		}
	}
	return z * complex(0, -e.K/e.mouths[i].WidthM())
}

// As ∂p/∂y = iωρv for e^{-iωt}, z/ρc of the table is the conjugate of what pistonImpedance returns, up to its sign: in the table the velocity is positive out of the wall, and so it is here.
//
// The edges of the box throw a wave of relative size 1/√(kL)² back, which turns its sign when they move by a quarter of a wavelength:
// the mean of two widths is free of it.
func TestBaffledStrip(t *testing.T) {
	const reason = "an even velocity takes many functions, 12 leave 0.1 %, 16 elements across the strip and the remainder of the box's edges as much again"
	for _, row := range baffledStrip {
		var mean complex128
		lambda := 2 * math.Pi / row.kd
		for _, half := range []float64{1.5 * lambda, 1.75 * lambda} {
			mean += 0.5 * cmplx.Conj(-pistonImpedance(stripInBox(t, row.kd, half, 16, 12), 0, 0))
		}
		size := math.Hypot(row.resistance, row.reactance)
		within(t, fmt.Sprintf("kd = %g, resistance", row.kd), real(mean), row.resistance, 0.003*size, reason)
		within(t, fmt.Sprintf("kd = %g, reactance", row.kd), imag(mean), row.reactance, 0.003*size, reason)
		t.Logf("kd = %g: z/ρc = %.5f%+.5fj, exact %.6f%+.6fj", row.kd, real(mean), imag(mean), row.resistance, row.reactance)
	}
}

// A single well resonates where it is a quarter of a wavelength deep, less the air that swings before its mouth: cot kd = x, the reactance of the strip.
func TestQuarterWaveResonator(t *testing.T) {
	for _, row := range baffledStrip {
		e := stripInBox(t, row.kd, 1.625*2*math.Pi/row.kd, 16, 4)
		loudest, at := 0.0, 0.0
		for phase := 0.3; phase < 2.5; phase += 0.001 {
			if a := cmplx.Abs(panelOf(t, e, wellsOf(phase/row.kd), Losses{})[0] - e.Flat(0)); a > loudest {
				loudest, at = a, phase
			}
		}
		want := math.Atan(1 / row.reactance)
		within(t, fmt.Sprintf("kw = %g: kd at resonance", row.kd), at, want, 0.015, "the reactance is within 1 to 2 % in a box of one width only, and |d arccot x/dx| < 1")
		t.Logf("kw = %g: resonance at kd = %.3f, expected %.4f (a quarter wave less %.3f of the width)", row.kd, at, want, (math.Pi/2-at)/row.kd)

		// half a wave deep, it is as good as closed to the plane mode; at its edges the air still swings in and out
		quarter := panelOf(t, e, []Well{{DepthM: math.Pi / 2 / row.kd}}, Losses{})[0] - e.Flat(0)
		half := panelOf(t, e, []Well{{DepthM: math.Pi / row.kd}}, Losses{})[0] - e.Flat(0)
		below(t, "a half-wave well against a quarter-wave one", cmplx.Abs(half)/cmplx.Abs(quarter), 0.001*row.kd*row.kd, "the mode with one wave across the mouth, which the edges drive, counts by (kw/2π)² and by the part of a tenth or so it has in the velocity")
		e = stripInBox(t, row.kd, 1.625*2*math.Pi/row.kd, 16, 1)
		half = panelOf(t, e, []Well{{DepthM: math.Pi / row.kd}}, Losses{})[0] - e.Flat(0)
		below(t, "the same with the mean velocity alone", cmplx.Abs(half)/cmplx.Abs(quarter), 1e-12, "tan π = 0, up to rounding")
	}
}

// besselJ sums the power series of J_ν(x) (Abramowitz and Stegun 9.1.10), good for x up to about 10.
func besselJ(nu, x float64) float64 {
	term := math.Pow(x/2, nu) / math.Gamma(nu+1)
	sum := term
	for m := 1.0; m < 80; m++ {
		term *= -x * x / 4 / (m * (m + nu))
		sum += term
	}
	return sum
}

// rightAngle is the field of the plane wave e^{−ikr cos(φ−φ0)} at a rigid corner with 270° of air, φ from one face to the other:
// (2/n) Σ ε_m e^{−iπm/2n} J_{m/n}(kr) cos(mφ/n) cos(mφ0/n), n = 3/2 (Macdonald 1902; Bowman, Senior and Uslenghi, chapter 6, from memory).
func rightAngle(kr, phi, phi0 float64) (u complex128) {
	for m := range 60 {
		nu := float64(m) * 2 / 3
		u += cmplx.Rect(4.0/3*modeNorm(min(m, 1))*besselJ(nu, kr)*math.Cos(nu*phi)*math.Cos(nu*phi0), -nu*math.Pi/2)
	}
	return u
}

// fresnel returns ∫_a^∞ e^{iτ²} dτ, along the line τ = a + s e^{iπ/4} where it decays.
func fresnel(a float64) (sum complex128) {
	if a < 0 {
		return cmplx.Rect(math.Sqrt(math.Pi), math.Pi/4) - fresnel(-a)
	}
	turn := cmplx.Rect(1, math.Pi/4)
	const n, top = 400, 7.0
	for i := range n {
		for _, g := range gauss8 {
			s := top * (float64(i) + g[0]) / n
			sum += cmplx.Exp(complex(-s*s, 0)+complex(0, 2*a*s)*turn) * complex(g[1]*top/n, 0)
		}
	}
	return cmplx.Rect(1, a*a) * turn * sum
}

// halfPlane is the field of the plane wave e^{−ikr cos(φ−φ0)} at a rigid half-plane, φ from the lit face (0) to the other (2π)
// (Sommerfeld 1896; Born and Wolf, "Principles of Optics", section 11.5, from memory).
func halfPlane(kr, phi, phi0 float64) complex128 {
	u := func(psi float64) complex128 {
		return cmplx.Rect(1/math.Sqrt(math.Pi), -math.Pi/4-kr*math.Cos(psi)) * fresnel(-math.Sqrt(2*kr)*math.Cos(psi/2))
	}
	return u(phi-phi0) + u(phi+phi0)
}

// cornerField returns the field at points around the left front corner of a box, relative to a plane wave that comes straight upon the front.
// What the box's other edges send is taken out by a mean over three sizes, in which it turns by half a wave each.
// Points are given relative to the corner; depth is the first size's.
func cornerField(t *testing.T, k, half, depth, depthStep float64, points []Point, perWavelength float64) []complex128 {
	t.Helper()
	const far = 1e5 // of a wavelength or so: the wave is plane here within 1e-4
	step := math.Pi / 2 / k
	out := make([]complex128, len(points))
	for i, weight := range []float64{0.25, 0.5, 0.25} {
		half, depth := half+step*float64(i), depth+depthStep*float64(i)
		s := Section{Boxes: []Box{{-half, half, depth}}}
		var places []Place
		for _, p := range points {
			places = append(places, Place{Point: Point{p.X - half, p.Y}})
		}
		e := exteriorOf(t, k, s, Place{Point: Point{-half, far}}, places, Mesh{PerWavelength: perWavelength, Functions: 1})
		for j, p := range points {
			out[j] += complex(weight, 0) * (e.Flat(j) + lineSource(k, math.Hypot(p.X, p.Y-far))) / lineSource(k, far)
		}
	}
	return out
}

func TestRightAngledEdge(t *testing.T) {
	const k = 2 * math.Pi
	for _, kr := range []float64{1, 5} {
		degrees := []float64{30, 90, 180, 240}
		var points []Point
		for _, a := range degrees {
			sin, cos := math.Sincos(a * math.Pi / 180)
			points = append(points, Point{kr / k * cos, kr / k * sin})
		}
		got := cornerField(t, k, 3, 4, 0.25, points, 32)
		for j, a := range degrees {
			want := rightAngle(kr, a*math.Pi/180, math.Pi/2)
			within(t, fmt.Sprintf("kr = %g, %g° from the front: error of the field", kr, a), cmplx.Abs(got[j]-want), 0, 0.01,
				"two edges 6 wavelengths apart leave 1/(2πkL) = 0.4 % of the incident wave after the mean, the elements 0.3 %")
			t.Logf("kr = %g, %g° from the front: |u| = %.4f, exact %.4f", kr, a, cmplx.Abs(got[j]), cmplx.Abs(want))
		}
	}
}

func TestHalfPlane(t *testing.T) {
	// figures computed from Sommerfeld's solution in high precision: lit face, shadow boundary, shadow face, normal incidence
	for _, row := range [][4]float64{{1, 2.025541, 0.660627, 0.475143}, {10, 2.052575, 0.547351, 0.177381}, {100, 1.945380, 0.514332, 0.056415}} {
		for i, phi := range []float64{0, 1.5 * math.Pi, 2 * math.Pi} {
			within(t, "Sommerfeld's solution against its table", cmplx.Abs(halfPlane(row[0], phi, math.Pi/2)), row[1+i], 1e-6, "the table has six decimals")
		}
	}
	// the screen is thin: kt = 0.1
	const k, element, thickness = 2 * math.Pi, 1.0 / 32, 1.0 / 64
	for _, kr := range []float64{1, 10} {
		r := kr / k
		// off the faces by two elements, where the pressure's staircase isn't seen
		got := cornerField(t, k, 3, thickness, 0, []Point{{r, 2 * element}, {0, -r}, {r, -thickness - 2*element}}, 1/element)
		off, distance := math.Atan(2*element/r), math.Hypot(r, 2*element)
		for j, want := range []complex128{
			halfPlane(k*distance, off, math.Pi/2),
			halfPlane(kr, 1.5*math.Pi, math.Pi/2),
			halfPlane(k*distance, 2*math.Pi-off, math.Pi/2),
		} {
			where := fmt.Sprintf("kr = %g, %s", kr, [3]string{"before the lit face", "shadow boundary", "behind the shadow face"}[j])
			below(t, where+": error of the field", cmplx.Abs(got[j]-want), k*thickness, "a screen of thickness t differs from a half-plane by the order of kt times the incident wave")
			t.Logf("%s: |u| = %.4f, exact %.4f", where, cmplx.Abs(got[j]), cmplx.Abs(want))
		}
	}
}
