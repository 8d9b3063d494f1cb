// Package scatter predicts how a structure of wells scatters sound, from the wave equation.
//
// The time convention is e^{-iωt} throughout: outgoing waves are e^{ikr}, Green's function of the plane is (i/4) H0⁽¹⁾(kr),
// that of space e^{ikr}/(4πr). Lengths are in metres, wavenumbers in 1/m.
//
// The structure is cut at the mouths of its wells. Outside stands a rigid box, solved once per frequency by boundary
// elements (Outside); inside, each well carries modes whose admittance is known in closed form (Wells). Only the latter
// depends on the depths. Finite height comes in by height modes and vertical factors (height.go).
package scatter

import (
	"fmt"
	"math"
	"slices"
	"sync"
)

// Place is a source or receiver: a point of the cross-section's plane and its height Z above the panel's middle, in metres.
type Place struct {
	Point
	Z float64
}

// Scene is a source and the receivers that hear it.
type Scene struct {
	Source    Place
	Receivers []Place
}

// Mesh says how finely the outside is solved.
type Mesh struct {
	PerWavelength float64 // boundary elements per wavelength, at least
	Functions     int     // of the velocity across each well's mouth (mouth.go), 1 or more; a mouth has at least one element more than functions
}

// DefaultMesh keeps the scattered pressure within about 1 % of its limit for wells up to a wavelength wide; the tests show its convergence.
var DefaultMesh = Mesh{PerWavelength: 10, Functions: 4}

const (
	maxElements    = 4000 // matrices of this size take a quarter of a gigabyte
	maxFunctions   = 32
	maxWavelengths = 16 // across a well: the widest that mouth.go and field.go follow
)

// Exterior is the field outside a section at one wavenumber for one source and several receivers, reduced to what the wells
// need. Function f of mouth j has index j·functions + f. It is not changed by its methods and may be shared.
type Exterior struct {
	K float64 // wavenumber, 1/m

	mouths    []Mouth
	functions int
	shapes    *modeShapes
	flat      []complex128 // per receiver: what the closed boxes scatter
	source    []complex128 // ∫ p φ over the mouths for a unit line source at the source, all mouths closed
	radiate   *matrix      // per function and receiver: field of a unit velocity ∂p/∂n = φ
	height    []heightMode // one for infinite height
}

// heightMode is one mode over the height: how it is excited, how it couples the mouths, how it is heard.
type heightMode struct {
	kz      float64      // nπ/h, 1/m
	z       *matrix      // ∫ p φ_i over a mouth for a unit velocity φ_j; symmetric by reciprocity
	excite  []complex128 // per mouth
	receive *matrix      // per mouth and receiver
}

// Outside is a section with the scenes before it, to be solved at one wavenumber after the other, also by several goroutines at once: what the wavenumbers have in common is kept.
// Its fields must not be changed once it has been solved.
type Outside struct {
	Section *Section
	Scenes  []Scene
	Mesh    Mesh

	longestM float64 // an element's length is at most; 0 for no limit
	once     bool    // whether outlines are solved once or twice only, so that to keep rays doesn't pay
	mutex    sync.Mutex
	layouts  []*layout // the latest first
	upright  *Outside  // of the vertical section
}

// SolveExterior is Outside.At for one scene and one wavenumber.
func SolveExterior(k float64, section *Section, source Place, receivers []Place, mesh Mesh) (*Exterior, error) {
	o := Outside{Section: section, Scenes: []Scene{{source, receivers}}, Mesh: mesh, once: true}
	all, err := o.At(k)
	if err != nil {
		return nil, err
	}
	return all[0], nil
}

