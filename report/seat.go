package report

import (
	"fmt"
	"math"
	"strings"

	"github.com/leadline/leadline/analysis"
	"gonum.org/v1/plot/vg"
)

// maxSeatPictures bounds how many seats are drawn; the others stand in the tables.
const maxSeatPictures = 4

// asIs returns the figures of the panel as built where known, else as designed, and what that is called.
func asIs(s *analysis.Seat) (analysis.SeatFigures, string) {
	if s.Built != nil {
		return *s.Built, "panel, as built"
	}
	return s.Design, "panel, as designed"
}

// sweepAsIs is the sweep of the same.
func sweepAsIs(s *analysis.SeatSweep) []analysis.SeatPoint {
	if len(s.Built) > 0 {
		return s.Built
	}
	return s.Design
}

// seatAdvice is what the section "Where to sit" says of one seat.
type seatAdvice struct {
	Name, Text, Tuning string
	Reasons            []string
}

func (m *maker) seatAdvice() (out []seatAdvice) {
	if m.r.Seating == nil {
		return nil
	}
	for _, s := range m.r.Seating.Seats {
		out = append(out, seatAdvice{s.Name, s.Advice.Text, s.Tuning.Text, s.Advice.Reasons})
	}
	return out
}

var (
	nowLook     = look{predictedColour, 1.8, nil, nil, 0}
	designLook  = look{predictedColour, 1.2, []vg.Length{5, 2.5}, nil, 0}
	nothingLook = look{inkColour, 0.9, nil, nil, 0}
	limitLook   = look{inkColour, 1, []vg.Length{4, 2}, nil, 0}
)

