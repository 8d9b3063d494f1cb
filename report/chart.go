package report

import (
	"html/template"
	"image/color"
	"math"
	"sort"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
)

// look is how one kind of curve is drawn, everywhere.
type look struct {
	colour color.Color
	width  vg.Length
	dashes []vg.Length
	marker draw.GlyphDrawer
	radius vg.Length
}

var (
	measuredLook      = look{measuredColour, 1.6, nil, draw.CircleGlyph{}, 2}
	predictedLook     = look{predictedColour, 1.6, []vg.Length{5, 2.5}, nil, 0}
	flatLook          = look{flatColour, 1.1, nil, hollowSquare{}, 1.8}
	predictedFlatLook = look{flatColour, 1.3, []vg.Length{1.5, 2.5}, nil, 0}
)

// bare is l without its line, ring is l without its line and with a hollow marker.
func (l look) bare() look { l.width = 0; return l }
func (l look) ring() look { l.width, l.marker, l.radius = 0, hollowDisc{}, 2.4; return l }
func (l look) plain() look {
	l.marker = nil
	return l
}

// hollowDisc and hollowSquare are markers with an outline strong enough to be told from a filled one.
type hollowDisc struct{}

func (hollowDisc) DrawGlyph(c *draw.Canvas, g draw.GlyphStyle, pt vg.Point) {
	c.SetLineStyle(draw.LineStyle{Color: g.Color, Width: 0.9})
	var p vg.Path
	p.Move(vg.Point{X: pt.X + g.Radius, Y: pt.Y})
	p.Arc(pt, g.Radius, 0, 2*math.Pi)
	p.Close()
	c.Stroke(p)
}

type hollowSquare struct{}

func (hollowSquare) DrawGlyph(c *draw.Canvas, g draw.GlyphStyle, pt vg.Point) {
	c.SetLineStyle(draw.LineStyle{Color: g.Color, Width: 0.9})
	r := g.Radius
	var p vg.Path
	p.Move(vg.Point{X: pt.X - r, Y: pt.Y - r})
	p.Line(vg.Point{X: pt.X + r, Y: pt.Y - r})
	p.Line(vg.Point{X: pt.X + r, Y: pt.Y + r})
	p.Line(vg.Point{X: pt.X - r, Y: pt.Y + r})
	p.Close()
	c.Stroke(p)
}

// series is one curve. NaN leaves a gap. low and high, where given, are drawn as bars. Where over is given, each value stands for that range of x and
// is drawn across it: as a column from 0 where there is a fill, else as a line.
// A series with a name can be read off by pointing at it.
type series struct {
	look
	name      string
	x, y      []float64
	low, high []float64
	over      []span
	fill      color.Color
}

func (s *series) add(x, y float64) { s.x, s.y = append(s.x, x), append(s.y, y) }

func (s *series) addInterval(x, y, low, high float64) {
	s.add(x, y)
	s.low, s.high = append(s.low, low), append(s.high, high)
}

func (s *series) drawn() bool {
	for i := range s.x {
		if finite(s.x[i], s.y[i]) {
			return true
		}
	}
	return false
}

// sortByX puts the points in the order of x.
func (s *series) sortByX() {
	order := make([]int, len(s.x))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return s.x[order[a]] < s.x[order[b]] })
	pick := func(v []float64) []float64 {
		if v == nil {
			return nil
		}
		out := make([]float64, len(v))
		for i, j := range order {
			out[i] = v[j]
		}
		return out
	}
	s.x, s.y, s.low, s.high = pick(s.x), pick(s.y), pick(s.low), pick(s.high)
}

