package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
)

// The fast ways of this package against their brute-force twins: every element with every other, every height of every place, complete
// elimination with pivots. The twins share no more with what they check than the Hankel functions, the quadrature and where elements end.

// element is one straight piece of a rigid boundary, running from a to b; the normal n points into the air,
// and the tangent t from a to b is the normal turned by −90°.
type element struct {
	a, b, mid Point
	n, t      Point
	length    float64
	coupled   bool // whether the derivative equation is added
}

// newElement returns an element with the derivative equation.
func newElement(a, b Point) element {
	dx, dy := b.X-a.X, b.Y-a.Y
	l := math.Hypot(dx, dy)
	return element{
		a: a, b: b, mid: Point{(a.X + b.X) / 2, (a.Y + b.Y) / 2},
		t: Point{dx / l, dy / l}, n: Point{-dy / l, dx / l}, length: l, coupled: true,
	}
}

// at returns the point at fraction u (0 to 1) of the element.
func (e *element) at(u float64) Point {
	return Point{e.a.X + u*(e.b.X-e.a.X), e.a.Y + u*(e.b.Y-e.a.Y)}
}

// layers returns the single-layer and the double-layer integral of one element at point x,
//
//	s = ∫ G ds,  d = ∫ ∂G/∂n_y ds,  G = (i/4) H0⁽¹⁾(kr),
//
// for x not on the element.
func (e *element) layers(k float64, x Point) (s, d complex128) {
	for _, g := range quadrature(math.Hypot(x.X-e.mid.X, x.Y-e.mid.Y), e.length) {
		y := e.at(g[0])
		rx, ry := x.X-y.X, x.Y-y.Y
		r := math.Hypot(rx, ry)
		h0, h1 := hankel(k * r)
		weight := g[1] * e.length
		s += scale(h0, weight)
		// ∂G/∂n_y = −G'(r) (x−y)·n/r with G' = −(ik/4) H1
		d += scale(h1, weight*k*(rx*e.n.X+ry*e.n.Y)/r)
	}
	return s * 0.25i, d * 0.25i
}

// selfLayer returns ∫ G ds at the element's own middle.
func (e *element) selfLayer(k float64) complex128 {
	return 0.5i / complex(k, 0) * integralH0(k*e.length/2)
}

// gradient returns the derivative of G(|x−y|) with respect to x along the direction t.
func gradient(k float64, x, y, t Point) complex128 {
	rx, ry := x.X-y.X, x.Y-y.Y
	r := math.Hypot(rx, ry)
	_, h1 := hankel(k * r)
	return -0.25i * scale(h1, k*(rx*t.X+ry*t.Y)/r)
}

// coupling is the weight of the derivative equation here.
func (e *element) coupling(k float64) complex128 {
	if e.coupled {
		return coupling(k)
	}
	return 0
}

// boundaryRows assembles ½ − D − α N for piecewise constant pressure, collocated at the middles of the elements.
// The hypersingular N is reduced to the elements' end points (Maue's identity, Z. Phys. 126 (1949) 601):
//
//	∫ ∂²G/∂n_x∂n_y ds = k² n_x·n_y ∫ G ds − t_x·∇_x [G(x,b) − G(x,a)].
func boundaryRows(k float64, elements []element) *matrix {
	m := newMatrix(len(elements), len(elements))
	for i := range elements {
		x := &elements[i]
		alpha := x.coupling(k)
		row := m.row(i)
		var last Point
		var gradLast complex128
		for j := range elements {
			e := &elements[j]
			var s, d complex128
			if i == j {
				s = e.selfLayer(k)
			} else {
				s, d = e.layers(k, x.mid)
			}
			gradA := gradLast
			if j == 0 || e.a != last {
				gradA = gradient(k, x.mid, e.a, x.t)
			}
			gradB := gradient(k, x.mid, e.b, x.t)
			last, gradLast = e.b, gradB
			hyper := scale(s, k*k*(x.n.X*e.n.X+x.n.Y*e.n.Y)) - (gradB - gradA)
			row[j] = -d - alpha*hyper
		}
		row[i] += 0.5
	}
	return m
}

