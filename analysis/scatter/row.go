package scatter

import (
	"fmt"
	"slices"
)

// Orders returns what a row of panels, each of one of several kinds, scatters to each receiver, for many orders of the kinds: by order and receiver, for a unit
// source as in Flat. kinds holds the wells of each kind, as many in all of them; an order names one kind per panel, from the lowest x, and the section
// must have the mouths of so many panels. Every entry is what Panel returns for the same wells.
//
// The wells are eliminated panel by panel (the Schur complement of a block), so what orders have in common at their beginning is done once for all of them.
// Errors: wells or orders that do not fit the section, a negative depth or loss, a singular system.
func (e *Exterior) Orders(kinds [][]Well, orders [][]int, losses Losses) ([][]complex128, error) {
	out := make([][]complex128, len(orders))
	for i := range out {
		out[i] = append([]complex128(nil), e.flat...)
	}
	if len(orders) == 0 || len(e.mouths) == 0 {
		return out, nil
	}
	for i, order := range orders {
		wells := 0
		for _, kind := range order {
			if kind < 0 || kind >= len(kinds) || len(kinds[kind]) != len(kinds[0]) {
				return nil, fmt.Errorf("order %d: kind %d of %d kinds of equally many wells", i+1, kind, len(kinds))
			}
			wells += len(kinds[kind])
		}
		if wells != len(e.mouths) {
			return nil, fmt.Errorf("order %d: %d wells for %d mouths", i+1, wells, len(e.mouths))
		}
	}
	panels := len(orders[0])
	for _, kind := range kinds {
		if err := e.validate(slices.Repeat(kind, panels)); err != nil {
			return nil, err
		}
	}
	sorted := make([]int, len(orders))
	for i := range sorted {
		sorted[i] = i
	}
	slices.SortFunc(sorted, func(a, b int) int { return slices.Compare(orders[a], orders[b]) })
	slits := e.slits(losses)
	for h := range e.height {
		t := newOrderTree(e, &e.height[h], kinds, orders, slits, out)
		if err := t.descend(0, sorted); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// orderTree eliminates the panels of many orders from the symmetric system of wellSystem, bordered by its right-hand side and by what unit velocities send to the
// receivers. What is left of the border when all panels are gone is minus the field.
type orderTree struct {
	orders  [][]int
	block   int            // unknowns per panel
	wells   [][]complex128 // per kind: W of its wells, the upper triangles one behind the other
	pairs   int            // per well
	each    int            // functions
	left    []matrix       // per depth: the rows of the panels not yet eliminated, and below them the border's; columns as in the whole
	pivots  matrix         // the rows of the panel that is eliminated
	factors []complex128
	out     [][]complex128
}

func newOrderTree(e *Exterior, mode *heightMode, kinds [][]Well, orders [][]int, slits []complex128, out [][]complex128) *orderTree {
	n, receivers, panels := len(e.mouths)*e.functions, len(e.flat), len(orders[0])
	t := &orderTree{orders: orders, block: n / panels, each: e.functions, pairs: len(e.shapes.pairs), out: out}
	var w wellMatrix
	for _, kind := range kinds {
		var all []complex128
		for j, well := range kind {
			w.set(e.shapes, e.mouths[j].WidthM(), slits[j]-complex(mode.kz*mode.kz, 0), well, false)
			all = append(all, w.w...)
		}
		t.wells = append(t.wells, all)
	}
	for depth := range panels + 1 {
		t.left = append(t.left, *newMatrix(n-depth*t.block+1, n+1+receivers))
	}
	t.pivots, t.factors = *newMatrix(t.block, n+1+receivers), make([]complex128, t.block)
	whole := &t.left[0]
	for i := range n {
		j := i / e.functions
		row := whole.row(i)
		copy(row, mode.z.row(i))
		row[n] = -e.source[i] * mode.excite[j]
		heard := mode.receive.row(j)
		for r, send := range e.radiate.row(i) {
			row[n+1+r] = send * heard[r]
		}
	}
	return t
}

// descend goes through the orders that have their first panels in common, which are eliminated.
func (t *orderTree) descend(depth int, orders []int) error {
	left := &t.left[depth]
	if depth == len(t.left)-1 {
		border := left.row(0)[left.cols-len(t.out[0]):]
		for _, o := range orders {
			for r, z := range border {
				t.out[o][r] -= z
			}
		}
		return nil
	}
	for len(orders) > 0 {
		kind, alike := t.orders[orders[0]][depth], 1
		for alike < len(orders) && t.orders[orders[alike]][depth] == kind {
			alike++
		}
		if err := t.eliminate(depth, kind); err != nil {
			return err
		}
		if err := t.descend(depth+1, orders[:alike]); err != nil {
			return err
		}
		orders = orders[alike:]
	}
	return nil
}

// eliminate takes the first panel that is left out of the system, with the wells of a kind in it: the upper halves of symmetric matrices, without pivoting as
// in solveSymmetric.
func (t *orderTree) eliminate(depth, kind int) error {
	left, next, first := &t.left[depth], &t.left[depth+1], depth*t.block
	cols := left.cols
	copy(t.pivots.v, left.v[:t.block*cols])
	wells := t.wells[kind]
	for i := range t.block {
		row := t.pivots.row(i)[first:]
		if f := i % t.each; f == 0 {
			pairs := wells[i/t.each*t.pairs:][:t.pairs]
			for f := range t.each {
				for g := range t.each - f {
					t.pivots.row(i + f)[first+i+f+g] += pairs[g]
				}
				pairs = pairs[t.each-f:]
			}
		}
		for k := range i {
			above := t.pivots.row(k)[first:]
			t.factors[k] = above[i] * above[k] // the diagonal holds the inverse
		}
		subtractProduct(row[i:], t.factors[:i], t.pivots.v[first+i:], cols)
		if row[i] == 0 {
			return errSingular
		}
		row[i] = 1 / row[i]
	}
	n := cols - len(t.out[0]) - 1
	for j := range next.rows {
		column := first + t.block + j // of the whole; the border's row is the last
		dst := next.row(j)[column:]
		copy(dst, left.row(t.block + j)[column:])
		for k := range t.block {
			row := t.pivots.row(k)
			t.factors[k] = row[column] * row[first+k]
		}
		if column == n {
			dst = dst[1:]
			column++
		}
		subtractProduct(dst, t.factors, t.pivots.v[column:], cols)
	}
	return nil
}
