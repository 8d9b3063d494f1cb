package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	"github.com/leadline/leadline/analysis"
)

// section draws the panel cut across its wells, design and built over one another, and how far each well is off.
func (m *maker) section() (*figure, error) {
	r := m.r
	f := &figure{
		ID: "section", Title: "The panel, well by well", Columns: "pair",
		See:  "A cut across the panel, front at the top, to scale: the depth of each well by the design.",
		Sure: "Only the design is drawn: the built depths are not known.",
	}
	known := false
	for _, w := range r.Wells {
		known = known || w.BuiltM.Known()
	}
	f.Keys = []key{{"k-design", "design"}, {"k-well", "well (air)"}, {"k-wood", "wood"}}
	if known {
		f.See = "A cut across the panel, front at the top, to scale: each well as the measurement says it was built, with the design's depth as a dashed line. " +
			"The second picture enlarges the same difference: above the line means deeper than designed."
		f.Sure = "The bars are 95 % intervals, the model's own error included."
		f.Keys = append(f.Keys, key{"k-built", "built, with 95 % interval"})
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
	f.Tables = []table{m.wellTable()}
	return f.settle("The panel's sizes are not known, so it can't be drawn."), nil
}

// deviation is the chart of the built depths relative to the design.
func (m *maker) deviation() *chart {
	s := &series{look: measuredLook.bare()}
	s.radius = 2.6
	x := span{math.Inf(1), math.Inf(-1)}
	for _, w := range m.r.Wells {
		n := float64(w.Number)
		x.low, x.high = math.Min(x.low, n-0.6), math.Max(x.high, n+0.6)
		off := func(v analysis.Num) float64 { return (float64(v) - w.DesignM) * 1000 }
		s.addInterval(n, off(w.BuiltM), off(w.LowM), off(w.HighM))
	}
	y := span{-5, 5}
	if r, ok := reach([]*series{s}); ok {
		r = span{math.Min(r.low, -2), math.Max(r.high, 2)}
		y = outward(r, niceStep(r.high-r.low, 6))
	}
	step := math.Max(1, math.Ceil((x.high-x.low)/16))
	zero := &series{look: look{colour: predictedColour, width: 1.4, dashes: predictedLook.dashes}, x: []float64{x.low, x.high}, y: []float64{0, 0}}
	return &chart{
		title: "Built depth minus designed depth, well by well", desc: "Chart with one mark and a 95 % interval for each well, in millimetres; 0 is the design. The numbers are in the table below the picture.",
		w: 380, h: 230, xLabel: "Well number", yLabel: "Deeper than designed (mm)", x: x, y: y,
		xTicks: ticks(x, step, plainTick), yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick), series: []*series{zero, s},
	}
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
	for _, well := range m.r.Wells {
		if known && finite(float64(well.HighM)) {
			deepest = math.Max(deepest, math.Min(float64(well.HighM), 2*p.DepthM))
		}
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
	for _, well := range m.r.Wells {
		i := well.Number - 1
		if !known || i < 0 || i >= n || !finite(p.WellCentreM[i]) {
			continue
		}
		x := px(p.WellCentreM[i])
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
		if well.Verdict == "deep" || well.Verdict == "shallow" {
			c.text("t-flag", "middle", x, bottom+15, well.Verdict)
		}
	}
	if known {
		bottom += 18 // the row of flags
	}
	l := niceStep(p.WidthM/3, 1)
	c.path("scalebar", fmt.Sprintf("M%s %sv-5M%s %sh%sM%s %sv-5", coord(left), coord(bottom+19), coord(left), coord(bottom+16.5), coord(l*scale), coord(left+l*scale), coord(bottom+19)))
	c.text("t-quiet", "start", left+l*scale+6, bottom+20, plainTick(l*1000)+" mm")
	return wrap(id, "Cut across the panel, design and built", fmt.Sprintf("The panel with %s, front at the top, drawn to scale. The depths are in the table below the picture.",
		count(n, "well", "wells")), w, bottom+27, c.String())
}
