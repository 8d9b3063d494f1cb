package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// Exact scattering of a plane wave by a rigid cylinder, f = −Σ ε_n J′_n/H′_n cos nφ (Bowman, Senior and Uslenghi,
// "Electromagnetic and Acoustic Scattering by Simple Shapes", section 2.2); the figures are computed from the series in high precision.
var cylinderTable = []struct{ ka, forward, side, back float64 }{
	{1, 0.641330, 0.635126, 0.925080},
	{2, 1.506337, 1.096768, 1.326255},
	{5, 4.296215, 1.332919, 1.869034},
	{10, 9.097912, 2.521291, 2.766950},
}

// circle returns a polygon of n elements with the circle's area, run clockwise so that the normals point outwards.
func circle(n int) []element {
	radius := math.Sqrt(2 * math.Pi / float64(n) / math.Sin(2*math.Pi/float64(n)))
	at := func(i int) Point {
		angle := -2 * math.Pi * float64(i%n) / float64(n)
		return Point{radius * math.Cos(angle), radius * math.Sin(angle)}
	}
	var elements []element
	for i := range n {
		elements = append(elements, newElement(at(i), at(i+1)))
	}
	return elements
}

// farField returns the far-field amplitude f of p_s ≈ √(2/πkr) e^{i(kr−π/4)} f in direction φ for a plane wave along +x.
func farField(t *testing.T, k float64, elements []element, angles ...float64) []complex128 {
	t.Helper()
	right := newMatrix(len(elements), 1)
	for i, e := range elements {
		p := cmplx.Rect(1, k*e.mid.X)
		right.v[i] = p + coupling(k)*p*complex(0, k*e.n.X)
	}
	if err := solveBoundary(k, elements, right); err != nil {
		t.Fatal(err)
	}
	var out []complex128
	for _, phi := range angles {
		var f complex128
		for i := range elements {
			e := &elements[i]
			for _, g := range gauss2 {
				y := e.at(g[0])
				phase := cmplx.Rect(1, -k*(y.X*math.Cos(phi)+y.Y*math.Sin(phi)))
				// (i/4)·∂/∂n_y of √(2/πkr) e^{i(kr−π/4)} e^{−ik r̂·y}
				f += right.v[i] * 0.25i * complex(0, -k*(e.n.X*math.Cos(phi)+e.n.Y*math.Sin(phi))) * phase * complex(g[1]*e.length, 0)
			}
		}
		out = append(out, f)
	}
	return out
}

func TestRigidCylinder(t *testing.T) {
	for _, row := range cylinderTable {
		for _, n := range []int{40, 80, 160, 320} {
			if float64(n) < 8*row.ka {
				continue
			}
			f := farField(t, row.ka, circle(n), 0, math.Pi/2, math.Pi)
			fmt.Println(row.ka, n, cmplx.Abs(f[0])/row.forward-1, cmplx.Abs(f[1])/row.side-1, cmplx.Abs(f[2])/row.back-1)
		}
	}
}
