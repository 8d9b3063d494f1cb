package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/leadline/leadline/analysis"
	"gonum.org/v1/plot/vg"
)

// spaced sets an order of panels with spaces, as the survey may have it.
func spaced(order string) string { return strings.Join(strings.Split(shorten(order, 32), ""), " ") }

// modulated reports whether the row is other than panels as designed.
func modulated(row *analysis.Row) bool { return strings.Trim(row.Order, "D") != "" }

// row draws the row of panels from above and how evenly it spreads the sound in each band; nil without a row.
func (m *maker) row() (*figure, error) {
	row := m.r.Row
	if row == nil {
		return nil, nil
	}
	f := &figure{
		ID: "row", Title: "The panels in a row", Columns: "pair",
		See: "The row from above, wells open towards the top, with the letter of each panel (D as designed, I inverted, M mirrored, B both); beside it how evenly " +
			"the whole row, as one structure, spreads the sound: 1 is alike in all directions, 0 is one direction alone.",
		Sure: "This is a calculation; the row was not measured. It takes the row to be of unlimited height and all panels to be as exact as the drawing.",
	}
	for i, s := range row.Text {
		term := ""
		if i == 0 {
			term = "The row"
		}
		f.Notes = append(f.Notes, fact{term, s})
	}
	if svg := rowPlan(f.ID+"-1", row); svg != "" {
		f.Drawings = append(f.Drawings, drawing{Caption: fmt.Sprintf("Order %s, %s m wide", spaced(row.Order), trimmed(row.WidthM)), SVG: svg})
	}
	whole, equal, flat, built := series{look: predictedLook.plain()}, series{look: equalLook}, series{look: predictedFlatLook}, series{look: measuredLook}
	whole.name, equal.name, flat.name, built.name = "row", "as many panels as designed", "flat board of the row's size", "row as built"
	for _, b := range row.Bands {
		x := logHz(b.CentreHz)
		whole.add(x, float64(b.Row))
		flat.add(x, float64(b.Flat))
		built.add(x, float64(b.Built))
		if modulated(row) {
			equal.add(x, float64(b.Equal))
		}
	}
	axis, xt, _ := m.bandAxis(330, 26)
	y := span{0, 1}
	backdrop := backdrop{}
	if finite(row.DesignLowHz, row.DesignHighHz) && row.DesignLowHz > 0 && row.DesignLowHz < row.DesignHighHz {
		backdrop.shade, backdrop.colour = []span{{math.Log10(row.DesignLowHz), math.Log10(row.DesignHighHz)}}, gateColour
	}
	if err := m.put(f, "Diffusion coefficient of the whole row", &chart{
		title: "Diffusion coefficient of the row against frequency", desc: "Line chart over frequency in hertz for the row, as many panels as designed and a flat board of the row's size. " +
			"Shaded: the design band. The numbers are in the table below the pictures.",
		w: 380, h: 260, xLabel: "Frequency (Hz)", yLabel: "Diffusion coefficient", x: axis, y: y, xTicks: xt, yTicks: ticks(y, 0.2, plainTick),
		back: backdrop, series: []*series{&flat, &equal, &whole, &built},
	}, "No diffusion coefficient of the row is known."); err != nil {
		return nil, err
	}
	f.Keys = legend(keyIf(&whole, key{"k-predicted", "row, predicted"}), keyIf(&built, key{"k-measured", "row with the depths as built"}),
		keyIf(&equal, key{"k-equal", "as many panels as designed"}), keyIf(&flat, key{"k-predflat", "flat board of the row's size"}))
	if backdrop.shade != nil {
		f.Keys = append(f.Keys, key{"k-gatearea", "design band"})
	}
	if s := row.Search; s != nil {
		f.Open = append(f.Open, ordersTable(s))
	}
	f.Tables = append(f.Tables, rowBandTable(row), boxTable(row), kindTable(row))
	return f, nil
}

// equalLook is the curve of as many panels as designed, the comparison that the row's own order is measured against.
var equalLook = look{textbookColour, 1.5, []vg.Length{1.5, 2.5}, hollowDisc{}, 2}