// incident returns the right-hand side p_inc + α ∂p_inc/∂n at the middle of an element, for a unit line source at s.
func (e *element) incident(k float64, s Point) complex128 {
	return lineSource(k, math.Hypot(e.mid.X-s.X, e.mid.Y-s.Y)) + e.coupling(k)*gradient(k, e.mid, s, e.n)
}

// mouthVelocity adds to dst[f] the right-hand side −S φ − α ∫∂G/∂n_x φ of a unit velocity, collocated at an element, and
// to moments[f] the integral of ∂/∂n S φ over the element.
func (e *element) mouthVelocity(k float64, m Mouth, phase float64, dst, moments []complex128) {
	var points mouthPoints
	places, at := points.lay(m, e.mid, len(dst), phase)
	for i, x := range places {
		y := Point{x, 0}
		green := lineSource(k, e.mid.distance(y)) + e.coupling(k)*gradient(k, e.mid, y, e.n)
		var slope complex128
		for _, g := range gauss3 {
			slope += scale(gradient(k, e.at(g[0]), y, e.n), g[1]*e.length)
		}
		for f := range dst {
			v := m.WidthM() * at.value[i*at.stride+f]
			dst[f] -= scale(green, v)
			if e.mid.Y < 0 { // else x and y are in one plane with the element
				moments[f] += scale(slope, v)
			}
		}
	}
}

// meshOfOutline returns all elements of a section's outline.
func (s *Section) meshOfOutline(sizeM float64) (elements []element) {
	for _, image := range s.outline(sizeM).images {
		for _, r := range image {
			for i := range r.count {
				a, b := r.at(float64(i)), r.at(float64(i+1))
				if r.turn < 0 {
					a, b = b, a
				}
				e := newElement(a, b)
				e.coupled = r.normal.Y < 0 // the back
				elements = append(elements, e)
			}
		}
	}
	return elements
}

// solveBoundary solves the boundary equations of any polygon by this package's own way, for all columns of right, in place.
func solveBoundary(k float64, elements []element, right *matrix) error {
	o := &outline{}
	var runs []run
	for _, e := range elements {
		runs = append(runs, run{from: e.a, step: Point{e.b.X - e.a.X, e.b.Y - e.a.Y}, normal: e.n, count: 1, lengthM: e.length, turn: 1, coupled: e.coupled})
	}
	o.imagesOf(runs, false)
	b := &boundary{layout: newLayout(o, 0, 0, nil), scratch: newScratch(), k: k}
	defer b.release()
	b.assemble(right.cols)
	copy(b.right[0].v, right.v)
	err := b.solve()
	copy(right.v, b.right[0].v)
	return err
}

