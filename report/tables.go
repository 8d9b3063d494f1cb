package report

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"

	"github.com/leadline/leadline/analysis"
)

// table is one table of the page. The first column names the row. Text marks the columns that hold words.
type table struct {
	Caption string
	Head    []string
	Words   map[int]bool // columns of words, set to the left
	Rows    [][]cell
	Small   bool // many columns
}

// Short reports whether the table is to stay on one printed page.
func (t table) Short() bool { return len(t.Rows) <= 20 }

// Long reports whether column i holds sentences.
func (t table) Long(i int) bool {
	return slices.ContainsFunc(t.Rows, func(row []cell) bool { return i < len(row) && len(row[i].Text) > 40 })
}

type cell struct{ Text, Class string }

func cells(texts ...string) []cell {
	out := make([]cell, len(texts))
	for i, t := range texts {
		out[i].Text = clean(t)
	}
	return out
}

// known is t without the columns in which nothing is known.
func (t table) known() table {
	words, all := map[int]bool{}, t
	all.Head, all.Rows = nil, make([][]cell, len(t.Rows))
	for i, head := range t.Head {
		if i > 0 && !slices.ContainsFunc(t.Rows, func(row []cell) bool { return row[i].Text != dash }) {
			continue
		}
		words[len(all.Head)] = t.Words[i]
		all.Head = append(all.Head, head)
		for j, row := range t.Rows {
			all.Rows[j] = append(all.Rows[j], row[i])
		}
	}
	all.Words = words
	return all
}

func (t *table) row(texts ...string) { t.Rows = append(t.Rows, cells(texts...)) }

// withInterval writes a value and its interval in one cell.
func withInterval(v analysis.Num, i *analysis.Interval, decimals int) string {
	s := num(v, decimals)
	if b := between(i, decimals); b != "" {
		s += " (" + b + ")"
	}
	return s
}

// usable says whether band i counts and why not; a reason that the band before it has too is not said again.
func (m *maker) usable(i int) string {
	b := m.r.Bands[i]
	switch {
	case b.Usable:
		return "yes"
	case b.Why == "":
		return "no"
	case i > 0 && !m.r.Bands[i-1].Usable && m.r.Bands[i-1].Why == b.Why:
		return "no, as above"
	}
	return "no: " + b.Why
}

func (m *maker) diffusionTable(caption string) table {
	t := table{Caption: caption + "; in brackets 95 % intervals where takes were repeated", Small: true,
		Head: []string{"Band", "Panel", "Flat", "Normalised", "Panel, predicted", "Flat, predicted", "Normalised, predicted", "Usable"}, Words: map[int]bool{7: true}}
	for i, b := range m.r.Bands {
		d := b.Diffusion
		t.row(hertz(b.CentreHz), withInterval(d.Panel, d.PanelInterval, 2), withInterval(d.Flat, d.FlatInterval, 2), withInterval(d.Normalised, d.NormalisedInterval, 2),
			num(d.PredictedPanel, 2), num(d.PredictedFlat, 2), num(d.PredictedNormalised, 2), m.usable(i))
	}
	return t
}

func (m *maker) bandTable() table {
	t := table{Caption: "What each band says; level measured minus predicted, and what depth errors within the tolerance would cause of it; in brackets 95 % intervals where takes were repeated", Small: true,
		Head: []string{"Band", "Normalised diffusion", "predicted", "Correlation scattering", "predicted", "Measured − predicted, rms (dB)", "Tolerance would cause (dB)",
			"Subtraction residual (dB)", "Positions", "Usable"},
		Words: map[int]bool{9: true}}
	for i, b := range m.r.Bands {
		d := b.Diffusion
		t.row(hertz(b.CentreHz), withInterval(d.Normalised, d.NormalisedInterval, 2), num(d.PredictedNormalised, 2),
			withInterval(b.CorrelationScattering, b.CorrelationInterval, 2), num(b.PredictedCorrelation, 2), num(b.LevelDifferenceRMSDB, 1),
			num(b.ToleranceDB, 1), num(b.ResidualDB, 1), strconv.Itoa(b.PositionsUsed), m.usable(i))
	}
	return t
}

