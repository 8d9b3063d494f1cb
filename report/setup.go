package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"github.com/leadline/leadline/analysis"
)

// scene is a section through the room, to scale: axes h to the right and v up (0 is x, 1 is y, 2 is z), through 0 on the third axis.
type scene struct {
	pen
	h, v       int
	minH, maxH float64
	minV, maxV float64
	scale      float64 // units per metre
	w, height  float64
	taken      [][4]float64 // boxes of texts and marks: left, top, right, bottom
}

const (
	sceneWidth  = 380.0
	sceneHeight = 400.0 // at most
	sceneMargin = 12.0
)

func (s *scene) px(h float64) float64 { return sceneMargin + (h-s.minH)*s.scale }
func (s *scene) py(v float64) float64 { return s.height - sceneMargin - (v-s.minV)*s.scale }

// label writes text near x, y where nothing stands yet; it reports whether there was room.
func (s *scene) label(class, text string, x, y, dx, dy float64, must bool) bool {
	w, anchor := drawnWidth(clean(text), 10.5), "middle"
	if dx > 3 && x+dx+w > s.w-2 || dx < -3 && x+dx-w < 2 {
		dx = -dx // to the other side of what it names
	}
	left := x + dx - w/2
	switch {
	case dx > 3:
		anchor, left = "start", x+dx
	case dx < -3:
		anchor, left = "end", x+dx-w
	}
	if left < 2 {
		anchor, left, dx = "start", 2, 2-x
	}
	if left+w > s.w-2 {
		anchor, left, dx = "end", s.w-2-w, s.w-2-x
	}
	box := [4]float64{left - 2, y + dy - 9, left + w + 2, y + dy + 3}
	if !must {
		if box[1] < 0 || box[3] > s.height {
			return false
		}
		for _, t := range s.taken {
			if box[0] < t[2] && t[0] < box[2] && box[1] < t[3] && t[1] < box[3] {
				return false
			}
		}
	}
	s.taken = append(s.taken, box)
	s.fitted(class, anchor, x+dx, y+dy, w, text)
	return true
}

func (s *scene) take(x, y, r float64) {
	s.taken = append(s.taken, [4]float64{x - r, y - r, x + r, y + r})
}

// wallAxis tells which axis a surface of the room is square to.
func wallAxis(name string) int {
	switch name {
	case "left", "right":
		return 0
	case "behind":
		return 1
	case "floor", "ceiling":
		return 2
	}
	return -1
}

// setup draws the room, the panel, the source and the microphones from above and from the side.
func (m *maker) setup() (*figure, error) {
	f := &figure{
		ID: "setup", Title: "The set-up, to scale", Columns: "pair",
		See: "The panel with its wells, the source, the microphones and the room's surfaces, from above and from the side.",
	}
	shown := m.representative()
	gate := shown != nil && m.gateLength(shown.Gate.EndS) > 0
	for i, view := range []struct {
		caption, title, across string
		h, v                   int
	}{
		{"From above", "Plan of the set-up, drawn to scale", "x runs to the right along the panel's front, y upwards out of the panel.", 0, 1},
		{"From the side", "Side view of the set-up, drawn to scale", "y runs to the right out of the panel, z upwards.", 1, 2},
	} {
		svg, beyond := m.scene(view.h, view.v, fmt.Sprintf("setup-%d", i+1), view.title, view.across, shown)
		d := drawing{Caption: view.caption, SVG: svg}
		if svg == "" {
			d.Missing = "The sizes of the panel or the places are not known, so this can't be drawn."
		} else if len(beyond) > 0 {
			d.Caption += " (too far away to be drawn: " + strings.Join(beyond, ", ") + ")"
		}
		f.Drawings = append(f.Drawings, d)
	}
	f.Keys = []key{{"k-source", "source"}, {"k-mic", "microphone"}}
	for _, p := range m.r.Positions {
		if !p.Used {
			f.Keys = append(f.Keys, key{"k-mic-out", "left out"})
			break
		}
	}
	f.Sure = "The places are those of the survey; a tape measure is good to about a centimetre, and so are they."
	if !m.predictOnly() {
		f.Sure += " Echoes that never touch the panel drop out where the room without it was measured and subtracted."
	}
	if gate {
		f.Keys = append(f.Keys, key{"k-path", "sound path"}, key{"k-gatearea", "what the gate lets through"})
		if surface, _ := m.endingSurface(shown.Gate.EndedBy); surface != nil {
			f.Keys = append(f.Keys, key{"k-echo", "path of the echo that ended the gate"})
		}
		f.Notes = append(f.Notes, fact{"End of the gate", fmt.Sprintf("For “%s” the gate closes %s ms after the emission%s.", clean(shown.Name), scaled(shown.Gate.EndS, 1000, 2), endWords(shown.Gate.EndedBy))})
		f.See += fmt.Sprintf(" For “%s”, an echo off any point inside the tinted ring arrives while the gate is open; what lies outside comes too late.", clean(shown.Name))
	}
	f.Tables = []table{m.placeTable()}
	return f.settle("The sizes of the panel or the places are not known, so the set-up can't be drawn."), nil
}

