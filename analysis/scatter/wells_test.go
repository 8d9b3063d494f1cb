package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestDepthZeroIsFlat(t *testing.T) {
	for _, height := range []float64{0, 0.6} {
		_, section := prime7(height, height/60)
		e := exteriorOf(t, 18, section, Place{Point{0.5, 2}, 0.1}, []Place{{Point{-0.3, 1}, 0}, {Point{0.6, 0.5}, 0.05}}, DefaultMesh)
		wrong := worstPart(panelOf(t, e, make([]Well, 7), AirLosses(2*math.Pi*1000)), flatOf(e))
		below(t, fmt.Sprintf("height %g m: panel of depth 0 against the flat board", height), wrong, 1e-14, "they are the same, up to rounding")
	}
}

func TestSensitivityAgainstDifferences(t *testing.T) {
	const hz = 1400
	for _, height := range []float64{0, 0.6} {
		for _, losses := range []Losses{{}, AirLosses(2 * math.Pi * hz)} {
			wells, section := prime7(height, height/60)
			wells[1].DepthM, wells[2].Loss, wells[5].DepthM = 0.031, 0.15, 0.0004
			receivers := []Place{{Point{-0.3, 1}, 0}, {Point{0.6, 0.5}, 0.05}, polar(3, -70)}
			e := exteriorOf(t, 2*math.Pi*hz/343, section, Place{Point{0.5, 2}, 0.1}, receivers, DefaultMesh)
			got := make([]Sensitivity, len(receivers))
			field, err := e.Panel(wells, losses, got)
			if err != nil {
				t.Fatal(err)
			}
			below(t, "field with and without sensitivity", worstPart(field, panelOf(t, e, wells, losses)), 1e-12, "the same equations, up to rounding")
			difference := func(j int, step float64, change func(w *Well, step float64)) []complex128 {
				at := func(s float64) []complex128 {
					w := append([]Well(nil), wells...)
					change(&w[j], s)
					return panelOf(t, e, w, losses)
				}
				// of the fourth order, one-sided so that nothing gets negative
				out := make([]complex128, len(receivers))
				for i, c := range []float64{-25.0 / 12, 4, -3, 4.0 / 3, -0.25} {
					for r, p := range at(step * float64(i)) {
						out[r] += p * complex(c/step, 0)
					}
				}
				return out
			}
			worstDepth, worstLoss := 0.0, 0.0
			for j := range wells {
				depth := difference(j, 2e-5, func(w *Well, s float64) { w.DepthM += s })
				loss := make([]complex128, len(receivers))
				if wells[j].DepthM > 0 {
					loss = difference(j, 1e-3, func(w *Well, s float64) { w.Loss += s })
				}
				var gotDepth, gotLoss []complex128
				for r := range receivers {
					gotDepth, gotLoss = append(gotDepth, got[r].Depth[j]), append(gotLoss, got[r].Loss[j])
					if wells[j].DepthM == 0 {
						loss[r] = got[r].Loss[j] // depends on whether depth or loss goes to 0 first; see Sensitivity
					}
				}
				worstDepth = max(worstDepth, worstPart(gotDepth, depth))
				worstLoss = max(worstLoss, worstPart(gotLoss, loss))
			}
			below(t, "sensitivity to depth", worstDepth, 1e-6, "the differences are of the fourth order: step 0.02 mm against a shortest length of some mm")
			below(t, "sensitivity to loss", worstLoss, 1e-6, "the differences are of the fourth order: step 0.001 against 1")
			t.Logf("height %g m, viscous layer %.3g m: depth %.1g, loss %.1g", height, losses.ViscousLayerM, worstDepth, worstLoss)
		}
	}
}

// With a single function and infinite height, Variation leaves nothing out: it must give what Panel gives.
func TestVariationAgainstPanel(t *testing.T) {
	const hz = 1400
	for _, losses := range []Losses{{}, AirLosses(2 * math.Pi * hz)} {
		wells, section := prime7(0, 0)
		wells[4].Loss = 0.3
		receivers := []Place{{Point{-0.3, 1}, 0}, {Point{0.6, 0.5}, 0}, polar(3, -70)}
		e := exteriorOf(t, 2*math.Pi*hz/343, section, Place{Point: Point{0.5, 2}}, receivers, Mesh{PerWavelength: 8, Functions: 1})
		v, err := e.Vary(wells, losses)
		if err != nil {
			t.Fatal(err)
		}
		base := panelOf(t, e, wells, losses)
		worst := 0.0
		for j := range wells {
			for _, w := range []Well{{}, {DepthM: 0.01}, {DepthM: 0.0612}, {DepthM: 0.3}, {DepthM: 343.0 / hz / 4}, {DepthM: 0.05, Loss: 0.5}, {Loss: 30}} {
				changed := append([]Well(nil), wells...)
				changed[j] = w
				want := panelOf(t, e, changed, losses)
				var got []complex128
				for r := range receivers {
					got = append(got, base[r]+v.Reach(r, j)*v.Change(j, w))
				}
				worst = max(worst, worstPart(got, want))
			}
			below(t, "no change", cmplx.Abs(v.Change(j, wells[j])), 1e-10, "the well is the one it was")
		}
		below(t, "Variation against Panel", worst, 1e-9, "the same linear equations, up to rounding")
		t.Logf("largest difference %.1g of the field", worst)
	}
}

