package scatter

import (
	"math"
	"math/cmplx"
	"slices"
)

// A panel of finite height H seen by point sources scatters, to a good approximation, as an infinitely tall one whose surface
// field is cut off at the panel's ends: Kirchhoff's approximation, in the vertical plane alone. Three things refine it:
//
//   - Over the height h between their closed ends the wells carry modes cos(nπ(z+h/2)/h); each runs down the well with
//     k² − (nπ/h)², so each sees the well a little less deep than the plane mode does.
//   - What Kirchhoff's approximation misses at the upper and lower edge is taken from the panel's vertical section, a
//     closed box of height H, solved exactly and by Kirchhoff's approximation: the ratio multiplies the whole field.
//   - Mouths of finite height act less on each other than infinitely tall ones (heightDefect).
type heights struct {
	outer, inner float64      // m; 0 stands for infinite height
	z, weight    []float64    // quadrature over the outer height
	symmetric    bool         // all places at mid-height: only the upper half and the even modes count
	count        int          // height modes kept
	edge         []complex128 // per receiver: exact over Kirchhoff in the vertical section
}

// heights prepares quadratures over the height and edge factors, for every scene its own.
func (o *Outside) heights(k float64) ([]*heights, error) {
	out := make([]*heights, len(o.Scenes))
	for i, s := range o.Scenes {
		out[i] = newHeight(k, o.Section, append([]Place{s.Source}, s.Receivers...))
	}
	if o.Section.HeightM == 0 {
		return out, nil
	}
	edges, err := o.edgeFactors(k)
	for i, edge := range edges {
		out[i].edge = edge
	}
	return out, err
}

// newHeight prepares the quadrature over the height, for sources and receivers at the given places.
func newHeight(k float64, section *Section, places []Place) *heights {
	h := &heights{outer: section.HeightM, inner: section.HeightM - 2*section.CapM, symmetric: true}
	if h.outer == 0 {
		return h
	}
	steepest, longest := 0.0, 0.0
	for _, p := range places {
		h.symmetric = h.symmetric && p.Z == 0
		reach := h.outer/2 + math.Abs(p.Z)
		near := max(section.distance(p.Point), h.outer/20)
		steepest = max(steepest, reach/math.Hypot(reach, near))
		longest = max(longest, math.Hypot(reach, near)-near)
	}
	// modes up to the steepest slope between a place and the panel's ends, and two more
	h.count = int(k*min(steepest, 0.9)*h.inner/math.Pi) + 5
	from, span := -h.outer/2, h.outer
	if h.symmetric {
		from, span = 0, h.outer/2
	}
	phase := 2*k*longest + float64(h.count)*math.Pi*span/h.inner
	pieces := max(1, int(math.Ceil(phase/6)))
	for piece := range pieces {
		for _, g := range gauss8 {
			h.z = append(h.z, from+span*(float64(piece)+g[0])/float64(pieces))
			h.weight = append(h.weight, g[1]*h.outer/float64(pieces))
		}
	}
	return h
}

// distance returns how far p is from the nearest box's outline, in metres.
func (s *Section) distance(p Point) float64 {
	nearest := math.Inf(1)
	for _, b := range s.Boxes {
		dx := max(b.X0M-p.X, 0, p.X-b.X1M)
		dy := max(-b.DepthM-p.Y, 0, p.Y)
		nearest = min(nearest, math.Hypot(dx, dy))
	}
	return nearest
}