// wellTable holds what is known of each well; where nothing was measured, the design alone.
func (m *maker) wellTable() table {
	lengths := func(v ...analysis.Num) string {
		s := scaled(v[0], 1000, 1)
		for _, x := range v[1:] {
			s += " to " + scaled(x, 1000, 1)
		}
		return s
	}
	if m.predictOnly() || len(m.r.Wells) == 0 {
		t := table{Caption: "Depth of each well by the design, in millimetres", Head: []string{"Well", "Design"}}
		for i, d := range m.r.Panel.DesignDepthM {
			t.row(strconv.Itoa(i+1), fixed(d*1000, 1))
		}
		return t
	}
	t := table{Caption: "Each well: depths in millimetres with 95 % interval; extra loss of its reflection with 95 % interval; by how much the mean diffusion coefficient would change if this well alone were mended", Small: true,
		Head: []string{"Well", "Design", "Built", "95 % interval", "Built − design", "Extra loss (dB)", "If mended", "Verdict", "Why"}, Words: map[int]bool{7: true, 8: true}}
	for _, w := range m.r.Wells {
		interval, loss, gain, why := dash, num(w.Loss, 1), num(w.GainInDiffusion, 3), w.Why
		if w.LowM.Known() || w.HighM.Known() {
			interval = lengths(w.LowM, w.HighM)
		}
		if b := between(&analysis.Interval{Low: w.LossLow, High: w.LossHigh}, 1); b != "" {
			loss += " (" + b + ")"
		}
		if w.GainInDiffusion > 0 {
			gain = "+" + gain
		}
		if why == "" {
			why = dash
		}
		row := cells(strconv.Itoa(w.Number), fixed(w.DesignM*1000, 1), lengths(w.BuiltM), interval, lengths(w.DifferenceM), loss, gain, w.Verdict, why)
		if w.Verdict == "deep" || w.Verdict == "shallow" {
			row[7].Class = "flag"
		}
		if swallows(w) {
			row[5].Class = "flag"
		}
		t.Rows = append(t.Rows, row)
	}
	return t.known()
}

// explanationTable puts the sets of depths that fit alike side by side.
func (m *maker) explanationTable() table {
	const most = 6
	all := m.explanations()
	t := table{Caption: "Depths that explain the measurement about equally well, in millimetres", Small: true, Head: []string{"Well", "Design"}}
	if len(all) > most {
		t.Caption += fmt.Sprintf("; the first %d of %d", most, len(all))
		all = all[:most]
	}
	left := cells("unexplained", dash)
	for i, e := range all {
		t.Head = append(t.Head, fmt.Sprintf("%d: %s", i+1, clean(e.Text)))
		left = append(left, cell{Text: unit(fixed(100*e.Misfit, 1), "%")})
	}
	for j, w := range m.r.Wells {
		row := cells(strconv.Itoa(w.Number), fixed(w.DesignM*1000, 1))
		for _, e := range all {
			c := cell{Text: dash}
			if j < len(e.DepthM) {
				c.Text = fixed(e.DepthM[j]*1000, 1)
				if d := analysis.Num(e.DepthM[j]); d < w.LowM || d > w.HighM {
					c.Class = "other"
				}
			}
			row = append(row, c)
		}
		t.Rows = append(t.Rows, row)
	}
	t.Rows = append(t.Rows, left)
	return t
}

// fitTable says how the depths were found.
func (m *maker) fitTable() table {
	f := m.r.Fit
	t := table{Caption: "The fit that gave the depths; what is left unexplained is rms re the measured reflection", Head: []string{"Figure", "Value"}}
	t.row("Unexplained, as built", unit(fixed(100*f.Misfit, 1), "%"))
	t.row("Unexplained, design", unit(fixed(100*f.DesignMisfit, 1), "%"))
	t.row("Lowest frequency", hertz(f.LowHz))
	t.row("Highest frequency", hertz(f.HighHz))
	t.row("Positions", strconv.Itoa(f.Positions))
	t.row("Error of paths, rms", unit(fixed(1000*f.PathErrorM, 1), "mm"))
	t.row("Panel off along x by", unit(fixed(1000*f.PanelOffsetM, 1), "mm"))
	return t
}

func place(p [3]float64) []string {
	return []string{fixed(p[0], 3), fixed(p[1], 3), fixed(p[2], 3)}
}

