package scatter

import "sync"

// arena hands out memory for one solution of the outside and takes it back all at once, for the next.
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
	complexes arena[complex128]
	floats    arena[float64]
	rays      rays
	points    mouthPoints
	blocks    map[blockKey][]complex128
}

var scratches = sync.Pool{New: func() any { return &scratch{blocks: map[blockKey][]complex128{}} }}

// newScratch returns an empty scratch, to be given back by release when nothing refers to it any more.
func newScratch() *scratch { return scratches.Get().(*scratch) }

func (s *scratch) release() {
	s.complexes.reset()
	s.floats.reset()
	clear(s.blocks)
	scratches.Put(s)
}

func (s *scratch) matrix(rows, cols int) matrix {
	return matrix{rows: rows, cols: cols, v: s.complexes.take(rows * cols)}
}
