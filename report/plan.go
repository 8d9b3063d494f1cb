package report

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"github.com/leadline/leadline/analysis"
)

var errNoPlan = errors.New("report: there is no plan to render (nil)")

//go:embed plan.css
var planCSS string

//go:embed plan.tmpl
var planTemplate string

var planPage = template.Must(template.Must(page.Clone()).New("plan").Parse(planTemplate))

// planView is what the template sees.
type planView struct {
	*analysis.Plan
	CSS      template.CSS
	Policy   string
	Facts    []fact
	Drawings []drawing
	Keys     []key
	Tapes    []tapeRow
	Times    table
	Echoes   table
	Changes  table
	Radii    table
	Far      table
}

// tapeRow is one microphone of the sheet that is taken to the rig.
type tapeRow struct{ Name, Angle, FromA, FromB, FromS, X, Y string }

// PlanSheet writes p as one printable HTML file that needs nothing else, as HTML does for a result: A4 or Letter, drawings to a scale that holds on
// paper where the page is printed at its full size. The same p gives the same bytes. It errs where p is nil or w errs.
func PlanSheet(w io.Writer, p *analysis.Plan) error {
	if p == nil {
		return errNoPlan
	}
	v := planView{Plan: p, Facts: planFacts(p)}
	rules := ""
	v.Drawings, v.Keys, rules = planDrawings(p)
	for _, m := range p.Microphones {
		v.Tapes = append(v.Tapes, tapeRow{clean(m.Name), degrees(m.AngleDeg) + "°", fixed(m.FromAM, 3), fixed(m.FromBM, 3), fixed(m.FromSourceMarkM, 3), fixed(m.MicM[0], 3), fixed(m.MicM[1], 3)})
	}
	v.Times, v.Echoes, v.Far = timesTable(p), echoTable(p), planFarTable(p)
	v.Changes = changeTable("The shortest gate as planned, and elsewhere", p.Changes, false)
	v.Radii = changeTable("What a larger arc costs: each at its own best place", p.Radii, true)
	css := styleCSS + planCSS + rules
	v.CSS = template.CSS(css)
	v.Policy = policy(css, "")
	var b bytes.Buffer
	if err := planPage.Execute(&b, v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err := b.WriteTo(w)
	return err
}

// PlanText writes p as a summary for a terminal, at most 96 characters wide: outcome, place, tapes, first echoes, what changes if. It errs where p is nil or w errs.
func PlanText(w io.Writer, p *analysis.Plan) error {
	if p == nil {
		return errNoPlan
	}
	t := &text{}
	t.wrap("", p.Title)
	t.wrap("", p.Headline)
	t.wrap("", p.PlaceText())
	t.wrap("", fmt.Sprintf("Marks on the floor, on the line of the panel's front: A %.3f m to the left of its middle, B as far to the right (as seen from the panel). "+
		"Source: %.3f m from A, %.3f m from B, %.3f m over the floor. Microphones: %.3f m over the floor.",
		p.MarkM, p.SourceFromAM, p.SourceFromBM, p.SourceHeightM, p.MicHeightM))
	t.WriteString("\nTapes along the floor (metres), and when what is heard (milliseconds after the emission)\n")
	t.WriteString("  place      angle  from A  from B  from S   direct  panel  echo   gate  ended by\n")
	for _, m := range p.Microphones {
		line := fmt.Sprintf("  %-9s %5s°  %6.3f  %6.3f  %6.3f   %6.2f %6.2f %6.2f %5.2f  %s", m.Name, strings.Replace(degrees(m.AngleDeg), "−", "-", 1), m.FromAM, m.FromBM, m.FromSourceMarkM,
			1000*m.DirectS, 1000*m.ReflectionS, 1000*m.EndS, 1000*m.GateS, m.EndedBy)
		t.WriteString(shorten(line, textWidth) + "\n")
	}
	t.WriteString("\nFirst disturbing echoes, in milliseconds after the first sound off the panel\n")
	for _, e := range p.Echoes {
		t.WriteString(fmt.Sprintf("  %6.2f  %s, at %s%s", 1000*e.LagS, e.Surface, e.Microphone, map[bool]string{true: "", false: " (quieted by the absorber)"}[e.Counts]) + "\n")
	}
	for _, part := range []struct {
		title string
		list  []analysis.PlannedChange
	}{{"What changes if", p.Changes}, {"Larger arcs, each at its best place", p.Radii}} {
		if part.list == nil {
			continue
		}
		t.WriteString("\n" + part.title + " (gate in milliseconds, first third octave, what ends it)\n")
		for _, c := range part.list {
			gate, band, by := changeWords(c)
			t.wrap(fmt.Sprintf("  %5s  %-8s ", gate, strings.ReplaceAll(band, nbsp, " ")), c.What+": "+by)
		}
	}
	t.WriteString("\n")
	t.wrap("", "Start quiet: volume all the way down first, then up in steps of 3 dB, hearing protection on, never a sweep in a loop. "+
		"Secure panel and stands against tipping; tape cables down. The sheet (--sheet) has the level procedure and the cautions.")
	var warned []string
	for _, w := range p.Warnings {
		warned = append(warned, w.Text)
	}
	t.list("Warnings", warned, len(warned), "! ")
	_, err := io.WriteString(w, strings.ReplaceAll(t.String(), nbsp, " "))
	return err
}

func planFacts(p *analysis.Plan) []fact {
	m := func(v float64) string { return unit(fixed(v, 2), "m") }
	gate := fmt.Sprintf("%s; two periods fit in from %s up.", unit(fixed(1000*p.GateS, 2), "ms"), hertzExact(p.LowestHz))
	d := p.Distances
	out := []fact{
		{"Clean gate", gate},
		{"Panel", fmt.Sprintf("Faces along the room's %s. Front %s from the wall behind it, middle %s from the left wall and %s from the right one, %s over the floor (lower edge %s).",
			p.Faces, m(p.FromBehindM), m(p.FromLeftM), m(p.FromRightM), m(p.AboveFloorM), m(p.LowerEdgeM))},
		{"Source", fmt.Sprintf("%s from the panel's middle at %s°, %s over the floor.", m(p.SourceDistanceM), degrees(p.SourceAngleDeg), m(p.SourceHeightM))},
		{"Microphones", fmt.Sprintf("%s on an arc of %s, every %s°, %s over the floor; %d of them outside the angles to which a flat board mirrors the source.",
			count(len(p.Microphones), "place", "places"), m(p.RadiusM), withoutZeros(fixed(p.StepDeg, 2)), m(p.MicHeightM), d.OutsideMirror)},
		{"Near field", fmt.Sprintf("The arc lies in the far field only below %s; see the table of distances. From %s up a flat board of this size mirrors like a large wall here.", hertzExact(d.ArcFarBelowHz), hertzExact(d.MirrorFromHz))},
		{"Direct sound", fmt.Sprintf("It comes at least %s before the panel's (%s): so much is free to align the takes by.", unit(fixed(1000*d.DirectLeadS, 2), "ms"), d.DirectLeadWhere)},
	}
	if p.AbsorberM > 0 {
		out = append(out, fact{"Absorber", fmt.Sprintf("%s thick on the floor: taken to work from %s up.", millimetres(p.AbsorberM), hertzExact(p.AbsorberFromHz))})
	}
	for i := range out {
		out[i].Text = clean(out[i].Text)
	}
	return out
}

// hertzExact writes a frequency to three digits: no band's name.
func hertzExact(hz float64) string {
	if math.IsNaN(hz) || math.IsInf(hz, 0) || hz <= 0 {
		return dash
	}
	decimals := max(0, 2-int(math.Floor(math.Log10(hz))))
	rounded := fixed(hz, decimals)
	if hz >= 1000 {
		return unit(withoutZeros(fixed(hz/1000, 2)), "kHz")
	}
	return unit(rounded, "Hz")
}

func timesTable(p *analysis.Plan) table {
	t := table{Caption: "What each microphone hears when, in milliseconds after the emission", Small: true,
		Head: []string{"Place", "Direct sound", "Panel, first", "First echo", "Gate", "Ended by"}, Words: map[int]bool{5: true}}
	for _, m := range p.Microphones {
		t.row(m.Name, fixed(1000*m.DirectS, 2), fixed(1000*m.ReflectionS, 2), fixed(1000*m.EndS, 2), fixed(1000*m.GateS, 2), m.EndedBy)
	}
	return t
}

func echoTable(p *analysis.Plan) table {
	t := table{Caption: "The first disturbing echo of each surface, at the microphone where it comes soonest after the panel's first sound",
		Head: []string{"Surface", "After the panel (ms)", "After the emission (ms)", "At", "Way"}, Words: map[int]bool{4: true}}
	for _, e := range p.Echoes {
		way := strings.ReplaceAll(e.Order, ", ", " → ")
		if !e.Counts {
			way += " (quieted by the absorber)"
		}
		t.row(upperFirst(e.Surface), fixed(1000*e.LagS, 2), fixed(1000*e.ArrivalS, 2), e.Microphone, way)
	}
	return t
}

// changeWords gives gate, first band and what ends it; a sentence where there is none.
func changeWords(c analysis.PlannedChange) (gate, band, by string) {
	switch {
	case !c.Possible:
		return dash, dash, "does not fit"
	case c.GateS <= 0:
		return dash, dash, "no clean gate: " + c.EndedBy
	case math.IsNaN(c.LowestBandHz):
		return fixed(1000*c.GateS, 2), "none", c.EndedBy
	}
	return fixed(1000*c.GateS, 2), hertz(c.LowestBandHz), c.EndedBy
}

func changeTable(caption string, list []analysis.PlannedChange, arcs bool) table {
	t := table{Caption: caption, Head: []string{"What", "Gate (ms)", "First third octave", "Ended by"}, Words: map[int]bool{3: true}}
	if arcs {
		t.Head, t.Words = []string{"Arc", "Gate (ms)", "First third octave", "In the far field below", "Ended by"}, map[int]bool{4: true}
	}
	for _, c := range list {
		gate, band, by := changeWords(c)
		if arcs {
			t.row(upperFirst(c.What), gate, band, hertzExact(c.FarBelowHz), by)
			continue
		}
		t.row(upperFirst(c.What), gate, band, by)
	}
	return t
}

func planFarTable(p *analysis.Plan) table {
	t := table{Caption: "How far from the panel its far field begins", Head: []string{"Frequency", "Far field from", "Arc", "Which frequency"}, Words: map[int]bool{3: true}}
	for _, f := range p.Distances.FarField {
		t.row(hertz(f.FrequencyHz), unit(fixed(f.DistanceM, 2), "m"), unit(fixed(p.RadiusM, 2), "m"), f.Why)
	}
	return t
}

// Drawings to scale.
const (
	unitsPerMM  = 3.5   // units of the drawing per millimetre on paper: text of 10 units is 8 points high
	acrossMM    = 165.0 // what A4 leaves between the margins, less those of two drawings beside one another
	besideMM    = 95.0  // the height that Letter leaves them below the outcome
	belowMM     = 80.0  // the same for both together, one below the other
	beyondSizes = 1.5   // a wall further from the rig than this many times the rig's own size is not drawn
)

var paperScales = []float64{5, 10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 150, 200, 250, 500}

// planFrame is what is drawn of the room: the rig, and walls that are not much further away than the rig is large.
type planFrame struct {
	low, high [3]float64
	wall      [3][2]bool // per axis, low and high: whether the wall is in the frame
}

func frameOf(p *analysis.Plan) planFrame {
	f := planFrame{}
	f.low, f.high = panelBox(p.Panel)
	for _, at := range append([][3]float64{p.SourceM, {-p.MarkM, 0, 0}, {p.MarkM, 0, 0}}, micPlaces(p)...) {
		for i := range at {
			f.low[i], f.high[i] = math.Min(f.low[i], at[i]), math.Max(f.high[i], at[i])
		}
	}
	size := math.Max(f.high[0]-f.low[0], f.high[1]-f.low[1])
	bare := f
	for _, s := range p.Surfaces {
		axis := wallAxis(s.Name)
		if axis < 0 || !finite(s.PlaceM) {
			continue
		}
		if s.PlaceM < 0 {
			f.wall[axis][0] = bare.low[axis]-s.PlaceM < beyondSizes*size
			f.low[axis] = math.Min(f.low[axis], math.Max(s.PlaceM, bare.low[axis]-size/2))
			if f.wall[axis][0] {
				f.low[axis] = s.PlaceM
			}
			continue
		}
		f.wall[axis][1] = s.PlaceM-bare.high[axis] < beyondSizes*size
		f.high[axis] = math.Max(f.high[axis], math.Min(s.PlaceM, bare.high[axis]+size/2))
		if f.wall[axis][1] {
			f.high[axis] = s.PlaceM
		}
	}
	return f
}

func micPlaces(p *analysis.Plan) (out [][3]float64) {
	for _, m := range p.Microphones {
		out = append(out, m.MicM)
	}
	return out
}

// paperScale is the largest usual scale at which both drawings fit on one page, beside or below one another.
func paperScale(f planFrame) float64 {
	size := func(i int) float64 { return 1000 * (f.high[i] - f.low[i]) }
	for _, n := range paperScales {
		beside := size(0)+size(1) <= acrossMM*n && math.Max(size(1), size(2)) <= besideMM*n
		below := math.Max(size(0), size(1)) <= acrossMM*n && size(1)+size(2) <= belowMM*n
		if beside || below {
			return n
		}
	}
	return paperScales[len(paperScales)-1]
}

// planDrawings makes the view from above and the one from the side, with the style rules that give them their size on paper.
func planDrawings(p *analysis.Plan) (drawings []drawing, keys []key, rules string) {
	f := frameOf(p)
	n := paperScale(f)
	var css strings.Builder
	for _, v := range []struct {
		h, v                int
		id, caption, across string
	}{
		{0, 1, "plan-above", "From above", "x runs to the right along the panel's front, y upwards out of the panel"},
		{1, 2, "plan-side", "From the side", "y runs to the right out of the panel, z upwards"},
	} {
		s := &scene{h: v.h, v: v.v, minH: f.low[v.h], maxH: f.high[v.h], minV: f.low[v.v], maxV: f.high[v.v], scale: 1000 * unitsPerMM / n}
		s.w = (s.maxH-s.minH)*s.scale + 2*sceneMargin
		s.height = (s.maxV-s.minV)*s.scale + 2*sceneMargin
		s.rig(p, f)
		total := s.height + 24
		s.paperScaleBar(total, n)
		desc := fmt.Sprintf("Drawn to scale, 1 to %.0f: %s. The panel, the source, %s, the room's surfaces, the marks on the floor and the first disturbing echo. All places are in the tables below.",
			n, v.across, count(len(p.Microphones), "microphone", "microphones"))
		svg := template.HTML(fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" id="%[1]s" class="drawing" viewBox="0 0 %[4]s %[5]s" role="img" aria-labelledby="%[1]s-t %[1]s-d"><title id="%[1]s-t">%[2]s</title><desc id="%[1]s-d">%[3]s</desc>%[6]s</svg>`,
			v.id, "The rig, "+strings.ToLower(v.caption), desc, coord(s.w), coord(total), s.String()))
		drawings = append(drawings, drawing{Caption: v.caption, Note: fmt.Sprintf("1 : %.0f on paper at 100 %%", n), SVG: svg})
		fmt.Fprintf(&css, "@media print{#%s{width:%smm}}\n@media screen{#%s{max-width:%spx}}\n", v.id, fixed(s.w/unitsPerMM, 2), v.id, fixed(1.6*s.w, 0))
	}
	keys = []key{{"k-source", "source"}, {"k-mic", "microphone"}, {"k-path", "first disturbing echo"}, {"k-mark", "mark on the floor"}}
	if p.AbsorberM > 0 {
		keys = append(keys, key{"k-shade", "absorber on the floor"})
	}
	return drawings, keys, css.String()
}