// edgeFactors solves the vertical section, a closed box seen from the places' distances, exactly and by Kirchhoff's approximation. It returns the ratio, per scene and receiver.
// Both vary slowly with the distance but for a line source's own field: where receivers of one height have many distances, they are interpolated.
func (o *Outside) edgeFactors(k float64) ([][]complex128, error) {
	section, scenes := o.Section, o.Scenes
	height, depth := section.HeightM, 0.0
	for _, b := range section.Boxes {
		depth = max(depth, b.DepthM)
	}
	// places within 5 mm share a factor
	rounded := func(p Place) Place {
		return Place{Point: Point{p.Z, 0.005 * math.Round(max(section.middleDistance(p.Point), 0.02)/0.005)}}
	}
	spans, several := map[float64]*span{}, map[Place]bool{} // of the receivers' distances, by height
	count := map[float64]int{}
	for _, s := range scenes {
		for _, p := range s.Receivers {
			if spans[p.Z] == nil {
				spans[p.Z] = &span{}
			}
			q := rounded(p)
			spans[p.Z].include(q.Y)
			if !several[q] {
				several[q] = true
				count[p.Z]++
			}
		}
	}
	series := map[float64]*radial{} // of what is interpolated
	for z, s := range spans {
		reach := height/2 + math.Abs(z)
		f := newRadialTo(edgeDigits, *s, k*(math.Hypot(s.from, reach)-s.from-math.Hypot(s.to, reach)+s.to))
		if f.terms < count[z] {
			series[z] = &f
		}
	}
	// every scene's distinct places, and where its receivers are found among them
	type found struct {
		distinct Scene
		at       map[Place]int     // of a place by itself
		nodes    map[float64][]int // of interpolated ones, by height
	}
	all, seen := make([]found, len(scenes)), make([]Scene, len(scenes))
	for i, s := range scenes {
		d := &all[i]
		d.distinct.Source, d.at, d.nodes = rounded(s.Source), map[Place]int{}, map[float64][]int{}
		add := func(p Place) int {
			d.distinct.Receivers = append(d.distinct.Receivers, p)
			return len(d.distinct.Receivers) - 1
		}
		for _, p := range s.Receivers {
			if f := series[p.Z]; f != nil {
				for n := 0; len(d.nodes[p.Z]) < f.terms; n++ {
					d.nodes[p.Z] = append(d.nodes[p.Z], add(Place{Point: Point{p.Z, f.node(n)}}))
				}
				continue
			}
			q := rounded(p)
			if _, known := d.at[q]; !known {
				d.at[q] = add(q)
			}
		}
		seen[i] = d.distinct
	}
	exact, err := o.uprightOf(Box{-height / 2, height / 2, depth}, seen).At(k)
	if err != nil {
		return nil, err
	}
	out := make([][]complex128, len(scenes))
	for i, s := range scenes {
		d := &all[i]
		interpolated := map[float64][2][]complex128{} // exact, and by Kirchhoff
		for z, nodes := range d.nodes {
			f := series[z]
			values := newMatrix(f.terms, 2)
			for n, r := range nodes {
				p := d.distinct.Receivers[r]
				line := lineSource(k, p.Y)
				values.row(n)[0], values.row(n)[1] = exact[i].Flat(r)/line, kirchhoff(k, height, d.distinct.Source.Point, p.Point)/line
			}
			both := interpolated[z]
			coefficients := f.series(values)
			for n := range f.terms {
				both[0], both[1] = append(both[0], coefficients.row(n)[0]), append(both[1], coefficients.row(n)[1])
			}
			interpolated[z] = both
		}
		known := map[int]complex128{}
		for _, p := range s.Receivers {
			if f := series[p.Z]; f != nil {
				both := interpolated[p.Z]
				out[i] = append(out[i], f.sum(both[0], rounded(p).Y)/f.sum(both[1], rounded(p).Y))
				continue
			}
			r := d.at[rounded(p)]
			if _, ok := known[r]; !ok {
				known[r] = exact[i].Flat(r) / kirchhoff(k, height, d.distinct.Source.Point, d.distinct.Receivers[r].Point)
			}
			out[i] = append(out[i], known[r])
		}
	}
	return out, nil
}

