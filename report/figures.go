package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"github.com/leadline/leadline/analysis"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
)

// figure is one picture: one or more drawings that are read together.
type figure struct {
	ID, Title string
	See, Sure string // what this result's picture shows and how sure that is, one line each
	Read      string // how the picture is read
	Notes     []fact // more lines of that kind
	Keys      []key
	Columns   string // wide (one drawing), pair or many
	Drawings  []drawing
	Missing   string  // stands in the drawings' place
	Open      []table // short ones that are read together with the drawings
	Tables    []table
}

type drawing struct {
	Caption string
	Note    string // a quiet line under the caption
	SVG     template.HTML
	Missing string
}

// key is one entry of a figure's legend; Mark is a class of style.css.
type key struct{ Mark, Text string }

var (
	keyMeasured      = key{"k-measured", "panel, measured"}
	keyPredicted     = key{"k-predicted", "panel, predicted"}
	keyFlat          = key{"k-flat", "flat board, measured"}
	keyPredictedFlat = key{"k-predflat", "flat board, predicted"}
)

// maker draws the figures of one result.
type maker struct {
	r  *analysis.Result
	sh *sheet
}

func (m *maker) predictOnly() bool { return m.r.Kind == "predict" }

// put draws c and adds it to f, or a sentence in its place.
func (m *maker) put(f *figure, caption string, c *chart, missing string) error {
	c.id = fmt.Sprintf("%s-%d", f.ID, len(f.Drawings)+1)
	svg, err := c.svg(m.sh)
	if err != nil {
		return err
	}
	d := drawing{Caption: caption, SVG: svg}
	if svg == "" {
		d.Missing = missing
	}
	f.Drawings = append(f.Drawings, d)
	return nil
}

// settle replaces drawings that are all missing by one sentence.
func (f *figure) settle(missing string) *figure {
	for _, d := range f.Drawings {
		if d.SVG != "" {
			return f
		}
	}
	f.Drawings, f.Keys, f.Missing = nil, nil, missing
	return f
}

// figures draws all pictures in reading order. A picture of what a run need not have is nil where it has none of it.
func (m *maker) figures() ([]*figure, error) {
	var out []*figure
	for _, make := range []func() (*figure, error){m.setup, m.section, m.levels, m.agreement, m.diffusion, m.comb, m.timeView, m.takes, m.recordings, m.farField, m.row, m.rowPolars} {
		f, err := make()
		if err != nil {
			return nil, err
		}
		if f == nil {
			continue
		}
		m.say(f)
		out = append(out, f)
	}
	seats, err := m.seats()
	if err != nil {
		return nil, err
	}
	for _, f := range seats {
		m.say(f)
	}
	return append(out, seats...), nil
}

// say puts what the picture shows in this result before how it is read.
func (m *maker) say(f *figure) {
	for _, s := range m.r.Seen {
		if s.Picture == f.ID && s.Text != "" && f.Missing == "" {
			f.Read, f.See = f.See, s.Text
		}
	}
}

// usableBands lists the bands that count.
func (m *maker) usableBands() []int {
	var out []int
	for i, b := range m.r.Bands {
		if b.Usable {
			out = append(out, i)
		}
	}
	return out
}

// spread picks at most n of all, evenly from first to last.
func spread(all []int, n int) []int {
	if len(all) <= n {
		return all
	}
	out := make([]int, n)
	for i := range out {
		out[i] = all[int(math.Round(float64(i)*float64(len(all)-1)/float64(n-1)))]
	}
	return out
}

// edges are a band's limits; where they are missing, those of a third octave.
func edges(b analysis.Band) span {
	if finite(b.LowHz, b.HighHz) && b.LowHz > 0 && b.HighHz > b.LowHz {
		return span{b.LowHz, b.HighHz}
	}
	return span{b.CentreHz * math.Pow(10, -0.05), b.CentreHz * math.Pow(10, 0.05)}
}

