package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
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
	Loss  []complex128 // per unit of Well.Loss
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
	receivers, columns := len(out), 1
	if sensitivity != nil {
		columns += receivers // the adjoint fields
		all := make([]complex128, 2*receivers*len(wells))
		for r := range sensitivity {
			sensitivity[r] = Sensitivity{all[:len(wells):len(wells)], all[len(wells) : 2*len(wells) : 2*len(wells)]}
			all = all[2*len(wells):]
		}
	}
	n := len(wells) * e.modes
	if n == 0 {
		return out, nil
	}
	w := panelWork.Get().(*panelWorkspace)
	defer panelWork.Put(w)
	w.system.reshape(n, n)
	w.right.reshape(n, columns)
	w.sum, w.factors = make([]complex128, receivers), make([]complex128, 2*e.modes)
	w.rows = make([]wellRow, n)
	slits := e.slits(losses)
	for h := range e.height {
		mode := &e.height[h]
		for j := range e.mouths {
			k2 := slits[j] - complex(mode.kz*mode.kz, 0)
			heard := mode.receive.row(j)
			for across := range e.modes {
				i := j*e.modes + across
				q := float64(across) * math.Pi / e.mouths[j].WidthM()
				w.rows[i] = newWellRow(k2-complex(q*q, 0), wells[j])
				system, right, norm := w.system.row(i), w.right.row(i), 1/e.weight(i)
				for v := i; v < n; v++ {
					system[v] = scale(mode.z.row(i)[v], norm)
				}
				system[i] += scale(w.rows[i].cos/w.rows[i].sin, norm)
				right[0] = scale(e.source[i]*mode.excite[j], -norm)
				if sensitivity != nil {
					for r, send := range e.radiate.row(i) {
						right[1+r] = send * heard[r]
					}
				}
			}
		}
		if err := solveSymmetric(&w.system, &w.right); err != nil {
			return nil, err
		}
		for j := range e.mouths {
			first := j * e.modes
			heard := mode.receive.row(j)
			velocity := w.factors[:e.modes]
			for across := range velocity {
				velocity[across] = -w.right.row(first + across)[0]
			}
			clear(w.sum)
			subtractProduct(w.sum, velocity, e.radiate.v[first*receivers:], receivers)
			for r, sum := range w.sum {
				out[r] += sum * heard[r]
			}
			if sensitivity == nil {
				continue
			}
			depth, loss := w.factors[:e.modes], w.factors[e.modes:]
			for across := range depth {
				slope := w.rows[first+across].slope() * velocity[across] / complex(e.weight(first+across), 0)
				depth[across], loss[across] = slope*w.rows[first+across].q, slope*1i
			}
			adjoint := w.right.v[first*columns+1:]
			clear(w.sum)
			subtractProduct(w.sum, depth, adjoint, columns)
			for r, sum := range w.sum {
				sensitivity[r].Depth[j] += sum
			}
			clear(w.sum)
			subtractProduct(w.sum, loss, adjoint, columns)
			for r, sum := range w.sum {
				sensitivity[r].Loss[j] += sum
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

// panelWorkspace is memory that serves one call of Panel after another.
type panelWorkspace struct {
	system, right matrix
	rows          []wellRow
	sum, factors  []complex128
}

var panelWork = sync.Pool{New: func() any { return new(panelWorkspace) }}

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

// wellRow states cos φ·v + q sin φ·p = 0 for one mode at the mouth: v = ∂p/∂y = −q tan(φ) p with φ = q·depth + i·loss. It is multiplied by
// e^{iφ}, so that neither factor grows without bound.
type wellRow struct {
	q    complex128
	cos  complex128 // e^{iφ} cos φ
	sin  complex128 // e^{iφ} q sin φ, at least 1e-40
	echo complex128 // e^{2iφ}: what returns from the bottom
}

func newWellRow(q2 complex128, w Well) wellRow {
	q := sqrtUp(q2)
	sin, cos := math.Sincos(2 * real(q) * w.DepthM)
	size := math.Exp(-2 * (imag(q)*w.DepthM + w.Loss))
	row := wellRow{q: q, echo: complex(size*cos, size*sin)}
	row.cos = 0.5 + 0.5*row.echo
	row.sin = q * (0.5i - 0.5i*row.echo)
	if math.Abs(real(row.sin))+math.Abs(imag(row.sin)) < 1e-40 {
		row.sin = 1e-40 // a closed mouth: v is as good as 0, yet still tells p
	}
	return row
}

// slope returns by how much dφ changes the field, given the velocities of the field v and of its adjoint v*: slope · w/ε · v · v*.
func (w wellRow) slope() complex128 { return w.q * w.echo / (w.sin * w.sin) }

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
