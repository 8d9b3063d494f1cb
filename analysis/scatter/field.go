package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sync"
)

// Losses describes the thin layers of air at the wells' walls; the zero value means none.
type Losses struct {
	ViscousLayerM float64 // √(2ν/ω)
	ThermalLayerM float64 // √(2ν/(ω Pr))
	Gamma         float64 // ratio of the specific heats
}

// AirLosses returns the boundary layers of air at angular frequency omega (rad/s), for about 20 °C:
// kinematic viscosity 1.51e-5 m²/s, Prandtl number 0.708, ratio of specific heats 1.4 (handbook values, from memory).
func AirLosses(omega float64) Losses {
	v := math.Sqrt(2 * 1.51e-5 / omega)
	return Losses{ViscousLayerM: v, ThermalLayerM: v / math.Sqrt(0.708), Gamma: 1.4}
}

// slit returns the complex wavenumber squared over k² in a slit of width w: Kirchhoff's plane wave between two walls
// (Stinson, J. Acoust. Soc. Am. 89 (1991) 550: [γ − (γ−1) F_t]/F_v with F = 1 − tanh(s)/s, s = (1−i) w/(2δ)).
func (l Losses) slit(w float64) complex128 {
	if l.ViscousLayerM == 0 {
		return 1
	}
	f := func(layer float64) complex128 {
		s := complex(w/(2*layer), -w/(2*layer))
		if real(s) > 30 {
			return 1 - 1/s
		}
		return 1 - cmplx.Tanh(s)/s
	}
	g := complex(l.Gamma, 0)
	return (g - (g-1)*f(l.ThermalLayerM)) / f(l.ViscousLayerM)
}

// Well is what stands behind one mouth.
type Well struct {
	DepthM float64 // 0 or more
	Loss   float64 // extra loss: the plane wave returns weaker by e^{-2·Loss}; 0 for a rigid, tight well
}

// Sensitivity is how the field at one receiver answers a change of each well.
type Sensitivity struct {
	Depth []complex128 // per metre
	Loss  []complex128 // per unit of Well.Loss; for a well of no depth, what it tends to as the depth goes to 0
}

// Flat returns what the closed boxes alone scatter to receiver r, for a unit source: a point source e^{ikR}/(4πR) where the
// section has a height, else a line source (i/4)H0⁽¹⁾.
func (e *Exterior) Flat(r int) complex128 { return e.flat[r] }

// Receivers returns the number of receivers.
func (e *Exterior) Receivers() int { return len(e.flat) }

// Panel returns the sound scattered to each receiver by the structure with the given wells behind its mouths, for a unit source
// as in Flat. Where sensitivity is not nil it must hold one entry per receiver and is filled by the adjoint method, at the
// cost of one more back substitution per receiver.
// Errors: a wrong number of wells, a negative depth or loss, a singular system.
func (e *Exterior) Panel(wells []Well, losses Losses, sensitivity []Sensitivity) ([]complex128, error) {
	if err := e.validate(wells); err != nil {
		return nil, err
	}
	out := append([]complex128(nil), e.flat...)
	all := make([]complex128, 2*len(sensitivity)*len(wells))
	for r := range sensitivity {
		both := all[2*r*len(wells):][:2*len(wells)]
		sensitivity[r] = Sensitivity{both[:len(wells):len(wells)], both[len(wells):]}
	}
	if len(wells) == 0 {
		return out, nil
	}
	w := wellSystems.Get().(*wellSystem)
	defer wellSystems.Put(w)
	slits := e.slits(losses)
	for h := range e.height {
		mode := &e.height[h]
		w.assemble(e, mode, wells, slits, sensitivity != nil)
		if err := solveSymmetric(&w.matrix); err != nil {
			return nil, err
		}
		for j := range wells {
			w.addField(out, e, mode, j)
			if sensitivity != nil {
				w.addSensitivity(sensitivity, e, j)
			}
		}
	}
	return out, nil
}

func (e *Exterior) validate(wells []Well) error {
	if len(wells) != len(e.mouths) {
		return fmt.Errorf("%d wells for %d mouths", len(wells), len(e.mouths))
	}
	for j, w := range wells {
		if !(w.DepthM >= 0) || !(w.Loss >= 0) || math.IsInf(w.DepthM+w.Loss, 0) {
			return fmt.Errorf("well %d: depth %g m, loss %g: expected finite numbers, 0 or more", j+1, w.DepthM, w.Loss)
		}
	}
	return nil
}