// bandAxis is the frequency axis over all bands, with the unusable ranges to be shaded.
func (m *maker) bandAxis(width, labelWidth float64) (axis span, xt []plot.Tick, shade []span) {
	low, high := math.Inf(1), 0.0
	var centres []float64
	for _, b := range m.r.Bands {
		if !finite(b.CentreHz) || b.CentreHz <= 0 {
			continue
		}
		e := edges(b)
		low, high = math.Min(low, e.low), math.Max(high, e.high)
		centres = append(centres, b.CentreHz)
		if b.Usable {
			continue
		}
		s := span{math.Log10(e.low), math.Log10(e.high)}
		if n := len(shade); n > 0 && s.low <= shade[n-1].high+0.002 {
			shade[n-1].high = s.high
		} else {
			shade = append(shade, s)
		}
	}
	axis, xt = frequencyAxis(centres, low, high, width, labelWidth)
	return axis, xt, shade
}

func logHz(hz float64) float64 {
	if !finite(hz) || hz <= 0 {
		return math.NaN()
	}
	return math.Log10(hz)
}

// counted lists the positions that count in the figures, for drawing in the order of their angle.
func (m *maker) counted() []analysis.Position {
	var out []analysis.Position
	for _, p := range m.r.Positions {
		if p.Used && finite(p.AngleDeg) {
			out = append(out, p)
		}
	}
	return out
}

func (m *maker) leftOut() string {
	n := len(m.r.Positions) - len(m.counted())
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" %s left out; the table of positions says why.", count(n, "position is", "positions are"))
}

// angleAxis spans the angles of the counted positions.
func (m *maker) angleAxis() (span, []plot.Tick) {
	s := span{math.Inf(1), math.Inf(-1)}
	for _, p := range m.counted() {
		s.low, s.high = math.Min(s.low, p.AngleDeg), math.Max(s.high, p.AngleDeg)
	}
	return angles(s)
}

// angles makes an axis of the angles s, in degrees; empty where s is.
func angles(s span) (span, []plot.Tick) {
	if s.low > s.high {
		return span{}, nil
	}
	s.low, s.high = math.Max(s.low-4, -180), math.Min(s.high+4, 180)
	step := 30.0
	if s.high-s.low < 70 {
		step = niceStep(s.high-s.low, 5)
	}
	return s, ticks(s, step, plainTick)
}

// diffusion draws the diffusion coefficient against frequency.
func (m *maker) diffusion() (*figure, error) {
	f := &figure{
		ID: "diffusion", Title: "How evenly the sound is spread", Columns: "pair",
		See: "The directional diffusion coefficient in each band: 1 is sound spread alike to all microphones, 0 is sound sent to one alone. " +
			"“Normalised” is what the panel adds to a flat board of its size.",
	}
	var measured, flat, predicted, predictedFlat, normalised, predictedNormalised series
	measured.look, flat.look, predicted.look, predictedFlat.look = measuredLook, flatLook, predictedLook, predictedFlatLook
	normalised.look, predictedNormalised.look = measuredLook, predictedLook
	measured.name, flat.name, predicted.name, predictedFlat.name = keyMeasured.Text, keyFlat.Text, keyPredicted.Text, keyPredictedFlat.Text
	normalised.name, predictedNormalised.name = keyMeasured.Text, keyPredicted.Text
	intervals, shaded := false, 0
	for _, b := range m.r.Bands {
		x := logHz(b.CentreHz)
		put := func(s *series, v analysis.Num, i *analysis.Interval) {
			low, high := math.NaN(), math.NaN()
			if i != nil && i.Low.Known() && i.High.Known() {
				low, high, intervals = float64(i.Low), float64(i.High), true
			}
			s.addInterval(x, float64(v), low, high)
		}
		d := b.Diffusion
		put(&measured, d.Panel, d.PanelInterval)
		put(&flat, d.Flat, d.FlatInterval)
		put(&normalised, d.Normalised, d.NormalisedInterval)
		put(&predicted, d.PredictedPanel, nil)
		put(&predictedFlat, d.PredictedFlat, nil)
		put(&predictedNormalised, d.PredictedNormalised, nil)
		if !b.Usable {
			shaded++
		}
	}
	for _, part := range []struct {
		caption, what string
		series        []*series
	}{
		{"Panel and flat board", "Diffusion coefficient of the panel and of the flat board, measured and predicted",
			[]*series{&predictedFlat, &flat, &predicted, &measured}},
		{"Normalised: the panel against the flat board", "Normalised diffusion coefficient of the panel, measured and predicted",
			[]*series{&predictedNormalised, &normalised}},
	} {
		axis, xt, shade := m.bandAxis(330, 26)
		y := span{0, 1}
		if r, ok := reach(part.series); ok {
			y = outward(span{math.Max(math.Min(0, r.low), -1), math.Min(math.Max(1, r.high), 1.2)}, 0.2)
		}
		err := m.put(f, part.caption, &chart{
			title: part.what, desc: "Line chart over frequency in hertz, from " + hertz(math.Pow(10, axis.low)) + " to " + hertz(math.Pow(10, axis.high)) +
				". Shaded: bands that can't be used. The numbers are in the table below the picture.",
			w: 380, h: 260, xLabel: "Frequency (Hz)", yLabel: "Diffusion coefficient", x: axis, y: y, xTicks: xt, yTicks: ticks(y, 0.2, plainTick),
			back: backdrop{shade: shade, colour: shadeColour}, series: part.series,
		}, "No diffusion coefficient is known here.")
		if err != nil {
			return nil, err
		}
	}
	f.Keys = legend(keyIf(&measured, keyMeasured), keyIf(&flat, keyFlat), keyIf(&predicted, keyPredicted), keyIf(&predictedFlat, keyPredictedFlat))
	if intervals {
		f.Keys = append(f.Keys, key{"k-bar", "95 % interval"})
		f.Sure = "The bars are 95 % intervals from takes that were repeated; errors that all takes share are not in them."
	} else if m.predictOnly() {
		f.Sure = "This is a calculation; nothing here was measured."
	} else {
		f.Sure = "No take was repeated, so no interval can be drawn: treat small differences as chance."
	}
	if shaded > 0 {
		f.Keys = append(f.Keys, key{"k-shade", "band not usable"})
		f.Sure += fmt.Sprintf(" %d of %s can't be used (shaded).", shaded, count(len(m.r.Bands), "band", "bands"))
	}
	if m.r.Receivers.Text != "" {
		f.Notes = append(f.Notes, fact{"Microphones", m.r.Receivers.Text})
	}
	f.Tables = []table{m.diffusionTable("Diffusion coefficients by band")}
	return f.settle("No diffusion coefficient is known in any band, so there is nothing to draw."), nil
}

