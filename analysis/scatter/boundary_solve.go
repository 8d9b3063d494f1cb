package scatter

// boundary is one solution of the boundary equations: for every image of the outline's part a system and its right-hand sides, which the
// solution replaces. There is one column for each place, holding the field of a unit line source there, and behind them one for each function of each
// mouth, driven with unit velocity.
type boundary struct {
	*layout
	*scratch
	k         float64
	system    []matrix
	right     []matrix
	moments   []matrix // per image of a mouth: −∫ ∂/∂n of what each of its functions sends, over each element
	projected []matrix // per image of the source: minus the integral of the pressure on the boundary of a mouth times −2 D, for each function and column

	layers   [][][]complex128 // ∫ ∂G/∂n ds over an element, G from a place: per image, distinct place and element
	incident []matrix         // ∫ G φ over the mouths for each image of a place: per function and place
}

// solveLayout solves the boundary equations for the places and all functions of the mouths.
func solveLayout(k float64, l *layout, s *scratch) (*boundary, error) {
	b := &boundary{layout: l, scratch: s, k: k}
	b.assemble(len(l.places) + len(l.mouths)*l.functions)
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
	b.system, b.right, b.moments, b.projected, b.incident = make([]matrix, n), make([]matrix, n), make([]matrix, n), make([]matrix, n), make([]matrix, n)
	b.layers = make([][][]complex128, n)
	// sums on the way to an integral over a mouth
	sent, through, integrals := b.complexes.take(mostPoints), b.complexes.take(mostPoints), b.complexes.take(b.functions)
	driven := b.drive(sent, through)
	for g := range b.images {
		unknowns := len(b.mouths) * b.functions
		b.system[g], b.right[g] = b.matrix(b.count, b.count), b.matrix(b.count, columns)
		b.moments[g], b.projected[g], b.incident[g] = b.matrix(unknowns, b.count), b.matrix(unknowns, columns), b.matrix(unknowns, len(b.places))
		b.placeDriven(g, driven)
		for p := range b.places {
			b.see(g, p, sent, integrals)
		}
	}
	b.fill(b.act())
}

// fill puts the numbers of the blocks into the systems, mixed.
func (b *boundary) fill(entries []complex128) {
	for i := range b.count {
		row := i * b.count
		from := 0
		if i < b.fronts {
			from = b.fronts // what the front does to itself is not asked for
		}
		if len(b.images) == 1 {
			system := b.system[0].v[row:][from:b.count]
			for j, entry := range b.index[0][row:][from:b.count] {
				system[j] = entries[entry]
			}
			continue
		}
		even, odd, image := b.system[0].v[row:][from:b.count], b.system[1].v[row:][from:b.count], b.index[1][row:][from:b.count]
		for j, entry := range b.index[0][row:][from:b.count] {
			p, q := entries[entry], entries[image[j]]
			even[j], odd[j] = p+q, p-q
		}
	}
}

// act returns the numbers of all blocks.
func (b *boundary) act() []complex128 {
	entries := b.complexes.take(b.entries)
	entries[zeroEntry], entries[halfEntry] = 0, 0.5
	for i := range b.blocks {
		block := &b.blocks[i]
		bundle := b.bundle(block.kept, b.scratch, func() { block.cast(b.scratch) })
		traced := b.trace(b.k, bundle.fours)
		dst, near := entries[block.first:], bundle.near
		for range block.looks {
			traced = block.from.influence(b.k, block.on.normal, block.on.coupled, dst, traced, near[:block.from.count])
			dst, near = dst[block.from.count:], near[block.from.count:]
		}
	}
	return entries
}

// Gauss–Legendre points on 0…1, the middle first.
var gauss3 = [...][2]float64{{0.5, 4. / 9}, {0.1127016653792583, 5. / 18}, {0.8872983346207417, 5. / 18}}

