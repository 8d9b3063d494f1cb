package scatter

import "math"

// outline is the boundary of a section, cut into elements. Where it is its own mirror image, in the plane x = 0 or in that half-way between front and
// back, only one part of it is listed, and the whole consists of the part's images.
//
// All sums over images have the form of a group's: with f_g the value of something at image g of an element, the sums Σ_g ±f_g
// (mix) turn equations that couple all images into as many separate ones, each the size of the part.
type outline struct {
	flips  []flip   // how each image comes about; the first is the part itself, the one at i^j is image i of image j
	images [][]run  // per image: the runs of the part, mirrored
	first  []int    // per run: the number of its first element
	count  int      // elements in the part
	pieces []*piece // mouths in the part
	depthM float64  // of the boxes
}

// flip says in which planes to mirror: bits flipX and flipY.
type flip int

const (
	flipX flip = 1 << iota // in x = 0
	flipY                  // in y = −depth/2
)

func (f flip) direction(v Point) Point {
	if f&flipX != 0 {
		v.X = -v.X
	}
	if f&flipY != 0 {
		v.Y = -v.Y
	}
	return v
}

func (o *outline) mirror(p Point, f flip) Point {
	p = f.direction(p)
	if f&flipY != 0 {
		p.Y -= o.depthM
	}
	return p
}

// piece is what the part holds of a mouth: all of it, or its left half.
type piece struct {
	index int // in the part
	mouth int // of the section
	*shapes
}

// shapes holds the modes of a mouth that is cut into so many elements.
type shapes struct {
	elements, modes int
	middle          [][]turn // per element and mode: the mode at its middle
	coarse, fine    [][]turn // per point of gauss2 and gauss8, and mode: from the middle to that point
}

// turn holds cos and sin of an angle.
type turn struct{ cos, sin float64 }

func newShapes(elements, modes int) *shapes {
	s := &shapes{elements: elements, modes: modes}
	turns := func(u float64) []turn { // u in elements
		row := make([]turn, modes)
		for m := range row {
			row[m].sin, row[m].cos = math.Sincos(float64(m) * math.Pi * u / float64(elements))
		}
		return row
	}
	for i := range elements {
		s.middle = append(s.middle, turns(float64(i)+0.5))
	}
	for _, g := range gauss2 {
		s.coarse = append(s.coarse, turns(g[0]-0.5))
	}
	for _, g := range gauss8 {
		s.fine = append(s.fine, turns(g[0]-0.5))
	}
	return s
}

// addMoments adds value times the cosines and sines of quadrature point g to the moments of run.influence.
func (s *shapes) addMoments(moments []complex128, value complex128, points, g int) {
	turns := s.fine
	if points == len(gauss2) {
		turns = s.coarse
	}
	moments[0] += value
	for m, t := range turns[g][1:] {
		moments[1+m] += scale(value, t.cos)
		moments[s.modes+m] += scale(value, t.sin)
	}
}

// integral returns ε/w ∫ cos(mπu/w) ds over element i, what a constant pressure there adds to the mode's.
func (s *shapes) integral(i, mode int) float64 {
	if mode == 0 {
		return 1 / float64(s.elements)
	}
	q := float64(mode) * math.Pi
	return 2 / q * (math.Sin(q*float64(i+1)/float64(s.elements)) - math.Sin(q*float64(i)/float64(s.elements)))
}

const slackM = 1e-9 // far below any element

// mirrored reports whether the section is its own mirror image in x = 0.
func (s *Section) mirrored() bool {
	for i, b := range s.Boxes {
		c := s.Boxes[len(s.Boxes)-1-i]
		if math.Abs(b.X0M+c.X1M) > slackM || b.DepthM != c.DepthM {
			return false
		}
	}
	for i, m := range s.Mouths {
		if math.Abs(m.X0M+s.Mouths[len(s.Mouths)-1-i].X1M) > slackM {
			return false
		}
	}
	return true
}

// level reports whether all boxes are equally deep.
func (s *Section) level() bool {
	for _, b := range s.Boxes {
		if b.DepthM != s.Boxes[0].DepthM {
			return false
		}
	}
	return true
}

