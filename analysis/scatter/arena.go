package scatter

import "sync"

// arena hands out memory for one solution of the outside and takes it back all at once, for the next.
type arena[T any] struct {
	all, free  []T
	used, most int // since the last reset, and before any
}

// take returns n values, which may be anything.
func (a *arena[T]) take(n int) []T {
	if a.used == 0 && a.most > len(a.all) {
		a.all = make([]T, a.most+a.most/8)
		a.free = a.all
	}
	a.used += n
	if n > len(a.free) {
		a.free = make([]T, max(n, 1<<12)) // from the next reset on all is in one piece
	}
	out := a.free[:n:n]
	a.free = a.free[n:]
	return out
}

func (a *arena[T]) reset() {
	a.most = max(a.most, a.used)
	a.free, a.used = a.all, 0
}

// scratch is what the solution of one outside needs on its way.
type scratch struct {
	rays
	complexes arena[complex128]
	points    mouthPoints
	near      []uint8
	laid      []laid
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// newScratch returns an empty scratch, to be given back by release when nothing refers to it any more.
func newScratch() *scratch { return scratches.Get().(*scratch) }

func (s *scratch) release() {
	s.complexes.reset()
	s.points.floats.reset()
	scratches.Put(s)
}

// begin begins a bundle of rays.
func (s *scratch) begin() {
	s.list, s.near, s.laid = s.list[:0], s.near[:0], s.laid[:0]
}

// measured returns what has been added since. It serves until the next time.
func (s *scratch) measured() bundle {
	s.fours = s.measure(s.fours[:0])
	return bundle{s.fours, s.near, s.laid}
}

func (s *scratch) matrix(rows, cols int) matrix {
	return matrix{rows: rows, cols: cols, v: s.complexes.take(rows * cols)}
}