// seats draws the pictures of the first seats.
func (m *maker) seats() ([]*figure, error) {
	if m.r.Seating == nil {
		return nil, nil
	}
	var out []*figure
	for i := range m.r.Seating.Seats {
		if i == maxSeatPictures {
			break
		}
		f, err := m.seat(i)
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}

func (m *maker) seat(i int) (*figure, error) {
	seating := m.r.Seating
	s := &seating.Seats[i]
	now, nowName := asIs(s)
	f := &figure{ID: fmt.Sprintf("seat-%d", i+1), Title: "At the seat “" + shorten(s.Name, 60) + "”", Columns: "pair",
		See: "How deep the comb is that direct sound and reflection make together, over distance and frequency, as the ear's bands smooth it: the darker, the deeper. The line marks the seat. " +
			"The curves below are what is heard at the seat, and what changes with the distance.",
		Sure: "All of it is computed" + map[bool]string{true: " for the depths that were recovered", false: ""}[s.Built != nil] + ". " + strings.Join(seating.Doubts, " "),
	}
	f.Drawings = append(f.Drawings, m.combMap(f.ID+"-map", "Comb depth, "+nowName, s, s.Sweep.PanelCombDB), m.combMap(f.ID+"-mapflat", "Comb depth, flat board in its place", s, s.Sweep.FlatCombDB))
	for j, name := range combSteps() {
		f.Keys = append(f.Keys, key{fmt.Sprintf("k-heat heat%d", j), name})
	}

	line := func(l look, name string, x []float64, y func(i int) float64) *series {
		c := &series{look: l, name: name}
		for i := range x {
			c.add(x[i], y(i))
		}
		return c
	}
	var hz []float64
	for _, v := range s.FrequencyHz {
		hz = append(hz, logHz(v))
	}
	level := func(v []analysis.Num) func(i int) float64 { return func(i int) float64 { return at(v, i) } }
	curves := []*series{line(nothingLook, "", hz, func(int) float64 { return 0 }), line(predictedFlatLook, "flat board", hz, level(s.Flat.HeardDB))}
	if s.Built != nil {
		curves = append(curves, line(designLook, "as designed", hz, level(s.Design.HeardDB)))
	}
	curves = append(curves, line(nowLook, nowName, hz, level(now.HeardDB)))
	y := span{-5, 5}
	if r, ok := reach(curves); ok {
		y = outward(span{math.Max(r.low, -25), math.Min(r.high, 15)}, 2)
	}
	axis, xt := frequencyAxis(seating.BandHz, 250, 5600, 330, 26)
	if err := m.put(f, "Direct and scattered sound at the seat, re the direct sound", &chart{
		title: "Level at the seat of direct and scattered sound together", desc: "Line chart over frequency in hertz. The numbers per band are in the table below the pictures.",
		w: 380, h: 240, xLabel: "Frequency (Hz)", yLabel: "Level (dB)", x: axis, y: y, xTicks: xt, yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick), series: curves,
	}, "No curve is known at this seat."); err != nil {
		return nil, err
	}

	d := s.Sweep.DistanceM
	value := func(points []analysis.SeatPoint, pick func(analysis.SeatPoint) analysis.Num) func(i int) float64 {
		return func(i int) float64 {
			if i >= len(points) || !finite(float64(pick(points[i]))) {
				return math.NaN()
			}
			return float64(pick(points[i]))
		}
	}
	var marks []mark
	addMark := func(x float64, name string) {
		if finite(x) {
			marks = append(marks, mark{x: x, name: name, row: len(marks)})
		}
	}
	addMark(s.PlaceM[1], "seat")
	addMark(float64(s.Advice.AtLeastM), "computed")
	for j, r := range seating.Rules {
		if j < 2 {
			addMark(float64(r.DistanceM), []string{"3 wavelengths", "3 × depth"}[j])
		}
	}
	for _, part := range []struct {
		caption, yLabel string
		pick            func(analysis.SeatPoint) analysis.Num
		limit           float64
		marks           []mark
	}{
		{"Strongest third octave of the scattered sound, re the direct sound", "Level (dB)", func(p analysis.SeatPoint) analysis.Num { return p.WorstDB }, seating.Criterion.LimitDB, marks},
		{"Comb depth, mean over 1 to 5 kHz", "Depth (dB)", func(p analysis.SeatPoint) analysis.Num { return p.MeanCombDB }, math.NaN(), marks[:min(1, len(marks))]},
		{"Variation of the level across 0.6 m", "Deviation (dB)", func(p analysis.SeatPoint) analysis.Num { return p.MeanUnevenness }, math.NaN(), marks[:min(1, len(marks))]},
	} {
		all := []*series{line(predictedFlatLook, "flat board", d, value(s.Sweep.Flat, part.pick))}
		if s.Built != nil {
			all = append(all, line(designLook, "as designed", d, value(s.Sweep.Design, part.pick)))
		}
		all = append(all, line(nowLook, nowName, d, value(sweepAsIs(&s.Sweep), part.pick)))
		x, y := span{math.Inf(1), math.Inf(-1)}, span{0, 1}
		for _, v := range d {
			if finite(v) {
				x.low, x.high = math.Min(x.low, v), math.Max(x.high, v)
			}
		}
		if r, ok := reach(all); ok {
			step := niceStep(r.high-r.low, 5)
			y = outward(span{math.Min(r.low, 0), r.high + 0.28*(r.high-math.Min(r.low, 0))}, math.Max(step, 0.2)) // the marks' names stand above
			if finite(part.limit) {
				y = outward(span{math.Max(r.low, -30), math.Min(r.high, 20) + 0.4*(math.Min(r.high, 20)-math.Max(r.low, -30))}, 5)
				all = append([]*series{line(limitLook, "", d, func(int) float64 { return part.limit })}, all...)
			}
		}
		named := append([]mark(nil), part.marks...)
		for j := range named {
			named[j].left = named[j].x > x.low+0.7*(x.high-x.low)
		}
		if err := m.put(f, part.caption, &chart{
			title: part.caption + ", against the distance from the panel's front", desc: "Line chart over the distance in metres. The numbers are in the table below the pictures.",
			w: 380, h: 240, xLabel: "Distance from the panel (m)", yLabel: part.yLabel, x: x, y: y, xTicks: ticks(x, niceStep(x.high-x.low, 8), plainTick),
			yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick), back: backdrop{marks: named}, series: all,
		}, "No distance is known."); err != nil {
			return nil, err
		}
	}
	f.Drawings = append(f.Drawings, m.tuningMap(f.ID+"-tuning", s))
	f.Keys = append(f.Keys, key{"k-polar-panel", nowName})
	if s.Built != nil {
		f.Keys = append(f.Keys, key{"k-predicted", "panel, as designed"})
	}
	f.Keys = append(f.Keys, key{"k-predflat", "flat board"}, key{"k-nothing", "nothing there (0 dB)"}, key{"k-window", fmt.Sprintf("limit, %s dB", fixed(seating.Criterion.LimitDB, 0))})
	f.Tables = m.seatTables(s)
	return f.settle("Nothing is known at this seat."), nil
}