// wellSystem is the system of equations of the mouths' velocities v = ∂p/∂y for one mode over the height, with memory that serves again. For every
// function across, the outside says ∫ p φ = p0 + z v and the well ∫ p φ = −W v (well.go). Together:
//
//	(z + W) v = −p0.
//
// The field at a receiver is Σ s v, with s what unit velocities send there. As the matrix is symmetric, s on the right gives
// the adjoint field v*, from which follows what any change of a well does, −v* dW v.
type wellSystem struct {
	matrix  // a row per unknown: the matrix, then v, then v* of every receiver
	wells   []wellMatrix
	factors []complex128
	sum     []complex128 // per receiver
}

var wellSystems = sync.Pool{New: func() any { return new(wellSystem) }}

func (w *wellSystem) assemble(e *Exterior, mode *heightMode, wells []Well, slits []complex128, adjoint bool) {
	n, receivers := len(wells)*e.functions, len(e.flat)
	if adjoint {
		w.reshape(n, n+1+receivers)
	} else {
		w.reshape(n, n+1)
	}
	w.factors, w.sum = slices.Grow(w.factors[:0], e.functions)[:e.functions], slices.Grow(w.sum[:0], receivers)[:receivers]
	w.wells = slices.Grow(w.wells[:0], len(wells))[:len(wells)]
	for j, m := range e.mouths {
		w.wells[j].set(e.shapes, m.WidthM(), slits[j]-complex(mode.kz*mode.kz, 0), wells[j], adjoint)
		pairs := w.wells[j].w
		for f := range e.functions {
			i := j*e.functions + f
			row := w.row(i)
			copy(row[i:n], mode.z.row(i)[i:])
			for g := range e.functions - f {
				row[i+g] += pairs[g]
			}
			pairs = pairs[e.functions-f:]
			row[n] = -e.source[i] * mode.excite[j]
			if adjoint {
				heard := mode.receive.row(j)
				for r, send := range e.radiate.row(i) {
					row[n+1+r] = send * heard[r]
				}
			}
		}
	}
}

// combine sets w.sum to Σ factors·rows, the rows being as many, stride apart.
func (w *wellSystem) combine(rows []complex128, stride int) []complex128 {
	for i, f := range w.factors {
		w.factors[i] = -f
	}
	clear(w.sum)
	subtractProduct(w.sum, w.factors, rows, stride)
	return w.sum
}

// addField adds what well j sends to the receivers.
func (w *wellSystem) addField(out []complex128, e *Exterior, mode *heightMode, j int) {
	first := j * e.functions
	for f := range w.factors {
		w.factors[f] = w.row(first + f)[w.rows]
	}
	heard := mode.receive.row(j)
	for r, sum := range w.combine(e.radiate.v[first*len(out):], len(out)) {
		out[r] += sum * heard[r]
	}
}

// addSensitivity adds by how much the field at the receivers answers a change of well j.
func (w *wellSystem) addSensitivity(sensitivity []Sensitivity, e *Exterior, j int) {
	first, n := j*e.functions, w.rows
	adjoint := w.v[first*w.cols+n+1:]
	// times sets the factors to a symmetric matrix times v
	times := func(pairs []complex128) {
		clear(w.factors)
		for f := range w.factors {
			v := w.row(first + f)[n]
			w.factors[f] += pairs[0] * v
			for g := 1; g < e.functions-f; g++ {
				w.factors[f] += pairs[g] * w.row(first + f + g)[n]
				w.factors[f+g] += pairs[g] * v
			}
			pairs = pairs[e.functions-f:]
		}
	}
	times(w.wells[j].depth)
	for r, sum := range w.combine(adjoint, w.cols) {
		sensitivity[r].Depth[j] += sum
	}
	times(w.wells[j].loss)
	for r, sum := range w.combine(adjoint, w.cols) {
		sensitivity[r].Loss[j] += sum
	}
}

// slits returns the squared wavenumber of the plane wave in every well.
func (e *Exterior) slits(losses Losses) []complex128 {
	k2 := make([]complex128, len(e.mouths))
	for j, m := range e.mouths {
		if j > 0 && m.WidthM() == e.mouths[j-1].WidthM() {
			k2[j] = k2[j-1]
			continue
		}
		k2[j] = complex(e.K*e.K, 0) * losses.slit(m.WidthM())
	}
	return k2
}

// sqrtUp returns the square root in the upper half plane: of a wave that decays.
func sqrtUp(z complex128) complex128 {
	re, im := real(z), imag(z)
	size := math.Sqrt(re*re + im*im)
	switch {
	case size == 0:
		return 0
	case re > 0:
		root := math.Sqrt((size + re) / 2)
		if im < 0 {
			root = -root
		}
		return complex(root, im/(2*root))
	default:
		root := math.Sqrt((size - re) / 2)
		return complex(im/(2*root), root)
	}
}
