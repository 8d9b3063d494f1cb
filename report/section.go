package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"github.com/leadline/leadline/analysis"
)

// lossStandsOut is the extra loss in dB from which a well's response tells of a leak rather than of bare wood.
const lossStandsOut = 0.5

// swallows reports whether a well surely loses more than bare wood does.
func swallows(w analysis.Well) bool { return w.LossLow > lossStandsOut }

// explanations are the sets of depths that fit alike; none where only one does.
func (m *maker) explanations() []analysis.Explanation {
	if m.r.Fit == nil || len(m.r.Fit.Explanations) < 2 {
		return nil
	}
	return m.r.Fit.Explanations
}

// otherDepth is the depth of well i, from 0, by the second explanation; NaN where that has none, or none that could be told from the first on a drawing.
func (m *maker) otherDepth(i int) float64 {
	const apart = 0.0005 // m
	e := m.explanations()
	if e == nil || i < 0 || i >= len(e[1].DepthM) || !finite(e[1].DepthM[i]) || e[1].DepthM[i] < 0 {
		return math.NaN()
	}
	if i < len(e[0].DepthM) && math.Abs(e[1].DepthM[i]-e[0].DepthM[i]) < apart {
		return math.NaN()
	}
	return e[1].DepthM[i]
}

// apart names the wells on which the first two explanations part, with both depths.
func (m *maker) apart() string {
	var parts []string
	for i, w := range m.r.Wells {
		if d := m.otherDepth(i); d < float64(w.LowM) || d > float64(w.HighM) {
			parts = append(parts, fmt.Sprintf("well %d: %s or %s mm", w.Number, plain(w.BuiltM*1000, 1), plain(analysis.Num(d*1000), 1)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	if len(parts) > 3 {
		parts = append(parts[:3], fmt.Sprintf("%d more", len(parts)-3))
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

// section draws the panel cut across its wells, design and built over one another, and how far each well is off.
func (m *maker) section() (*figure, error) {
	r := m.r
	f := &figure{
		ID: "section", Title: "The panel, well by well", Columns: "pair",
		See:  "A cut across the panel, front at the top, to scale: the depth of each well by the design.",
		Sure: "Only the design is drawn: the built depths are not known.",
	}
	known, leaks := false, false
	for _, w := range r.Wells {
		known = known || w.BuiltM.Known()
		leaks = leaks || swallows(w)
	}
	f.Keys = []key{{"k-design", "design"}, {"k-well", "well (air)"}, {"k-wood", "wood"}}
	other := m.explanations()
	if known {
		f.See = "A cut across the panel, front at the top, to scale: each well as the measurement says it was built, with the design's depth as a dashed line. " +
			"The second picture enlarges the same difference: above the line means deeper than designed."
		f.Sure = sentence("The bars are 95 % intervals, the model's own error included.", m.fitWords())
		f.Keys = append(f.Keys, key{"k-built", "built, with 95 % interval"})
		if other != nil {
			f.Keys = append(f.Keys, key{"k-other", "other depths that fit as well"})
			f.Notes = append(f.Notes, fact{"Several answers", fmt.Sprintf("%d sets of depths explain the measurement about equally well; the table beneath the pictures puts them side by side. "+
				"Where they part (bold), the measurement can't tell which is true: a depth gauge can.", len(other))})
			f.Open = []table{m.explanationTable()}
		}
		if r.ToleranceM > 0 {
			f.Keys = append(f.Keys, key{"k-tolerance-band", "tolerance, ± " + millimetres(r.ToleranceM)})
		}
	}
	d := drawing{Caption: "Cut across the wells", SVG: m.crossSection("section-1", known)}
	if d.SVG == "" {
		d.Missing = "The panel's sizes are not known, so it can't be drawn."
	}
	f.Drawings = append(f.Drawings, d)
	if known {
		if err := m.put(f, "Built depth against design", m.deviation(), "No built depth is known."); err != nil {
			return nil, err
		}
	} else {
		f.Columns = "wide"
	}
	if leaks {
		f.See += fmt.Sprintf(" The third shows how much each well swallows of its reflection, more than its walls' air layers do; above the line at %s dB look for a gap, an open joint or fabric.",
			plainTick(lossStandsOut))
		if err := m.put(f, "What each well swallows", m.losses(), "No loss is known."); err != nil {
			return nil, err
		}
	}
	f.Tables = []table{m.wellTable()}
	if r.Fit != nil {
		f.Tables = append(f.Tables, m.fitTable())
	}
	return f.settle("The panel's sizes are not known, so it can't be drawn."), nil
}

// fitWords says how well the built depths explain the measurement.
func (m *maker) fitWords() string {
	fit := m.r.Fit
	if fit == nil || !finite(fit.Misfit, fit.DesignMisfit) {
		return ""
	}
	s := fmt.Sprintf("The built depths leave %s of the measured reflection unexplained, the design's leave %s", percent(fit.Misfit), percent(fit.DesignMisfit))
	if finite(fit.LowHz, fit.HighHz) {
		s += fmt.Sprintf("; from %s between %s and %s", count(fit.Positions, "position", "positions"), hertz(fit.LowHz), hertz(fit.HighHz))
	}
	return s + "."
}

func percent(share float64) string { return unit(fixed(100*share, 0), "%") }

// wellAxis spans the wells' numbers.
func (m *maker) wellAxis() span {
	x := span{math.Inf(1), math.Inf(-1)}
	for _, w := range m.r.Wells {
		n := float64(w.Number)
		x.low, x.high = math.Min(x.low, n-0.6), math.Max(x.high, n+0.6)
	}
	return x
}

// deviation is the chart of the built depths relative to the design.
func (m *maker) deviation() *chart {
	s := &series{look: measuredLook.bare()}
	s.radius = 2.6
	s.name = "built"
	other := &series{look: look{colour: textbookColour, marker: hollowSquare{}, radius: 3}, name: "other depths"}
	for i, w := range m.r.Wells {
		off := func(v analysis.Num) float64 { return (float64(v) - w.DesignM) * 1000 }
		s.addInterval(float64(w.Number), off(w.BuiltM), off(w.LowM), off(w.HighM))
		other.add(float64(w.Number), off(analysis.Num(m.otherDepth(i))))
	}
	tolerance := m.r.ToleranceM * 1000
	if !finite(tolerance) || tolerance < 0 {
		tolerance = 0
	}
	x, y := m.wellAxis(), span{-5, 5}
	if r, ok := reach([]*series{s, other}); ok {
		least := math.Max(2, 1.2*tolerance)
		r = span{math.Min(r.low, -least), math.Max(r.high, least)}
		y = outward(r, niceStep(r.high-r.low, 6))
	}
	zero := &series{look: look{colour: predictedColour, width: 1.4, dashes: predictedLook.dashes}, x: []float64{x.low, x.high}, y: []float64{0, 0}}
	c := m.wellChart("Built depth minus designed depth, well by well", "Chart with one mark and a 95 % interval for each well, in millimetres; 0 is the design. "+
		"The tolerance is shaded. The numbers are in the table below the picture.", "Deeper than designed (mm)", x, y)
	c.back = backdrop{colour: shadeColour, across: span{-tolerance, tolerance}}
	c.series = []*series{zero, other, s}
	return c
}

// losses is the chart of what each well swallows.
func (m *maker) losses() *chart {
	s := &series{look: measuredLook.bare(), name: "loss"}
	s.radius = 2.6
	for _, w := range m.r.Wells {
		s.addInterval(float64(w.Number), float64(w.Loss), float64(w.LossLow), float64(w.LossHigh))
	}
	x, y := m.wellAxis(), span{0, 2}
	if r, ok := reach([]*series{s}); ok {
		y = outward(span{0, math.Max(r.high, 1)}, niceStep(math.Max(r.high, 1), 6))
	}
	limit := &series{look: look{colour: predictedColour, width: 1.4, dashes: predictedLook.dashes}, x: []float64{x.low, x.high}, y: []float64{lossStandsOut, lossStandsOut}}
	c := m.wellChart("Extra loss of each well", "Chart with one mark and a 95 % interval for each well, in decibels. The numbers are in the table below the picture.", "Extra loss (dB)", x, y)
	c.series = []*series{limit, s}
	return c
}

func (m *maker) wellChart(title, desc, yLabel string, x, y span) *chart {
	step := math.Max(1, math.Ceil((x.high-x.low)/16))
	return &chart{title: title, desc: desc, w: 380, h: 230, xLabel: "Well number", yLabel: yLabel, x: x, y: y,
		xTicks: ticks(x, step, plainTick), yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick)}
}

// crossSection draws the cut, to scale; empty where the sizes are unknown.
func (m *maker) crossSection(id string, known bool) template.HTML {
	p := m.r.Panel
	n := min(len(p.WellCentreM), len(p.DesignDepthM))
	if !finite(p.WidthM, p.DepthM, p.WellWidthM) || p.WidthM <= 0 || p.DepthM <= 0 || p.WellWidthM <= 0 || n == 0 || p.DepthM > 4*p.WidthM {
		return ""
	}
	const w, left, top = 380.0, 10.0, 26.0
	scale := (w - 2*left) / p.WidthM
	px := func(x float64) float64 { return left + (x+p.WidthM/2)*scale }
	py := func(d float64) float64 { return top + d*scale }
	deepest := p.DepthM
	reaches := func(d float64) {
		if known && finite(d) {
			deepest = math.Max(deepest, math.Min(d, 2*p.DepthM))
		}
	}
	for i, well := range m.r.Wells {
		reaches(float64(well.HighM))
		reaches(m.otherDepth(i))
	}
	bottom := py(deepest)
	built := map[int]float64{}
	for _, well := range m.r.Wells {
		if known && finite(float64(well.BuiltM)) {
			built[well.Number-1] = float64(well.BuiltM)
		}
	}
	c := &pen{}
	c.rect("wood", px(-p.WidthM/2), top, p.WidthM*scale, p.DepthM*scale)
	wellW := p.WellWidthM * scale
	every := int(math.Max(1, math.Ceil(14/math.Max(wellW, 0.5))))
	for i := range n {
		x, d := p.WellCentreM[i], p.DesignDepthM[i]
		if !finite(x, d) {
			continue
		}
		l, air := px(x)-wellW/2, d
		if b, ok := built[i]; ok {
			air = b
		}
		if air = math.Min(air, deepest); air > 0 {
			c.rect("well", l, top, wellW, air*scale)
		}
		c.line("designline", l, py(d), l+wellW, py(d))
		if i%every == 0 {
			c.text("t-quiet", "middle", px(x), top-8, strconv.Itoa(i+1))
		}
	}
	var taken [3]float64 // right end of each row of flags
	rows := 1
	for _, well := range m.r.Wells {
		i := well.Number - 1
		if !known || i < 0 || i >= n || !finite(p.WellCentreM[i]) {
			continue
		}
		x := px(p.WellCentreM[i])
		if d := m.otherDepth(i); known && finite(d) {
			c.path("otherline", fmt.Sprintf("M%s %sV%sH%sV%s", coord(x-wellW/2+2), coord(top), coord(py(math.Min(d, deepest))), coord(x+wellW/2-2), coord(top)))
		}
		depth, ok := built[i]
		if !ok {
			c.text("t-quiet", "middle", x, bottom+15, "?")
			continue
		}
		y := py(math.Min(depth, deepest))
		if finite(float64(well.LowM), float64(well.HighM)) {
			lo, hi := py(math.Max(float64(well.LowM), -0.01)), py(math.Min(float64(well.HighM), deepest))
			c.path("interval", fmt.Sprintf("M%s %sV%sM%s %sh6M%s %sh6", coord(x), coord(lo), coord(hi), coord(x-3), coord(lo), coord(x-3), coord(hi)))
		}
		c.line("builtline", x-wellW/2+1, y, x+wellW/2-1, y)
		var flag string
		switch {
		case well.Verdict == "deep" || well.Verdict == "shallow":
			flag = well.Verdict
		case swallows(well):
			flag = "leak?"
		default:
			continue
		}
		half := 3 * float64(len(flag))
		for row := range taken {
			if x-half > taken[row] { // neighbours stand one below the other
				c.text("t-flag", "middle", x, bottom+15+12*float64(row), flag)
				taken[row], rows = x+half, max(rows, row+1)
				break
			}
		}
	}
	if known {
		bottom += 6 + 12*float64(rows) // the rows of flags
	}
	l := niceStep(p.WidthM/3, 1)
	c.path("scalebar", fmt.Sprintf("M%s %sv-5M%s %sh%sM%s %sv-5", coord(left), coord(bottom+19), coord(left), coord(bottom+16.5), coord(l*scale), coord(left+l*scale), coord(bottom+19)))
	c.text("t-quiet", "start", left+l*scale+6, bottom+20, plainTick(l*1000)+" mm")
	return wrap(id, "Cut across the panel, design and built", fmt.Sprintf("The panel with %s, front at the top, drawn to scale. The depths are in the table below the picture.",
		count(n, "well", "wells")), w, bottom+27, c.String())
}
