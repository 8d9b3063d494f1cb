// Package scatter predicts how a structure of wells scatters sound, from the wave equation.
//
// The time convention is e^{-iωt} throughout: outgoing waves are e^{ikr}, Green's function of the plane is (i/4) H0⁽¹⁾(kr),
// that of space e^{ikr}/(4πr). Lengths are in metres, wavenumbers in 1/m.
//
// The structure is cut at the mouths of its wells. Outside stands a rigid box, solved once per frequency by boundary
// elements (SolveExterior); inside, each well carries modes whose admittance is known in closed form (Wells). Only the latter
// depends on the depths. Finite height comes in by height modes and vertical factors (height.go).
package scatter

import (
	"fmt"
	"math"
)

// Place is a source or receiver: a point of the cross-section's plane and its height Z above the panel's middle, in metres.
type Place struct {
	Point
	Z float64
}

// Mesh says how finely the outside is solved.
type Mesh struct {
	PerWavelength float64 // boundary elements per wavelength, at least
	Modes         int     // modes across each well's mouth, 1 or more
}

// DefaultMesh keeps the scattered pressure within about 1 % of its limit for wells up to a wavelength wide; the tests show its convergence.
var DefaultMesh = Mesh{PerWavelength: 8, Modes: 4}

// Exterior is the field outside a section at one wavenumber for one source and several receivers, reduced to what the wells
// need. Mode m of mouth j, cos(mπ(x−X0)/w), has index j·modes + m. It is not changed by its methods and may be shared.
type Exterior struct {
	K float64 // wavenumber, 1/m

	mouths  []Mouth
	modes   int
	flat    []complex128   // per receiver: what the closed boxes scatter
	source  []complex128   // mouth-mode pressures for a unit line source at the source, all mouths closed
	radiate [][]complex128 // per receiver: field of a unit mode velocity ∂p/∂n
	height  []heightMode   // one for infinite height
}

// heightMode is one mode over the height: how it is excited, how it couples the mouths, how it is heard.
type heightMode struct {
	kz      float64        // nπ/h, 1/m
	z       *matrix        // mouth-mode pressure per unit mode velocity
	excite  []complex128   // per mouth
	receive [][]complex128 // per receiver and mouth
}

// SolveExterior solves the outside of a section at wavenumber k (1/m) for a source and receivers and reduces it to the mouths'
// modes: direct boundary integral equation with Burton and Miller's combination, pressure constant on each element and
// collocated at its middle.
// Errors: an impossible section or wavenumber, a place on or inside a box, a singular system.
func SolveExterior(k float64, section *Section, source Place, receivers []Place, mesh Mesh) (*Exterior, error) {
	if !(k > 0) || math.IsInf(k, 0) {
		return nil, fmt.Errorf("wavenumber %g 1/m: expected a positive number", k)
	}
	if err := section.Validate(); err != nil {
		return nil, err
	}
	places := append([]Place{source}, receivers...)
	for i, p := range places {
		for _, b := range section.Boxes {
			if p.X >= b.X0M && p.X <= b.X1M && p.Y <= 0 && p.Y >= -b.DepthM {
				return nil, fmt.Errorf("place %d at x = %g m, y = %g m lies inside the panel's box", i, p.X, p.Y)
			}
		}
	}
	size := 2 * math.Pi / k / mesh.PerWavelength
	for _, m := range section.Mouths {
		// a mode with m half waves across the mouth needs elements to stand on
		size = min(size, m.WidthM()/float64(2*mesh.Modes))
	}
	elements, first, count := section.mesh(size)
	modes := mesh.Modes
	unknowns := len(section.Mouths) * modes
	solution := newMatrix(len(elements), len(places)+unknowns)
	for i := range elements {
		row := solution.row(i)
		for s, p := range places {
			row[s] = elements[i].incident(k, p.Point)
		}
		for j, m := range section.Mouths {
			from := len(places) + j*modes
			mouthVelocity(k, i, elements, first[j], count[j], m, row[from:from+modes])
		}
	}
	if err := solveBoundary(k, elements, solution); err != nil {
		return nil, fmt.Errorf("wavenumber %g 1/m: %w", k, err)
	}

	// project the pressures on the mouths' modes: ε/w ∫ p φ
	projected := newMatrix(unknowns, solution.cols)
	for j, m := range section.Mouths {
		for mode := range modes {
			row := projected.row(j*modes + mode)
			for i := first[j]; i < first[j]+count[j]; i++ {
				weight := modeNorm(mode) / m.WidthM() * modeIntegral(mode, m, elements[i])
				for c, p := range solution.row(i) {
					row[c] += scale(p, weight)
				}
			}
		}
	}
	e := &Exterior{K: k, mouths: section.Mouths, modes: modes}
	e.source = make([]complex128, unknowns)
	z := newMatrix(unknowns, unknowns)
	for i := range unknowns {
		e.source[i] = projected.row(i)[0]
		copy(z.row(i), projected.row(i)[len(places):])
	}
	e.symmetrise(z)
	for r := range receivers {
		q := make([]complex128, unknowns)
		for i := range q {
			// reciprocity: the field of a unit mode velocity is −(w/ε) times the mode pressure of a source at the receiver
			q[i] = -scale(projected.row(i)[1+r], 1/e.weight(i))
		}
		e.radiate = append(e.radiate, q)
	}

	heights, err := newHeights(k, section, places, mesh)
	if err != nil {
		return nil, err
	}
	e.flat = heights.closedBoxes(k, elements, places, solution)
	e.height = heights.modes(k, section, places, z, modes)
	return e, nil
}