// At solves the outside at wavenumber k (1/m) for every scene and reduces it to the mouths' velocities: direct boundary integral equation with Burton and Miller's combination
// on the back, pressure constant on each element and collocated at its middle. At the mouths the pressure follows from the same equation; there, in one plane with the front, it is
// p = 2 (p_inc + ∫ p ∂G/∂n over the sides and the back − ∫ G v over the mouths), however the velocities v vary. The equations are solved once, each place being one more right-hand
// side; places that several scenes share, or that mirror each other in a section that is its own mirror image, count once.
// Errors: an impossible section or wavenumber, one that is too large for its wavelength or its narrowest well, a place on or inside a box, a singular system; no scene is none.
func (o *Outside) At(k float64) ([]*Exterior, error) {
	if !(k > 0) || math.IsInf(k, 0) {
		return nil, fmt.Errorf("wavenumber %g 1/m: expected a positive number", k)
	}
	section, mesh := o.Section, o.Mesh
	if err := section.Validate(); err != nil {
		return nil, err
	}
	if mesh.Functions < 1 || mesh.Functions > maxFunctions || !(mesh.PerWavelength > 0) {
		return nil, fmt.Errorf("mesh of %g elements per wavelength and %d functions across a mouth: expected positive numbers, and %d functions at most", mesh.PerWavelength, mesh.Functions, maxFunctions)
	}
	var places []Place
	for _, s := range o.Scenes {
		places = append(append(places, s.Source), s.Receivers...)
	}
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
	if o.longestM > 0 {
		size = min(size, o.longestM)
	}
	for j, m := range section.Mouths {
		size = min(size, m.WidthM()/float64(mesh.Functions+1))
		if k*m.WidthM() > 2*math.Pi*maxWavelengths {
			return nil, fmt.Errorf("well %d, %g m wide, measures %.0f wavelengths across: expected %d at most", j+1, m.WidthM(), k*m.WidthM()/(2*math.Pi), maxWavelengths)
		}
	}
	if count := section.elements(size); !(count <= maxElements) {
		return nil, fmt.Errorf("wavenumber %g 1/m: the outline of the section takes %.0f elements of %.3g mm: expected %d at most, so lower the frequency, widen the narrowest well or shorten the section",
			k, count, 1e3*size, maxElements)
	}
	scratch := newScratch()
	defer scratch.release()
	layout := o.layout(section.outline(size), places, scratch)
	defer o.done(layout)
	b, err := solveLayout(k, layout, scratch)
	if err != nil {
		return nil, fmt.Errorf("wavenumber %g 1/m: %w", k, err)
	}
	z := b.couple(section.Mouths)
	heights, err := o.heights(k)
	if err != nil {
		return nil, err
	}
	out := make([]*Exterior, len(o.Scenes))
	views := b.views
	for i, h := range heights {
		n := 1 + len(o.Scenes[i].Receivers)
		e := &Exterior{K: k, mouths: section.Mouths, functions: mesh.Functions, shapes: newModeShapes(mesh.Functions)}
		e.project(b, views[:n])
		e.flat = h.closedBoxes(b, views[:n], places[:n])
		e.height = h.modes(k, section, places[:n], z, mesh.Functions)
		out[i], views, places = e, views[n:], places[n:]
	}
	return out, nil
}

// layoutsKept is how many an Outside keeps: neighbouring wavenumbers have mostly the same, or that of the one before.
const layoutsKept = 2

// layout returns the layout of an outline, until done is called.
func (o *Outside) layout(outline *outline, places []Place, s *scratch) *layout {
	o.mutex.Lock()
	defer o.mutex.Unlock()
	at := slices.IndexFunc(o.layouts, func(l *layout) bool {
		return len(l.images) == len(outline.images) && slices.Equal(l.images[0], outline.images[0])
	})
	var found *layout
	if at >= 0 {
		found = o.layouts[at]
	} else {
		free := &store{}
		if at = len(o.layouts); at < layoutsKept {
			o.layouts = append(o.layouts, nil)
		} else {
			at--
			if oldest := o.layouts[at]; oldest.busy == 0 {
				free = oldest.store
			}
		}
		found = newLayout(outline, o.Mesh.Functions, o.Mesh.PerWavelength, places)
		if !o.once {
			found.keep(free, s)
		}
	}
	copy(o.layouts[1:], o.layouts[:at])
	o.layouts[0] = found
	found.busy++
	return found
}

func (o *Outside) done(l *layout) {
	o.mutex.Lock()
	defer o.mutex.Unlock()
	l.busy--
}

// turned returns the sign of function f in the image of a mouth: the odd ones are turned over.
func turned(f, image int) float64 { return 1 - 2*float64(f&image&1) }

// couple returns ∫ p φ over the section's mouths for a unit velocity of each function.
func (b *boundary) couple(mouths []Mouth) *matrix {
	n := b.functions
	unknowns := len(mouths) * n
	z := newMatrix(unknowns, unknowns)
	known := map[[3]int64][]complex128{}
	for i, on := range mouths {
		for j, of := range mouths[:i+1] {
			key := [3]int64{finely(on.WidthM()), finely(of.WidthM()), finely(on.X0M - of.X0M)}
			direct := known[key]
			if direct == nil {
				direct = mutual(b.k, on, of, n, &b.rays)
				known[key] = direct
			}
			u, v := b.mouthViews[i], b.mouthViews[j]
			there, back := &b.projected[u.image^v.image], len(b.places)
			for f := range n {
				for g := range n {
					// what breaks reciprocity is discretisation error alone
					mean := there.row(u.column*n + f)[back+v.column*n+g] + there.row(v.column*n + g)[back+u.column*n+f]
					p := scale(mean, turned(f, u.image)*turned(g, v.image)) - scale(direct[f*n+g], 2)
					z.row(i*n + f)[j*n+g], z.row(j*n + g)[i*n+f] = p, p
				}
			}
		}
	}
	return z
}

// project reduces the solution to ∫ p φ over the mouths for a source, views[0], and to the radiation to the receivers, the other views.
func (e *Exterior) project(b *boundary, views []view) {
	n := e.functions
	unknowns := len(e.mouths) * n
	e.source, e.radiate = make([]complex128, unknowns), newMatrix(unknowns, len(views)-1)
	for j, m := range b.mouthViews {
		for p, v := range views {
			image := m.image ^ v.image
			for f := range n {
				row := m.column*n + f
				pressure := scale(b.incident[image].row(row)[v.column]+b.projected[image].row(row)[v.column], 2*turned(f, m.image))
				if p == 0 {
					e.source[j*n+f] = pressure
				} else {
					// reciprocity: the field of a unit velocity is minus this integral for a source at the receiver
					e.radiate.row(j*n + f)[p-1] = -pressure
				}
			}
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