func (m *maker) placeTable() table {
	t := table{Caption: "Places and gates; x along the front, y out of the panel, z up, in metres from the middle of the front; times from the emission", Small: true,
		Head:  []string{"Place", "x" + nbsp + "(m)", "y" + nbsp + "(m)", "z" + nbsp + "(m)", "Angle" + nbsp + "(°)", "Distance (m)", "Direct (ms)", "Reflection (ms)", "Gate (ms)", "Gate ended by", "Counts"},
		Words: map[int]bool{9: true, 10: true}}
	t.row(append(append([]string{"source"}, place(m.r.SourceM)...), dash, dash, dash, dash, dash, dash, dash)...)
	for _, p := range m.r.Positions {
		counts := "yes"
		if !p.Used {
			counts = sentence("no:", p.Why)
			if p.Why == "" {
				counts = "no"
			}
		}
		gate := dash
		if p.Gate.StartS.Known() || p.Gate.EndS.Known() {
			gate = scaled(p.Gate.StartS, 1000, 2) + " to " + scaled(p.Gate.EndS, 1000, 2)
		}
		ended := p.Gate.EndedBy
		if ended == "" {
			ended = dash
		}
		t.row(append(append([]string{p.Name}, place(p.MicM)...), degrees(p.AngleDeg), fixed(p.DistanceM, 3), scaled(p.DirectS, 1000, 2), scaled(p.ArrivalS, 1000, 2), gate, ended, counts)...)
	}
	return t
}

// byAngle lists all positions in the order of their angle.
func (m *maker) byAngle() []analysis.Position {
	out := append([]analysis.Position(nil), m.r.Positions...)
	sort.SliceStable(out, func(a, b int) bool { return out[a].AngleDeg < out[b].AngleDeg })
	return out
}

// levelTables hold the usable bands, at most twelve a table so that they fit on paper.
func (m *maker) levelTables() []table {
	var out []table
	kinds := []struct {
		caption string
		perPage int
		value   func(p analysis.Position, i int) string
	}{
		{"Panel, measured (dB)", 12, func(p analysis.Position, i int) string { return fixed(at(p.PanelDB, i), 1) }},
		{"Panel, measured, 95 % interval (dB)", 6, func(p analysis.Position, i int) string {
			if i >= len(p.PanelIntervalDB) {
				return dash
			}
			if s := between(&p.PanelIntervalDB[i], 1); s != "" {
				return s
			}
			return dash
		}},
		{"Panel, predicted (dB)", 12, func(p analysis.Position, i int) string { return fixed(at(p.PredictedDB, i), 1) }},
		{"Flat board, measured (dB)", 12, func(p analysis.Position, i int) string { return fixed(at(p.FlatDB, i), 1) }},
		{"Flat board, predicted (dB)", 12, func(p analysis.Position, i int) string { return fixed(at(p.PredictedFlatDB, i), 1) }},
		{"Subtraction residual of the panel's reflection (dB)", 12, func(p analysis.Position, i int) string { return fixed(at(p.PanelResidualDB, i), 1) }},
	}
	for _, k := range kinds {
		out = append(out, m.positionTables(k.caption, m.usableBands(), k.perPage, k.value)...)
	}
	return out
}

// positionTables lays out one value per position and band; none where every value is unknown.
func (m *maker) positionTables(caption string, bands []int, perPage int, value func(analysis.Position, int) string) []table {
	var out []table
	known := false
	for len(bands) > 0 {
		n := min(perPage, len(bands))
		t := table{Caption: caption, Head: []string{"Position", "Angle" + nbsp + "(°)"}, Small: true}
		for _, i := range bands[:n] {
			t.Head = append(t.Head, hertz(m.r.Bands[i].CentreHz))
		}
		for _, p := range m.byAngle() {
			row := []string{p.Name, degrees(p.AngleDeg)}
			for _, i := range bands[:n] {
				v := value(p, i)
				known = known || v != dash
				row = append(row, v)
			}
			t.row(row...)
		}
		out = append(out, t)
		bands = bands[n:]
	}
	if !known {
		return nil
	}
	return out
}

