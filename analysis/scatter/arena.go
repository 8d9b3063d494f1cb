package scatter

import "sync"

// arena hands out memory piece by piece and takes it back all at once, for the next solution of an outside.
type arena[T any] struct{ all, free []T }

// take returns n values, which may be anything.
func (a *arena[T]) take(n int) []T {
	if n > len(a.free) {
		a.all = make([]T, max(n, 2*len(a.all)))
		a.free = a.all
	}
	out := a.free[:n:n]
	a.free = a.free[n:]
	return out
}

func (a *arena[T]) reset() { a.free = a.all }

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

// bundle returns what has been added since.
func (s *scratch) bundle() bundle { return bundle{s.measure(), s.near, s.laid} }

func (s *scratch) matrix(rows, cols int) matrix {
	return matrix{rows: rows, cols: cols, v: s.complexes.take(rows * cols)}
}