func keyIf(s *series, k key) key {
	if s.drawn() {
		return k
	}
	return key{}
}

// legend drops the entries of curves that aren't there.
func legend(ks ...key) []key {
	var out []key
	for _, k := range ks {
		if k.Mark != "" {
			out = append(out, k)
		}
	}
	return out
}

// levels draws the reflected level against the angle, one chart per usable band.
func (m *maker) levels() (*figure, error) {
	f := &figure{
		ID: "levels", Title: "Reflected level against angle", Columns: "many",
		See: "How strong the reflection is at each microphone, band by band. A flat board peaks where a mirror would send the sound; a diffuser fills in the rest.",
	}
	type band struct {
		i                               int
		measured, flat, predicted, both series
	}
	var bands []*band
	var all []*series
	intervals := false
	drawn := spread(m.usableBands(), 12)
	if n := len(m.usableBands()) - len(drawn); n > 0 {
		f.See += fmt.Sprintf(" %s between these stand in the tables only.", count(n, "band", "bands"))
	}
	for _, i := range drawn {
		b := &band{i: i}
		b.measured.look, b.flat.look, b.predicted.look, b.both.look = measuredLook, flatLook, predictedLook, predictedFlatLook
		b.measured.name, b.flat.name, b.predicted.name, b.both.name = keyMeasured.Text, keyFlat.Text, keyPredicted.Text, keyPredictedFlat.Text
		for _, p := range m.counted() {
			low, high := math.NaN(), math.NaN()
			if i < len(p.PanelIntervalDB) {
				low, high = float64(p.PanelIntervalDB[i].Low), float64(p.PanelIntervalDB[i].High)
				intervals = intervals || finite(low, high)
			}
			b.measured.addInterval(p.AngleDeg, at(p.PanelDB, i), low, high)
			b.flat.add(p.AngleDeg, at(p.FlatDB, i))
			b.predicted.add(p.AngleDeg, at(p.PredictedDB, i))
			b.both.add(p.AngleDeg, at(p.PredictedFlatDB, i))
		}
		if b.flat.drawn() {
			b.both = series{look: predictedFlatLook} // one flat board is enough where it was measured
		}
		for _, s := range []*series{&b.both, &b.flat, &b.predicted, &b.measured} {
			s.sortByX()
			all = append(all, s)
		}
		bands = append(bands, b)
	}
	y, cut := span{-30, 5}, false
	if r, ok := reach(all); ok {
		cut = r.low < r.high-40
		y = outward(span{math.Max(r.low, r.high-40), r.high}, 5)
	}
	axis, xt := m.angleAxis()
	var keys [4]key
	for _, b := range bands {
		centre := hertz(m.r.Bands[b.i].CentreHz)
		err := m.put(f, centre, &chart{
			title: "Reflected level against angle at " + centre,
			desc:  "Line chart over the angle in degrees from the panel's normal. The numbers are in the table below the pictures.",
			w:     300, h: 190, xLabel: "Angle (°)", yLabel: "Level (dB)", x: axis, y: y, xTicks: xt, yTicks: ticks(y, 10, plainTick),
			series: []*series{&b.both, &b.flat, &b.predicted, &b.measured},
		}, "Nothing is known in this band.")
		if err != nil {
			return nil, err
		}
		for j, k := range []key{keyIf(&b.measured, keyMeasured), keyIf(&b.predicted, keyPredicted), keyIf(&b.flat, keyFlat), keyIf(&b.both, keyPredictedFlat)} {
			if k.Mark != "" {
				keys[j] = k
			}
		}
	}
	f.Keys = legend(keys[:]...)
	if ref := m.levelReference(); ref != "" {
		f.See += " Levels are in dB re the " + ref + "."
	}
	if m.predictOnly() {
		f.Sure = "This is a calculation; nothing here was measured."
	} else {
		f.Sure = "The next picture sets the difference between measurement and prediction beside what the tolerance alone would cause."
		if intervals {
			f.Keys = append(f.Keys, key{"k-bar", "95 % interval"})
		}
	}
	f.Sure += m.leftOut()
	if cut {
		f.Sure += " Levels more than 40 dB under the strongest are not drawn."
	}
	f.Tables = m.levelTables()
	return f.settle("No band is usable, so no reflected level can be drawn."), nil
}