// uprightOf returns the outside of a box with some scenes before it, the one of the time before where the scenes are the same.
func (o *Outside) uprightOf(box Box, scenes []Scene) *Outside {
	o.mutex.Lock()
	defer o.mutex.Unlock()
	alike := func(a, b Scene) bool { return a.Source == b.Source && slices.Equal(a.Receivers, b.Receivers) }
	if o.upright == nil || !slices.EqualFunc(o.upright.Scenes, scenes, alike) {
		// below some hundred hertz the edges and not the wavelength ask for elements: with as few as an eighth of it needs, a bare box is off by a fifth and more
		o.upright = &Outside{Section: &Section{Boxes: []Box{box}}, Scenes: scenes, Mesh: o.Mesh, longestM: (box.X1M - box.X0M) / 32, once: true}
	}
	return o.upright
}

// edgeDigits is to how many digits edge factors are interpolated, far more than they are good for.
const edgeDigits = 5

// kirchhoff returns what a strip from −height/2 to height/2 in the plane y = 0 scatters by Kirchhoff's approximation: the mean of 2 ∫ p ∂G/∂n in both directions.
func kirchhoff(k, height float64, source, receiver Point) (sum complex128) {
	pieces := max(2, int(math.Ceil(k*height/3)))
	for piece := range pieces {
		for _, g := range gauss8 {
			z := height * ((float64(piece)+g[0])/float64(pieces) - 0.5)
			r1 := math.Hypot(source.X-z, source.Y)
			r2 := math.Hypot(receiver.X-z, receiver.Y)
			p1, slope1 := hankel(k * r1)
			p2, slope2 := hankel(k * r2)
			both := scale(p1*slope2, receiver.Y/r2) + scale(p2*slope1, source.Y/r1)
			sum -= scale(both, k/16*g[1]*height/float64(pieces))
		}
	}
	return sum
}

// middleDistance returns the distance of p from the middle of the boxes' fronts.
func (s *Section) middleDistance(p Point) float64 {
	return math.Hypot(p.X-(s.Boxes[0].X0M+s.Boxes[len(s.Boxes)-1].X1M)/2, p.Y)
}

// spread returns e^{ikR}/(4πR) over the line source's field: how a point source at height dz above differs from a line.
func spread(k, r, dz float64, line complex128) complex128 {
	d := math.Sqrt(r*r + dz*dz)
	return cmplx.Rect(1/(4*math.Pi*d), k*d) / line
}

// spreads returns spread as a series in the distance from a place at height z: a column for each height of the quadrature, times stretch.
func (h *heights) spreads(k, z, stretch float64, s span) (radial, *matrix) {
	reach := h.outer/2 + math.Abs(z)
	f := newRadial(s, k*(math.Hypot(s.from, reach)-s.from-math.Hypot(s.to, reach)+s.to))
	values := newMatrix(f.terms, len(h.z))
	for i := range f.terms {
		r := f.node(i)
		line := lineSource(k, r)
		for q, level := range h.z {
			values.row(i)[q] = spread(k, r, z-level*stretch, line)
		}
	}
	return f, f.series(values)
}

// vertical is the integral over the height of the source's spread times that of receivers at one height.
type vertical struct {
	receivers radial
	series    []matrix // per image and element: in a receiver's distance
}

// newVertical needs the source's column and the span of the receivers' distances.
func (h *heights) newVertical(b *boundary, source int, sourceZ, receiverZ float64, receivers span) *vertical {
	var s span
	for _, sights := range b.sights {
		s.include(sights[source].distance...)
	}
	near, from := h.spreads(b.k, sourceZ, 1, s)
	far, to := h.spreads(b.k, receiverZ, 1, receivers)
	both := newMatrix(near.terms, far.terms)
	for i := range near.terms {
		row := both.row(i)
		for j := range row {
			near, far := from.row(i), to.row(j)
			for q, weight := range h.weight {
				row[j] -= scale(near[q]*far[q], weight)
			}
		}
	}
	v := &vertical{receivers: far, series: make([]matrix, len(b.images))}
	polynomials := make([]complex128, near.terms)
	for g, sights := range b.sights {
		v.series[g] = b.matrix(b.count, far.terms)
		clear(v.series[g].v)
		for i, d := range sights[source].distance {
			near.polynomials(polynomials, d)
			subtractProduct(v.series[g].row(i), polynomials, both.v, far.terms)
		}
	}
	return v
}

