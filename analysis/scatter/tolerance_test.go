package scatter

import (
	"math"
	"math/cmplx"
	"testing"
)

// within fails unless got lies within tolerance of want; reason says in words where the tolerance comes from.
func within(t *testing.T, what string, got, want, tolerance float64, reason string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) { // a NaN fails
		t.Errorf("%s: got %.7g, want %.7g, off by %.2g where %.2g is allowed: %s", what, got, want, got-want, tolerance, reason)
	}
}

// withinPart is within for a tolerance given as a part of want.
func withinPart(t *testing.T, what string, got, want, part float64, reason string) {
	t.Helper()
	within(t, what, got, want, part*math.Abs(want), reason)
}

// below fails unless got is less than limit.
func below(t *testing.T, what string, got, limit float64, reason string) {
	t.Helper()
	if !(got < limit) {
		t.Errorf("%s: %.3g, at most %.3g is allowed: %s", what, got, limit, reason)
	}
}

// worstPart returns the largest |got − want| over the largest |want|.
func worstPart(got, want []complex128) float64 {
	worst, largest := 0.0, 0.0
	for i := range want {
		if d := cmplx.Abs(got[i] - want[i]); !(d <= worst) {
			worst = d
		}
		largest = max(largest, cmplx.Abs(want[i]))
	}
	return worst / largest
}

// order returns the order of convergence that errors at step sizes shrinking by ratio show, from first to last.
func order(errors []float64, ratio float64) float64 {
	n := len(errors) - 1
	return math.Log(errors[0]/errors[n]) / (float64(n) * math.Log(ratio))
}

// exteriorOf is SolveExterior for a section that is known to be good.
func exteriorOf(t *testing.T, k float64, s Section, source Place, receivers []Place, m Mesh) *Exterior {
	t.Helper()
	e, err := SolveExterior(k, &s, source, receivers, m)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// panelOf is Panel for wells that are known to be good.
func panelOf(t *testing.T, e *Exterior, wells []Well, l Losses) []complex128 {
	t.Helper()
	p, err := e.Panel(wells, l, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// flatOf returns Flat of all receivers.
func flatOf(e *Exterior) []complex128 {
	var out []complex128
	for r := range e.Receivers() {
		out = append(out, e.Flat(r))
	}
	return out
}

// wellsOf returns rigid wells of the given depths.
func wellsOf(depthsM ...float64) []Well {
	var out []Well
	for _, d := range depthsM {
		out = append(out, Well{DepthM: d})
	}
	return out
}

// polar returns the place at distance r and an angle from the panel's normal in degrees, positive towards +x.
func polar(r, degrees float64) Place {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	return Place{Point: Point{r * sin, r * cos}}
}