// combEdges part the shades of a comb's depth, in dB.
var combEdges = [...]float64{0.5, 1, 2, 3, 4.5, 6, 9}

func combSteps() []string {
	out := []string{"under " + plainTick(combEdges[0]) + nbsp + "dB"}
	for i := 1; i < len(combEdges); i++ {
		out = append(out, plainTick(combEdges[i-1])+" to "+plainTick(combEdges[i])+nbsp+"dB")
	}
	return append(out, "over "+plainTick(combEdges[len(combEdges)-1])+nbsp+"dB")
}

// shadeOf is the class of a comb's depth; ok is false where it isn't known.
func shadeOf(depth float64) (shade int, ok bool) {
	if !finite(depth) {
		return 0, false
	}
	for shade < len(combEdges) && depth >= combEdges[shade] {
		shade++
	}
	return shade, true
}

// heat draws cells of classes heat0 … heat7 over a grid whose lines are given in the drawing's units; one path for each shade.
func heat(p *pen, x, y []float64, value func(column, row int) float64) bool {
	var paths [len(combEdges) + 1]strings.Builder
	any := false
	for row := range len(y) - 1 {
		for c := 0; c < len(x)-1; {
			shade, ok := shadeOf(value(c, row))
			end := c + 1
			for ; end < len(x)-1; end++ {
				if s, k := shadeOf(value(end, row)); k != ok || s != shade {
					break
				}
			}
			if ok {
				any = true
				fmt.Fprintf(&paths[shade], "M%s %sH%sV%sH%sZ", coord(x[c]), coord(y[row]), coord(x[end]), coord(y[row+1]), coord(x[c]))
			}
			c = end
		}
	}
	for shade := range paths {
		if paths[shade].Len() > 0 {
			p.path(fmt.Sprintf("heat%d", shade), paths[shade].String())
		}
	}
	return any
}

// betweens are the lines half way between sorted positions, and as far beyond the ends.
func betweens(v []float64) []float64 {
	if len(v) == 0 {
		return nil
	}
	if len(v) == 1 {
		return []float64{v[0] - 1, v[0] + 1}
	}
	out := []float64{v[0] - (v[1]-v[0])/2}
	for i := 1; i < len(v); i++ {
		out = append(out, (v[i-1]+v[i])/2)
	}
	return append(out, v[len(v)-1]+(v[len(v)-1]-v[len(v)-2])/2)
}

// rising reports whether all v can be drawn and rise.
func rising(v []float64) bool {
	for i := range v {
		if !finite(v[i]) || i > 0 && v[i] <= v[i-1] {
			return false
		}
	}
	return len(v) > 1
}