// levelReference says what the levels of the positions refer to.
func (m *maker) levelReference() string {
	ref := clean(m.r.LevelReference)
	if m.predictOnly() {
		ref = "flat board's strongest position" // its own flat board's
	}
	if strings.HasPrefix(ref, "flat board") {
		ref += " in the band"
	}
	return ref
}

// comb draws the comb signature against the angle.
func (m *maker) comb() (*figure, error) {
	f := &figure{
		ID: "comb", Title: "Comb signature", Columns: "many",
		See: "Direct sound and reflection together make a comb: peaks and notches in the spectrum. The first pictures show how deep the notches are (peak to notch), " +
			"the last two at which frequencies they lie. A flat board's comb is deep and regular; a diffuser's is shallow and broken up.",
	}
	type traces struct{ measured, predicted, flat, predictedFlat series }
	look := func(t *traces) {
		t.measured.look, t.predicted.look, t.flat.look, t.predictedFlat.look = measuredLook, predictedLook, flatLook, predictedFlatLook
	}
	chosen := spread(m.combBands(), 3)
	depth := make([]traces, len(chosen))
	var all []*series
	for j, i := range chosen {
		t := &depth[j]
		look(t)
		t.measured.name, t.predicted.name, t.flat.name, t.predictedFlat.name = keyMeasured.Text, keyPredicted.Text, keyFlat.Text, keyPredictedFlat.Text
		for _, p := range m.counted() {
			t.measured.add(p.AngleDeg, at(p.Comb.Panel.PeakToNotchDB, i))
			t.predicted.add(p.AngleDeg, at(p.Comb.PredictedPanel.PeakToNotchDB, i))
			t.flat.add(p.AngleDeg, at(p.Comb.Flat.PeakToNotchDB, i))
			t.predictedFlat.add(p.AngleDeg, at(p.Comb.PredictedFlat.PeakToNotchDB, i))
		}
		for _, s := range []*series{&t.measured, &t.predicted, &t.flat, &t.predictedFlat} {
			s.sortByX()
			all = append(all, s)
		}
	}
	axis, xt := m.angleAxis()
	y := span{0, 20}
	if r, ok := reach(all); ok {
		y = outward(span{0, math.Min(math.Max(r.high, 5), 40)}, 5)
	}
	var keys [4]key
	remember := func(t *traces) {
		for j, k := range []key{keyIf(&t.measured, keyMeasured), keyIf(&t.predicted, keyPredicted), keyIf(&t.flat, keyFlat), keyIf(&t.predictedFlat, keyPredictedFlat)} {
			if k.Mark != "" {
				keys[j] = k
			}
		}
	}
	for j, i := range chosen {
		t := &depth[j]
		remember(t)
		centre := hertz(m.r.Bands[i].CentreHz)
		err := m.put(f, "Depth at "+centre, &chart{
			title: "Peak-to-notch depth of the comb against angle at " + centre,
			desc:  "Line chart over the angle in degrees from the panel's normal. The numbers are in the table below the pictures.",
			w:     300, h: 190, xLabel: "Angle (°)", yLabel: "Peak to notch (dB)", x: axis, y: y, xTicks: xt, yTicks: ticks(y, niceStep(y.high, 5), plainTick),
			series: []*series{&t.predictedFlat, &t.flat, &t.predicted, &t.measured},
		}, "No comb is known in this band.")
		if err != nil {
			return nil, err
		}
	}
	var n traces
	look(&n)
	n.measured.look, n.predicted.look = measuredLook.bare(), predictedLook.ring()
	n.flat.look, n.predictedFlat.look = flatLook.bare(), flatLook.ring()
	n.measured.radius, n.flat.radius = 1.6, 1.5
	low, highest := math.Inf(1), 0.0
	for _, p := range m.counted() {
		for _, t := range []struct {
			s *series
			v []analysis.Num
		}{{&n.measured, p.Comb.Panel.NotchHz}, {&n.predicted, p.Comb.PredictedPanel.NotchHz}, {&n.flat, p.Comb.Flat.NotchHz}, {&n.predictedFlat, p.Comb.PredictedFlat.NotchHz}} {
			for i := range t.v {
				hz := at(t.v, i)
				if v := logHz(hz); finite(v) {
					t.s.add(p.AngleDeg, v)
					low, highest = math.Min(low, hz), math.Max(highest, hz)
				}
			}
		}
	}
	high := highest
	const most = 12 // of a position: above, neighbours run into one another
	for _, p := range m.counted() {
		for _, notches := range [][]analysis.Num{p.Comb.Panel.NotchHz, p.Comb.PredictedPanel.NotchHz, p.Comb.Flat.NotchHz, p.Comb.PredictedFlat.NotchHz} {
			if len(notches) > most && at(notches, most-1) < high {
				high = math.Max(at(notches, most-1), 1.5*low)
			}
		}
	}
	if high < highest {
		f.See += fmt.Sprintf(" Notches are drawn up to %s; the table counts all.", hertz(high))
	}
	fy, fyt := frequencyAxis(octaveThirds(low, high), low/1.1, high*1.1, 200, 15)
	for _, part := range []struct {
		caption string
		series  []*series
	}{{"Notches, panel", []*series{&n.predicted, &n.measured}}, {"Notches, flat board", []*series{&n.predictedFlat, &n.flat}}} {
		err := m.put(f, part.caption, &chart{
			title: part.caption + ": notch frequencies against angle",
			desc:  "Scatter chart of notch frequencies in hertz over the angle in degrees. The number of notches and the lowest one of each position are in the table below.",
			w:     300, h: 260, xLabel: "Angle (°)", yLabel: "Notch (Hz)", x: axis, y: fy, xTicks: xt, yTicks: fyt, series: part.series,
		}, "No notch was found.")
		if err != nil {
			return nil, err
		}
	}
	remember(&n)
	f.Keys = legend(keys[:]...)
	if n.predicted.drawn() || n.predictedFlat.drawn() {
		f.Keys = append(f.Keys, key{"k-ring", "notch, predicted (ring)"})
	}
	f.Sure = "Notch frequencies follow from the distances alone and move with every centimetre of microphone or source; their depth is what tells about the panel."
	if m.predictOnly() {
		f.Sure = "This is a calculation; nothing here was measured."
	}
	f.Sure += m.leftOut()
	f.Tables = m.combTables()
	return f.settle("No comb signature is known, so there is nothing to draw."), nil
}