// Limits of Kirchhoff's plane wave in a slit. Wide: k ≈ k0 [1 + (1+i)(δv + (γ−1)δt)/2w], the boundary-layer formula with a perimeter over area of 2/w
// (Pierce, "Acoustics", 1981, chapter 10, from memory). Narrow: isothermal air against the flow resistivity 12η/w² of a slit,
// k² = k0² iγ 12ν/(ωw²) (Poiseuille's flow between plates; Allard and Atalla, "Propagation of Sound in Porous Media", chapter 4, from memory).
func TestSlitLimits(t *testing.T) {
	const omega = 2 * math.Pi * 1000
	l := AirLosses(omega)
	for _, ratio := range []float64{50, 500} {
		w := ratio * l.ViscousLayerM
		got := cmplx.Sqrt(l.slit(w)) - 1
		term := (l.ViscousLayerM + (l.Gamma-1)*l.ThermalLayerM) / (2 * w)
		want := complex(term, term)
		below(t, fmt.Sprintf("slit of %g layers: what the walls add", ratio), cmplx.Abs(got-want)/cmplx.Abs(want), 2/ratio, "the next term of the expansion is smaller by the layer over half the width")
		t.Logf("slit of %g layers: k/k0 − 1 = %.5g, boundary-layer formula %.5g", ratio, got, want)
	}
	for _, ratio := range []float64{0.3, 0.03} {
		w := ratio * l.ViscousLayerM
		got, want := l.slit(w), complex(0, l.Gamma*6/(ratio*ratio))
		below(t, fmt.Sprintf("slit of %g layers: k²/k0²", ratio), cmplx.Abs(got-want)/cmplx.Abs(want), ratio*ratio, "the next term is smaller by the square of the width over the layer")
		t.Logf("slit of %g layers: k²/k0² = %.5g, Poiseuille %.5g", ratio, got, want)
	}
	// where the tangent is replaced by its limit nothing may jump
	for _, layer := range []float64{l.ViscousLayerM, l.ThermalLayerM} {
		a, b := l.slit(60*layer*(1-1e-12)), l.slit(60*layer*(1+1e-12))
		below(t, "step of k² where tanh is taken as 1", cmplx.Abs(a-b), 1e-12, "tanh 30 is 1 within 1e-25; the two widths differ by 2e-12 of a small term")
	}
	if got := (Losses{}).slit(0.05); got != 1 {
		t.Errorf("no losses: k²/k0² = %g, want 1", got)
	}
	// 2.2 mm/√f for the viscous layer (handbook figure, from memory), thinner than the thermal one as Pr < 1
	withinPart(t, "viscous layer of air at 1 kHz", l.ViscousLayerM, 2.2e-3/math.Sqrt(1000), 0.03, "the handbook's figure has two digits")
	if !(l.ThermalLayerM > l.ViscousLayerM) {
		t.Errorf("thermal layer %g m, viscous layer %g m: the Prandtl number of air is below 1", l.ThermalLayerM, l.ViscousLayerM)
	}
}

// A well with a loss returns the wave weaker by e^{−2 Loss}: with much loss it swallows everything, whatever its depth, and mouth pressure and velocity stand as in a
// plane wave going in.
func TestSwallowingWell(t *testing.T) {
	_, section := prime7(0, 0)
	e := exteriorOf(t, 18, section, Place{Point: Point{0.5, 2}}, []Place{{Point: Point{-0.3, 1}}}, Mesh{PerWavelength: 8, Functions: 1})
	with := func(depth, loss float64) complex128 {
		wells := make([]Well, 7)
		wells[3] = Well{DepthM: depth, Loss: loss}
		return panelOf(t, e, wells, Losses{})[0]
	}
	for _, depth := range []float64{0, 0.05, 0.2} {
		below(t, "difference of two swallowing wells", cmplx.Abs(with(depth, 25)-with(0.11, 1000)), 1e-14*cmplx.Abs(e.Flat(0)), "e^{-50} returns")
	}
	// just below and above the place where tan is frozen
	below(t, "step where the tangent is frozen", cmplx.Abs(with(0.1, 20-1e-9)-with(0.1, 20+1e-9)), 1e-14*cmplx.Abs(e.Flat(0)), "e^{-40} returns")
}

// The first entry alone against the whole matrix.
func TestFirstOfWellMatrix(t *testing.T) {
	s := newModeShapes(4)
	worst := 0.0
	for _, depth := range []float64{0, 1e-4, 0.004, 0.0125, 0.1, 0.5} {
		for _, k := range []float64{2, 20, 120} {
			k2 := complex(k*k, 0) * AirLosses(k*343).slit(0.04)
			var m wellMatrix
			m.set(s, 0.04, k2, Well{DepthM: depth}, false)
			worst = max(worst, cmplx.Abs(s.first(0.04, k2, Well{DepthM: depth})-m.w[0])/cmplx.Abs(m.w[0]))
		}
	}
	below(t, "first entry alone against the matrix", worst, 1e-12, "the same sums")
}