// rig draws everything of one view.
func (s *scene) rig(p *analysis.Plan, f planFrame) {
	above := s.h == 0
	if p.AbsorberM > 0 {
		s.absorber(p)
	}
	for _, w := range p.Surfaces {
		s.planWall(w, f)
	}
	defer func() { // names of walls give way to all else
		for _, w := range p.Surfaces {
			s.wallName(w, f)
		}
	}()
	floor := -p.AboveFloorM
	if !above {
		s.stand(-p.Panel.DepthM/2, floor, -p.Panel.HeightM/2)
		s.stand(p.SourceM[1], floor, p.SourceM[2])
		mic := p.Microphones[len(p.Microphones)/2].MicM
		s.stand(mic[1], floor, mic[2])
	}
	s.echo(p, f)
	s.panel(p.Panel)
	s.micsOf(p)
	x, y := s.px(p.SourceM[s.h]), s.py(p.SourceM[s.v])
	s.path("source", fmt.Sprintf("M%s %sh10v-10h-10z", coord(x-5), coord(y+5)))
	s.take(x, y, 7)
	s.label("t-strong", "source", x, y, 9, 3.5, true)
	if above {
		s.mark("A", -p.MarkM, 0)
		s.mark("B", p.MarkM, 0)
		s.label("t-mic", "S", x, y, -11, 3.5, false)
		left, behind := -p.FromLeftM, -p.FromBehindM
		low := -p.Panel.DepthM - 26/s.scale
		if f.wall[1][0] && low < behind+14/s.scale {
			low = s.maxV - 40/s.scale // no room between panel and wall
		}
		if f.wall[0][0] {
			s.dimension([2]float64{left, low}, [2]float64{0, low})
		}
		if f.wall[0][1] {
			s.dimension([2]float64{0, low}, [2]float64{p.FromRightM, low})
		}
		if f.wall[1][0] {
			at := -p.Panel.WidthM/2 - 10/s.scale
			s.dimension([2]float64{at, behind}, [2]float64{at, 0})
		}
		if f.wall[1][1] {
			s.dimension([2]float64{p.SourceM[0], p.SourceM[1]}, [2]float64{p.SourceM[0], p.FromOppositeM})
		}
		s.dimension([2]float64{0, 0}, [2]float64{p.SourceM[0], p.SourceM[1]})
		return
	}
	at := -p.Panel.DepthM - 22/s.scale
	s.dimension([2]float64{at, floor}, [2]float64{at, -p.Panel.HeightM / 2})
	at = p.SourceM[1] - 8/s.scale
	s.dimension([2]float64{at, floor}, [2]float64{at, p.SourceM[2]})
	mic := p.Microphones[len(p.Microphones)/2].MicM
	at = mic[1] - 8/s.scale
	s.dimension([2]float64{at, floor}, [2]float64{at, mic[2]})
}