func ordersTable(s *analysis.RowSearch) table {
	t := table{Caption: fmt.Sprintf("Orders that were compared (the best, those of the trade and the worst of %d): diffusion coefficients, means over the design band", s.Tried),
		Head: []string{"Order", "Rank", "Mean", "Mean far away", "Lowest band", "at", "Known as"}, Words: map[int]bool{6: true}}
	for _, o := range s.Orders {
		known := o.What
		if o.Suggested {
			known = strings.TrimSuffix("suggested; "+known, "; ")
		}
		t.row(spaced(o.Order), strconv.Itoa(o.Rank), num(o.Mean, 3), num(o.Far, 3), num(o.Lowest, 2), hertz(float64(o.LowestHz)), known)
	}
	return t
}

func rowBandTable(row *analysis.Row) table {
	t := table{Caption: "Diffusion coefficients of the row, predicted", Head: []string{"Band", "Row", "Normalised", "As built", "All as designed", "Flat board", "In the design band"}, Words: map[int]bool{6: true}}
	for _, b := range row.Bands {
		counts := "no"
		if b.Design {
			counts = "yes"
		}
		if b.Why != "" {
			counts += ": " + b.Why
		}
		t.row(hertz(b.CentreHz), num(b.Row, 2), num(b.Normalised, 2), num(b.Built, 2), num(b.Equal, 2), num(b.Flat, 2), counts)
	}
	return t.known()
}

// boxTable is what has to be built.
func boxTable(row *analysis.Row) table {
	t := table{Caption: "Boxes to build, from the left as drawn from above; lengths in millimetres", Head: []string{"Box", "Panel", "Kind", "Wells", "Left fin", "Right fin", "Width", "Depth", "Begins at x"}}
	for i, b := range row.Boxes {
		kind := dash
		if b.Panel >= 1 && b.Panel <= len(row.Panels) {
			kind = row.Panels[b.Panel-1].Kind
		}
		t.row(strconv.Itoa(i+1), strconv.Itoa(b.Panel), kind, fmt.Sprintf("%d to %d", b.FirstWell, b.FirstWell+b.Wells-1), fixed(b.LeftFinM*1000, 1), fixed(b.RightFinM*1000, 1),
			fixed((b.X1M-b.X0M)*1000, 1), fixed(row.DepthM*1000, 1), fixed(b.X0M*1000, 1))
	}
	return t
}

// kindTable holds the depths of each kind of panel.
func kindTable(row *analysis.Row) table {
	t := table{Caption: "Depths of the wells by kind of panel, in millimetres, from the left as drawn from above", Head: []string{"Well"}}
	wells := 0
	for _, k := range row.Kinds {
		t.Head = append(t.Head, clean(k.Letter+": "+k.Name))
		wells = max(wells, len(k.DepthM))
	}
	for i := range wells {
		cells := []string{strconv.Itoa(i + 1)}
		for _, k := range row.Kinds {
			d := math.NaN()
			if i < len(k.DepthM) {
				d = k.DepthM[i]
			}
			cells = append(cells, fixed(d*1000, 1))
		}
		t.row(cells...)
	}
	return t
}

// rowPlan draws the row from above, to scale.
func rowPlan(id string, row *analysis.Row) template.HTML {
	n := min(len(row.WellCentreM), len(row.WellDepthM))
	if !finite(row.WidthM, row.DepthM) || row.WidthM <= 0 || row.DepthM <= 0 || row.DepthM > 4*row.WidthM || n == 0 || n > 2000 || len(row.Panels) == 0 {
		return ""
	}
	const w, left, top = 380.0, 10.0, 24.0
	scale := (w - 2*left) / row.WidthM
	px := func(x float64) float64 { return left + (x+row.WidthM/2)*scale }
	wells := row.WellCentreM[:n]
	p := &pen{}
	for _, b := range row.Panels {
		if !finite(b.X0M, b.X1M) {
			return ""
		}
		p.rect("wood", px(b.X0M), top, (b.X1M-b.X0M)*scale, row.DepthM*scale)
		p.text("t-strong", "middle", px((b.X0M+b.X1M)/2), top-7, shorten(b.Kind, 2)) // one letter, by the survey
	}
	width := row.WellWidthM
	if !finite(width) || width <= 0 {
		return ""
	}
	for i, x := range wells {
		if d := row.WellDepthM[i]; finite(x, d) && d > 0 {
			p.rect("well", px(x-width/2), top, width*scale, math.Min(d, row.DepthM)*scale)
		}
	}
	bottom := top + row.DepthM*scale
	for i, b := range row.Boxes {
		if i > 0 && finite(b.X0M) {
			p.line("face", px(b.X0M), top+3, px(b.X0M), bottom+4)
		}
	}
	l := niceStep(row.WidthM/3, 1)
	p.path("scalebar", fmt.Sprintf("M%s %sv-5M%s %sh%sM%s %sv-5", coord(left), coord(bottom+19), coord(left), coord(bottom+16.5), coord(l*scale), coord(left+l*scale), coord(bottom+19)))
	p.text("t-quiet", "start", left+l*scale+6, bottom+20, trimmed(l)+" m")
	return wrap(id, "The row of panels from above", fmt.Sprintf("%s in the order %s, wells open towards the top, drawn to scale; a line marks where one box ends and the next begins. The boxes and depths are in the tables below the pictures.",
		count(len(row.Panels), "panel", "panels"), spaced(row.Order)), w, bottom+27, p.String())
}

