package analysis

import (
	"math"
	"slices"
	"sort"
)

// overFront returns the shortest way, in metres, from a to b over a point of the panel's front, and that point: the straight line to b's mirror
// image in the plane of the front where it meets the front. Where it passes beside the front, the least lies on an edge that the line passes beyond,
// since the sum of two distances is convex; there the way unfolds to a straight line again.
func overFront(panel *Panel, a, b [3]float64) (lengthM float64, at [3]float64) {
	half := [3]float64{panel.WidthM() / 2, 0, panel.HeightM / 2}
	da, db := math.Abs(a[1]), math.Abs(b[1])
	t := share(da, db)
	at[0], at[2] = a[0]+(b[0]-a[0])*t, a[2]+(b[2]-a[2])*t
	if math.Abs(at[0]) <= half[0] && math.Abs(at[2]) <= half[2] {
		return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (da+db)*(da+db) + (a[2]-b[2])*(a[2]-b[2])), at
	}
	lengthM = math.Inf(1)
	beside := at
	for across := 0; across <= 2; across += 2 {
		if math.Abs(beside[across]) <= half[across] {
			continue
		}
		along := 2 - across
		edge := math.Copysign(half[across], beside[across])
		ra, rb := math.Hypot(da, a[across]-edge), math.Hypot(db, b[across]-edge)
		v := bounds{-half[along], half[along]}.clamp(a[along] + (b[along]-a[along])*share(ra, rb))
		if l := math.Hypot(ra, v-a[along]) + math.Hypot(rb, v-b[along]); l < lengthM {
			lengthM = l
			at[across], at[along] = edge, v
		}
	}
	return lengthM, at
}

// share is how far along from a to b a straight line meets what lies da from a and db from b.
func share(da, db float64) float64 {
	if da+db == 0 {
		return 0.5
	}
	return da / (da + db)
}

// mirrored returns p's mirror image in a surface of the room.
func mirrored(p [3]float64, s Surface) [3]float64 {
	axis := axisOf(s)
	p[axis] = 2*s.PlaceM - p[axis]
	return p
}

// axisOf returns the axis that a surface is square to.
func axisOf(s Surface) int {
	switch s.Name {
	case "left", "right":
		return 0
	case "behind":
		return 1
	}
	return 2
}

// arrangement is source and microphones around the panel, in the survey's axes.
type arrangement struct {
	source [3]float64
	mics   [][3]float64
	firstM []float64 // the shortest way over the panel's front, per microphone
}

// anglesDeg are the microphones' angles, from the lowest to the highest, 0 among them.
func (g *Rig) anglesDeg() (angles []float64) {
	n := math.Floor(g.largestDeg/g.stepDeg + 1e-9)
	for k := -n; k <= n; k++ {
		angles = append(angles, k*g.stepDeg)
	}
	return angles
}

// arrange stands source and microphones at their distances on the floor plan and as near to the height of the panel's middle as their stands allow.
func (g *Rig) arrange(radiusM, sourceM, aboveM float64) arrangement {
	sin, cos := math.Sincos(g.sourceAngleDeg * math.Pi / 180)
	a := arrangement{source: [3]float64{sourceM * sin, sourceM * cos, g.sourceHeight.clamp(aboveM) - aboveM}}
	z := g.microHeight.clamp(aboveM) - aboveM
	for _, deg := range g.anglesDeg() {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		if math.Abs(deg) == 90 {
			cos = 0
		}
		a.mics = append(a.mics, [3]float64{radiusM * sin, radiusM * cos, z})
	}
	a.measure(&g.survey.Panel)
	return a
}

func (a *arrangement) measure(panel *Panel) {
	a.firstM = a.firstM[:0]
	for _, mic := range a.mics {
		first, _ := overFront(panel, a.source, mic)
		a.firstM = append(a.firstM, first)
	}
}

// clearM returns by how much the surface's echo (see echoPath) takes a longer way than the first sound off the panel: the least over the
// microphones, in metres. It grows with the surface's distance, since the image then moves away from every point of the front.
func (a *arrangement) clearM(panel *Panel, s Surface) float64 {
	least := math.Inf(1)
	image := mirrored(a.source, s)
	for i, mic := range a.mics {
		before, _ := overFront(panel, image, mic)
		after, _ := overFront(panel, a.source, mirrored(mic, s))
		least = min(least, min(before, after)-a.firstM[i])
	}
	return least
}

// extent is how far source and microphones reach along an axis.
func (a *arrangement) extent(axis int) (low, high float64) {
	low, high = a.source[axis], a.source[axis]
	for _, m := range a.mics {
		low, high = min(low, m[axis]), max(high, m[axis])
	}
	return low, high
}