// representative is the position of the time view, else the first one that counts and has a gate.
func (m *maker) representative() *analysis.Position {
	var first *analysis.Position
	for i := range m.r.Positions {
		p := &m.r.Positions[i]
		if m.r.TimeView != nil && p.Name == m.r.TimeView.Position {
			return p
		}
		if first == nil && p.Used && p.Gate.EndS.Known() {
			first = p
		}
	}
	return first
}

// gateLength is the path that sound travels until t, NaN where it isn't known.
func (m *maker) gateLength(t analysis.Num) float64 {
	l := m.r.Air.SpeedOfSoundMS * float64(t)
	if !finite(l) || l <= 0 {
		return math.NaN()
	}
	return l
}

const directEcho = "the direct sound's echo off the "

// endWords continues a sentence on the end of a gate with its cause.
func endWords(endedBy string) string {
	if wallAxis(endedBy) >= 0 {
		return ": then the panel's echo off the " + wallWords(endedBy) + " comes in"
	}
	if wall, ok := strings.CutPrefix(endedBy, directEcho); ok {
		return ": then " + directEcho + wallWords(clean(wall)) + " comes in, which nothing takes away without a record of the empty room"
	}
	switch endedBy {
	case "":
		return ""
	case "decay":
		return ": by then the reflection has died out"
	case "recording":
		return ": there the recording ends"
	case "survey":
		return ", as the survey asks"
	}
	return ", ended by: " + clean(endedBy)
}

func wallWords(name string) string {
	switch name {
	case "left", "right":
		return name + " wall"
	case "behind":
		return "wall behind the source"
	}
	return name
}

// endingSurface is the room's surface whose echo ended a gate, nil where none did; direct where the echo never met the panel.
func (m *maker) endingSurface(endedBy string) (surface *analysis.Surface, direct bool) {
	name, direct := strings.CutPrefix(endedBy, directEcho)
	for i := range m.r.Room {
		if s := &m.r.Room[i]; s.Name == name && wallAxis(name) >= 0 && finite(s.PlaceM) {
			return s, direct
		}
	}
	return nil, false
}

// endingEcho draws the way of the sound that ended the gate, by mirror images: of source, surface, panel, microphone and source, panel, surface, microphone the
// shorter one, over the middle of the panel; or source, surface, microphone.
func (s *scene) endingEcho(m *maker, p *analysis.Position, drawn []analysis.Surface) {
	surface, direct := m.endingSurface(p.Gate.EndedBy)
	if surface == nil || !slices.Contains(drawn, *surface) || !finite(p.MicM[:]...) || !finite(m.r.SourceM[:]...) {
		return
	}
	axis := wallAxis(surface.Name)
	var middle [3]float64
	// bounce is where sound from a to b meets the surface, and how long its way is.
	bounce := func(a, b [3]float64) (at [3]float64, length float64) {
		image := a
		image[axis] = 2*surface.PlaceM - a[axis]
		share := (surface.PlaceM - image[axis]) / (b[axis] - image[axis])
		for i := range 3 {
			at[i] = image[i] + share*(b[i]-image[i])
			length += (b[i] - image[i]) * (b[i] - image[i])
		}
		return at, math.Sqrt(length)
	}
	straight := func(a [3]float64) float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
	first, toPanel := bounce(m.r.SourceM, middle)
	last, toMic := bounce(middle, p.MicM)
	way := [][3]float64{m.r.SourceM, first, middle, p.MicM}
	if straight(m.r.SourceM)+toMic < toPanel+straight(p.MicM) {
		way = [][3]float64{m.r.SourceM, middle, last, p.MicM}
	}
	if direct {
		at, _ := bounce(m.r.SourceM, p.MicM)
		way = [][3]float64{m.r.SourceM, at, p.MicM}
	}
	var pts [][2]float64
	for _, w := range way {
		if !finite(w[:]...) {
			return
		}
		pts = append(pts, [2]float64{s.px(w[s.h]), s.py(w[s.v])})
	}
	s.path("echo", polyline(pts, false))
}