// combMap draws a comb's depth over frequency (across) and distance (up), with the seat marked.
func (m *maker) combMap(id, caption string, s *analysis.Seat, depth [][]analysis.Num) drawing {
	const w, h, left, right, top, bottom = 380.0, 250.0, 42.0, 10.0, 8.0, 40.0
	out := drawing{Caption: caption}
	var hz []float64
	for _, f := range s.Sweep.FrequencyHz {
		hz = append(hz, logHz(f))
	}
	d := s.Sweep.DistanceM
	if !rising(hz) || !rising(d) {
		out.Missing = "No map is known here."
		return out
	}
	fx, dy := betweens(hz), betweens(d)
	px := func(v float64) float64 { return left + (v-fx[0])/(fx[len(fx)-1]-fx[0])*(w-left-right) }
	py := func(v float64) float64 { return h - bottom - (v-dy[0])/(dy[len(dy)-1]-dy[0])*(h-top-bottom) }
	x, y := make([]float64, len(fx)), make([]float64, len(dy))
	for i, v := range fx {
		x[i] = px(v)
	}
	for i, v := range dy {
		y[i] = py(v)
	}
	p := &pen{}
	if !heat(p, x, y, func(c, row int) float64 {
		if row >= len(depth) {
			return math.NaN()
		}
		return at(depth[row], c)
	}) {
		out.Missing = "No map is known here."
		return out
	}
	p.rect("frame", left, top, w-left-right, h-top-bottom)
	_, xt := frequencyAxis(octaveThirds(s.Sweep.FrequencyHz[0], s.Sweep.FrequencyHz[len(hz)-1]), math.Pow(10, fx[0]), math.Pow(10, fx[len(fx)-1]), w-left-right, 26)
	for _, t := range xt {
		p.line("tick", px(t.Value), h-bottom, px(t.Value), h-bottom+3)
		if t.Label != "" {
			p.text("t-quiet", "middle", px(t.Value), h-bottom+14, t.Label)
		}
	}
	ys := span{dy[0], dy[len(dy)-1]}
	for _, t := range ticks(ys, niceStep(ys.high-ys.low, 7), plainTick) {
		p.line("tick", left-3, py(t.Value), left, py(t.Value))
		p.text("t-quiet", "end", left-6, py(t.Value)+3.5, t.Label)
	}
	p.text("t-mic", "middle", left+(w-left-right)/2, h-8, "Frequency (Hz)")
	fmt.Fprintf(p, `<text class="t-mic" text-anchor="middle" transform="translate(11 %s)rotate(-90)">Distance (m)</text>`, coord(top+(h-top-bottom)/2))
	if v := s.PlaceM[1]; finite(v) && v >= ys.low && v <= ys.high {
		p.line("seatunder", left, py(v), w-right, py(v))
		p.line("seatline", left, py(v), w-right, py(v))
		p.text("t-strong", "end", w-right-4, py(v)-4, "seat")
	}
	out.SVG = wrap(id, caption+" over distance and frequency", "Map of the comb's depth in decibels: frequency in hertz across, distance from the panel's front in metres upwards; a line marks the seat. The numbers are in the table below the pictures.", w, h, p.String())
	return out
}

// tuningMap draws the comb's depth over the seat's distance (across) and the panel's sideways place (up), with the place now and the best one marked.
func (m *maker) tuningMap(id string, s *analysis.Seat) drawing {
	const w, h, left, right, top, bottom = 380.0, 190.0, 54.0, 10.0, 8.0, 40.0
	t := &s.Tuning
	out := drawing{Caption: "Comb depth, mean over 1 to 5 kHz, with the panel moved sideways", Note: "Circle: now. Square: best within the limits given."}
	if !rising(t.DistanceM) || !rising(t.PanelXM) {
		out.Missing, out.Note = "No other place was tried.", ""
		return out
	}
	fx, dy := betweens(t.DistanceM), betweens(t.PanelXM)
	px := func(v float64) float64 { return left + (v-fx[0])/(fx[len(fx)-1]-fx[0])*(w-left-right) }
	py := func(v float64) float64 { return h - bottom - (v-dy[0])/(dy[len(dy)-1]-dy[0])*(h-top-bottom) }
	x, y := make([]float64, len(fx)), make([]float64, len(dy))
	for i, v := range fx {
		x[i] = px(v)
	}
	for i, v := range dy {
		y[i] = py(v)
	}
	p := &pen{}
	if !heat(p, x, y, func(c, row int) float64 {
		if row >= len(t.Points) || c >= len(t.Points[row]) {
			return math.NaN()
		}
		return float64(t.Points[row][c].MeanCombDB)
	}) {
		out.Missing, out.Note = "No other place was tried.", ""
		return out
	}
	p.rect("frame", left, top, w-left-right, h-top-bottom)
	xs := span{fx[0], fx[len(fx)-1]}
	for _, k := range ticks(xs, niceStep(xs.high-xs.low, 8), plainTick) {
		p.line("tick", px(k.Value), h-bottom, px(k.Value), h-bottom+3)
		p.text("t-quiet", "middle", px(k.Value), h-bottom+14, k.Label)
	}
	for _, v := range t.PanelXM {
		p.line("tick", left-3, py(v), left, py(v))
		p.text("t-quiet", "end", left-6, py(v)+3.5, plainTick(v))
	}
	p.text("t-mic", "middle", left+(w-left-right)/2, h-8, "Seat's distance from the panel (m)")
	fmt.Fprintf(p, `<text class="t-mic" text-anchor="middle" transform="translate(11 %s)rotate(-90)">Panel moved (m)</text>`, coord(top+(h-top-bottom)/2))
	if finite(t.BestDistanceM, t.BestPanelXM) {
		bx, by := px(t.BestDistanceM), py(t.BestPanelXM)
		p.rect("bestplace", bx-6, by-6, 12, 12)
	}
	if finite(s.PlaceM[1]) {
		p.circle("nowplace", px(s.PlaceM[1]), py(0), 4)
	}
	out.SVG = wrap(id, out.Caption, "Map of the comb's mean depth in decibels: the seat's distance in metres across, the panel's sideways place in metres upwards. The numbers are in the table below the pictures.", w, h, p.String())
	return out
}