// drive returns what the mouths have to do with each element: for each function φ, −∫(G + α ∂G/∂n_x) φ dx′ at the middle, then for each
// minus the integral of ∂/∂n ∫ G φ dx′ over the element. The latter is 0 in the mouths' own plane.
func (b *boundary) drive(sent, through []complex128) []complex128 {
	out := b.complexes.take(b.driven)
	dst := out
	for i := range b.drives {
		d := &b.drives[i]
		on, rule, widthM := d.on, d.rule(), d.mouth.WidthM()
		bundle := b.bundle(d.kept, b.scratch, func() { d.cast(b.layout, b.scratch) })
		traced := b.trace(b.k, bundle.fours)
		for _, at := range bundle.laid {
			driven, moments := dst[:b.functions], dst[b.functions:][:b.functions]
			dst = dst[2*b.functions:]
			bunch := traced[:at.count]
			for ray := range bunch {
				sent[ray] = scale(green(&bunch[ray]), -widthM)
				if on.coupled {
					sent[ray] -= slope(&bunch[ray], widthM)
				}
			}
			at.integrals(driven, sent)
			if on.front() {
				clear(moments)
				traced = traced[at.count:]
				continue
			}
			clear(through[:at.count])
			for _, point := range rule {
				weight := b.k * on.lengthM * point[1] * widthM / 4
				for ray := range through[:at.count] {
					through[ray] += scaleI(traced[ray][1], weight)
				}
				traced = traced[at.count:]
			}
			at.integrals(moments, through)
		}
	}
	return out
}

// placeDriven fills in what image g of the mouths has to do with the elements.
func (b *boundary) placeDriven(g int, driven []complex128) {
	n := b.functions
	for i := range b.images[0] {
		for j := range b.mouths {
			entries := driven[b.driving[g][i*len(b.mouths)+j]:]
			for row := range b.images[0][i].count {
				element := b.first[i] + row
				right, moments := b.right[g].row(element)[len(b.places)+j*n:][:n], b.moments[g].v[j*n*b.count+element:]
				sign := 1.0
				for f := range n {
					right[f], moments[f*b.count] = scale(entries[f], sign), scale(entries[n+f], sign)
					if g > 0 {
						sign = -sign // in the image the odd functions are turned over
					}
				}
				entries = entries[2*n:]
			}
		}
	}
}

// front reports whether the run lies in the plane of the mouths.
func (r *run) front() bool { return r.normal.Y > 0 }

// see fills in what a place has to do with image g of the elements, looking at the part from the place's own image: the right-hand side p + α ∂p/∂n of a
// unit line source, the double layer, and what reaches the mouths.
func (b *boundary) see(g, column int, reaching, integrals []complex128) {
	s := &b.sights[g][column]
	bundle := b.bundle(s.kept, b.scratch, func() { s.cast(b.layout, b.scratch) })
	traced := b.trace(b.k, bundle.fours)
	layer := b.complexes.take(b.count)
	element := 0
	for r := range b.images[0] {
		on := &b.images[0][r]
		for range on.count {
			arriving := green(&traced[0])
			if on.coupled {
				arriving -= slope(&traced[0], 1) // the ray runs from the element to the place
			}
			b.right[g].row(element)[column] = arriving
			traced = traced[1:]
			var sum complex128
			for _, point := range gaussOf(bundle.near[element]) {
				sum += slope(&traced[0], point[1])
				traced = traced[1:]
			}
			layer[element] = scaleI(sum, b.k*on.lengthM)
			element++
		}
	}
	b.layers[g] = append(b.layers[g], layer)
	for j, at := range bundle.laid {
		widthM := b.mouths[j].WidthM()
		for ray := range reaching[:at.count] {
			reaching[ray] = scale(green(&traced[ray]), widthM)
		}
		at.integrals(integrals, reaching)
		for f, v := range integrals {
			b.incident[g].row(j*b.functions + f)[column] = v
		}
		traced = traced[at.count:]
	}
}
