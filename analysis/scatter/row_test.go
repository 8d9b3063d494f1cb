package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"
)

// rowSection is a row of panels with three wells, 40, 60 and 50 mm wide.
func rowSection(panels int, gapM, heightM float64) Section {
	const width, depth = 0.17, 0.14
	s := Section{HeightM: heightM, CapM: 0.01}
	if heightM == 0 {
		s.CapM = 0
	}
	whole := float64(panels)*width + float64(panels-1)*gapM
	for i := range panels {
		x := -whole/2 + float64(i)*(width+gapM)
		if i == 0 || gapM > 0 {
			s.Boxes = append(s.Boxes, Box{x, x + width, depth})
		}
		s.Boxes[len(s.Boxes)-1].X1M = x + width
		s.Mouths = append(s.Mouths, Mouth{x + 0.005, x + 0.045}, Mouth{x + 0.05, x + 0.11}, Mouth{x + 0.115, x + 0.165})
	}
	return s
}

var rowKinds = [][]Well{wellsOf(0, 0.03, 0.1), wellsOf(0.1, 0.07, 0), {{DepthM: 0.05, Loss: 0.1}, {DepthM: 0}, {DepthM: 0.02}}}

// Many orders at once give what each gives by itself.
func TestOrdersTwin(t *testing.T) {
	for _, c := range []struct {
		panels        int
		gapM, heightM float64
	}{{1, 0, 0}, {3, 0, 0}, {3, 0.03, 0.5}, {4, 0.02, 0}} {
		s := rowSection(c.panels, c.gapM, c.heightM)
		var receivers []Place
		for a := -90.0; a <= 90; a += 30 {
			receivers = append(receivers, polar(2, a))
		}
		var orders [][]int
		for code := range int(math.Pow(3, float64(c.panels))) {
			var order []int
			for range c.panels {
				order = append(order, code%3)
				code /= 3
			}
			orders = append(orders, order)
		}
		e := exteriorOf(t, 25, s, polar(3, 20), receivers, DefaultMesh)
		losses := AirLosses(25 * 343)
		got, err := e.Orders(rowKinds, orders, losses)
		if err != nil {
			t.Fatal(err)
		}
		for i, order := range orders {
			var wells []Well
			for _, kind := range order {
				wells = append(wells, rowKinds[kind]...)
			}
			below(t, fmt.Sprintf("%d panels, gap %g m, height %g m, order %v", c.panels, c.gapM, c.heightM, order), worstPart(got[i], panelOf(t, e, wells, losses)), 1e-10,
				"the same equations in another sequence: rounding times their condition")
		}
	}
}