// Plot draws the curve, its bars and its markers; it makes series a plot.Plotter.
func (s *series) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	line := draw.LineStyle{Color: s.colour, Width: s.width, Dashes: s.dashes}
	if s.over != nil {
		for i := range s.x {
			if !finite(s.x[i], s.y[i], s.over[i].low, s.over[i].high) {
				continue
			}
			lo, hi, y, foot := tx(s.over[i].low), tx(s.over[i].high), ty(s.y[i]), ty(0)
			if s.fill == nil {
				c.StrokeLines(line, c.ClipLinesXY([]vg.Point{{X: lo, Y: y}, {X: hi, Y: y}})...)
				continue
			}
			gap := (hi - lo) * 0.12
			column := []vg.Point{{X: lo + gap, Y: foot}, {X: lo + gap, Y: y}, {X: hi - gap, Y: y}, {X: hi - gap, Y: foot}}
			c.FillPolygon(s.fill, c.ClipPolygonXY(column))
			c.StrokeLines(line, c.ClipLinesXY(column)...)
		}
		return
	}
	bar := draw.LineStyle{Color: s.colour, Width: 0.9}
	var run []vg.Point
	var runs [][]vg.Point
	for i := range s.x {
		if !finite(s.x[i], s.y[i]) {
			runs = append(runs, run)
			run = nil
			continue
		}
		run = append(run, vg.Point{X: tx(s.x[i]), Y: ty(s.y[i])})
	}
	if s.width > 0 {
		for _, r := range append(runs, run) {
			if len(r) == 1 && s.marker == nil { // a point alone makes no line
				c.DrawGlyph(draw.GlyphStyle{Color: s.colour, Radius: 1.6, Shape: draw.CircleGlyph{}}, r[0])
			} else if len(r) > 1 {
				c.StrokeLines(line, c.ClipLinesXY(r)...)
			}
		}
	}
	for i := range s.low {
		if !finite(s.x[i], s.low[i], s.high[i]) {
			continue
		}
		x, lo, hi := tx(s.x[i]), ty(s.low[i]), ty(s.high[i])
		c.StrokeLines(bar, c.ClipLinesXY([]vg.Point{{X: x, Y: lo}, {X: x, Y: hi}})...)
		if len(s.low) > 30 {
			continue // caps would run into one another
		}
		for _, y := range []vg.Length{lo, hi} {
			c.StrokeLines(bar, c.ClipLinesXY([]vg.Point{{X: x - 2, Y: y}, {X: x + 2, Y: y}})...)
		}
	}
	if s.marker == nil {
		return
	}
	for i := range s.x {
		if finite(s.x[i], s.y[i]) {
			c.DrawGlyph(draw.GlyphStyle{Color: s.colour, Radius: s.radius, Shape: s.marker}, vg.Point{X: tx(s.x[i]), Y: ty(s.y[i])})
		}
	}
}

// backdrop is what lies behind the curves: shaded ranges of x, one range of y between dashed edges, grid lines at the labelled ticks, and named vertical lines.
type backdrop struct {
	shade  []span
	colour color.Color
	across span // of y; empty where low is not below high
	marks  []mark
	xt, yt []plot.Tick
}

type span struct{ low, high float64 }

// mark is a vertical line with its name at the top of the chart; row 1 stands below row 0.
type mark struct {
	x    float64
	name string
	row  int
	left bool // the name stands to the left of the line
}

// Plot makes backdrop a plot.Plotter.
func (b *backdrop) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, s := range b.shade {
		lo, hi := max(tx(s.low), c.Min.X), min(tx(s.high), c.Max.X)
		if lo < hi {
			c.FillPolygon(b.colour, []vg.Point{{X: lo, Y: c.Min.Y}, {X: hi, Y: c.Min.Y}, {X: hi, Y: c.Max.Y}, {X: lo, Y: c.Max.Y}})
		}
	}
	if lo, hi := max(ty(b.across.low), c.Min.Y), min(ty(b.across.high), c.Max.Y); b.across.low < b.across.high && lo < hi {
		c.FillPolygon(b.colour, []vg.Point{{X: c.Min.X, Y: lo}, {X: c.Max.X, Y: lo}, {X: c.Max.X, Y: hi}, {X: c.Min.X, Y: hi}})
		for _, y := range []vg.Length{lo, hi} {
			c.StrokeLine2(draw.LineStyle{Color: mutedColour, Width: 0.7, Dashes: []vg.Length{2, 2}}, c.Min.X, y, c.Max.X, y)
		}
	}
	grid := draw.LineStyle{Color: ruleColour, Width: 0.6}
	for _, t := range b.xt {
		if x := tx(t.Value); t.Label != "" && c.ContainsX(x) {
			c.StrokeLine2(grid, x, c.Min.Y, x, c.Max.Y)
		}
	}
	for _, t := range b.yt {
		if y := ty(t.Value); t.Label != "" && c.ContainsY(y) {
			c.StrokeLine2(grid, c.Min.X, y, c.Max.X, y)
		}
	}
	for _, m := range b.marks {
		x := tx(m.x)
		if !c.ContainsX(x) {
			continue
		}
		c.StrokeLine2(draw.LineStyle{Color: mutedColour, Width: 0.8, Dashes: []vg.Length{2, 2}}, x, c.Min.Y, x, c.Max.Y)
		style := p.X.Tick.Label
		style.XAlign, style.YAlign = draw.XLeft, draw.YTop
		off := vg.Length(3)
		if m.left {
			style.XAlign, off = draw.XRight, -3
		}
		c.FillText(style, vg.Point{X: x + off, Y: c.Max.Y - 2 - vg.Length(m.row)*12}, m.name)
	}
}

// chart is one plot with axes. Its ranges are the drawing's own, so data outside them are cut.
type chart struct {
	id, title, desc string
	w, h            float64
	xLabel, yLabel  string
	x, y            span
	xTicks, yTicks  []plot.Tick
	back            backdrop
	series          []*series
}

// drawn reports whether anything can be drawn at all.
func (c *chart) drawn() bool {
	if !finite(c.x.low, c.x.high, c.y.low, c.y.high) || c.x.low >= c.x.high || c.y.low >= c.y.high {
		return false
	}
	for _, s := range c.series {
		if s.drawn() {
			return true
		}
	}
	return false
}

