package scatter

import (
	"math"
	"slices"
)

// layout is what the boundary equations of one outline, its mouths and its places have in common at all wavenumbers: which numbers occur in them, where each of them stands, and of
// which rays it is made. What is of equal shape acts alike at equal distances; on a panel of equal wells nearly all does.
type layout struct {
	*outline
	functions int     // per mouth
	highestK  float64 // wavenumber that the outline is fine enough for, 1/m
	places    []Point // distinct but for mirror images
	views     []view  // per place asked for

	blocks  []block
	entries int       // numbers in all blocks, and before them 0 and ½
	index   [][]int32 // per image of the outline: which of the numbers stands in each row and column of its matrix

	drives  []drive
	driven  int       // numbers of all drives
	driving [][]int32 // per image: the first number of what drives each run, mouth by mouth

	sights [][]sight // per image and place

	store *store // of its rays; nil where none are kept
	busy  int    // solutions that are under way with it
}

// block is what one run does to another.
type block struct {
	on, from run
	looks    int // from how many elements of on
	first    int // of its numbers
	kept     kept
}

// drive is what a mouth has to do with the elements of a run.
type drive struct {
	on    *run
	mouth Mouth
	first int
	kept  kept
}

// sight is what a place sees of the elements and mouths of the part.
type sight struct {
	place    Point
	distance []float64 // to the middle of each element, m
	kept     kept
}

// bundle is the rays of one block, drive or sight.
type bundle struct {
	fours []four
	near  []uint8 // per element: how many rays stand for it
	laid  []laid  // per element of a drive or mouth of a sight
}

// alike are the blocks or drives of equal shapes, by the distance between these.
type alike []apart

// apart is a distance, as finely has it, and the number of what acts over it.
type apart struct {
	dx, dy int64
	number int
}

// numberOf returns the number of the one at a distance; where there is none yet, it becomes the next.
func (a *alike) numberOf(dx, dy float64, next int) (number int, isNew bool) {
	x, y := finely(dx), finely(dy)
	for i := range *a {
		if b := &(*a)[i]; b.dx == x && b.dy == y {
			return b.number, false
		}
	}
	*a = append(*a, apart{x, y, next})
	return next, true
}

const (
	zeroEntry = iota
	halfEntry
	firstEntry
)

func newLayout(o *outline, functions int, perWavelength float64, places []Place) *layout {
	l := &layout{outline: o, functions: functions, entries: firstEntry}
	l.places, l.views = o.viewsOf(places)
	longest := 0.0
	for i := range o.images[0] {
		longest = max(longest, o.images[0][i].lengthM)
	}
	l.highestK = 2 * math.Pi / (perWavelength * longest)
	blocks := make([]alike, o.shapes*o.shapes)
	drives := map[int64][]alike{} // by width
	for g, image := range o.images {
		l.index = append(l.index, make([]int32, o.count*o.count))
		l.driving = append(l.driving, nil)
		for i := range o.images[0] {
			on := &o.images[0][i]
			for j := range image {
				l.place(blocks, g, i, j)
			}
			for _, m := range o.mouths {
				if g > 0 {
					m = Mouth{-m.X1M, -m.X0M}
				}
				width := finely(m.WidthM())
				if drives[width] == nil {
					drives[width] = make([]alike, o.shapes)
				}
				d, isNew := drives[width][on.shape].numberOf(m.X0M-on.from.X, on.from.Y, len(l.drives))
				if isNew {
					l.drives = append(l.drives, drive{on: on, mouth: m, first: l.driven})
					l.driven += on.count * 2 * functions
				}
				l.driving[g] = append(l.driving[g], int32(l.drives[d].first))
			}
		}
		var sights []sight
		for _, place := range l.places {
			if g > 0 {
				place = place.mirror()
			}
			s := sight{place: place, distance: make([]float64, 0, o.count)}
			for r := range o.images[0] {
				on := &o.images[0][r]
				for i := range on.count {
					s.distance = append(s.distance, place.distance(on.middle(i)))
				}
			}
			sights = append(sights, s)
		}
		l.sights = append(l.sights, sights)
	}
	return l
}

// place says where in the matrix of image g the numbers stand with which its run j acts on run i of the part.
func (l *layout) place(blocks []alike, g, i, j int) {
	on, from := &l.images[0][i], &l.images[g][j]
	corner := l.index[g][l.first[i]*l.count+l.first[j]:]
	if on.front() && from.front() && !on.coupled { // in one plane there is nothing but the elements' own ½
		if finely(from.from.X-on.from.X) == 0 {
			for row := range on.count {
				corner[row*(l.count+1)] = halfEntry
			}
		}
		return
	}
	// Along parallel runs of equal steps only the difference (or the sum) of two elements' numbers counts: it is enough to
	// look at a longer run from the first element.
	down, across, start := from.count, 1, 0
	parallel := parallelTo(on.step, from.step, 1)
	against := !parallel && parallelTo(on.step, from.step, -1)
	switch {
	case parallel:
		down, start = -1, on.count-1
	case against:
		down = 1
	}
	n, isNew := blocks[on.shape*l.shapes+from.shape].numberOf(from.from.X-on.from.X, from.from.Y-on.from.Y, len(l.blocks))
	if isNew {
		b := block{on: *on, from: *from, looks: on.count, first: l.entries}
		if parallel || against {
			b.looks = 1
			b.from.count += on.count - 1
		}
		if parallel {
			b.from.from = from.at(float64(1 - on.count))
		}
		l.blocks = append(l.blocks, b)
		l.entries += b.looks * b.from.count
	}
	start += l.blocks[n].first
	for row := range on.count {
		for column := range from.count {
			corner[row*l.count+column] = int32(start + row*down + column*across)
		}
	}
}