func TestOrdersRefusals(t *testing.T) {
	e := exteriorOf(t, 25, rowSection(2, 0, 0), polar(3, 20), []Place{polar(2, 0)}, DefaultMesh)
	for name, c := range map[string]struct {
		kinds  [][]Well
		orders [][]int
	}{
		"too short":    {rowKinds, [][]int{{0}}},
		"no such kind": {rowKinds, [][]int{{0, 3}}},
		"unequal":      {[][]Well{wellsOf(0, 0.1, 0.2), wellsOf(0.1)}, [][]int{{0, 1}}},
		"negative":     {[][]Well{wellsOf(0, -0.1, 0.2)}, [][]int{{0, 0}}},
		"lengths":      {rowKinds, [][]int{{0, 1}, {0, 1, 1}}},
	} {
		if _, err := e.Orders(c.kinds, c.orders, Losses{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if out, err := e.Orders(nil, nil, Losses{}); err != nil || len(out) != 0 {
		t.Errorf("no orders: %v, %v", out, err)
	}
}

// wholeOutline cuts the whole surface of a structure of rigid wells into elements: the boxes with their wells' sides and bottoms, nothing cut at the mouths,
// nothing taken as an image of something else.
func wholeOutline(s *Section, wells []Well, sizeM float64) (elements []element) {
	// graded cuts a straight piece finer towards both ends, where pressures have corners' singularities
	graded := func(a, b Point) {
		count := max(4, int(math.Ceil(a.distance(b)/sizeM*1.5)))
		at := func(i int) Point {
			u := float64(i) / float64(count)
			u = u * u * (3 - 2*u)
			return Point{a.X + u*(b.X-a.X), a.Y + u*(b.Y-a.Y)}
		}
		for i := range count {
			e := newElement(at(i), at(i+1))
			e.coupled = false // at this frequency the plain equation has one solution
			elements = append(elements, e)
		}
	}
	well := 0
	for _, b := range s.Boxes {
		at := Point{b.X0M, -b.DepthM}
		to := func(x, y float64) {
			if next := (Point{x, y}); next != at {
				graded(at, next)
				at = next
			}
		}
		to(b.X0M, 0)
		for ; well < len(s.Mouths) && s.Mouths[well].X1M <= b.X1M; well++ {
			m := s.Mouths[well]
			to(m.X0M, 0)
			to(m.X0M, -wells[well].DepthM)
			to(m.X1M, -wells[well].DepthM)
			to(m.X1M, 0)
		}
		to(b.X1M, 0)
		to(b.X1M, -b.DepthM)
		to(b.X0M, -b.DepthM)
	}
	return elements
}

// wholeField returns what a rigid surface scatters, from the boundary equation on all of it in one dense system.
func wholeField(t *testing.T, k float64, elements []element, source Place, receivers []Place) []complex128 {
	t.Helper()
	right := newMatrix(len(elements), 1)
	for i := range elements {
		right.row(i)[0] = elements[i].incident(k, source.Point)
	}
	if err := solveInPlace(boundaryRows(k, elements), right); err != nil {
		t.Fatal(err)
	}
	out := make([]complex128, len(receivers))
	for r, place := range receivers {
		for j := range elements {
			_, double := elements[j].layers(k, place.Point)
			out[r] += double * right.row(j)[0]
		}
	}
	return out
}

// A row of 1 to 8 panels, of three kinds in turn, against the same structure without any reduction: the boundary equation on its whole surface,
// wells, fins and all, in one dense system; no mouths, no modes, no images, no blocks that serve twice, no elimination by panels.
func TestRowAgainstWholeStructure(t *testing.T) {
	source := polar(3, 25)
	var receivers []Place
	for a := -80.0; a <= 80; a += 10 {
		receivers = append(receivers, polar(2.5, a))
	}
	for panels := 1; panels <= 8; panels++ {
		for _, c := range []struct{ k, gapM, sizeM float64 }{{8, 0, 0.012}, {8, 0.04, 0.012}, {20, 0, 0.008}} { // 437 and 1092 Hz at 343 m/s: the wood between the wells is too small to resonate
			if c.gapM > 0 && panels != 2 && panels != 5 || c.k > 8 && panels != 3 {
				continue
			}
			k, gapM := c.k, c.gapM
			s := rowSection(panels, gapM, 0)
			var wells []Well
			var order []int
			for i := range panels {
				kind := []int{0, 1, 0, 0, 1}[i%5]
				order = append(order, kind)
				wells = append(wells, rowKinds[kind]...)
			}
			// constant pressure on elements converges in the first order here, as the wells' long walls resonate: twice the fine less the coarse is the limit
			want := make([]complex128, len(receivers))
			for _, part := range []struct{ sizeM, weight float64 }{{c.sizeM, -1}, {c.sizeM / 2, 2}} {
				for r, p := range wholeField(t, k, wholeOutline(&s, wells, part.sizeM), source, receivers) {
					want[r] += scale(p, part.weight)
				}
			}
			e := exteriorOf(t, k, s, source, receivers, DefaultMesh)
			got, err := e.Orders(rowKinds, [][]int{order}, Losses{})
			if err != nil {
				t.Fatal(err)
			}
			off := worstPart(got[0], want)
			t.Logf("%d panels, gap %g m, k = %g 1/m: off by %.4f of the largest", panels, gapM, k, off)
			below(t, fmt.Sprintf("%d panels, gap %g m", panels, gapM), off, 0.01, "what DefaultMesh promises")
			if panels > 1 && slices.Contains(order, 1) {
				plain := panelOf(t, e, slices.Repeat(rowKinds[0], panels), Losses{})
				if worstPart(plain, want) < 0.1 {
					t.Errorf("%d panels: the order makes no difference", panels)
				}
			}
		}
	}
}

// Energy and reciprocity of a row with gaps: what it takes from a plane wave it scatters, as TestEnergyBalance has it for a panel, and source and receiver may
// be exchanged. The narrowest gap that a survey may have is 5 mm.
func TestRowConserves(t *testing.T) {
	const far, directions = 1e4, 180
	order := [][]int{{0, 1, 0, 0}}
	for _, gapM := range []float64{0, 0.005, 0.05} {
		s := rowSection(4, gapM, 0)
		source := polar(far, 30)
		var receivers []Place
		for i := range directions {
			receivers = append(receivers, polar(far, 360.0/directions*float64(i)))
		}
		for _, k := range []float64{10, 37} {
			norm := cmplx.Sqrt(complex(math.Pi*k*far/2, 0)) * cmplx.Rect(1, -k*far+math.Pi/4) / lineSource(k, far)
			fields, err := exteriorOf(t, k, s, source, receivers, DefaultMesh).Orders(rowKinds, order, Losses{})
			if err != nil {
				t.Fatal(err)
			}
			scattered := 0.0
			for _, p := range fields[0] {
				f := cmplx.Abs(p * norm)
				scattered += 4 / (k * directions) * f * f
			}
			extinction := -4 / k * real(fields[0][directions*210/360]*norm)
			what := fmt.Sprintf("gap %g m, k = %g 1/m", gapM, k)
			withinPart(t, what+": scattered re extinction", scattered, extinction, 0.01, "what DefaultMesh promises")
			there, back := polar(2, -50), polar(1.5, 20)
			var both [2]complex128
			for i, pair := range [][2]Place{{there, back}, {back, there}} {
				fields, err := exteriorOf(t, k, s, pair[0], pair[1:], DefaultMesh).Orders(rowKinds, order, AirLosses(k*343))
				if err != nil {
					t.Fatal(err)
				}
				both[i] = fields[0][0]
			}
			below(t, what+": exchange of source and receiver", cmplx.Abs(both[0]-both[1])/cmplx.Abs(both[0]), 1e-9, "the integrals are averaged over both directions")
		}
		rough, fine := exteriorOf(t, 37, s, polar(3, 30), receivers, DefaultMesh), exteriorOf(t, 37, s, polar(3, 30), receivers, Mesh{40, 8})
		a, err := rough.Orders(rowKinds, order, Losses{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := fine.Orders(rowKinds, order, Losses{})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("gap %g m: mesh %.4f", gapM, worstPart(a[0], b[0]))
		below(t, fmt.Sprintf("gap %g m: DefaultMesh against four times as fine", gapM), worstPart(a[0], b[0]), 0.01, "what DefaultMesh promises, in gaps as well")
	}
}

// BenchmarkRow times one frequency of large rows with the standard's 37 receivers: a prime-43 sequence 0.37 m deep, split over six boxes with half fins where they
// meet, which is one box of 43 wells to the outside, and six such panels side by side.
func BenchmarkRow(b *testing.B) {
	var wells []Well
	for n := range 43 {
		wells = append(wells, Well{DepthM: float64(n*n%43) / 41 * 0.37})
	}
	source := polar(10, 0)
	var receivers []Place
	for a := -90; a <= 90; a += 5 {
		receivers = append(receivers, polar(5, float64(a)))
	}
	for _, panels := range []int{1, 6} {
		section := PanelSection(43*panels, 0.04, 0.005, 0.375, 0, 0)
		for i := range receivers {
			if panels > 1 {
				receivers[i] = Place{Point: Point{receivers[i].X * 3, receivers[i].Y * 3}}
			}
		}
		all, mesh := slices.Repeat(wells, panels), DefaultMesh
		if panels > 1 {
			mesh.Functions = 3 // with 4 it takes more elements than are allowed
		}
		for _, frequency := range []float64{200, 1000, 2000, 4000} {
			b.Run(fmt.Sprintf("%d wells/%g Hz", len(all), frequency), func(b *testing.B) {
				for b.Loop() {
					e, err := SolveExterior(2*math.Pi*frequency/benchSpeed, &section, source, receivers, mesh)
					if err != nil {
						b.Fatal(err)
					}
					if _, err := e.Panel(all, AirLosses(2*math.Pi*frequency), nil); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