// outline cuts the outline of every box into straight elements of at most sizeM, with so many modes across each mouth. Element borders fall on the
// mouths' edges and on the planes of symmetry; the backs are cut like the fronts.
func (s *Section) outline(sizeM float64, modes int) *outline {
	o := &outline{depthM: s.Boxes[0].DepthM}
	mirrored, level := s.mirrored(), s.level()
	for f := range flipX + flipY + 1 {
		if (mirrored || f&flipX == 0) && (level || f&flipY == 0) {
			o.flips = append(o.flips, f)
		}
	}
	var runs []run
	known := map[int]*shapes{}
	add := func(from, to Point, count int) *run {
		l := from.distance(to)
		step := Point{(to.X - from.X) / float64(count), (to.Y - from.Y) / float64(count)}
		runs = append(runs, run{
			from: from, step: step, normal: Point{(from.Y - to.Y) / l, (to.X - from.X) / l},
			count: count, lengthM: l / float64(count), turn: 1,
		})
		return &runs[len(runs)-1]
	}
	cut := func(lengthM float64) int { return max(1, int(math.Ceil(lengthM/sizeM-1e-9))) }
	across := func(x0, x1, depthM float64, mouth int) {
		count := cut(x1 - x0)
		elements := count // across the whole of it
		switch {
		case mirrored && x0+x1 > slackM:
			return // an image
		case mirrored && x0+x1 > -slackM: // across the middle
			count = (count + 1) / 2
			elements = 2 * count
			x1 = 0
		}
		front := add(Point{x0, 0}, Point{x1, 0}, count)
		if mouth >= 0 {
			if known[elements] == nil {
				known[elements] = newShapes(elements, modes)
			}
			front.mouth = &piece{len(o.pieces), mouth, known[elements]}
			o.pieces = append(o.pieces, front.mouth)
		}
		if !level {
			add(Point{x1, -depthM}, Point{x0, -depthM}, count)
		}
	}
	mouth := 0
	for _, b := range s.Boxes {
		down, half := b.DepthM, (cut(b.DepthM)+1)/2
		count := 2 * half
		if level {
			down, count = b.DepthM/2, half
		}
		if !mirrored || b.X0M < 0 {
			add(Point{b.X0M, -down}, Point{b.X0M, 0}, count)
		}
		x := b.X0M
		for ; mouth < len(s.Mouths) && s.Mouths[mouth].X1M <= b.X1M; mouth++ {
			m := s.Mouths[mouth]
			if m.X0M > x {
				across(x, m.X0M, b.DepthM, -1)
			}
			across(m.X0M, m.X1M, b.DepthM, mouth)
			x = m.X1M
		}
		if b.X1M > x {
			across(x, b.X1M, b.DepthM, -1)
		}
		if !mirrored || b.X1M < 0 {
			add(Point{b.X1M, 0}, Point{b.X1M, -down}, count)
		}
	}
	o.imagesOf(runs)
	return o
}

// imagesOf takes the runs of the part and adds their images.
func (o *outline) imagesOf(part []run) {
	for _, r := range part {
		o.first = append(o.first, o.count)
		o.count += r.count
	}
	type shape struct {
		stepX, stepY int64
		turn         float64
		count, mouth int
	}
	shapes := map[shape]int{}
	for _, f := range o.flips {
		image := make([]run, len(part))
		for i, r := range part {
			r.from, r.step, r.normal = o.mirror(r.from, f), f.direction(r.step), f.direction(r.normal)
			if f == flipX || f == flipY {
				r.turn = -1
			}
			s := shape{finely(r.step.X), finely(r.step.Y), r.turn, r.count, 0}
			if r.mouth != nil {
				s.mouth = r.mouth.elements
			}
			if _, known := shapes[s]; !known {
				shapes[s] = len(shapes)
			}
			r.shape = shapes[s]
			image[i] = r
		}
		o.images = append(o.images, image)
	}
}

// finely returns a length in units that are large against rounding and small against everything else, so that equal lengths are equal.
func finely(m float64) int64 { return int64(math.Round(m * 1e12)) }

// mirrored reports whether the images are in pairs about x = 0; image g^1 is then the other of image g.
func (o *outline) mirrored() bool { return len(o.flips) > 1 && o.flips[1] == flipX }

// view says where a place is found among the distinct ones: as itself (image 0), or as its mirror image in x = 0 (image 1).
type view struct{ column, image int }

// viewsOf returns the places that are not mirror images of others, and for every place where it is found.
func (o *outline) viewsOf(places []Place) (distinct []Point, views []view) {
	for _, p := range places {
		found := view{len(distinct), 0}
		for c, d := range distinct {
			switch {
			case d.distance(p.Point) < 1e-12:
				found = view{c, 0}
			case o.mirrored() && o.mirror(d, flipX).distance(p.Point) < 1e-12:
				found = view{c, 1}
			}
		}
		if found.column == len(distinct) {
			distinct = append(distinct, p.Point)
		}
		views = append(views, found)
	}
	return distinct, views
}