// absorber shades where it must lie at least.
func (s *scene) absorber(p *analysis.Plan) {
	z := p.AbsorberZone
	if s.h == 0 {
		x, y := s.px(z[0]), s.py(z[3])
		s.rect("absorber", x, y, s.px(z[1])-x, s.py(math.Max(z[2], 0))-y)
		return
	}
	x, y := s.px(math.Max(z[2], 0)), s.py(-p.AboveFloorM+p.AbsorberM)
	s.rect("absorber", x, y, s.px(z[3])-x, s.py(-p.AboveFloorM)-y)
}

// planWall draws a surface at its place, where it lies in the frame.
func (s *scene) planWall(w analysis.Surface, f planFrame) {
	switch axis := wallAxis(w.Name); {
	case !finite(w.PlaceM) || axis < 0 || !f.shows(w):
	case axis == s.h:
		x := s.px(w.PlaceM)
		s.line("wall", x, 3, x, s.height-3)
		s.taken = append(s.taken, [4]float64{x - 2, 0, x + 2, s.height})
	case axis == s.v:
		y := s.py(w.PlaceM)
		s.line("wall", 3, y, s.w-3, y)
		s.taken = append(s.taken, [4]float64{0, y - 2, s.w, y + 2})
	}
}

func (f planFrame) shows(w analysis.Surface) bool {
	if w.PlaceM > 0 {
		return f.wall[wallAxis(w.Name)][1]
	}
	return f.wall[wallAxis(w.Name)][0]
}