// weight returns ε/w of mode i.
func (e *Exterior) weight(i int) float64 { return modeNorm(i%e.modes) / e.mouths[i/e.modes].WidthM() }

// symmetrise removes from z what breaks reciprocity, which is discretisation error alone: (w/ε) z must be symmetric.
func (e *Exterior) symmetrise(z *matrix) {
	for i := range z.rows {
		for j := range i {
			mean := 0.5 * (scale(z.row(i)[j], 1/e.weight(i)) + scale(z.row(j)[i], 1/e.weight(j)))
			z.row(i)[j] = scale(mean, e.weight(i))
			z.row(j)[i] = scale(mean, e.weight(j))
		}
	}
}

// modeNorm is ε_m of a cosine mode: 1 for the plane one, 2 for the others.
func modeNorm(mode int) float64 {
	if mode == 0 {
		return 1
	}
	return 2
}

// modeIntegral returns ∫ cos(mπ(x−X0)/w) ds over one element of the mouth.
func modeIntegral(mode int, m Mouth, e element) float64 {
	if mode == 0 {
		return e.length
	}
	q := float64(mode) * math.Pi / m.WidthM()
	return (math.Sin(q*(e.b.X-m.X0M)) - math.Sin(q*(e.a.X-m.X0M))) / q
}

func modeShape(mode int, m Mouth, x float64) float64 {
	if mode == 0 {
		return 1
	}
	return math.Cos(float64(mode) * math.Pi * (x - m.X0M) / m.WidthM())
}

// mouthVelocity adds to dst[mode] the right-hand side −S φ − α(½ φ + ∫∂G/∂n_x φ) of a unit mode velocity, collocated at element index.
func mouthVelocity(k float64, index int, elements []element, first, count int, m Mouth, dst []complex128) {
	x := &elements[index]
	alpha := coupling(k)
	for i := first; i < first+count; i++ {
		e := &elements[i]
		if i == index {
			self := e.selfLayer(k)
			for mode := range dst {
				dst[mode] -= scale(self+0.5*alpha, modeShape(mode, m, x.mid.X))
			}
			// what the mode's shape adds to its value in the middle
			for _, g := range gauss8 {
				y := e.at(g[0])
				h0, _ := hankel(k * math.Abs(y.X-x.mid.X))
				w := scale(h0, g[1]*e.length) * 0.25i
				for mode := 1; mode < len(dst); mode++ {
					dst[mode] -= scale(w, modeShape(mode, m, y.X)-modeShape(mode, m, x.mid.X))
				}
			}
			continue
		}
		for _, g := range quadrature(math.Hypot(x.mid.X-e.mid.X, x.mid.Y-e.mid.Y), e.length) {
			y := e.at(g[0])
			rx, ry := x.mid.X-y.X, x.mid.Y-y.Y
			r := math.Hypot(rx, ry)
			h0, h1 := hankel(k * r)
			// G + α ∂G/∂n_x
			w := scale(0.25i*(h0-alpha*scale(h1, k*(rx*x.n.X+ry*x.n.Y)/r)), g[1]*e.length)
			for mode := range dst {
				dst[mode] -= scale(w, modeShape(mode, m, y.X))
			}
		}
	}
}