func (m *maker) combTables() []table {
	t := table{Caption: "Comb signature over the whole usable range", Small: true,
		Head: []string{"Position", "Angle" + nbsp + "(°)", "Delay (ms)", "Reflection re direct (dB)", "Peak to notch (dB)", "First notch (Hz)", "Notches, measured", "predicted", "flat board", "flat board, predicted"}}
	found := func(v []analysis.Num) string {
		if len(v) == 0 {
			return dash
		}
		return strconv.Itoa(len(v))
	}
	for _, p := range m.byAngle() {
		c := p.Comb
		t.row(p.Name, degrees(p.AngleDeg), scaled(c.DelayS, 1000, 2), num(c.ReflectionDB, 1), num(c.PeakToNotchDB, 1), num(c.FirstNotchHz, 0),
			found(c.Panel.NotchHz), found(c.PredictedPanel.NotchHz), found(c.Flat.NotchHz), found(c.PredictedFlat.NotchHz))
	}
	out := []table{t}
	for _, k := range []struct {
		caption string
		trace   func(analysis.Comb) analysis.CombTrace
	}{
		{"Peak to notch, panel, measured (dB)", func(c analysis.Comb) analysis.CombTrace { return c.Panel }},
		{"Peak to notch, panel, predicted (dB)", func(c analysis.Comb) analysis.CombTrace { return c.PredictedPanel }},
		{"Peak to notch, flat board, measured (dB)", func(c analysis.Comb) analysis.CombTrace { return c.Flat }},
		{"Peak to notch, flat board, predicted (dB)", func(c analysis.Comb) analysis.CombTrace { return c.PredictedFlat }},
	} {
		out = append(out, m.positionTables(k.caption, m.usableBands(), 12, func(p analysis.Position, i int) string {
			return fixed(at(k.trace(p.Comb).PeakToNotchDB, i), 1)
		})...)
	}
	return out
}

// timeTable samples the time view: all of it would fill many pages, and the JSON holds it.
func (m *maker) timeTable() table {
	v := m.r.TimeView
	const rows = 60
	step := max(1, (len(v.TimeS)+rows-1)/rows)
	caption := "Responses at “" + clean(v.Position) + "”, re the direct sound's peak"
	if step > 1 {
		caption += fmt.Sprintf("; one sample in %d (the data file holds all)", step)
	}
	t := table{Caption: caption, Small: true, Head: []string{"Time (ms)", "Without panel", "With panel", "Panel's reflection", "Flat board's reflection", "Window"}}
	for i := 0; i < len(v.TimeS); i += step {
		t.row(fixed(at(v.TimeS, i)*1000, 3), fixed(at(v.Empty, i), 4), fixed(at(v.Panel, i), 4), fixed(at(v.PanelDiff, i), 4), fixed(at(v.FlatDiff, i), 4), fixed(at(v.Window, i), 3))
	}
	return t
}

func (m *maker) farFieldTables(chosen []int) []table {
	ff := m.r.FarField
	coefficients := table{Caption: "Diffusion coefficients far away, predicted", Head: []string{"Band", "Panel", "Flat board", "Normalised", "Textbook formula"}}
	for _, b := range ff.Bands {
		coefficients.row(hertz(b.CentreHz), num(b.Panel, 2), num(b.Flat, 2), num(b.Normalised, 2), num(b.Textbook, 2))
	}
	out := []table{coefficients}
	step := max(1, int(math.Ceil(float64(len(ff.AngleDeg))/40)))
	for len(chosen) > 0 {
		n := min(3, len(chosen))
		t := table{Caption: "Levels far away (dB)", Small: true, Head: []string{"Angle" + nbsp + "(°)"}}
		if step > 1 {
			t.Caption = fmt.Sprintf("Levels far away (dB); one angle in %d (the data file holds all)", step)
		}
		for _, i := range chosen[:n] {
			c := hertz(ff.Bands[i].CentreHz)
			t.Head = append(t.Head, c+" panel", c+" flat", c+" textbook")
		}
		for a := 0; a < len(ff.AngleDeg); a += step {
			row := []string{degrees(ff.AngleDeg[a])}
			for _, i := range chosen[:n] {
				b := ff.Bands[i]
				row = append(row, fixed(at(b.PanelDB, a), 1), fixed(at(b.FlatDB, a), 1), fixed(at(b.TextbookDB, a), 1))
			}
			t.row(row...)
		}
		out = append(out, t)
		chosen = chosen[n:]
	}
	return out
}
