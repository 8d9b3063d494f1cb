package scatter

// boundary is one solution of the boundary equations: for every image of the outline's part a system and its right-hand sides, which the
// solution replaces. There is one column for each place, holding the field of a unit line source there, and behind them one for each function of each
// mouth, driven with unit velocity.
type boundary struct {
	*outline
	*scratch
	k         float64
	functions int     // per mouth
	places    []Point // distinct but for mirror images
	views     []view  // per place asked for
	system    []matrix
	right     []matrix
	moments   []matrix // per image of a mouth: −∫ ∂/∂n of what each of its functions sends, over each element
	projected []matrix // per image of the source: minus the integral of the pressure on the boundary of a mouth times −2 D, for each function and column

	layers   [][][]complex128 // ∫ ∂G/∂n ds over an element, G from a place: per image, distinct place and element
	distance [][][]float64    // from the place to the middle of the element, m
}

// blockKey names the action of one run or mouth on a run. What is of equal shape acts alike at equal distances: on a panel of equal wells nearly all does.
type blockKey struct {
	on, of int   // shapes
	width  int64 // of the mouth, 0 for a run
	dx, dy int64
}

// solveOutline solves the boundary equations for the given places and all functions of the mouths.
func solveOutline(k float64, o *outline, functions int, places []Place, s *scratch) (*boundary, error) {
	b := &boundary{outline: o, scratch: s, k: k, functions: functions}
	b.places, b.views = o.viewsOf(places)
	b.assemble(len(b.places) + len(o.mouths)*functions)
	return b, b.solve()
}

// solve replaces the right-hand sides by the solutions; on the front only those for the places, as nobody asks for others.
//
// In one plane the elements of the front have nothing to do with each other, so that they go out of the equations by themselves: of
//
//	½ f + B r = g,  C f + D r = h
//
// with f on the front and r on the rest is left (D − 2CB) r = h − 2Cg, which takes half the work where the front is half of all.
func (b *boundary) solve() error {
	mix(b.system)
	mix(b.right)
	mix(b.moments)
	fronts, rest := b.fronts, b.count-b.fronts
	columns := b.right[0].cols
	asked := columns - len(b.mouths)*b.functions
	reduced, twice := b.matrix(rest, rest), b.complexes.take(fronts)
	for g := range b.system {
		system, right := &b.system[g], &b.right[g]
		clear(b.projected[g].v)
		if allZero(right.v) {
			continue // so it is where all places are in the middle
		}
		unknown := matrix{rows: rest, cols: columns, v: right.v[fronts*columns:]}
		for i := range rest {
			row := system.row(fronts + i)
			for j, c := range row[:fronts] {
				twice[j] = 2 * c
			}
			copy(reduced.row(i), row[fronts:])
			subtractProduct(reduced.row(i), twice, system.v[fronts:], system.cols)
			subtractProduct(unknown.row(i), twice, right.v, columns)
		}
		if err := solveInPlace(&reduced, &unknown); err != nil {
			return err
		}
		for i := range fronts {
			row := right.row(i)
			subtractProduct(row[:asked], system.row(i)[fronts:], unknown.v, columns)
			for c := range row[:asked] {
				row[c] *= 2
			}
			clear(row[asked:])
		}
		for i := range b.moments[g].rows {
			subtractProduct(b.projected[g].row(i), b.moments[g].row(i)[fronts:], unknown.v, columns)
		}
	}
	mix(b.right)
	mix(b.projected)
	for g := range b.right {
		scaleAll(b.right[g].v, 1/float64(len(b.right)))
		scaleAll(b.projected[g].v, 1/float64(len(b.right)))
	}
	return nil
}

func scaleAll(v []complex128, f float64) {
	for i := range v {
		v[i] = scale(v[i], f)
	}
}

func allZero(v []complex128) bool {
	for _, z := range v {
		if z != 0 {
			return false
		}
	}
	return true
}

