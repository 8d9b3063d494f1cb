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
	flat    []complex128 // per receiver: what the closed boxes scatter
	source  []complex128 // mouth-mode pressures for a unit line source at the source, all mouths closed
	radiate *matrix      // per mode and receiver: field of a unit mode velocity ∂p/∂n
	height  []heightMode // one for infinite height
}

// heightMode is one mode over the height: how it is excited, how it couples the mouths, how it is heard.
type heightMode struct {
	kz      float64      // nπ/h, 1/m
	z       *matrix      // mouth-mode pressure per unit mode velocity; w/ε times it is symmetric by reciprocity
	excite  []complex128 // per mouth
	receive *matrix      // per mouth and receiver
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
	if mesh.Modes < 1 || !(mesh.PerWavelength > 0) {
		return nil, fmt.Errorf("mesh of %g elements per wavelength and %d modes: expected positive numbers", mesh.PerWavelength, mesh.Modes)
	}
	places := append([]Place{source}, receivers...)
	for i, p := range places {
		if sum := p.X + p.Y + p.Z; math.IsNaN(sum) || math.IsInf(sum, 0) {
			return nil, fmt.Errorf("place %d at x = %g m, y = %g m, z = %g m: expected finite numbers", i, p.X, p.Y, p.Z)
		}
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
	outline := section.outline(size, mesh.Modes)
	scratch := newScratch()
	defer scratch.release()
	b, err := solveOutline(k, outline, mesh.Modes, places, scratch)
	if err != nil {
		return nil, fmt.Errorf("wavenumber %g 1/m: %w", k, err)
	}
	e := &Exterior{K: k, mouths: section.Mouths, modes: mesh.Modes}
	z := e.project(b)
	heights, err := newHeights(k, section, places, mesh)
	if err != nil {
		return nil, err
	}
	e.flat = heights.closedBoxes(b, places)
	e.height = heights.modes(k, section, places, z, mesh.Modes)
	return e, nil
}

// share is the part that a piece or its mirror image has in one mode of a mouth.
type share struct {
	row   int // piece·modes + mode
	image int // 0, or 1 for the image in x = 0
	sign  float64
}

// shares lists, per mode of every mouth, what it is made of: one share, or two for a mouth across the middle.
func (b *boundary) shares(mouths int) [][]share {
	all := make([][]share, mouths*b.modes)
	for p, piece := range b.pieces {
		for mode := range b.modes {
			row := p*b.modes + mode
			i := piece.mouth*b.modes + mode
			all[i] = append(all[i], share{row, 0, 1})
			if b.mirrored() {
				i = (mouths-1-piece.mouth)*b.modes + mode
				all[i] = append(all[i], share{row, 1, float64(1 - mode%2*2)})
			}
		}
	}
	return all
}

// project reduces the solution to the modes of the mouths, ε/w ∫ p cos(mπu/w) ds: it sets the pressures for the source and the radiation to
// the receivers, and returns the pressures per unit velocity of each.
func (e *Exterior) project(b *boundary) *matrix {
	var projected [2]matrix // on the modes of the pieces, and of their mirror images
	for image := range projected {
		if image > 0 && !b.mirrored() {
			break
		}
		right := &b.right[image]
		projected[image] = b.matrix(len(b.pieces)*b.modes, right.cols)
		clear(projected[image].v)
		for r, run := range b.images[0] {
			if run.mouth == nil {
				continue
			}
			factors := make([]complex128, run.count)
			for mode := range b.modes {
				for i := range factors {
					factors[i] = complex(-run.mouth.integral(i, mode), 0)
				}
				subtractProduct(projected[image].row(run.mouth.index*b.modes+mode), factors, right.v[b.first[r]*right.cols:], right.cols)
			}
		}
	}
	shares := b.shares(len(e.mouths))
	pressure := func(mode, column, image int) (sum complex128) {
		for _, s := range shares[mode] {
			sum += scale(projected[s.image^image].row(s.row)[column], s.sign)
		}
		return sum
	}
	unknowns := len(shares)
	z := newMatrix(unknowns, unknowns)
	for i := range unknowns {
		row := z.row(i)
		for j := range unknowns {
			for _, s := range shares[j] {
				row[j] += scale(pressure(i, len(b.places)+s.row, s.image), s.sign)
			}
		}
	}
	// what breaks reciprocity, the symmetry of w/ε z, is discretisation error alone
	for i := range unknowns {
		for j := range i {
			mean := 0.5 * (scale(z.row(i)[j], 1/e.weight(i)) + scale(z.row(j)[i], 1/e.weight(j)))
			z.row(i)[j], z.row(j)[i] = scale(mean, e.weight(i)), scale(mean, e.weight(j))
		}
	}
	e.source, e.radiate = make([]complex128, unknowns), newMatrix(unknowns, len(b.views)-1)
	for i := range unknowns {
		e.source[i] = pressure(i, b.views[0].column, b.views[0].image)
		for r, v := range b.views[1:] {
			// reciprocity: the field of a unit mode velocity is −(w/ε) times the mode pressure of a source at the receiver
			e.radiate.row(i)[r] = scale(pressure(i, v.column, v.image), -1/e.weight(i))
		}
	}
	return z
}

// weight returns ε/w of mode i.
func (e *Exterior) weight(i int) float64 { return modeNorm(i%e.modes) / e.mouths[i/e.modes].WidthM() }

// modeNorm is ε_m of a cosine mode: 1 for the plane one, 2 for the others.
func modeNorm(mode int) float64 {
	if mode == 0 {
		return 1
	}
	return 2
}