// wallName writes a wall's name beside it where nothing else stands; how far away it is where it lies beyond the frame.
func (s *scene) wallName(w analysis.Surface, f planFrame) {
	axis := wallAxis(w.Name)
	if axis != s.h && axis != s.v || !finite(w.PlaceM) {
		return
	}
	name, at := w.Words(), w.PlaceM
	if !f.shows(w) {
		name += fmt.Sprintf(", %.2f m from the panel", math.Abs(w.PlaceM))
		if arrow := map[bool]map[bool]string{true: {true: "→", false: "←"}, false: {true: "↑", false: "↓"}}[axis == s.h][w.PlaceM > 0]; arrow == "←" {
			name = arrow + " " + name
		} else {
			name += " " + arrow
		}
		low, high := s.minH, s.maxH
		if axis == s.v {
			low, high = s.minV, s.maxV
		}
		at = math.Max(low, math.Min(high, at))
	}
	for _, part := range []float64{0.3, 0.5, 0.7, 0.2, 0.4, 0.6, 0.8, 0.1, 0.9, 0.05, 0.95} {
		if axis == s.h && s.label("t-quiet", name, s.px(at), s.height*part, math.Copysign(8, -w.PlaceM), 3, false) {
			return
		}
		dy := -6.0
		if w.PlaceM > 0 {
			dy = 14
		}
		if axis == s.v && s.label("t-quiet", name, s.w*part, s.py(at), 0, dy, false) {
			return
		}
	}
}