// scene draws one view; beyond names the surfaces that are too far away to be drawn.
func (m *maker) scene(h, v int, id, title, across string, shown *analysis.Position) (svg template.HTML, beyond []string) {
	r := m.r
	low, high := panelBox(r.Panel)
	if !finite(low[h], low[v], high[h], high[v], r.SourceM[0], r.SourceM[1], r.SourceM[2]) || !(high[h] > low[h]) || !(high[v] > low[v]) {
		return "", nil
	}
	s := &scene{h: h, v: v, minH: low[h], maxH: high[h], minV: low[v], maxV: high[v]}
	grow := func(a, b float64) {
		s.minH, s.maxH = math.Min(s.minH, a), math.Max(s.maxH, a)
		s.minV, s.maxV = math.Min(s.minV, b), math.Max(s.maxV, b)
	}
	grow(r.SourceM[h], r.SourceM[v])
	for _, p := range r.Positions {
		if finite(p.MicM[h], p.MicM[v]) {
			grow(p.MicM[h], p.MicM[v])
		}
	}
	// A surface may make the picture three times as large as what stands between, not more.
	room := 1.5 * math.Max(s.maxH-s.minH, s.maxV-s.minV)
	var walls []analysis.Surface
	for _, w := range r.Room {
		a := wallAxis(w.Name)
		if a != h && a != v || !finite(w.PlaceM) {
			continue
		}
		near := w.PlaceM >= s.minH-room && w.PlaceM <= s.maxH+room
		if a == v {
			near = w.PlaceM >= s.minV-room && w.PlaceM <= s.maxV+room
		}
		if near {
			walls = append(walls, w)
		} else {
			beyond = append(beyond, w.Name)
		}
	}
	for _, w := range walls {
		if wallAxis(w.Name) == h {
			grow(w.PlaceM, s.minV)
		} else {
			grow(s.minH, w.PlaceM)
		}
	}
	pad := 0.05 * math.Max(s.maxH-s.minH, s.maxV-s.minV)
	s.minH, s.maxH, s.minV, s.maxV = s.minH-pad, s.maxH+pad, s.minV-pad, s.maxV+pad
	s.w = sceneWidth
	s.scale = math.Min((sceneWidth-2*sceneMargin)/(s.maxH-s.minH), (sceneHeight-2*sceneMargin)/(s.maxV-s.minV))
	s.height = math.Max((s.maxV-s.minV)*s.scale+2*sceneMargin, 120)
	total := s.height + 26 // a strip below for the scale
	if slack := (sceneWidth-2*sceneMargin)/s.scale - (s.maxH - s.minH); slack > 0 {
		s.minH, s.maxH = s.minH-slack/2, s.maxH+slack/2
	}
	if slack := (s.height-2*sceneMargin)/s.scale - (s.maxV - s.minV); slack > 0 {
		s.minV, s.maxV = s.minV-slack/2, s.maxV+slack/2
	}

	if shown != nil {
		s.gate(m, shown, id)
	}
	s.panel(r.Panel)
	s.places(r, shown)
	for _, w := range walls {
		s.wall(w)
	}
	if shown != nil {
		s.endingEcho(m, shown, walls)
	}
	s.scaleBar(total)

	desc := fmt.Sprintf("%s %s stands with its front in the origin; %s. The places are in the table below the picture.", across, "The panel", count(len(r.Positions), "microphone", "microphones"))
	return wrap(id, title, desc, s.w, total, s.String()), beyond
}