// seatTables hold a seat's numbers: per band, per distance, and the tuning.
func (m *maker) seatTables(s *analysis.Seat) []table {
	seating := m.r.Seating
	bands := table{Caption: "At the seat, per third octave: scattered re direct sound, comb depth and variation across 0.6 m, all in dB, predicted", Small: true, Head: []string{"Band"}}
	states := []struct {
		name string
		f    *analysis.SeatFigures
	}{{"as built", s.Built}, {"designed", &s.Design}, {"flat", &s.Flat}, {"lying", &s.Lying}, {"one more", &s.Another}}
	for _, what := range []string{"Scattered", "Comb", "Variation"} {
		for _, st := range states {
			if st.f != nil {
				bands.Head = append(bands.Head, what+", "+st.name)
			}
		}
	}
	for i, hz := range seating.BandHz {
		row := []string{hertz(hz)}
		for k := range 3 {
			for _, st := range states {
				if st.f != nil {
					row = append(row, fixed(at([][]analysis.Num{st.f.ReflectionDB, st.f.CombDB, st.f.UnevennessDB}[k], i), 1))
				}
			}
		}
		bands.row(row...)
	}
	_, nowName := asIs(s)
	sweep := table{Caption: "Over the distance from the panel's front: " + nowName + " and flat board; strongest third octave re the direct sound, mean comb depth, mean variation across 0.6 m (dB), spread of the scattered energy in time (ms)", Small: true,
		Head: []string{"Distance (m)", "Strongest", "flat", "Comb", "flat", "Variation", "flat", "Spread", "flat"}}
	points := sweepAsIs(&s.Sweep)
	for i, d := range s.Sweep.DistanceM {
		if i >= len(points) || i >= len(s.Sweep.Flat) {
			break
		}
		a, b := points[i], s.Sweep.Flat[i]
		sweep.row(fixed(d, 2), num(a.WorstDB, 1), num(b.WorstDB, 1), num(a.MeanCombDB, 1), num(b.MeanCombDB, 1), num(a.MeanUnevenness, 1), num(b.MeanUnevenness, 1), scaled(a.SpreadS, 1000, 2), scaled(b.SpreadS, 1000, 2))
	}
	out := []table{bands, sweep, m.seatMapTable("Comb depth over distance and frequency, "+nowName+" (dB)", s, s.Sweep.PanelCombDB), m.seatMapTable("Comb depth over distance and frequency, flat board (dB)", s, s.Sweep.FlatCombDB)}
	t := &s.Tuning
	tuning := table{Caption: "Mean comb depth (and strongest third octave re the direct sound) in dB, the panel moved sideways by so many metres", Small: true, Head: []string{"Seat at (m)"}}
	for _, x := range t.PanelXM {
		tuning.Head = append(tuning.Head, plainTick(x))
	}
	for i, d := range t.DistanceM {
		row := []string{fixed(d, 2)}
		for p := range t.PanelXM {
			cell := dash
			if p < len(t.Points) && i < len(t.Points[p]) {
				cell = num(t.Points[p][i].MeanCombDB, 1) + " (" + num(t.Points[p][i].WorstDB, 1) + ")"
			}
			row = append(row, cell)
		}
		tuning.row(row...)
	}
	out = append(out, tuning)
	if q := s.Measured; q != nil {
		measured := table{Caption: "Measured at the seat and predicted through the same gate (" + scaled(q.Gate.StartS, 1000, 2) + " to " + scaled(q.Gate.EndS, 1000, 2) + " ms), in dB", Small: true,
			Head: []string{"Band", "Scattered, measured", "predicted", "with the flat board's help", "Flat board, measured", "predicted", "Comb, measured", "predicted", "Flat board's comb, measured", "predicted"}}
		for i, hz := range seating.BandHz {
			measured.row(hertz(hz), fixed(at(q.Panel.ReflectionDB, i), 1), fixed(at(q.Predicted.ReflectionDB, i), 1), fixed(at(q.WithFlatDB, i), 1), fixed(at(q.Flat.ReflectionDB, i), 1), fixed(at(q.PredictedFlat.ReflectionDB, i), 1),
				fixed(at(q.Panel.CombDB, i), 1), fixed(at(q.Predicted.CombDB, i), 1), fixed(at(q.Flat.CombDB, i), 1), fixed(at(q.PredictedFlat.CombDB, i), 1))
		}
		out = append(out, measured)
	}
	return out
}