// spot is a placement of the rig in the room.
type spot struct {
	faces                   string
	leftM, behindM, aboveM  float64 // of the panel's middle from the wall at its left, its front from the wall behind it, its middle above the floor
	radiusM, sourceM        float64
	clearM, totalM, bareM   float64 // the least way that echoes lag behind the panel's first sound; the sum over the three axes; that of the bare floor
	acrossM, alongM, upM    float64 // the room as the panel sees it
	acrossBounds, outBounds bounds  // where the panel may stand, given the arrangement
}

// equalM is the difference of two ways that is no difference.
const equalM = 1e-9

// better prefers the longer way, then the longer ways along the axes that do not decide, so that no placement is left to chance.
func (s spot) better(t spot) bool {
	if math.Abs(s.clearM-t.clearM) > equalM {
		return s.clearM > t.clearM
	}
	if math.Abs(s.totalM-t.totalM) > equalM {
		return s.totalM > t.totalM
	}
	return s.bareM > t.bareM+equalM
}

// surfaces are the room's six, in the panel's axes.
func (s spot) surfaces() []Surface {
	return []Surface{{"floor", -s.aboveM}, {"ceiling", s.upM - s.aboveM}, {"left", -s.leftM}, {"right", s.acrossM - s.leftM},
		{"behind", -s.behindM}, {"behind", s.alongM - s.behindM}}
}

func (g *Rig) room(faces string) (acrossM, alongM float64) {
	if faces == "width" {
		return g.lengthM, g.widthM
	}
	return g.widthM, g.lengthM
}

// standing returns the spot with its room and the limits of its place; possible tells whether panel, source and microphones fit into the room there.
func (g *Rig) standing(s spot, a *arrangement) (out spot, possible bool) {
	s.acrossM, s.alongM = g.room(s.faces)
	s.upM = g.heightM
	panel := &g.survey.Panel
	left, right := a.extent(0)
	_, far := a.extent(1)
	half := panel.WidthM() / 2
	s.acrossBounds = bounds{max(g.fromLeft.low, half, g.clearanceM-left), min(g.fromLeft.high, s.acrossM-max(half, right+g.clearanceM))}
	s.outBounds = bounds{max(g.fromBehind.low, panel.OuterDepthM()), min(g.fromBehind.high, s.alongM-far-g.clearanceM)}
	const slackM = 1e-9
	return s, s.acrossBounds.low <= s.acrossBounds.high+slackM && s.outBounds.low <= s.outBounds.high+slackM && s.sourceM >= s.radiusM+outsideArcM-slackM
}

func (g *Rig) floorClearM(a *arrangement, floor Surface) float64 {
	return max(a.clearM(&g.survey.Panel, floor), (absorberGateS(g.floorAbsorberM, g.air.SpeedOfSoundMS)-preringS)*g.air.SpeedOfSoundMS)
}

// absorberGateS returns the gate whose lowest frequency is the one at which a layer on the floor is a quarter of a wavelength thick: above it the
// layer is taken to quiet the floor's echo enough (common practice, no source), so the floor ends no gate sooner.
func absorberGateS(thicknessM, speed float64) float64 {
	if thicknessM == 0 {
		return 0
	}
	return 2 / (speed / (4 * thicknessM))
}

// place finds the best place for an arrangement of given radius, source distance and height: on the two axes of the floor plan the echoes do not
// depend on one another, and of two opposite walls one echo comes later and the other sooner as the rig moves, so each axis has one best place.
// It gives up where the echoes lag by less than atLeastM. What lies on the floor to absorb makes the floor's echo count as late as its lower limit
// allows; see absorberGateS.
func (g *Rig) place(faces string, radiusM, sourceM, aboveM, atLeastM float64) (spot, bool) {
	a := g.arrange(radiusM, sourceM, aboveM)
	s, possible := g.standing(spot{faces: faces, radiusM: radiusM, sourceM: sourceM, aboveM: aboveM}, &a)
	if !possible {
		return s, false
	}
	panel := &g.survey.Panel
	floor, ceiling := Surface{"floor", -aboveM}, Surface{"ceiling", s.upM - aboveM}
	s.clearM = min(g.floorClearM(&a, floor), a.clearM(panel, ceiling))
	s.totalM, s.bareM = s.clearM, a.clearM(panel, floor)
	for _, axis := range []struct {
		at         *float64
		bounds     bounds
		near, far  string
		acrossRoom float64
	}{{&s.leftM, s.acrossBounds, "left", "right", s.acrossM}, {&s.behindM, s.outBounds, "behind", "behind", s.alongM}} {
		if s.clearM < atLeastM-equalM {
			return s, false
		}
		near := func(d float64) float64 { return a.clearM(panel, Surface{axis.near, -d}) }
		far := func(d float64) float64 { return a.clearM(panel, Surface{axis.far, axis.acrossRoom - d}) }
		*axis.at = settle(axis.bounds, near, far)
		clear := min(near(*axis.at), far(*axis.at))
		s.clearM = min(s.clearM, clear)
		s.totalM += clear
	}
	return s, s.clearM >= atLeastM-equalM
}

