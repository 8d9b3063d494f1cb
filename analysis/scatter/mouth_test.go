package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Gauss's rule against Euler's beta integral: ∫ (1−ξ²)^{−1/3} ξ^{2n} dξ = B(n + 1/2, 2/3).
func TestMouthRule(t *testing.T) {
	for _, nodes := range []int{8, 16, 64, modesInTail} {
		r := ruleOf(nodes)
		for n := range 8 {
			got, odd := 0.0, 0.0
			for q, xi := range r.node {
				got += r.weight[q] * math.Pow(xi, float64(2*n))
				odd += r.weight[q] * math.Pow(xi, float64(2*n+1))
			}
			x := float64(n) + 0.5
			withinPart(t, fmt.Sprintf("%d nodes, ξ^%d", nodes, 2*n), got, math.Gamma(x)*math.Gamma(2./3)/math.Gamma(x+2./3), 1e-12, "exact up to ξ^15 with 8 nodes, but for rounding")
			within(t, fmt.Sprintf("%d nodes, ξ^%d", nodes, 2*n+1), odd, 0, 1e-13, "odd")
		}
	}
}

// The means of φ_f cos(mπu/w) against Gegenbauer's integral: ∫ w C_f^λ e^{iτξ} dξ = π 2^{1−λ} i^f Γ(f + 2λ)/(f! Γ(λ)) τ^{−λ} J_{f+λ}(τ), λ = 1/6, τ = mπ/2
// (Abramowitz and Stegun 22.10 and 9.1; Erdélyi, "Tables of Integral Transforms", from memory).
func TestModeMeans(t *testing.T) {
	const l = 1. / 6
	s := newModeShapes(5)
	worst := 0.0
	for m := 1; m <= 7; m++ {
		tau := float64(m) * math.Pi / 2
		for f := range s.functions {
			want := 0.0
			if (m+f)%2 == 0 {
				x := float64(f)
				norm := math.Pi * math.Pow(2, 1-2*l) * math.Gamma(x+2*l) / (math.Gamma(x+1) * (x + l) * math.Gamma(l) * math.Gamma(l))
				want = math.Pi * math.Pow(2, 1-l) * math.Gamma(x+2*l) / (math.Gamma(x+1) * math.Gamma(l)) * math.Pow(tau, -l) * besselJ(x+l, tau) / math.Sqrt(norm*weightIntegral)
				want *= float64(1 - (m+f)/2%2*2)
			}
			worst = max(worst, math.Abs(s.mean[m][f]-want))
		}
	}
	below(t, "error of the means", worst, 1e-11, "rounding, the most in the power series of J")
	if s.mean[0][0] != 1 || s.mean[0][2] != 0 {
		t.Errorf("means of the functions: %v, want 1 and then 0", s.mean[0])
	}
}

// What mouths do to each other against integrals by points that get denser towards every singularity.
func TestMutualAgainstDensePoints(t *testing.T) {
	const functions, w = 4, 0.04
	worst := 0.0
	for _, k := range []float64{2, 40, 90, 157} {
		for _, gap := range []float64{-w, 0.005, 0.0005, 1e-6, 0.3} {
			a, b := Mouth{0.1, 0.1 + w}, Mouth{0.1 + w + gap, 0.1 + 2*w + gap}
			if gap > 0 {
				b.X1M += 0.003
			}
			got := mutual(k, a, b, functions, &rays{})
			dense := func(m Mouth, cut float64) ([]float64, []float64) {
				var points mouthPoints
				at := laid{stride: functions}
				points.graded(&at, m, -1, cut)
				points.graded(&at, m, cut, 1)
				return points.x, at.value
			}
			outer, outerValue := dense(a, -0.2)
			want := make([]complex128, len(got))
			for i, x := range outer {
				xi := 2*(x-b.X0M)/b.WidthM() - 1
				if math.Abs(xi) >= 1 {
					xi = 0
				}
				inner, innerValue := dense(b, xi)
				for j, y := range inner {
					if y == x {
						continue
					}
					green := lineSource(k, math.Abs(x-y))
					for n := range want {
						want[n] += scale(green, a.WidthM()*b.WidthM()*outerValue[i*functions+n/functions]*innerValue[j*functions+n%functions])
					}
				}
			}
			wrong := 0.0
			for n := range want {
				wrong = max(wrong, cmplx.Abs(got[n]-want[n])/cmplx.Abs(mutual(k, a, a, functions, &rays{})[0]))
			}
			worst = max(worst, wrong)
			below(t, fmt.Sprintf("k = %g/m, gap %g m", k, gap), wrong, 1e-4, "far below what the elements leave; where mouths touch, the dense points are the better ones")
		}
	}
	t.Logf("largest difference %.1g of a mouth's effect on itself", worst)
}