// mix replaces matrices f_g by Σ_g ±f_g, one for each pattern of signs that products of mirror images respect (a Walsh–Hadamard transform). Done twice, it
// multiplies by their number.
func mix(f []matrix) {
	for step := 1; step < len(f); step *= 2 {
		for g := range f {
			if g&step != 0 {
				continue
			}
			p, q := f[g].v, f[g+step].v
			for i, a := range p {
				b := q[i]
				p[i], q[i] = a+b, a-b
			}
		}
	}
}

// assemble fills in the systems, the right-hand sides and the moments: what all images do to the part.
func (b *boundary) assemble(columns int) {
	n := len(b.images)
	b.system, b.right, b.moments, b.projected = make([]matrix, n), make([]matrix, n), make([]matrix, n), make([]matrix, n)
	b.layers, b.distance = make([][][]complex128, n), make([][][]float64, n)
	for g, image := range b.images {
		b.system[g], b.right[g] = b.matrix(b.count, b.count), b.matrix(b.count, columns)
		b.moments[g], b.projected[g] = b.matrix(len(b.mouths)*b.functions, b.count), b.matrix(len(b.mouths)*b.functions, columns)
		for i := range b.images[0] {
			on := &b.images[0][i]
			for j := range image {
				if max(b.first[i], b.first[j]) < b.fronts {
					continue // nothing but the elements' own ½
				}
				block := b.block(on, &image[j])
				for row := range on.count {
					copy(b.system[g].row(b.first[i] + row)[b.first[j]:], block[row*image[j].count:][:image[j].count])
				}
			}
			for j, m := range b.mouths {
				b.drive(g, i, j, m)
			}
		}
		for p, place := range b.places {
			if g > 0 {
				place = place.mirror()
			}
			b.see(g, p, place)
		}
	}
}

// drive fills in what image g of mouth j has to do with the elements of run i.
func (b *boundary) drive(g, i, j int, m Mouth) {
	if g > 0 {
		m = Mouth{-m.X1M, -m.X0M}
	}
	on := &b.images[0][i]
	block := b.mouthBlock(on, m)
	for row := range on.count {
		element := b.first[i] + row
		entries := block[row*2*b.functions:][:2*b.functions]
		sign := 1.0
		for f := range b.functions {
			b.right[g].row(element)[len(b.places)+j*b.functions+f] = scale(entries[f], sign)
			b.moments[g].row(j*b.functions + f)[element] = scale(entries[b.functions+f], sign)
			if g > 0 {
				sign = -sign // in the image the odd functions are turned over
			}
		}
	}
}

// Gauss–Legendre points on 0…1, the middle first.
var gauss3 = [...][2]float64{{0.5, 4. / 9}, {0.1127016653792583, 5. / 18}, {0.8872983346207417, 5. / 18}}

// mouthBlock returns what a mouth has to do with each element of a run: for each function φ, −∫(G + α ∂G/∂n_x) φ dx′ at the middle, then for each
// minus the integral of ∂/∂n ∫ G φ dx′ over the element. The latter is 0 in the mouths' own plane.
func (b *boundary) mouthBlock(on *run, m Mouth) []complex128 {
	key := blockKey{on: on.shape, width: finely(m.WidthM()), dx: finely(m.X0M - on.from.X), dy: finely(on.from.Y)}
	if out := b.blocks[key]; out != nil {
		return out
	}
	out := b.complexes.take(on.count * 2 * b.functions)
	b.blocks[key] = out
	clear(out)
	s, points := &b.rays, &b.points
	points.functions = b.functions
	rule := gauss3[:]
	if on.front() {
		rule = gauss3[:1]
	}
	for i := range on.count {
		driven, moments := out[2*i*b.functions:][:b.functions], out[(2*i+1)*b.functions:][:b.functions]
		points.lay(m, on.middle(i), b.k*m.WidthM()/2)
		s.to(b.k, Point{})
		for _, at := range rule {
			s.x = on.at(float64(i) + at[0])
			for _, x := range points.x {
				s.from(Point{x, 0}, on.normal)
			}
		}
		s.trace()
		for ray := range points.x {
			value := points.value[ray*b.functions:][:b.functions]
			green := s.green(ray)
			if on.coupled {
				green += s.slope(ray, 1)
			}
			for f, v := range value {
				driven[f] -= scale(green, v)
			}
			if on.front() {
				continue
			}
			var slope complex128
			for q, at := range rule {
				slope += s.slope(q*len(points.x)+ray, on.lengthM*at[1])
			}
			slope = scaleI(slope, b.k)
			for f, v := range value {
				moments[f] += scale(slope, v)
			}
		}
	}
	return out
}