// combBands lists the usable bands in which there is a comb at all: a low band may hold neither peak nor notch.
func (m *maker) combBands() []int {
	var out []int
	for _, i := range m.usableBands() {
		for _, p := range m.counted() {
			if at(p.Comb.Panel.PeakToNotchDB, i) > 0.05 || at(p.Comb.PredictedPanel.PeakToNotchDB, i) > 0.05 || at(p.Comb.Flat.PeakToNotchDB, i) > 0.05 || at(p.Comb.PredictedFlat.PeakToNotchDB, i) > 0.05 {
				out = append(out, i)
				break
			}
		}
	}
	return out
}

// octaveThirds lists the third-octave mid-bands from low to high.
func octaveThirds(low, high float64) []float64 {
	if !finite(low, high) || low <= 0 || high/low > 1e6 {
		return nil
	}
	var out []float64
	for k := math.Ceil(10 * math.Log10(low/1.1)); k <= 10*math.Log10(high*1.1); k++ {
		out = append(out, math.Pow(10, k/10))
	}
	return out
}

// timeView draws the responses of one position around the gate.
func (m *maker) timeView() (*figure, error) {
	f := &figure{ID: "time", Title: "One position in time", Columns: "pair"}
	v := m.r.TimeView
	if v == nil {
		f.Missing = "There are no measurements, so there is no time view."
		return f, nil
	}
	f.See = fmt.Sprintf("The sound at “%s” as time goes on: first the direct sound, then the panel's reflection. Only what lies in the shaded gate counts.", clean(v.Position))
	if m.r.LoudspeakerDivided {
		f.Notes = append(f.Notes, fact{"Loudspeaker", "Its colour and ringing are already divided out here: what rings is the panel or the room."})
	}
	x := span{math.Inf(1), math.Inf(-1)}
	for i := range v.TimeS {
		if t := at(v.TimeS, i) * 1000; finite(t) {
			x.low, x.high = math.Min(x.low, t), math.Max(x.high, t)
		}
	}
	xt := ticks(x, niceStep(x.high-x.low, 7), plainTick)
	back := backdrop{colour: gateColour, shade: []span{{float64(v.Gate.StartS) * 1000, float64(v.Gate.EndS) * 1000}}}
	if !v.Gate.StartS.Known() || !v.Gate.EndS.Known() {
		back.shade = nil
	}
	for _, k := range []mark{{float64(v.DirectS) * 1000, "direct sound", 0, false}, {float64(v.ArrivalS) * 1000, "reflection", 0, false}} {
		if finite(k.x) {
			k.left = k.x > x.low+0.8*(x.high-x.low)
			if len(back.marks) > 0 && k.x-back.marks[0].x < 0.25*(x.high-x.low) {
				k.row = 1
			}
			back.marks = append(back.marks, k)
		}
	}
	curve := func(l look, y []analysis.Num) *series {
		s := &series{look: l.plain()}
		s.width = 1
		s.x, s.y = thinned(v.TimeS, y, 400)
		return s
	}
	empty, panel := curve(flatLook, v.Empty), curve(measuredLook, v.Panel)
	panelDiff, flatDiff := curve(measuredLook, v.PanelDiff), curve(flatLook, v.FlatDiff)
	empty.name, panel.name, panelDiff.name, flatDiff.name = "without the panel", "with the panel", "panel", "flat board"
	window := curve(predictedLook, v.Window)
	window.colour, window.dashes = inkColour, []vg.Length{4, 2}
	for _, part := range []struct {
		caption, yLabel string
		series          []*series
	}{
		{"As recorded", "Pressure re direct peak", []*series{empty, panel}},
		{"The reflection alone (with minus without)", "Pressure re direct peak", []*series{flatDiff, panelDiff}},
	} {
		y := span{-1, 1}
		if r, ok := reach(part.series); ok {
			top := math.Max(math.Max(-r.low, r.high), 1e-6)
			y = span{-top * 1.08, top * 1.4} // the marks' names stand above the curves
		}
		ss := part.series
		if part.series[0] == flatDiff && window.drawn() {
			raised := *window
			raised.y = make([]float64, len(window.y))
			for i, w := range window.y {
				raised.y[i] = w * y.high * 0.8 // the window's 1 is drawn below the names
			}
			ss = append([]*series{&raised}, ss...)
		}
		err := m.put(f, part.caption, &chart{
			title: part.caption + ", at " + v.Position,
			desc:  "Line chart over time in milliseconds since the sound left the source; the gate is shaded. Sampled numbers are in the table below the picture.",
			w:     380, h: 235, xLabel: "Time since emission (ms)", yLabel: part.yLabel, x: x, y: y, xTicks: xt,
			yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick), back: back, series: ss,
		}, "No response is known here.")
		if err != nil {
			return nil, err
		}
	}
	keyNames := []key{{"k-measured-line", "with the panel"}, {"k-flat-line", "first picture: without it; second: flat board"}}
	f.Keys = append(f.Keys, keyNames...)
	if window.drawn() {
		f.Keys = append(f.Keys, key{"k-window", "time window, plateau = 1"})
	}
	if back.shade != nil {
		f.Keys = append(f.Keys, key{"k-gate", "gate"})
		f.Sure = fmt.Sprintf("The gate runs from %s to %s ms", scaled(v.Gate.StartS, 1000, 2), scaled(v.Gate.EndS, 1000, 2))
		f.Sure += endWords(v.Gate.EndedBy) + ". A short gate blurs frequencies: nothing finer than about one over its length can be told."
	} else {
		f.Sure = "No gate could be set at this position, so nothing here counts in the figures."
	}
	f.Tables = []table{m.timeTable()}
	return f.settle("The time view holds no samples."), nil
}