// closedBoxes returns, per receiver, what the closed boxes scatter; the first of the places is the source, seen as views says.
func (h *heights) closedBoxes(b *boundary, views []view, places []Place) []complex128 {
	spans := map[float64]*span{} // of the receivers' distances, by height
	for p, place := range places[1:] {
		if h.outer == 0 {
			break
		}
		if spans[place.Z] == nil {
			spans[place.Z] = &span{}
		}
		for _, sights := range b.sights {
			spans[place.Z].include(sights[views[1+p].column].distance...)
		}
	}
	type listener struct {
		view
		z float64
	}
	heard := map[listener]complex128{}
	verticals := map[float64]*vertical{} // by the receivers' height
	out := make([]complex128, len(places)-1)
	for r := range out {
		l := listener{views[1+r], places[1+r].Z}
		if places[0].X == 0 {
			l.image = 0 // mirror images hear the same
		}
		if _, known := heard[l]; !known {
			if h.outer > 0 && verticals[l.z] == nil {
				verticals[l.z] = h.newVertical(b, views[0].column, places[0].Z, l.z, *spans[l.z])
			}
			heard[l] = b.scattered(views[0], l.view, verticals[l.z])
		}
		out[r] = heard[l]
		if h.outer > 0 {
			out[r] *= h.edge[r]
		}
	}
	return out
}

// scattered returns ∫ p ∂G/∂n over the boundary for one receiver, averaged over both directions so that it is reciprocal, every element
// weighed by what the vertical plane makes of it (nil for infinite height).
func (b *boundary) scattered(source, receiver view, v *vertical) (sum complex128) {
	for g := range b.images {
		// what is seen from an image of a place is what the place sees of the images: only how the two differ counts
		s, r := g^source.image, g^receiver.image
		for i := range b.count {
			there := b.right[s].row(i)[source.column] * b.layers[r][receiver.column][i]
			back := b.right[r].row(i)[receiver.column] * b.layers[s][source.column][i]
			both := scale(there+back, 0.5)
			if v != nil {
				both *= v.receivers.sum(v.series[s].row(i), b.sights[r][receiver.column].distance[i])
			}
			sum += both
		}
	}
	return sum
}