// bruteExterior is SolveExterior.
func bruteExterior(t *testing.T, k float64, section *Section, source Place, receivers []Place, mesh Mesh) *Exterior {
	t.Helper()
	places := append([]Place{source}, receivers...)
	size := 2 * math.Pi / k / mesh.PerWavelength
	for _, m := range section.Mouths {
		size = min(size, m.WidthM()/float64(mesh.Functions+1))
	}
	elements := section.meshOfOutline(size)
	layout := newLayout(section.outline(size), mesh.Functions, mesh.PerWavelength, places)
	functions, mouths := mesh.Functions, len(section.Mouths)
	unknowns := mouths * functions
	solution, moments := newMatrix(len(elements), len(places)+unknowns), newMatrix(len(elements), unknowns)
	for i := range elements {
		row := solution.row(i)
		for s, p := range places {
			row[s] = elements[i].incident(k, p.Point)
		}
		for j, m := range section.Mouths {
			from := j * functions
			elements[i].mouthVelocity(k, m, layout.phase(m), row[len(places)+from:][:functions], moments.row(i)[from:][:functions])
		}
	}
	if err := solveInPlace(boundaryRows(k, elements), solution); err != nil {
		t.Fatal(err)
	}
	projected := newMatrix(unknowns, len(places)+unknowns) // ∫ p φ over the mouths
	var points mouthPoints
	for j, m := range section.Mouths {
		for f := range functions {
			row := projected.row(j*functions + f)
			for i := range elements {
				for c, p := range solution.row(i) {
					row[c] += 2 * p * moments.row(i)[j*functions+f]
				}
			}
			for s, p := range places {
				xs, at := points.lay(m, p.Point, functions, layout.phase(m))
				for i, x := range xs {
					row[s] += scale(lineSource(k, p.distance(Point{x, 0})), 2*m.WidthM()*at.value[i*at.stride+f])
				}
			}
			for l, n := range section.Mouths {
				for g, v := range mutual(k, m, n, functions, &rays{})[f*functions:][:functions] {
					row[len(places)+l*functions+g] -= 2 * v
				}
			}
		}
	}
	e := &Exterior{K: k, mouths: section.Mouths, functions: functions, shapes: newModeShapes(functions), source: make([]complex128, unknowns), radiate: newMatrix(unknowns, len(receivers))}
	z := newMatrix(unknowns, unknowns)
	for i := range unknowns {
		e.source[i] = projected.row(i)[0]
		for r := range receivers {
			e.radiate.row(i)[r] = -projected.row(i)[1+r]
		}
		for j := range unknowns {
			z.row(i)[j] = scale(projected.row(i)[len(places)+j]+projected.row(j)[len(places)+i], 0.5)
		}
	}
	outside := Outside{Section: section, Scenes: []Scene{{source, receivers}}, Mesh: mesh}
	heights, err := outside.heights(k)
	if err != nil {
		t.Fatal(err)
	}
	h := heights[0]
	spreadOf := func(p Place, x Point, z float64) complex128 {
		r := math.Hypot(p.X-x.X, p.Y-x.Y)
		return spread(k, r, p.Z-z, lineSource(k, r))
	}
	for r, place := range receivers {
		var sum complex128
		for i := range elements {
			_, there := elements[i].layers(k, source.Point)
			_, back := elements[i].layers(k, place.Point)
			both := 0.5 * (solution.row(i)[0]*back + solution.row(i)[1+r]*there)
			if h.outer > 0 {
				var w complex128
				for q, z := range h.z {
					w += scale(spreadOf(source, elements[i].mid, z)*spreadOf(place, elements[i].mid, z), h.weight[q])
				}
				both *= w * h.edge[r]
			}
			sum += both
		}
		e.flat = append(e.flat, sum)
	}
	if h.outer == 0 || mouths == 0 {
		e.height = h.modes(k, section, places, z, functions)
		return e
	}
	step := 1
	if h.symmetric {
		step = 2
	}
	for n := 0; n < h.count; n += step {
		mode := heightMode{kz: float64(n) * math.Pi / h.inner, z: z, excite: make([]complex128, mouths), receive: newMatrix(mouths, len(receivers))}
		if n == 0 {
			mode.z = coupledMouths(k, section, z, functions)
		}
		for p, place := range places {
			for j, m := range section.Mouths {
				var sum complex128
				for q, z := range h.z {
					cosine := h.weight[q] / h.outer * math.Cos(float64(n)*math.Pi*(z/h.outer+0.5))
					sum += scale(spreadOf(place, Point{m.MidM(), 0}, z*h.inner/h.outer), cosine)
				}
				if p == 0 {
					mode.excite[j] = sum
				} else {
					mode.receive.row(j)[p-1] = sum * h.edge[p-1] * complex(modeNorm(n)*h.inner, 0)
				}
			}
		}
		e.height = append(e.height, mode)
	}
	return e
}

// twinCase is an arrangement with its own kind of symmetry.
type twinCase struct {
	name      string
	section   Section
	source    Place
	receivers []Place
}