// stand is a thin line from the floor to what stands on it.
func (s *scene) stand(h, from, to float64) {
	if to-from < 0.02 {
		return
	}
	s.line("stand", s.px(h), s.py(from), s.px(h), s.py(to))
	s.taken = append(s.taken, [4]float64{s.px(h) - 2, s.py(to), s.px(h) + 2, s.py(from)})
}

func (s *scene) mark(name string, h, v float64) {
	x, y := s.px(h), s.py(v)
	s.path("markline", fmt.Sprintf("M%s %sl8 8m0 -8l-8 8", coord(x-4), coord(y-4)))
	s.take(x, y, 5)
	s.label("t-strong", name, x, y, 0, 15, true)
}

// dimension draws a measured length between two places of the view, with its figure.
func (s *scene) dimension(a, b [2]float64) {
	length := math.Hypot(b[0]-a[0], b[1]-a[1])
	x1, y1, x2, y2 := s.px(a[0]), s.py(a[1]), s.px(b[0]), s.py(b[1])
	run := math.Hypot(x2-x1, y2-y1)
	if run < 14 {
		return
	}
	s.line("dimension", x1, y1, x2, y2)
	nx, ny := (y2-y1)/run*3, (x1-x2)/run*3 // ticks across the line
	s.line("dimension", x1-nx, y1-ny, x1+nx, y1+ny)
	s.line("dimension", x2-nx, y2-ny, x2+nx, y2+ny)
	defer func() {
		if math.Min(math.Abs(x2-x1), math.Abs(y2-y1)) > 4 {
			return // a slanting line's box would hold too much
		}
		s.taken = append(s.taken, [4]float64{math.Min(x1, x2) - 2, math.Min(y1, y2) - 2, math.Max(x1, x2) + 2, math.Max(y1, y2) + 2})
	}()
	text := fixed(length, 3) + nbsp + "m"
	if math.Abs(x2-x1) > math.Abs(y2-y1) {
		s.label("t-dim", text, (x1+x2)/2, (y1+y2)/2, 0, -3, true)
		return
	}
	for _, part := range []float64{0.5, 0.35, 0.65, 0.2, 0.8} {
		for _, dx := range []float64{5, -5} {
			if s.label("t-dim", text, x1+(x2-x1)*part, y1+(y2-y1)*part, dx, 3.5, false) {
				return
			}
		}
	}
	s.label("t-dim", text, (x1+x2)/2, (y1+y2)/2, 5, 3.5, true)
}