func parallelTo(a, b Point, sign float64) bool {
	return finely(a.X-sign*b.X) == 0 && finely(a.Y-sign*b.Y) == 0
}

// keepAtMost is how many rays a layout keeps, 32 bytes each; those of a panel in 13 wells are some 60 000 to 80 000.
const keepAtMost = 1 << 17

// store is the rays that a layout keeps.
type store struct {
	fours []four
	near  []uint8
	laid  []laid
}

// kept says where in the store a bundle is, if it is there.
type kept struct {
	is                bool
	fours, near, laid [2]int
}

// add keeps what has been cast, if there is room.
func (s *store) add(c *scratch) kept {
	k := kept{is: 4*len(s.fours)+len(c.list) <= keepAtMost}
	if !k.is {
		return k
	}
	k.fours[0], k.near[0], k.laid[0] = len(s.fours), len(s.near), len(s.laid)
	s.fours, s.near, s.laid = c.measure(s.fours), append(s.near, c.near...), append(s.laid, c.laid...)
	for i := range s.laid[k.laid[0]:] {
		if at := &s.laid[k.laid[0]+i]; !at.lasts {
			at.value, at.lasts = slices.Clone(at.value), true
		}
	}
	k.fours[1], k.near[1], k.laid[1] = len(s.fours), len(s.near), len(s.laid)
	return k
}

func (s *store) bundle(k kept) bundle {
	return bundle{s.fours[k.fours[0]:k.fours[1]], s.near[k.near[0]:k.near[1]], s.laid[k.laid[0]:k.laid[1]]}
}

// keep makes the layout keep its rays, as far as they are not too many, in a store that nobody else needs any more.
func (l *layout) keep(free *store, s *scratch) {
	about := 3*l.entries + 10*l.driven/l.functions + len(l.images)*len(l.places)*(3*l.count+10*len(l.mouths))
	l.store = free
	l.store.fours, l.store.near, l.store.laid = slices.Grow(free.fours[:0], min(about, keepAtMost)/4), free.near[:0], free.laid[:0]
	for i := range l.blocks {
		l.blocks[i].cast(s)
		l.blocks[i].kept = l.store.add(s)
	}
	for i := range l.drives {
		l.drives[i].cast(l, s)
		l.drives[i].kept = l.store.add(s)
	}
	for _, sights := range l.sights {
		for i := range sights {
			sights[i].cast(l, s)
			sights[i].kept = l.store.add(s)
		}
	}
}

// bundle returns the rays of a block, a drive or a sight: those that are kept, or else what cast makes. They serve until the next.
func (l *layout) bundle(k kept, s *scratch, cast func()) bundle {
	if k.is {
		return l.store.bundle(k)
	}
	cast()
	return s.measured()
}

// cast makes the rays with which the elements of from act on the points of on: for each point those from the elements, and behind them, where the point is coupled, those from the
// ends of all elements.
func (b *block) cast(s *scratch) {
	s.begin()
	from := &b.from
	tangent := Point{b.on.normal.Y, -b.on.normal.X}
	for i := range b.looks {
		s.x = b.on.middle(i)
		for j := range from.count {
			var rule [][2]float64 // none for the element itself
			if distance := s.x.distance(from.middle(j)); distance > from.lengthM/4 {
				rule = quadrature(distance, from.lengthM)
			}
			for _, point := range rule {
				s.from(from.at(float64(j)+point[0]), from.normal)
			}
			s.near = append(s.near, uint8(len(rule)))
		}
		if b.on.coupled {
			for j := range from.count + 1 {
				s.from(from.at(float64(j)), tangent)
			}
		}
	}
}

// cast makes the rays from the mouth: for each element a bunch to its middle, and where the element isn't in the plane of the mouth as many to each of the other points of gauss3.
func (d *drive) cast(l *layout, s *scratch) {
	s.begin()
	for i := range d.on.count {
		x, laid := s.points.lay(d.mouth, d.on.middle(i), l.functions, l.phase(d.mouth))
		for _, at := range d.rule() {
			s.x = d.on.at(float64(i) + at[0])
			for _, x := range x {
				s.from(Point{x, 0}, d.on.normal)
			}
		}
		s.laid = append(s.laid, laid)
	}
}

func (d *drive) rule() [][2]float64 {
	if d.on.front() {
		return gauss3[:1]
	}
	return gauss3[:]
}

// cast makes the rays from the elements, for each one from its middle and those that stand for it, and behind them those from the mouths.
func (v *sight) cast(l *layout, s *scratch) {
	s.begin()
	s.x = v.place
	element := 0
	for r := range l.images[0] {
		on := &l.images[0][r]
		for i := range on.count {
			rule := quadrature(v.distance[element], on.lengthM)
			s.from(on.middle(i), on.normal)
			for _, point := range rule {
				s.from(on.at(float64(i)+point[0]), on.normal)
			}
			s.near = append(s.near, uint8(len(rule)))
			element++
		}
	}
	for _, m := range l.mouths {
		x, laid := s.points.lay(m, v.place, l.functions, l.phase(m))
		for _, x := range x {
			s.from(Point{x, 0}, Point{})
		}
		s.laid = append(s.laid, laid)
	}
}

// phase returns by how many radians a wave turns over half a mouth, at most.
func (l *layout) phase(m Mouth) float64 { return l.highestK * m.WidthM() / 2 }