func twinCases() []twinCase {
	bench, _, middle, arc := bench()
	odd := PanelSection(4, 0.0515, 0.003, 0.14, 0.5, 0.008) // nothing divides anything
	shifted := odd
	shifted.Mouths = slices.Clone(odd.Mouths)
	shifted.Mouths[0].X0M += 0.002 // no image in x = 0
	side := PanelSection(2, 0.05, 0.01, 0.2, 0.4, 0)
	pair := Section{Boxes: []Box{{-0.3, -0.1, 0.15}, {0.1, 0.3, 0.15}}, Mouths: []Mouth{{-0.25, -0.2}, {0.2, 0.25}}, HeightM: 0.3}
	unequal := Section{Boxes: []Box{{-0.3, -0.1, 0.15}, {0.05, 0.3, 0.1}}, Mouths: []Mouth{{-0.25, -0.2}, {0.1, 0.15}, {0.2, 0.24}}}
	stepped := Section{Boxes: []Box{{-0.35, -0.15, 0.1}, {-0.1, 0.1, 0.2}, {0.15, 0.35, 0.1}}, Mouths: []Mouth{{-0.3, -0.24}, {-0.03, 0.03}, {0.24, 0.3}}, HeightM: 0.3}
	oblique := Place{Point{0.9, 1.4}, 0.1}
	scattered := []Place{{Point{0.3, 0.5}, 0}, {Point{-0.3, 0.5}, 0}, {Point{-0.3, 0.5}, -0.2}, {Point{0.1, 0.06}, 0.15}, {Point{1.5, -0.2}, 0}, {Point{-0.9, 1.4}, 0.1}}
	return []twinCase{
		{"the bench", bench, middle, arc},
		{"odd widths, oblique", odd, oblique, scattered},
		{"odd widths, from the middle", odd, middle, scattered},
		{"without symmetry from left to right", shifted, oblique, scattered},
		{"two wells", side, oblique, scattered},
		{"two boxes", pair, middle, scattered},
		{"two boxes of unequal depth", unequal, oblique, scattered},
		{"three boxes of unequal depth", stepped, oblique, scattered},
	}
}

const twinReason = "the series in the distance promise as much, rounding and elimination are far below"

func TestExteriorTwin(t *testing.T) {
	for _, c := range twinCases() {
		for _, k := range []float64{3, 20, 75} {
			got := exteriorOf(t, k, c.section, c.source, c.receivers, DefaultMesh)
			want := bruteExterior(t, k, &c.section, c.source, c.receivers, DefaultMesh)
			worst := 0.0
			compare := func(what string, got, want []complex128) {
				wrong := worstPart(got, want)
				worst = max(worst, wrong)
				below(t, fmt.Sprintf("%s, k = %g/m: %s", c.name, k, what), wrong, 1e-10, twinReason)
			}
			compare("flat", got.flat, want.flat)
			compare("source", got.source, want.source)
			compare("radiation", got.radiate.v, want.radiate.v)
			if len(got.height) != len(want.height) {
				t.Fatalf("%s, k = %g/m: %d height modes, want %d", c.name, k, len(got.height), len(want.height))
			}
			all := func(e *Exterior) (coupling, excitation, reception []complex128) {
				for _, mode := range e.height {
					coupling = append(coupling, mode.z.v...)
					excitation = append(excitation, mode.excite...)
					reception = append(reception, mode.receive.v...)
				}
				return coupling, excitation, reception
			}
			gotZ, gotIn, gotOut := all(got)
			wantZ, wantIn, wantOut := all(want)
			compare("coupling of the mouths", gotZ, wantZ)
			compare("excitation over the height", gotIn, wantIn)
			compare("reception over the height", gotOut, wantOut)
			t.Logf("%s, k = %g/m: largest difference %.1g", c.name, k, worst)
		}
	}
}

// Memory that serves again must not show in the result, nor must what others do at the same time.
func TestExteriorTogether(t *testing.T) {
	cases := twinCases()
	solve := func(c *twinCase) []complex128 {
		e, err := SolveExterior(20, &c.section, c.source, c.receivers, DefaultMesh)
		if err != nil {
			t.Error(err)
			return nil
		}
		p, err := e.Panel(make([]Well, len(c.section.Mouths)), Losses{}, make([]Sensitivity, len(c.receivers)))
		if err != nil {
			t.Error(err)
		}
		return append(p, e.radiate.v...)
	}
	var alone [][]complex128
	for i := range cases {
		alone = append(alone, solve(&cases[i]))
	}
	var wait sync.WaitGroup
	for n := range 40 {
		wait.Go(func() {
			i := n * 3 % len(cases)
			if !slices.Equal(solve(&cases[i]), alone[i]) {
				t.Errorf("%s: not the same in company", cases[i].name)
			}
		})
	}
	wait.Wait()
}