// echo draws the first disturbing echo off a surface that this view shows.
func (s *scene) echo(p *analysis.Plan, f planFrame) {
	seen := map[string]bool{}
	for _, w := range p.Surfaces {
		if axis := wallAxis(w.Name); finite(w.PlaceM) && (axis == s.v || axis == s.h) {
			seen[w.Words()] = f.shows(w)
		}
	}
	for _, e := range p.Echoes {
		if !e.Counts || !seen[e.Surface] {
			continue
		}
		var points [][2]float64
		for _, at := range e.PathM {
			points = append(points, [2]float64{s.px(at[s.h]), s.py(at[s.v])})
		}
		s.path("path", polyline(points, false))
		return
	}
}

// micsOf draws the arc and its microphones; every second, fourth and so on is named as there is room.
func (s *scene) micsOf(p *analysis.Plan) {
	if s.h == 0 {
		var arc [][2]float64
		for _, m := range p.Microphones {
			arc = append(arc, [2]float64{s.px(m.MicM[0]), s.py(m.MicM[1])})
		}
		s.path("arc", polyline(arc, false))
	}
	type spot struct{ x, y float64 }
	drawn := map[spot]bool{} // from the side many coincide
	for _, m := range p.Microphones {
		x, y := s.px(m.MicM[s.h]), s.py(m.MicM[s.v])
		if at := (spot{math.Round(x), math.Round(y)}); !drawn[at] {
			drawn[at] = true
			s.circle("mic", x, y, 2.2)
			s.take(x, y, 2)
		}
	}
	n := len(p.Microphones)
	if s.h != 0 {
		m := p.Microphones[n/2].MicM
		s.label("t-strong", "microphones", s.px(m[1]), s.py(m[2]), 0, -8, true)
		return
	}
	order := []int{n / 2, 0, n - 1}
	for step := max(n/8, 1); step >= 1; step /= 2 {
		for i := n / 2 % step; i < n; i += step {
			order = append(order, i)
		}
	}
	done := map[int]bool{}
	for _, i := range order {
		m := p.Microphones[i]
		if done[i] {
			continue
		}
		sin, cos := math.Sincos(m.AngleDeg * math.Pi / 180)
		done[i] = s.label("t-mic", degrees(m.AngleDeg)+"°", s.px(m.MicM[0]), s.py(m.MicM[1]), 11*sin, 3.5-11*cos, false)
	}
}

// paperScaleBar is a bar of a round length with its scale.
func (s *scene) paperScaleBar(bottom, n float64) {
	l := niceStep((s.maxH-s.minH)/3, 1)
	x, y := sceneMargin, bottom-7
	s.path("scalebar", fmt.Sprintf("M%s %sv-5M%s %sh%sM%s %sv-5", coord(x), coord(y), coord(x), coord(y-2.5), coord(l*s.scale), coord(x+l*s.scale), coord(y)))
	s.text("t-quiet", "start", x+l*s.scale+6, y, fmt.Sprintf("%s m, 1 : %.0f", plainTick(l), n))
}