// The well's matrix against the sum over its modes one by one, for wells that are shallow and deep, narrow and wide against the wavelength.
func TestWellMatrixAgainstModes(t *testing.T) {
	const w = 0.05
	s := newModeShapes(4)
	worst := 0.0
	for _, k := range []complex128{1, 30, 70, 200, 1000, 60 + 1i} {
		for _, well := range []Well{{0.2, 0}, {0.05, 0}, {0.0123, 0}, {0.002, 0}, {0.0123, 0.3}, {0.1, 2}} {
			var m wellMatrix
			m.set(s, w, k*k, well, true)
			want := make([]complex128, len(m.w))
			for mode, mean := range s.mean {
				across := float64(mode) * math.Pi / w
				q := cmplx.Sqrt(k*k - complex(across*across, 0))
				if imag(q) < 0 {
					q = -q
				}
				phase := q*complex(well.DepthM, 0) + complex(0, well.Loss)
				ratio := -1i / q
				if imag(phase) < 30 {
					ratio = cmplx.Cos(phase) / cmplx.Sin(phase) / q
				}
				for _, p := range s.pairs {
					want[p.index] += scale(ratio, w*modeNorm(mode)*mean[p.f]*mean[p.g])
				}
			}
			wrong := worstPart(m.w, want)
			worst = max(worst, wrong)
			below(t, fmt.Sprintf("k = %g/m, depth %g m, loss %g", k, well.DepthM, well.Loss), wrong, 1e-9, "the power series leaves 16^{−10} of the modes in it")
		}
	}
	t.Logf("largest difference %.1g", worst)
}

// Where a mode across a well or over its height begins to propagate, or a mode across it resonates, nothing may jump.
func TestCutOn(t *testing.T) {
	wells, section := prime7(0.6, 0.01)
	source, receivers := Place{Point{0.5, 2}, 0.1}, []Place{{Point{-0.3, 1}, 0}, polar(3, -70)}
	across, height := math.Pi/0.05, 8*math.Pi/0.58
	for what, k := range map[string]float64{"across": across, "over the height": height} {
		section := section
		if what == "across" {
			section.HeightM = 0 // or the vertical section's elements change here
		}
		field := func(k float64) []complex128 {
			return panelOf(t, exteriorOf(t, k, section, source, receivers, Mesh{PerWavelength: 7, Functions: 4}), wells, Losses{}) // no change of the elements here
		}
		got := field(k)
		for _, off := range []float64{-1e-7, -1e-13, 1e-13, 1e-7} {
			below(t, fmt.Sprintf("%s: change at a frequency higher by %g", what, off), worstPart(field(k*(1+off)), got), 1e-4, "the field of a panel turns by some radians per thousandth of the frequency at most")
		}
	}
	// the first mode across resonates at this depth
	e := exteriorOf(t, 1.3*across, section, source, receivers, DefaultMesh)
	depth := math.Pi / (across * math.Sqrt(1.3*1.3-1))
	field := func(depth float64) []complex128 {
		changed := append([]Well(nil), wells...)
		changed[2].DepthM, changed[0].DepthM = depth, depth
		return panelOf(t, e, changed, Losses{})
	}
	for _, off := range []float64{-1e-8, -1e-10, -1e-14, 1e-14, 1e-10, 1e-8} {
		below(t, fmt.Sprintf("resonance across: change at a depth larger by %g", off), worstPart(field(depth*(1+off)), field(depth)), 1e-5, "the field changes by some units per millimetre at most")
	}
}

// Functions four at once against one after the other: of any number, at any number of points.
func TestIntegralsTwin(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, functions := range []int{1, 3, 4, 5, 8, 11} {
		for count := 1; count < 20; count++ {
			l := laid{count: count, stride: functions + count%3}
			for range (count-1)*l.stride + functions {
				l.value = append(l.value, random.NormFloat64())
			}
			g := make([]complex128, count)
			for i := range g {
				g[i] = complex(random.NormFloat64(), random.NormFloat64())
			}
			got, want := make([]complex128, functions), make([]complex128, functions)
			l.integrals(got, g)
			l.integralsPlain(want, g, 0)
			for f := range want {
				below(t, fmt.Sprintf("%d functions, %d points: function %d", functions, count, f), cmplx.Abs(got[f]-want[f]), 1e-14*float64(count), "rounding of sums of numbers of about 1")
			}
		}
	}
}