// thinned brings a trace to at most 2n points that keep its peaks: the lowest and the highest sample of each of n stretches.
func thinned(t, y []analysis.Num, n int) (xs, ys []float64) {
	size := min(len(t), len(y))
	if size <= 2*n {
		for i := range size {
			xs, ys = append(xs, at(t, i)*1000), append(ys, at(y, i))
		}
		return xs, ys
	}
	for k := range n {
		from, to := k*size/n, (k+1)*size/n
		lo, hi := from, from
		for i := from; i < to; i++ {
			if v := at(y, i); v < at(y, lo) || math.IsNaN(at(y, lo)) {
				lo = i
			}
			if v := at(y, i); v > at(y, hi) || math.IsNaN(at(y, hi)) {
				hi = i
			}
		}
		for _, i := range []int{min(lo, hi), max(lo, hi)} {
			xs, ys = append(xs, at(t, i)*1000), append(ys, at(y, i))
		}
	}
	return xs, ys
}

// farField draws the predicted polar responses.
func (m *maker) farField() (*figure, error) {
	f := &figure{
		ID: "farfield", Title: "Prediction far away from the panel", Columns: "many",
		See:  "Where the panel would send the sound if source and listeners stood far away: the further out the curve, the stronger the sound in that direction.",
		Sure: "This is a calculation from the design; nothing here was measured. The textbook formula (each well as a mere delay) is drawn for comparison.",
	}
	ff := m.r.FarField
	if ff == nil {
		f.Missing = "No prediction was possible, so there is no far field to draw."
		return f, nil
	}
	var known []int
	for i, b := range ff.Bands {
		if polarKnown(ff, b) && (i >= len(m.r.Bands) || m.r.Bands[i].Usable) {
			known = append(known, i)
		}
	}
	if len(known) == 0 { // rather a band outside the usable range than no picture
		for i, b := range ff.Bands {
			if polarKnown(ff, b) {
				known = append(known, i)
			}
		}
	}
	chosen := spread(known, 6)
	for _, i := range chosen {
		b := ff.Bands[i]
		f.Drawings = append(f.Drawings, drawing{
			Caption: hertz(b.CentreHz),
			Note:    "Diffusion coefficient: panel " + num(b.Panel, 2) + ", flat " + num(b.Flat, 2) + ", textbook " + num(b.Textbook, 2),
			SVG:     polar(fmt.Sprintf("%s-%d", f.ID, len(f.Drawings)+1), ff, b),
		})
	}
	f.Keys = []key{{"k-polar-panel", "panel"}, {"k-polar-flat", "flat board"}, {"k-textbook", "textbook formula"}}
	if finite(ff.SourceAngleDeg) {
		f.See += fmt.Sprintf(" The sound comes in at %s°. Levels are in dB re the flat board's strongest direction.", degrees(ff.SourceAngleDeg))
	}
	f.Tables = m.farFieldTables(chosen)
	return f.settle("The prediction holds no far field."), nil
}

func polarKnown(ff *analysis.FarField, b analysis.FarFieldBand) bool {
	for i := range ff.AngleDeg {
		if finite(ff.AngleDeg[i]) && (finite(at(b.PanelDB, i)) || finite(at(b.FlatDB, i)) || finite(at(b.TextbookDB, i))) {
			return true
		}
	}
	return false
}

// sentence joins parts that are not empty.
func sentence(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, " ")
}