// panelBox is the panel's outer box; its front face lies at y = 0.
func panelBox(p analysis.PanelResult) (low, high [3]float64) {
	return [3]float64{-p.WidthM / 2, -p.DepthM, -p.HeightM / 2}, [3]float64{p.WidthM / 2, 0, p.HeightM / 2}
}

func (s *scene) panel(p analysis.PanelResult) {
	low, high := panelBox(p)
	x, y := s.px(low[s.h]), s.py(high[s.v])
	s.rect("wood", x, y, s.px(high[s.h])-x, s.py(low[s.v])-y)
	s.taken = append(s.taken, [4]float64{x, y, s.px(high[s.h]), s.py(low[s.v])})
	if s.h != 0 { // from the side a panel shows no wells
		s.label("t-strong", "panel", (x+s.px(high[s.h]))/2, s.py(low[s.v]), 0, 13, true)
		return
	}
	for i, c := range p.WellCentreM {
		if i < len(p.DesignDepthM) && finite(c, p.DesignDepthM[i], p.WellWidthM) && p.DesignDepthM[i] > 0 {
			s.rect("well", s.px(c-p.WellWidthM/2), s.py(0), p.WellWidthM*s.scale, p.DesignDepthM[i]*s.scale)
		}
	}
	s.line("face", x, y, s.px(high[s.h]), y)
	s.label("t-strong", "panel", (x+s.px(high[s.h]))/2, s.py(low[s.v]), 0, 13, true)
}

func (s *scene) wall(w analysis.Surface) {
	if wallAxis(w.Name) == s.h {
		x := s.px(w.PlaceM)
		s.line("wall", x, 3, x, s.height-3)
		side := 8.0
		if w.PlaceM > (s.minH+s.maxH)/2 {
			side = -8
		}
		for _, y := range []float64{s.height / 4, s.height / 2, 3 * s.height / 4, 16} {
			if s.label("t-quiet", w.Name, x, y, side, 0, false) {
				break
			}
		}
		return
	}
	y := s.py(w.PlaceM)
	s.line("wall", 3, y, s.w-3, y)
	dy := -6.0
	if w.PlaceM > (s.minV+s.maxV)/2 {
		dy = 14
	}
	for _, x := range []float64{s.w / 4, s.w / 2, 3 * s.w / 4, 34} {
		if s.label("t-quiet", w.Name, x, y, 0, dy, false) {
			break
		}
	}
}

func (s *scene) places(r *analysis.Result, shown *analysis.Position) {
	if shown != nil && finite(shown.MicM[s.h], shown.MicM[s.v]) {
		s.path("path", polyline([][2]float64{
			{s.px(r.SourceM[s.h]), s.py(r.SourceM[s.v])}, {s.px(0), s.py(0)}, {s.px(shown.MicM[s.h]), s.py(shown.MicM[s.v])}, {s.px(r.SourceM[s.h]), s.py(r.SourceM[s.v])},
		}, false))
	}
	x, y := s.px(r.SourceM[s.h]), s.py(r.SourceM[s.v])
	s.path("source", fmt.Sprintf("M%s %sh10v-10h-10z", coord(x-5), coord(y+5)))
	s.take(x, y, 7)
	type spot struct{ x, y float64 }
	drawn := map[spot]bool{} // from the side many microphones coincide
	for _, p := range r.Positions {
		if !finite(p.MicM[s.h], p.MicM[s.v]) {
			continue
		}
		x, y := s.px(p.MicM[s.h]), s.py(p.MicM[s.v])
		at := spot{math.Round(x), math.Round(y)}
		if drawn[at] {
			continue
		}
		drawn[at] = true
		s.take(x, y, 3)
		if p.Used {
			s.circle("mic", x, y, 2.6)
		} else {
			s.circle("mic-out", x, y, 2.6)
		}
	}
	s.label("t-strong", "source", x, y, 9, 3.5, true)
	if s.h != 0 {
		return // they would hide one another
	}
	// The position whose gate is drawn comes first, then the ends and every other one while there is room.
	order := []int{}
	for i := range r.Positions {
		if shown != nil && r.Positions[i].Name == shown.Name {
			order = append(order, i)
		}
	}
	if n := len(r.Positions); n > 0 {
		order = append(order, 0, n-1)
		for step := max(n/8, 1); step >= 1; step /= 2 {
			for i := 0; i < n; i += step {
				order = append(order, i)
			}
		}
	}
	done := map[int]bool{}
	for _, i := range order {
		p := r.Positions[i]
		if done[i] || !finite(p.MicM[s.h], p.MicM[s.v]) {
			continue
		}
		x, y := s.px(p.MicM[s.h]), s.py(p.MicM[s.v])
		dx, dy := x-s.px(0), y-s.py(0)
		if d := math.Hypot(dx, dy); d > 0 {
			dx, dy = dx/d*11, dy/d*13
		}
		done[i] = s.label("t-mic", shorten(p.Name, 14), x, y, dx, dy+3.5, false)
	}
}