// settle returns the whole centimetre within b at which the lesser of near, which grows, and far, which shrinks, is greatest.
func settle(b bounds, near, far func(float64) float64) float64 {
	first, last := b.centimetres()
	if last < first { // no whole centimetre between: a fixed place
		return (b.low + b.high) / 2
	}
	k := first + sort.Search(last-first, func(k int) bool { d := metres(first + k); return near(d) >= far(d) })
	if k > first {
		d, before := metres(k), metres(k-1)
		if min(near(before), far(before)) >= min(near(d), far(d)) {
			k--
		}
	}
	return metres(k)
}

func metres(centimetres int) float64 { return float64(centimetres) / 100 }

// centimetres returns the first and the last whole centimetre within b.
func (b bounds) centimetres() (first, last int) {
	const slack = 1e-6
	return int(math.Ceil(b.low*100 - slack)), int(math.Floor(b.high*100 + slack))
}

// lattice returns up to n whole centimetres spread evenly over b, both ends among them; b's middle where it holds none.
func (b bounds) lattice(n int) (list []float64) {
	first, last := b.centimetres()
	if last < first {
		return []float64{(b.low + b.high) / 2}
	}
	n = min(n, last-first+1)
	for i := range n {
		k := first
		if n > 1 {
			k += int(math.Round(float64(i) * float64(last-first) / float64(n-1)))
		}
		list = append(list, metres(k))
	}
	return list
}

// sourceBounds is where the source may stand for an arc.
func (g *Rig) sourceBounds(radiusM float64) bounds {
	if g.sourceDistance.low == 0 {
		return bounds{standardRatio * radiusM, standardRatio * radiusM}
	}
	return bounds{max(g.sourceDistance.low, radiusM+outsideArcM), g.sourceDistance.high}
}

// search finds the placement with the longest gate: a coarse grid over the arc's radius, the source's distance and the height, with the best place
// on the floor for each, then steps down to a centimetre from the best few of them. Nothing is random: the same file gives the same plan.
func (g *Rig) search() (best spot, found bool) {
	const (
		coarseRadius, coarseSource, coarseHeight = 5, 5, 15
		refined                                  = 3
	)
	var list []spot // the best so far, the very best first
	for _, faces := range g.faces {
		for _, r := range g.radius.lattice(coarseRadius) {
			for _, d := range g.sourceBounds(r).lattice(coarseSource) {
				for _, h := range g.aboveFloor.lattice(coarseHeight) {
					atLeast := math.Inf(-1)
					if len(list) == refined {
						atLeast = list[refined-1].clearM
					}
					s, ok := g.place(faces, r, d, h, atLeast)
					if !ok {
						continue
					}
					i := sort.Search(len(list), func(i int) bool { return s.better(list[i]) })
					list = slices.Insert(list, i, s)
					list = list[:min(refined, len(list))]
				}
			}
		}
	}
	for _, s := range list {
		if s = g.refine(s); !found || s.better(best) {
			best, found = s, true
		}
	}
	return best, found
}

// refine walks from s to the best of its neighbours, with steps halved down to a centimetre. Diagonal steps are tried too: where two echoes are
// level, moving along one axis alone may gain nothing.
func (g *Rig) refine(s spot) spot {
	for step := 0.32; step > 0.009; step /= 2 {
		for {
			best := s
			for _, r := range g.radius.around(s.radiusM, step) {
				for _, d := range g.sourceBounds(r).around(s.sourceM, step) {
					for _, h := range g.aboveFloor.around(s.aboveM, step) {
						if n, ok := g.place(s.faces, r, d, h, best.clearM); ok && n.better(best) {
							best = n
						}
					}
				}
			}
			if !best.better(s) {
				break
			}
			s = best
		}
	}
	return s
}

// around returns what lies a step below and above v, and v itself, within b; each once.
func (b bounds) around(v, step float64) []float64 {
	return slices.Compact([]float64{b.nearest(v - step), b.nearest(v), b.nearest(v + step)})
}

// nearest returns the whole centimetre within b that is nearest to v; the nearer bound where there is none.
func (b bounds) nearest(v float64) float64 {
	v = b.clamp(v)
	if c := math.Round(v*100) / 100; c == b.clamp(c) {
		return c
	}
	return v
}