// brutePanel is Exterior.Panel with derivatives, by elimination with pivots and the inverse matrix, every mode for itself.
func brutePanel(t *testing.T, e *Exterior, wells []Well, losses Losses) ([]complex128, []Sensitivity) {
	t.Helper()
	out := slices.Clone(e.flat)
	sensitivity := make([]Sensitivity, len(out))
	for r := range sensitivity {
		sensitivity[r] = Sensitivity{make([]complex128, len(wells)), make([]complex128, len(wells))}
	}
	n := len(wells) * e.functions
	for _, mode := range e.height {
		system, right := newMatrix(n, n), newMatrix(n, 1+n)
		copy(system.v, mode.z.v)
		depth, loss := newMatrix(n, n), newMatrix(n, n) // minus the derivatives
		for j, m := range e.mouths {
			// seen from the mouth a well of no depth is one of no depth worth mentioning
			d := max(wells[j].DepthM, closedDepthM)
			for across, mean := range e.shapes.mean {
				cross := float64(across) * math.Pi / m.WidthM()
				q := cmplx.Sqrt(complex(e.K*e.K, 0)*losses.slit(m.WidthM()) - complex(mode.kz*mode.kz+cross*cross, 0))
				if imag(q) < 0 {
					q = -q
				}
				phase := q*complex(d, 0) + complex(0, wells[j].Loss)
				cot, slope := -1i, complex128(0) // of a mode that doesn't return
				if imag(phase) < 30 && (across < shallowModes || d > 0.01*m.WidthM()) {
					sine := cmplx.Sin(phase)
					cot, slope = cmplx.Cos(phase)/sine, 1/(sine*sine)
				}
				for f := range e.functions {
					for g := range e.functions {
						i, l := j*e.functions+f, j*e.functions+g
						norm := m.WidthM() * modeNorm(across) * mean[f] * mean[g]
						system.row(i)[l] += scale(cot/q, norm)
						depth.row(i)[l] += scale(slope, norm)
						loss.row(i)[l] += scale(1i*slope/q, norm)
					}
				}
			}
		}
		// rows and columns are brought to one size, since a closed well is larger by many orders of magnitude
		var size []float64
		for i := range n {
			size = append(size, 1/math.Sqrt(cmplx.Abs(system.row(i)[i])))
		}
		for i := range n {
			for l := range n {
				system.row(i)[l] = scale(system.row(i)[l], size[i]*size[l])
			}
			right.row(i)[0] = scale(-e.source[i]*mode.excite[i/e.functions], size[i])
			right.row(i)[1+i] = complex(size[i], 0)
		}
		if err := solveInPlace(system, right); err != nil {
			t.Fatal(err)
		}
		for i := range n {
			scaleAll(right.row(i), size[i])
		}
		for r := range out {
			for i := range n {
				send := e.radiate.row(i)[r] * mode.receive.row(i / e.functions)[r]
				out[r] += send * right.row(i)[0]
				for l := range n {
					j := l / e.functions
					for g := j * e.functions; g < (j+1)*e.functions; g++ {
						change := send * right.row(i)[1+l] * right.row(g)[0]
						sensitivity[r].Depth[j] += change * depth.row(l)[g]
						sensitivity[r].Loss[j] += change * loss.row(l)[g]
					}
				}
			}
		}
	}
	return out, sensitivity
}

// Elimination without pivots must not lose accuracy whatever the wells: closed ones, resonant ones, deep ones, with and without losses.
func TestPanelTwin(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, c := range twinCases() {
		worst, worstSlope := 0.0, 0.0
		for _, k := range []float64{2, 10, 33, 75, 95} {
			e := exteriorOf(t, k, c.section, c.source, c.receivers, DefaultMesh)
			for round := range 6 {
				var wells []Well
				for range c.section.Mouths {
					w := Well{DepthM: 0.3 * random.Float64()}
					switch random.IntN(6) {
					case 0:
						w.DepthM = 0
					case 1:
						w.DepthM = math.Pi / 2 / k
					case 2:
						w.DepthM = math.Pi / k
					case 3:
						w.DepthM = 1e-9
					case 4:
						w.Loss = 30 * random.Float64()
					}
					wells = append(wells, w)
				}
				losses := Losses{}
				if round%2 > 0 {
					losses = AirLosses(343 * k)
				}
				sensitivity := make([]Sensitivity, len(c.receivers))
				got, err := e.Panel(wells, losses, sensitivity)
				if err != nil {
					t.Fatal(err)
				}
				want, wantSensitivity := brutePanel(t, e, wells, losses)
				worst = max(worst, worstPart(got, want))
				for r := range want {
					worstSlope = max(worstSlope, worstPart(sensitivity[r].Depth, wantSensitivity[r].Depth), worstPart(sensitivity[r].Loss, wantSensitivity[r].Loss))
				}
				if plain := panelOf(t, e, wells, losses); worstPart(plain, got) > 1e-13 {
					t.Errorf("%s, k = %g/m: without derivatives the field differs by %.1g", c.name, k, worstPart(plain, got))
				}
			}
		}
		below(t, c.name+": field", worst, 1e-10, "rounding times the condition of the wells' system")
		below(t, c.name+": derivatives", worstSlope, 1e-9, "rounding times the condition, twice")
		t.Logf("%s: field %.1g, derivatives %.1g", c.name, worst, worstSlope)
	}
}

