package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
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
	if len(wells) != len(e.mouths) {
		return nil, fmt.Errorf("%d wells for %d mouths", len(wells), len(e.mouths))
	}
	for j, w := range wells {
		if !(w.DepthM >= 0) || !(w.Loss >= 0) || math.IsInf(w.DepthM+w.Loss, 0) {
			return nil, fmt.Errorf("well %d: depth %g m, loss %g: expected finite numbers, 0 or more", j+1, w.DepthM, w.Loss)
		}
	}
	out := append([]complex128(nil), e.flat...)
	for r := range sensitivity {
		sensitivity[r] = Sensitivity{make([]complex128, len(wells)), make([]complex128, len(wells))}
	}
	n := len(wells) * e.modes
	columns := 1
	if sensitivity != nil {
		columns += n // the inverse, for the adjoint
	}
	system, right := newMatrix(n, n), newMatrix(n, columns)
	rows := make([]wellRow, n)
	mouth := make([]complex128, n)
	for h := range e.height {
		mode := &e.height[h]
		clear(right.v)
		for j, m := range e.mouths {
			k2 := complex(e.K*e.K, 0)*losses.slit(m.WidthM()) - complex(mode.kz*mode.kz, 0)
			for across := range e.modes {
				i := j*e.modes + across
				q := float64(across) * math.Pi / m.WidthM()
				rows[i] = newWellRow(k2-complex(q*q, 0), wells[j])
				row, onP := system.row(i), rows[i].q*rows[i].sin
				for v, z := range mode.z.row(i) {
					row[v] = onP * z
				}
				row[i] += rows[i].cos
				right.row(i)[0] = -onP * e.source[i] * mode.excite[j]
				if sensitivity != nil {
					right.row(i)[1+i] = 1
				}
			}
		}
		if err := solveInPlace(system, right); err != nil {
			return nil, err
		}
		for r := range out {
			receive := make([]complex128, n) // what a unit mode velocity sends to the receiver
			for i := range receive {
				receive[i] = e.radiate[r][i] * mode.receive[r][i/e.modes]
				out[r] += receive[i] * right.row(i)[0]
			}
			if sensitivity == nil {
				continue
			}
			adjoint := make([]complex128, n)
			for i := range n {
				for j, inverse := range right.row(i)[1:] {
					adjoint[j] += receive[i] * inverse
				}
			}
			for i := range n {
				if r == 0 {
					mouth[i] = e.source[i] * mode.excite[i/e.modes]
					for v, z := range mode.z.row(i) {
						mouth[i] += z * right.row(v)[0]
					}
				}
				defect := rows[i].slope(right.row(i)[0], mouth[i])
				sensitivity[r].Depth[i/e.modes] -= adjoint[i] * defect * rows[i].q
				sensitivity[r].Loss[i/e.modes] -= adjoint[i] * defect * 1i
			}
		}
	}
	return out, nil
}

// wellRow states cos φ·v + q sin φ·p = 0 for one mode at the mouth: v = ∂p/∂y = −q tan(φ) p with φ = q·depth + i·loss, scaled so that
// neither factor grows without bound.
type wellRow struct {
	q, cos, sin complex128
	frozen      bool // deep and evanescent, or swallowed: tan φ → i, whatever the depth
}

func newWellRow(q2 complex128, w Well) wellRow {
	q := cmplx.Sqrt(q2)
	if imag(q) < 0 {
		q = -q
	}
	phase := q*complex(w.DepthM, 0) + complex(0, w.Loss)
	if imag(phase) > 20 {
		return wellRow{q: q, cos: 1, sin: 1i, frozen: true}
	}
	c, s := cmplx.Cos(phase), cmplx.Sin(phase)
	norm := complex(1/max(cmplx.Abs(c), cmplx.Abs(s)), 0)
	return wellRow{q: q, cos: c * norm, sin: s * norm}
}

// slope returns the derivative of cos φ·v + q sin φ·p with respect to φ, at fixed scaling.
func (w wellRow) slope(v, p complex128) complex128 {
	if w.frozen {
		return 0
	}
	return -w.sin*v + w.q*w.cos*p
}