// rowPolars draws the row's polar responses with the directions of its lobes; nil without a row.
func (m *maker) rowPolars() (*figure, error) {
	row := m.r.Row
	if row == nil {
		return nil, nil
	}
	f := &figure{
		ID: "rowpolar", Title: "Where the row sends the sound, far away", Columns: "many",
		See: fmt.Sprintf("The further out the curve, the stronger the sound in that direction, at one frequency each; source and listeners far away, the sound comes in at %s°. "+
			"Panels that repeat send the sound into lobes: the strokes at the rim show in which directions. Levels are in dB re the strongest direction of a flat board of the row's size.", degrees(row.SourceAngleDeg)),
		Sure: "This is a calculation; the row was not measured. Nearer to the row the lobes overlap, and over a whole band, whose frequencies have their lobes in different directions, they wash out.",
	}
	var known []int
	for i, p := range row.Polars {
		if slices.ContainsFunc(p.RowDB, func(v analysis.Num) bool { return finite(float64(v)) }) && finite(p.FrequencyHz) {
			known = append(known, i)
		}
	}
	chosen := spread(known, 6)
	pitch, own := false, false
	for _, i := range chosen {
		p := row.Polars[i]
		f.Drawings = append(f.Drawings, drawing{Caption: hertz(p.FrequencyHz), Note: lobesText(p.Lobes), SVG: rowPolar(fmt.Sprintf("%s-%d", f.ID, len(f.Drawings)+1), row, p)})
		pitch, own = pitch || len(p.Lobes) > 0, own || len(p.Own) > 0
	}
	f.Keys = []key{{"k-polar-panel", "row"}}
	if modulated(row) {
		f.Keys = append(f.Keys, key{"k-textbook", "as many panels as designed"})
	}
	f.Keys = append(f.Keys, key{"k-polar-flat", "flat board of the row's size"})
	if pitch {
		f.Keys = append(f.Keys, key{"k-lobe", "lobe of equal panels"})
	}
	if own {
		f.Keys = append(f.Keys, key{"k-ownlobe", "lobe of the order's own repetition"})
	}
	f.Tables = rowPolarTables(row, chosen)
	return f.settle("No polar response of the row is known."), nil
}

func lobesText(lobes []analysis.RowLobe) string {
	if len(lobes) == 0 {
		return "no lobes of repetition"
	}
	var parts []string
	for _, l := range lobes {
		if len(lobes) <= 7 || l.M >= 0 && len(parts) < 4 {
			parts = append(parts, degrees(l.AngleDeg)+"°")
		}
	}
	text := "lobes of equal panels at " + strings.Join(parts, ", ")
	if n := len(lobes) - len(parts); n > 0 {
		text += fmt.Sprintf(" and %d more", n)
	}
	return text
}

// rowPolar draws one frequency.
func rowPolar(id string, row *analysis.Row, p analysis.RowPolar) template.HTML {
	d := newDial(p.AngleDeg, p.RowDB, p.FlatDB, p.EqualDB)
	what := "the row and the flat board"
	d.curve("c-flat", p.FlatDB)
	if modulated(row) {
		d.curve("c-textbook", p.EqualDB)
		what = "the row, as many panels as designed and the flat board"
	}
	d.curve("c-panel", p.RowDB)
	mark := func(class string, lobes []analysis.RowLobe, from, to float64) {
		for _, l := range lobes {
			if finite(l.AngleDeg) && math.Abs(l.AngleDeg) <= 90 {
				x1, y1 := d.point(l.AngleDeg, polarRadius+from)
				x2, y2 := d.point(l.AngleDeg, polarRadius+to)
				d.line(class, x1, y1, x2, y2)
			}
		}
	}
	mark("ownlobe", p.Own, -5, 0)
	mark("lobe", p.Lobes, -8, 2)
	d.source(row.SourceAngleDeg)
	return wrap(id, "Predicted polar response of the row at "+hertz(p.FrequencyHz),
		"Half-circle chart of levels in decibels over the angle, 0 degrees up, for "+what+"; strokes at the rim mark the lobes of repetition. The numbers are in the tables below the pictures.",
		polarWidth, polarHeight, d.String())
}

