package scatter

import (
	"math"
	"slices"
)

// outline is the boundary of a section, cut into elements. Where it is its own mirror image in the plane x = 0, only the left half is listed, and the
// whole consists of this part and its image.
//
// All sums over images have the form of a group's: with f_g the value of something at image g of an element, the sums Σ_g ±f_g
// (mix) turn equations that couple all images into as many separate ones, each the size of the part.
type outline struct {
	images     [][]run // per image, the first being the part itself: the runs of the part, mirrored
	first      []int   // per run: the number of its first element
	count      int     // elements in the part
	fronts     int     // of these, the first ones: they lie in the plane of the mouths
	shapes     int     // of runs
	mouths     []Mouth // in the part, or across the plane of symmetry
	mouthViews []view  // per mouth of the section: where it is found among these
}

func (p Point) mirror() Point { return Point{-p.X, p.Y} }

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

// elements returns about how many elements outline would make, without making them.
func (s *Section) elements(sizeM float64) float64 {
	length := 0.0
	for _, b := range s.Boxes {
		length += 2 * (b.X1M - b.X0M + b.DepthM)
	}
	return length/sizeM + float64(4*len(s.Mouths)+20*len(s.Boxes))
}

// cornerHalvings is how often the elements at a box's front edges are halved: the pressure behaves as r^{2/3} there, and the next mouth may be near.
const cornerHalvings = 3

// outline cuts the outline of every box into straight elements of at most sizeM, smaller at the front edges. Element borders fall on the
// mouths' edges and on the plane of symmetry; the backs are cut like the fronts, so that what fronts and backs do to each other repeats.
func (s *Section) outline(sizeM float64) *outline {
	o := &outline{}
	mirrored := s.mirrored()
	var runs []run
	add := func(from, to Point, count int) {
		if count == 0 {
			return
		}
		l := from.distance(to)
		step := Point{(to.X - from.X) / float64(count), (to.Y - from.Y) / float64(count)}
		normal := Point{(from.Y - to.Y) / l, (to.X - from.X) / l}
		runs = append(runs, run{from: from, step: step, normal: normal, count: count, lengthM: l / float64(count), turn: 1, coupled: normal.Y < 0})
	}
	// graded is add with the first element, the last or both halved several times towards the end
	graded := func(from, to Point, count int, first, last bool) {
		if first && last && count == 1 {
			count = 2
		}
		at := func(u float64) Point {
			u /= float64(count)
			return Point{from.X + u*(to.X-from.X), from.Y + u*(to.Y-from.Y)}
		}
		halvings := max(0, int(math.Ceil(math.Log2(from.distance(to)/float64(count)/sizeM)+cornerHalvings-0.4)))
		u, end := 0.0, float64(count)
		if first {
			for n := halvings; n >= 0; n-- {
				next := math.Ldexp(1, -n)
				add(at(u), at(next), 1)
				u = next
			}
		}
		if last {
			end--
		}
		add(at(u), at(end), int(math.Round(end-u)))
		if last {
			for n := range halvings {
				next := float64(count) - math.Ldexp(1, -n-1)
				add(at(end), at(next), 1)
				end = next
			}
			add(at(end), to, 1)
		}
	}
	cut := func(lengthM float64) int { return max(1, int(math.Ceil(lengthM/sizeM-1e-9))) }
	across := func(x0, x1 float64, b Box) {
		count := cut(x1 - x0)
		switch {
		case mirrored && x0+x1 > slackM:
			return // an image
		case mirrored && x0+x1 > -slackM: // across the middle
			count = (count + 1) / 2
			x1 = 0
		}
		graded(Point{x0, 0}, Point{x1, 0}, count, x0 == b.X0M, x1 == b.X1M)
		add(Point{x1, -b.DepthM}, Point{x0, -b.DepthM}, count)
	}
	mouth := 0
	for _, b := range s.Boxes {
		if !mirrored || b.X0M < 0 {
			graded(Point{b.X0M, -b.DepthM}, Point{b.X0M, 0}, cut(b.DepthM), false, true)
		}
		x := b.X0M
		for ; mouth < len(s.Mouths) && s.Mouths[mouth].X1M <= b.X1M; mouth++ {
			m := s.Mouths[mouth]
			if m.X0M > x {
				across(x, m.X0M, b)
			}
			across(m.X0M, m.X1M, b)
			x = m.X1M
		}
		if b.X1M > x {
			across(x, b.X1M, b)
		}
		if !mirrored || b.X1M < 0 {
			graded(Point{b.X1M, 0}, Point{b.X1M, -b.DepthM}, cut(b.DepthM), true, false)
		}
	}
	slices.SortStableFunc(runs, func(a, b run) int { return behind(&a) - behind(&b) })
	o.imagesOf(runs, mirrored)
	for j, m := range s.Mouths {
		if mirrored && m.MidM() > slackM {
			o.mouthViews = append(o.mouthViews, view{len(s.Mouths) - 1 - j, 1})
			continue
		}
		o.mouthViews = append(o.mouthViews, view{j, 0})
		o.mouths = append(o.mouths, m)
	}
	return o
}

// behind is 0 for a run of the front, of which the derivative equation is never asked, and 1 for others.
func behind(r *run) int {
	if r.front() && !r.coupled {
		return 0
	}
	return 1
}

// imagesOf takes the runs of the part and adds their image, if there is one.
func (o *outline) imagesOf(part []run, mirrored bool) {
	for _, r := range part {
		o.first = append(o.first, o.count)
		if o.fronts == o.count && behind(&r) == 0 {
			o.fronts += r.count
		}
		o.count += r.count
	}
	o.images = append(o.images, part)
	if mirrored {
		image := slices.Clone(part)
		for i, r := range part {
			image[i].from, image[i].step, image[i].normal = r.from.mirror(), r.step.mirror(), r.normal.mirror()
			image[i].turn = -r.turn
		}
		o.images = append(o.images, image)
	}
	type shape struct {
		stepX, stepY int64
		turn         float64
		count        int
	}
	shapes := map[shape]int{}
	for _, image := range o.images {
		for i := range image {
			r := &image[i]
			s := shape{finely(r.step.X), finely(r.step.Y), r.turn, r.count}
			if _, known := shapes[s]; !known {
				shapes[s] = len(shapes)
			}
			r.shape = shapes[s]
		}
	}
	o.shapes = len(shapes)
}

// finely returns a length in units that are large against rounding and small against everything else, so that equal lengths are equal.
func finely(m float64) int64 { return int64(math.Round(m * 1e12)) }

// mirrored reports whether there is an image in x = 0.
func (o *outline) mirrored() bool { return len(o.images) > 1 }

// view says where a place or a mouth is found among the distinct ones: as itself (image 0), or as its mirror image in x = 0 (image 1).
type view struct{ column, image int }

// viewsOf returns the places that are not mirror images of others, and for every place where it is found.
func (o *outline) viewsOf(places []Place) (distinct []Point, views []view) {
	for _, p := range places {
		found := view{len(distinct), 0}
		for c, d := range distinct {
			switch {
			case d.distance(p.Point) < 1e-12:
				found = view{c, 0}
			case o.mirrored() && d.mirror().distance(p.Point) < 1e-12:
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