// gate tints the area from which an echo arrives within the gate: in space the points of equal path source, point, microphone are ellipsoids with
// the two in their foci; drawn is where they cut the plane of the picture.
func (s *scene) gate(m *maker, p *analysis.Position, id string) {
	outer := s.equalPath(m.r.SourceM, p.MicM, m.gateLength(p.Gate.EndS))
	if outer == nil {
		return
	}
	inner := s.equalPath(m.r.SourceM, p.MicM, m.gateLength(p.Gate.StartS))
	fmt.Fprintf(s, `<clipPath id="%s-c"><rect x="0" y="0" width="%s" height="%s"/></clipPath><g clip-path="url(#%s-c)">`, id, coord(s.w), coord(s.height), id)
	s.path("gatearea", polyline(outer, true)+polyline(inner, true))
	s.path("gateline", polyline(outer, true))
	if inner != nil {
		s.path("gateline", polyline(inner, true))
	}
	s.WriteString("</g>")
}

// equalPath is the outline, in units of the drawing, of the points in the plane whose path source, point, microphone has the given length; nil where
// there are none. On a ray P = C + t·u from the middle C of the two, |P−S| + |P−M| = L squares to
// (4L²−β²)t² + (8L²γ−2αβ)t + 4L²δ−α² = 0 with α = L² + |C−S|² − |C−M|², β = 2u·(M−S), γ = u·(C−S), δ = |C−S|².
func (s *scene) equalPath(source, mic [3]float64, length float64) [][2]float64 {
	if !finite(length, source[0], source[1], source[2], mic[0], mic[1], mic[2]) {
		return nil
	}
	var centre [3]float64
	centre[s.h], centre[s.v] = (source[s.h]+mic[s.h])/2, (source[s.v]+mic[s.v])/2
	var toS, toM float64 // squares of the distances from the middle
	for i := range 3 {
		toS += (centre[i] - source[i]) * (centre[i] - source[i])
		toM += (centre[i] - mic[i]) * (centre[i] - mic[i])
	}
	if math.Sqrt(toS)+math.Sqrt(toM) >= length {
		return nil
	}
	var out [][2]float64
	const n = 120
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		alpha := length*length + toS - toM
		beta := 2 * (cos*(mic[s.h]-source[s.h]) + sin*(mic[s.v]-source[s.v]))
		gamma := cos*(centre[s.h]-source[s.h]) + sin*(centre[s.v]-source[s.v])
		a := 4*length*length - beta*beta
		b := 8*length*length*gamma - 2*alpha*beta
		c := 4*length*length*toS - alpha*alpha
		t := (-b + math.Sqrt(math.Max(b*b-4*a*c, 0))) / (2 * a)
		out = append(out, [2]float64{s.px(centre[s.h] + t*cos), s.py(centre[s.v] + t*sin)})
	}
	return out
}

func (s *scene) scaleBar(bottom float64) {
	l := niceStep((s.maxH-s.minH)/3, 1)
	x, y := sceneMargin, bottom-8
	s.path("scalebar", fmt.Sprintf("M%s %sv-5M%s %sh%sM%s %sv-5", coord(x), coord(y), coord(x), coord(y-2.5), coord(l*s.scale), coord(x+l*s.scale), coord(y)))
	s.text("t-quiet", "start", x+l*s.scale+6, y, plainTick(l)+" m")
}