func rowPolarTables(row *analysis.Row, chosen []int) []table {
	lobes := table{Caption: "Lobes of equal panels: number, direction and levels there (dB)", Head: []string{"Frequency", "m", "Angle" + nbsp + "(°)", "Row", "All as designed"}}
	for _, p := range row.Polars {
		for _, l := range p.Lobes {
			lobes.row(hertz(p.FrequencyHz), strings.Replace(strconv.Itoa(l.M), "-", "−", 1), degrees(l.AngleDeg), num(l.RowDB, 1), num(l.EqualDB, 1))
		}
	}
	var out []table
	if len(lobes.Rows) > 0 {
		out = append(out, lobes)
	}
	for _, i := range chosen {
		p := row.Polars[i]
		step := max(1, int(math.Ceil(float64(len(p.AngleDeg))/40)))
		t := table{Caption: "Levels far away at " + hertz(p.FrequencyHz) + " (dB)", Small: true, Head: []string{"Angle" + nbsp + "(°)", "Row", "All as designed", "Flat board"}}
		if step > 1 {
			t.Caption += fmt.Sprintf("; one angle in %d (the data file holds all)", step)
		}
		for a := 0; a < len(p.AngleDeg); a += step {
			t.row(degrees(p.AngleDeg[a]), fixed(at(p.RowDB, a), 1), fixed(at(p.EqualDB, a), 1), fixed(at(p.FlatDB, a), 1))
		}
		out = append(out, t)
	}
	return out
}

func rowBandsCSV(r *analysis.Result) *csvTable {
	t := newCSV("centre_hz in_design_band row normalised built all_as_designed flat why")
	if r.Row != nil {
		for _, b := range r.Row.Bands {
			t.row(b.CentreHz, b.Design, b.Row, b.Normalised, b.Built, b.Equal, b.Flat, b.Why)
		}
	}
	return t
}

func rowBoxesCSV(r *analysis.Result) *csvTable {
	t := newCSV("box panel first_well wells left_fin_m right_fin_m x0_m x1_m depth_m")
	if r.Row != nil {
		for i, b := range r.Row.Boxes {
			t.row(i+1, b.Panel, b.FirstWell, b.Wells, b.LeftFinM, b.RightFinM, b.X0M, b.X1M, r.Row.DepthM)
		}
	}
	return t
}

func rowWellsCSV(r *analysis.Result) *csvTable {
	t := newCSV("well centre_m depth_m")
	if r.Row != nil {
		for i := range min(len(r.Row.WellCentreM), len(r.Row.WellDepthM)) {
			t.row(i+1, r.Row.WellCentreM[i], r.Row.WellDepthM[i])
		}
	}
	return t
}

func rowOrdersCSV(r *analysis.Result) *csvTable {
	t := newCSV("order rank mean mean_far lowest lowest_hz suggested known_as")
	if r.Row != nil && r.Row.Search != nil {
		for _, o := range r.Row.Search.Orders {
			t.row(o.Order, o.Rank, o.Mean, o.Far, o.Lowest, o.LowestHz, o.Suggested, o.What)
		}
	}
	return t
}

func rowPolarCSV(r *analysis.Result) *csvTable {
	t := newCSV("frequency_hz angle_deg row_db all_as_designed_db flat_db")
	if r.Row != nil {
		for _, p := range r.Row.Polars {
			for i, a := range p.AngleDeg {
				t.row(p.FrequencyHz, a, at(p.RowDB, i), at(p.EqualDB, i), at(p.FlatDB, i))
			}
		}
	}
	return t
}

func rowLobesCSV(r *analysis.Result) *csvTable {
	t := newCSV("frequency_hz of m angle_deg row_db all_as_designed_db")
	if r.Row != nil {
		for _, p := range r.Row.Polars {
			for i, lobes := range [][]analysis.RowLobe{p.Lobes, p.Own} {
				for _, l := range lobes {
					t.row(p.FrequencyHz, []string{"equal panels", "the order"}[i], l.M, l.AngleDeg, l.RowDB, l.EqualDB)
				}
			}
		}
	}
	return t
}