// modes returns the height modes with their excitation by places[0] and their reception at the others.
func (h *heights) modes(k float64, section *Section, places []Place, z *matrix, functions int) []heightMode {
	mouths := len(section.Mouths)
	if h.outer == 0 {
		plain := heightMode{z: z, excite: make([]complex128, mouths), receive: newMatrix(mouths, len(places)-1)}
		for j := range plain.excite {
			plain.excite[j] = 1
		}
		for i := range plain.receive.v {
			plain.receive.v[i] = 1
		}
		return []heightMode{plain}
	}
	if mouths == 0 {
		return nil
	}
	step := 1
	if h.symmetric {
		step = 2
	}
	var modes []heightMode
	for n := 0; n < h.count; n += step {
		modes = append(modes, heightMode{
			kz: float64(n) * math.Pi / h.inner, z: z,
			excite: make([]complex128, mouths), receive: newMatrix(mouths, len(places)-1),
		})
	}
	modes[0].z = coupledMouths(k, section, z, functions)

	distance := func(p Place, m Mouth) float64 { return p.distance(Point{m.MidM(), 0}) }
	spans := map[float64]*span{} // of all distances, by the places' height
	for _, p := range places {
		if spans[p.Z] == nil {
			spans[p.Z] = &span{}
		}
		for _, m := range section.Mouths {
			spans[p.Z].include(distance(p, m))
		}
	}
	type series struct {
		radial
		modes *matrix // per term and mode, times −1
	}
	cosines := newMatrix(len(h.z), len(modes))
	for q, z := range h.z {
		for i := range modes {
			cosines.row(q)[i] = complex(h.weight[q]/h.outer*math.Cos(modes[i].kz*h.inner*(z/h.outer+0.5)), 0)
		}
	}
	factors, polynomials := make([]complex128, len(modes)), []complex128(nil)
	known := map[float64]series{}
	for p, place := range places {
		s, ok := known[place.Z]
		if !ok {
			f, spreads := h.spreads(k, place.Z, h.inner/h.outer, *spans[place.Z])
			s.radial = f
			s.modes = newMatrix(f.terms, len(modes))
			for m := range f.terms {
				subtractProduct(s.modes.row(m), spreads.row(m), cosines.v, len(modes))
			}
			known[place.Z] = s
		}
		polynomials = slices.Grow(polynomials[:0], s.terms)[:s.terms]
		for j, m := range section.Mouths {
			s.polynomials(polynomials, distance(place, m))
			clear(factors)
			subtractProduct(factors, polynomials, s.modes.v, len(modes))
			for i, factor := range factors {
				if p == 0 {
					modes[i].excite[j] = factor
				} else {
					modes[i].receive.row(j)[p-1] = factor * h.edge[p-1] * complex(modeNorm(i*step)*h.inner, 0)
				}
			}
		}
	}
	return modes
}

// heightDefect returns how much less one mouth acts on another at distance rho (m) because both have the height h (m) only:
// for the mode that is even over the height,
//
//	∫_{-h}^{h} (1 − |u|/h) e^{ikR}/(4πR) du − (i/4) H0(kρ),  R² = ρ² + u²,
//
// which is the mean over one height of the field of the other, minus that of an infinitely tall strip. It stays finite as ρ → 0.
func heightDefect(k, rho, h float64) complex128 {
	var sum complex128
	pieces := max(4, int(math.Ceil(h*k/2)))
	for piece := range pieces {
		for _, g := range gauss8 {
			u := h * (float64(piece) + g[0]) / float64(pieces)
			r := math.Sqrt(rho*rho + u*u)
			sum -= cmplx.Rect(u/(4*math.Pi*r)*g[1]/float64(pieces), k*r)
		}
	}
	// the missing rest from h to infinity, along u = h + it where the wave decays
	const decay = 8.0 // in units of 1/k per piece: e⁻⁴⁰ is left at the end
	for piece := range 5 {
		for _, g := range gauss8 {
			u := complex(h, decay/k*(float64(piece)+g[0]))
			r := sqrtUp(u*u + complex(rho*rho, 0))
			sum -= scale(1i*cmplx.Exp(complex(0, k)*r)/(4*math.Pi*r), g[1]*decay/k)
		}
	}
	return 2 * sum
}

// coupledMouths returns z with the coupling of the mouths' mean velocities corrected for the height: as in a baffle, p = −2 ∫ G v.
// For the higher height modes the same correction without the coupling between them makes the prediction worse, so they go without.
func coupledMouths(k float64, section *Section, z *matrix, functions int) *matrix {
	h := section.HeightM - 2*section.CapM
	out := newMatrix(z.rows, z.cols)
	copy(out.v, z.v)
	defects := map[int64]complex128{}
	for i, a := range section.Mouths {
		for j, b := range section.Mouths {
			rho := math.Abs(a.MidM() - b.MidM())
			if i == j {
				rho = a.WidthM() / 3 // the mean distance of two points of one mouth
			}
			key := int64(math.Round(rho * 1e9))
			defect, known := defects[key]
			if !known {
				defect = heightDefect(k, rho, h)
				defects[key] = defect
			}
			out.row(i * functions)[j*functions] -= scale(defect, 2*a.WidthM()*b.WidthM())
		}
	}
	return out
}
