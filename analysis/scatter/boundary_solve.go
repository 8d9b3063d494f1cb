package scatter

// boundary is one solution of the boundary equations: for every image of the outline's part a system and its right-hand sides, which the
// solution replaces. There is one column for each place, holding the field of a unit line source there, and behind them one for each mode of each piece
// of a mouth, driven with unit velocity.
type boundary struct {
	*outline
	*scratch
	k      float64
	modes  int
	places []Point // distinct but for mirror images
	views  []view  // per place asked for
	system []matrix
	right  []matrix

	layers   [][][]complex128 // ∫ ∂G/∂n ds over an element, G from a place: per image, distinct place and element
	distance [][][]float64    // from the place to the middle of the element, m
}

// blockKey names the action of one run on another. Runs of equal shapes at equal distances act alike: on a panel of equal wells nearly all do.
type blockKey struct {
	on, of int // shapes
	dx, dy int64
}

// solveOutline solves the boundary equations for the given places and all modes of the mouths.
func solveOutline(k float64, o *outline, modes int, places []Place, s *scratch) (*boundary, error) {
	b := &boundary{outline: o, scratch: s, k: k, modes: modes}
	b.places, b.views = o.viewsOf(places)
	b.assemble(len(b.places) + len(o.pieces)*modes)
	return b, b.solve()
}

// solve replaces the right-hand sides by the solutions.
func (b *boundary) solve() error {
	mix(b.system)
	mix(b.right)
	for g := range b.system {
		if allZero(b.right[g].v) {
			continue // so it is where all places are in the middle
		}
		if err := solveInPlace(&b.system[g], &b.right[g]); err != nil {
			return err
		}
	}
	mix(b.right)
	for g := range b.right {
		v := b.right[g].v
		for i := range v {
			v[i] = scale(v[i], 1/float64(len(b.right)))
		}
	}
	return nil
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

// assemble fills in the systems and the right-hand sides: what all images do to the part.
func (b *boundary) assemble(columns int) {
	b.system, b.right = make([]matrix, len(b.images)), make([]matrix, len(b.images))
	b.layers, b.distance = make([][][]complex128, len(b.images)), make([][][]float64, len(b.images))
	for g, image := range b.images {
		b.system[g], b.right[g] = b.matrix(b.count, b.count), b.matrix(b.count, columns)
		column := len(b.places)
		for j := range image {
			from := &image[j]
			width := from.count
			if from.mouth != nil {
				width += b.modes
			}
			for i := range b.images[0] {
				on := &b.images[0][i]
				block := b.block(on, from, width)
				for row := range on.count {
					entries := block[row*width:][:width]
					copy(b.system[g].row(b.first[i] + row)[b.first[j]:], entries[:from.count])
					copy(b.right[g].row(b.first[i] + row)[column:], entries[from.count:])
				}
			}
			column += width - from.count
		}
		for p, place := range b.places {
			b.see(g, p, b.mirror(place, b.flips[g]))
		}
	}
}

// see fills in what a place has to do with image g of the elements, looking at the part from the place's own image: the right-hand side p + α ∂p/∂n of a
// unit line source, the double layer, and the distance.
func (b *boundary) see(g, column int, place Point) {
	s := &b.rays
	s.to(b.k, place)
	for r := range b.images[0] {
		on := &b.images[0][r]
		for i := range on.count {
			s.from(on.middle(i))
			for _, point := range quadrature(place.distance(on.middle(i)), on.lengthM) {
				s.from(on.at(float64(i) + point[0]))
			}
		}
	}
	s.trace()
	layer, distance := b.complexes.take(b.count), b.floats.take(b.count)
	ray, element := 0, 0
	for r := range b.images[0] {
		on := &b.images[0][r]
		for i := range on.count {
			distance[element] = place.distance(on.middle(i))
			b.right[g].row(element)[column] = s.green(ray) - s.slope(ray, on.normal) // the ray runs from the element to the place
			rule := quadrature(distance[element], on.lengthM)
			ray++
			var sum complex128
			for _, point := range rule {
				sum += scale(s.slope(ray, on.normal), point[1])
				ray++
			}
			layer[element] = scaleI(sum, b.k*on.lengthM)
			element++
		}
	}
	b.layers[g], b.distance[g] = append(b.layers[g], layer), append(b.distance[g], distance)
}

// block returns what run from does to the elements of run on: a matrix of width columns, those of the elements and,
// for a mouth, the right-hand sides of its modes.
func (b *boundary) block(on, from *run, width int) []complex128 {
	key := blockKey{on.shape, from.shape, finely(from.from.X - on.from.X), finely(from.from.Y - on.from.Y)}
	if out := b.blocks[key]; out != nil {
		return out
	}
	out := b.complexes.take(on.count * width)
	b.blocks[key] = out

	size := 1
	if from.mouth != nil {
		size = 2 * b.modes
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
	entries := b.complexes.take(long.count * size)
	long.influence(b.k, on.middle(0), on.normal, entries, &b.rays)
	for i := range on.count {
		start := 0
		switch {
		case shift < 0:
			start = on.count - 1 - i
		case shift > 0:
			start = i
		case i > 0:
			long.influence(b.k, on.middle(i), on.normal, entries, &b.rays)
		}
		row := out[i*width:][:width]
		clear(row[from.count:])
		for j := range from.count {
			entry := entries[(start+j)*size:][:size]
			row[j] = entry[0]
			if from.mouth != nil {
				from.mouth.drive(row[from.count:], entry[1:], j)
			}
		}
	}
	return out
}

func same(a, b Point, sign float64) bool {
	return finely(a.X-sign*b.X) == 0 && finely(a.Y-sign*b.Y) == 0
}

// drive adds to the right-hand sides of the modes what their part on element i contributes, −∫(G + α ∂G/∂n_x) φ ds − ½ α φ.
func (s *shapes) drive(right, moments []complex128, i int) {
	right[0] -= moments[0]
	for m, t := range s.middle[i][1:] {
		right[1+m] -= scale(moments[1+m], t.cos) - scale(moments[s.modes+m], t.sin)
	}
}