// seatMapTable samples a map: every second frequency and at most 10 distances; the data file holds all.
func (m *maker) seatMapTable(caption string, s *analysis.Seat, depth [][]analysis.Num) table {
	t := table{Caption: caption, Small: true, Head: []string{"Distance (m)"}}
	for i := 0; i < len(s.Sweep.FrequencyHz); i += 2 {
		t.Head = append(t.Head, hertz(s.Sweep.FrequencyHz[i]))
	}
	step := max(1, (len(s.Sweep.DistanceM)+9)/10)
	if step > 1 {
		t.Caption += fmt.Sprintf("; one distance in %d (the data file holds all)", step)
	}
	for d := 0; d < len(s.Sweep.DistanceM) && d < len(depth); d += step {
		row := []string{fixed(s.Sweep.DistanceM[d], 2)}
		for i := 0; i < len(s.Sweep.FrequencyHz); i += 2 {
			row = append(row, fixed(at(depth[d], i), 1))
		}
		t.row(row...)
	}
	return t
}

// seatSummary is the table of all seats.
func (m *maker) seatSummary() table {
	t := table{Caption: "All seats: predicted for the panel as built where known, else as designed; levels re the direct sound", Small: true,
		Head: []string{"Seat", "x (m)", "y (m)", "z (m)", "Sit at least (m)", "Flat board (m)", "Strongest third octave (dB)", "flat (dB)", "Comb (dB)", "flat (dB)", "Across 0.6 m (dB)", "flat (dB)", "Limit kept"}}
	for i := range m.r.Seating.Seats {
		s := &m.r.Seating.Seats[i]
		f, _ := asIs(s)
		t.row(append(append([]string{s.Name}, place(s.PlaceM)...), num(s.Advice.AtLeastM, 2), num(s.Advice.FlatAtLeastM, 2), num(f.WorstDB, 1), num(s.Flat.WorstDB, 1), num(f.MeanCombDB, 1), num(s.Flat.MeanCombDB, 1),
			num(f.MeanUnevenness, 1), num(s.Flat.MeanUnevenness, 1), map[bool]string{true: "yes", false: "no"}[s.Advice.Holds])...)
	}
	return t
}

// seats writes a line or two for each of the first seats.
func (t *text) seats(r *analysis.Result) {
	if r.Seating == nil || len(r.Seating.Seats) == 0 {
		return
	}
	var lines []string
	for _, s := range r.Seating.Seats {
		lines = append(lines, fmt.Sprintf("%s, %s m from the panel: %s", shorten(s.Name, 30), plain(analysis.Num(s.PlaceM[1]), 2), s.Advice.Text))
	}
	t.list("Where to sit", lines, 2, "- ")
}