// With a single function across and infinite height Vary follows all there is.
func TestVaryTwin(t *testing.T) {
	for _, c := range twinCases() {
		c.section.HeightM, c.section.CapM = 0, 0
		e := exteriorOf(t, 20, c.section, c.source, c.receivers, Mesh{PerWavelength: 8, Functions: 1})
		var wells []Well
		for j := range c.section.Mouths {
			wells = append(wells, Well{DepthM: 0.03 * float64(j%5)})
		}
		losses := AirLosses(343 * 20)
		v, err := e.Vary(wells, losses)
		if err != nil {
			t.Fatal(err)
		}
		before := panelOf(t, e, wells, losses)
		worst := 0.0
		for j := range wells {
			changed := slices.Clone(wells)
			changed[j] = Well{DepthM: 0.071, Loss: 0.1}
			want, got := panelOf(t, e, changed, losses), slices.Clone(before)
			for r := range got {
				got[r] += v.Change(j, changed[j]) * v.Reach(r, j)
			}
			worst = max(worst, worstPart(got, want))
		}
		below(t, c.name+": one well exchanged", worst, 1e-11, "the same figure by another way, rounding alone")
	}
}

// The series in the distance against the function itself, from a place almost on the panel to one far away.
func TestRadialTwin(t *testing.T) {
	worst := 0.0
	for _, k := range []float64{2, 30, 100} {
		for _, s := range []span{{0.01, 0.6}, {0.1, 0.7}, {0.7, 1.3}, {1, 1}, {5, 30}} {
			for _, height := range []float64{0.2, 0.6, 2} {
				h := heights{outer: height, z: []float64{-height / 2, 0, height / 3}}
				f, series := h.spreads(k, 0.1, 1, s)
				for i := range 101 {
					r := s.from + (s.to-s.from)*float64(i)/100
					for q, z := range h.z {
						var column []complex128
						for m := range series.rows {
							column = append(column, series.row(m)[q])
						}
						want := spread(k, r, 0.1-z, lineSource(k, r))
						worst = max(worst, cmplx.Abs(f.sum(column, r)-want)/cmplx.Abs(want))
					}
				}
			}
		}
	}
	below(t, "series in the distance", worst, 1e-10, "what newRadial promises")
	t.Logf("largest error %.1g", worst)
}

// The processor's vectors against plain arithmetic, for all remainders of the tiles; numbers beyond the row must stay.
func TestSubtractProductTwin(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	numbers := func(n int) []complex128 {
		v := make([]complex128, n)
		for i := range v {
			v[i] = complex(random.NormFloat64(), random.NormFloat64())
		}
		return v
	}
	for n := range 35 {
		for count := range 12 {
			stride := n + random.IntN(4)
			dst, f, src := numbers(n+3), numbers(count), numbers(count*stride+n)
			want := slices.Clone(dst)
			subtractProduct(dst[:n], f, src, stride)
			subtractProductPlain(want[:n], f, src, stride)
			for i := range want {
				if cmplx.Abs(dst[i]-want[i]) > 1e-14*float64(1+count) {
					t.Fatalf("%d columns, %d rows: number %d is %v, want %v", n, count, i, dst[i], want[i])
				}
			}
		}
	}
}