// front reports whether the run lies in the plane of the mouths.
func (r *run) front() bool { return r.normal.Y > 0 }

// see fills in what a place has to do with image g of the elements, looking at the part from the place's own image: the right-hand side p + α ∂p/∂n of a
// unit line source, the double layer, and the distance.
func (b *boundary) see(g, column int, place Point) {
	s := &b.rays
	s.to(b.k, place)
	layer, distance := b.complexes.take(b.count), b.floats.take(b.count)
	element := 0
	for r := range b.images[0] {
		on := &b.images[0][r]
		for i := range on.count {
			middle := on.middle(i)
			s.from(middle, on.normal)
			distance[element] = place.distance(middle)
			for _, point := range quadrature(distance[element], on.lengthM) {
				s.from(on.at(float64(i)+point[0]), on.normal)
			}
			element++
		}
	}
	s.trace()
	ray := 0
	element = 0
	for r := range b.images[0] {
		on := &b.images[0][r]
		for range on.count {
			incident := s.green(ray)
			if on.coupled {
				incident -= s.slope(ray, 1) // the ray runs from the element to the place
			}
			b.right[g].row(element)[column] = incident
			ray++
			var sum complex128
			for _, point := range quadrature(distance[element], on.lengthM) {
				sum += s.slope(ray, point[1])
				ray++
			}
			layer[element] = scaleI(sum, b.k*on.lengthM)
			element++
		}
	}
	b.layers[g], b.distance[g] = append(b.layers[g], layer), append(b.distance[g], distance)
}

// block returns what run from does to the elements of run on: a matrix.
func (b *boundary) block(on, from *run) []complex128 {
	key := blockKey{on: on.shape, of: from.shape, dx: finely(from.from.X - on.from.X), dy: finely(from.from.Y - on.from.Y)}
	if out := b.blocks[key]; out != nil {
		return out
	}
	out := b.complexes.take(on.count * from.count)
	b.blocks[key] = out
	if on.front() && from.front() && !on.coupled { // nothing but the elements' own ½
		clear(out)
		if key.dx == 0 {
			for i := range on.count {
				out[i*from.count+i] = 0.5
			}
		}
		return out
	}
	// Along parallel runs of equal steps only the difference (or the sum) of two elements' numbers counts: it is enough to
	// look at a longer run from the first element.
	long, shift := *from, 0
	switch {
	case same(on.step, from.step, 1):
		long.from = from.at(float64(1 - on.count))
		shift = -1
	case same(on.step, from.step, -1):
		shift = 1
	}
	if shift != 0 {
		long.count += on.count - 1
	}
	s, looks := &b.rays, on.count
	if shift != 0 {
		looks = 1
	}
	s.to(b.k, Point{})
	for i := range looks {
		long.cast(on.middle(i), on.normal, on.coupled, s)
	}
	s.trace()
	traced, distances := s.traced, s.distances
	if shift == 0 {
		for i := range on.count {
			traced, distances = long.influence(b.k, on.normal, on.coupled, out[i*from.count:][:from.count], traced, distances)
		}
		return out
	}
	entries := b.complexes.take(long.count)
	long.influence(b.k, on.normal, on.coupled, entries, traced, distances)
	for i := range on.count {
		start := i
		if shift < 0 {
			start = on.count - 1 - i
		}
		copy(out[i*from.count:][:from.count], entries[start:])
	}
	return out
}

func same(a, b Point, sign float64) bool {
	return finely(a.X-sign*b.X) == 0 && finely(a.Y-sign*b.Y) == 0
}