// svg draws the chart; the empty string where it has no data.
func (c *chart) svg(sh *sheet) (template.HTML, error) {
	if !c.drawn() {
		return "", nil
	}
	p := plot.New()
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Color = mutedColour
		a.Width = 0.7
		a.Padding = 0
		a.Tick.Width = 0.7
		a.Tick.Color = mutedColour
		a.Tick.Length = 3
		a.Tick.Label.Font = sansFont(10)
		a.Tick.Label.Color = mutedColour
		a.Label.TextStyle.Font = sansFont(10.5)
		a.Label.TextStyle.Color = inkColour
		a.Label.Padding = 2
	}
	p.X.Label.Text, p.Y.Label.Text = c.xLabel, c.yLabel
	p.X.Tick.Marker, p.Y.Tick.Marker = plot.ConstantTicks(c.xTicks), plot.ConstantTicks(c.yTicks)
	c.back.xt, c.back.yt = c.xTicks, c.yTicks
	p.Add(&c.back)
	for _, s := range c.series {
		p.Add(s)
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = c.x.low, c.x.high, c.y.low, c.y.high
	area := p.DataCanvas(draw.NewCanvas(&recorder.Canvas{}, vg.Length(c.w), vg.Length(c.h)))
	sh.remember(c, [4]float64{float64(area.Min.X), c.h - float64(area.Max.Y), float64(area.Max.X), c.h - float64(area.Min.Y)})
	return sh.drawPlot(p, c.id, c.title, c.desc, c.w, c.h)
}

func sansFont(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

// ticks labels multiples of step inside s.
func ticks(s span, step float64, label func(float64) string) []plot.Tick {
	if !finite(s.low, s.high, step) || step <= 0 || (s.high-s.low)/step > 100 {
		return nil
	}
	var out []plot.Tick
	for k := math.Ceil(s.low/step - 1e-9); k*step <= s.high+step*1e-9; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: label(k * step)})
	}
	return out
}

// plainTick writes a tick value with as many decimals as it needs.
func plainTick(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'f', -1, 64)
	return strings.Replace(s, "-", "−", 1)
}

// niceStep is a step of 1, 2 or 5 times a power of ten that divides width into at most n parts.
func niceStep(width float64, n int) float64 {
	if !finite(width) || width <= 0 {
		return 1
	}
	raw := width / float64(n)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*p >= raw*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// reach is the range of the y values of ss, bars included; ok is false where there is none.
func reach(ss []*series) (s span, ok bool) {
	s = span{math.Inf(1), math.Inf(-1)}
	for _, c := range ss {
		for _, v := range [][]float64{c.y, c.low, c.high} {
			for i, y := range v {
				if finite(y, c.x[i]) {
					s.low, s.high = math.Min(s.low, y), math.Max(s.high, y)
				}
			}
		}
	}
	return s, s.low <= s.high
}

// outward widens s to multiples of step, at least one step wide.
func outward(s span, step float64) span {
	s.low, s.high = math.Floor(s.low/step+1e-9)*step, math.Ceil(s.high/step-1e-9)*step
	if s.low == s.high {
		s.low, s.high = s.low-step, s.high+step
	}
	return s
}

// frequencyAxis is the axis of log10 of the frequency over the edges given, with a tick at every centre
// and a label at as many of them as room for labels of that width in units allows.
func frequencyAxis(centres []float64, low, high, width, labelWidth float64) (span, []plot.Tick) {
	s := span{math.Log10(low), math.Log10(high)}
	if !finite(s.low, s.high) || s.low >= s.high {
		return span{}, nil
	}
	perUnit := width / (s.high - s.low)
	var out []plot.Tick
	for _, c := range centres {
		if v := math.Log10(c); finite(v) && v >= s.low && v <= s.high {
			out = append(out, plot.Tick{Value: v})
		}
	}
	// Labels go first to the frequencies that ears count in: octaves, then third octaves, then the rest.
	rank := func(hz float64) int {
		k := 10 * math.Log10(hz/1000)
		switch {
		case math.Abs(k-3*math.Round(k/3)) < 0.05:
			return 0
		case math.Abs(k-math.Round(k)) < 0.05:
			return 1
		}
		return 2
	}
	for want := range 3 {
		for i := range out {
			if out[i].Label != "" || rank(math.Pow(10, out[i].Value)) != want {
				continue
			}
			free := (s.high-out[i].Value)*perUnit > labelWidth/3 // else the label would be cut
			for j := range out {
				if out[j].Label != "" && math.Abs(out[j].Value-out[i].Value)*perUnit < labelWidth {
					free = false
				}
			}
			if free {
				out[i].Label = hertzTick(math.Pow(10, out[i].Value))
			}
		}
	}
	return s, out
}
