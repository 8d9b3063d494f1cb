package scatter

import (
	"fmt"
	"math"
	"testing"
)

// steps returns how much the field changes from each run to the next.
func steps(fields [][]complex128) (out []float64) {
	for i := 1; i < len(fields); i++ {
		out = append(out, worstPart(fields[i-1], fields[i]))
	}
	return out
}

// What the field changes by from mesh to mesh must shrink as a power of the element's size, and of the functions' number.
func TestConvergence(t *testing.T) {
	const corners = "the pressure behaves as r^{2/3} at an edge with 270° of air, so even elements are of order 4/3 at best; 1 allows for the coarsest"
	receivers := []Place{polar(1, -60), polar(1, -20), polar(1, 10), polar(1, 50)}
	for height, frequencies := range map[float64][]float64{0: {600, 2500}, 0.6: {1250}} {
		wells, section := prime7(height, height/60)
		for _, hz := range frequencies {
			k := 2 * math.Pi * hz / 343
			solve := func(perWell, functions int) (panel, flat []complex128) {
				e := exteriorOf(t, k, section, Place{Point: Point{0.5, 2}}, receivers, Mesh{PerWavelength: 2 * math.Pi / k * float64(perWell) / 0.05, Functions: functions})
				return panelOf(t, e, wells, Losses{}), flatOf(e)
			}
			var panels, flats, varied [][]complex128
			for _, perWell := range []int{4, 8, 16} {
				p, f := solve(perWell, 2)
				panels, flats = append(panels, p), append(flats, f)
			}
			for _, functions := range []int{1, 2, 4, 8} {
				p, _ := solve(16, functions)
				varied = append(varied, p)
			}
			for _, c := range []struct {
				what   string
				steps  []float64
				reason string
			}{
				{"flat board, 4, 8, 16 elements a well", steps(flats), corners},
				{"panel, 4, 8, 16 elements a well", steps(panels), corners},
				{"panel, 1, 2, 4, 8 functions", steps(varied), "the functions have the singularity at the fins, r^{-1/3}, but not the next ones, r^{1/3}, r: what is left out of the impedance falls as a power; 1 allows for the lowest"},
			} {
				got := order(c.steps, 2)
				what := fmt.Sprintf("height %g m, %g Hz, %s: ", height, hz, c.what)
				if c.steps[len(c.steps)-1] > 1e-3 { // else it is there
					below(t, what+"1 over the order", 1/got, 1, c.reason)
				}
				t.Logf("%schange %.3g, order %.2f", what, c.steps, got)
			}
		}
	}
}

// The plain boundary equation also has the resonances of the box's inside with zero pressure on its walls, k² = (nπ/width)² + (mπ/depth)². With the
// derivative equation on the back alone, nothing of them may be seen.
func TestResonancesOfTheInside(t *testing.T) {
	section, wells, _, receivers := bench()
	section.HeightM, section.CapM = 0, 0
	source := Place{Point: Point{1, 1.5}}
	width, depth := section.Boxes[0].X1M-section.Boxes[0].X0M, section.Boxes[0].DepthM
	worst := 0.0
	for _, mode := range [][2]float64{{1, 1}, {2, 1}, {7, 1}, {12, 1}, {1, 2}, {6, 2}, {2, 3}, {1, 4}} {
		k := math.Pi * math.Hypot(mode[0]/width, mode[1]/depth)
		for _, off := range []float64{-0.001, 0, 0.001} {
			solve := func(m Mesh) []complex128 {
				e := exteriorOf(t, k*(1+off), section, source, receivers, m)
				return append(panelOf(t, e, wells, Losses{}), flatOf(e)...)
			}
			wrong := worstPart(solve(DefaultMesh), solve(Mesh{2 * DefaultMesh.PerWavelength, 2 * DefaultMesh.Functions}))
			worst = max(worst, wrong)
			below(t, fmt.Sprintf("%g and %g half waves inside, %+g: change by a finer mesh", mode[0], mode[1], off), wrong, 0.01, "what DefaultMesh promises")
		}
	}
	t.Logf("largest change by a finer mesh %.2f %%", 100*worst)
}
