package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/leadline/leadline/analysis"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// states are the things that may stand in the room, in the order of their takes.
var states = []struct{ name, words string }{{"empty", "the empty room"}, {"flat", "the flat board"}, {"panel", "the panel"}}

func inWords(state string) string {
	for _, s := range states {
		if s.name == state {
			return s.words
		}
	}
	return clean(state)
}

// extent is the range of what is known of some numbers.
type extent struct{ span }

func newExtent() extent { return extent{span{math.Inf(1), math.Inf(-1)}} }

func (e *extent) add(n analysis.Num) {
	if v := float64(n); finite(v) {
		e.low, e.high = math.Min(e.low, v), math.Max(e.high, v)
	}
}

func (e extent) words(decimals int) string {
	low, high := fixed(e.low, decimals), fixed(e.high, decimals)
	switch {
	case e.low > e.high:
		return dash
	case low == high:
		return low
	}
	return low + " to " + high
}

// agreement draws how far prediction and measurement lie apart in each band, beside what the tolerance alone would do.
func (m *maker) agreement() (*figure, error) {
	f := &figure{
		ID: "agreement", Title: "Measured against predicted, band by band", Columns: "wide",
		See: "How far the measured levels lie from those predicted for the design, over all microphones (rms). The dashed mark is what a panel would show whose every well is off at random " +
			"within the tolerance: a column well above its mark says that the panel sends sound otherwise than designed.",
		Sure: "The mark also holds the prediction's own error. It doesn't hold noise or misplaced microphones, which raise the columns too.",
		Keys: []key{{"k-column", "measured against predicted"}, {"k-limit", "what the tolerance would do"}},
	}
	difference := &series{look: look{colour: measuredColour, width: 1.2}, fill: gateColour, name: "difference"}
	tolerance := &series{name: "tolerance would do", look: look{colour: predictedColour, width: 2, dashes: []vg.Length{4, 2}}}
	for _, b := range m.r.Bands {
		e := edges(b)
		over := span{logHz(e.low), logHz(e.high)}
		y, limit := float64(b.LevelDifferenceRMSDB), float64(b.ToleranceDB)
		if !b.Usable {
			y, limit = math.NaN(), math.NaN()
		}
		difference.add(logHz(b.CentreHz), y)
		tolerance.add(logHz(b.CentreHz), limit)
		difference.over, tolerance.over = append(difference.over, over), append(tolerance.over, over)
	}
	if !difference.drawn() {
		return nil, nil
	}
	axis, xt, shade := m.bandAxis(330, 26)
	y := span{0, 2}
	if r, ok := reach([]*series{difference, tolerance}); ok {
		top := math.Min(math.Max(r.high, 1), 40)
		y = outward(span{0, top}, niceStep(top, 5))
	}
	if len(shade) > 0 {
		f.Keys = append(f.Keys, key{"k-shade", "band not usable"})
	}
	err := m.put(f, "Level, measured against predicted", &chart{
		title: "Difference of measured and predicted level in each band, and what the tolerance alone would cause",
		desc:  "Column chart over frequency in hertz, in decibels rms over the positions. Shaded: bands that can't be used. The numbers are in the table below the picture.",
		w:     380, h: 230, xLabel: "Frequency (Hz)", yLabel: "Difference (dB rms)", x: axis, y: y, xTicks: xt, yTicks: ticks(y, niceStep(y.high, 5), plainTick),
		back: backdrop{shade: shade, colour: shadeColour}, series: []*series{difference, tolerance},
	}, "No difference is known.")
	t := table{Caption: "Measured against predicted level, rms over the positions", Head: []string{"Band", "Difference (dB)", "What the tolerance would do (dB)", "Positions"}}
	for _, i := range m.usableBands() {
		b := m.r.Bands[i]
		t.row(hertz(b.CentreHz), num(b.LevelDifferenceRMSDB, 1), num(b.ToleranceDB, 1), strconv.Itoa(b.PositionsUsed))
	}
	f.Tables = []table{t}
	return f, err
}

// takes draws what bringing the takes into line did to what the subtraction leaves.
func (m *maker) takes() (*figure, error) {
	f := &figure{
		ID: "takes", Title: "Bringing the takes into line", Columns: "pair",
		See: "Between two takes the air warms, levels creep and clocks differ. Shown is what is left of the direct sound when one take is subtracted from the other, before and after this was put right: the lower, the better.",
		Sure: "Delay, level and clock are read from the direct sound, and the speed of sound from echoes that never met the panel; the panel's own reflection is never fitted. " +
			"The panel's reflection is weaker than the direct sound, so what is left must lie that much lower still; the table of bands sets it against the reflection.",
		Keys: []key{{"k-after", "after"}, {"k-ring", "before"}},
	}
	type pair struct{ before, after series }
	pairs := map[string]*pair{}
	var all []*series
	for _, p := range m.byAngle() {
		for _, a := range p.Alignment {
			if !a.ResidualBefore.Known() && !a.ResidualAfter.Known() {
				continue // the reference itself
			}
			s := pairs[a.State]
			if s == nil {
				s = &pair{series{look: predictedLook.ring(), name: "before"}, series{look: measuredLook.bare(), name: "after"}}
				pairs[a.State] = s
				all = append(all, &s.before, &s.after)
			}
			s.before.add(p.AngleDeg, float64(a.ResidualBefore))
			s.after.add(p.AngleDeg, float64(a.ResidualAfter))
		}
	}
	y := span{-60, 0}
	if r, ok := reach(all); ok {
		y = outward(span{math.Max(r.low, -120), math.Min(math.Max(r.high, 0), 20)}, 10)
	}
	x, xt := m.allAngles()
	for _, state := range states {
		s := pairs[state.name]
		if s == nil {
			continue
		}
		caption := "With " + state.words
		if state.name == "empty" {
			caption = "Without anything"
		}
		err := m.put(f, caption, &chart{
			title: caption + ": what is left of the direct sound, before and after",
			desc:  "Chart with two marks for each take over the angle in degrees: the residual before and after, in decibels re the direct sound. The numbers are in the table below the picture.",
			w:     380, h: 210, xLabel: "Angle (°)", yLabel: "Left of the direct sound (dB)", x: x, y: y, xTicks: xt, yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick),
			series: []*series{&s.before, &s.after},
		}, "Nothing is known here.")
		if err != nil {
			return nil, err
		}
	}
	f.Tables = m.alignmentTables()
	if len(f.Drawings) == 0 {
		return nil, nil
	}
	if len(f.Drawings) == 1 {
		f.Columns = "wide"
	}
	for _, d := range m.r.Drift {
		if d.Corrected && d.Text != "" {
			f.Notes = append(f.Notes, fact{"Air, with " + inWords(d.State), d.Text})
		}
	}
	return f, nil
}

// allAngles spans the angles of all positions, left out or not.
func (m *maker) allAngles() (span, []plot.Tick) {
	e := newExtent()
	for _, p := range m.r.Positions {
		if finite(p.AngleDeg) {
			e.add(analysis.Num(p.AngleDeg))
		}
	}
	return angles(e.span)
}

// alignmentTables say what was done to each state and to each take.
func (m *maker) alignmentTables() []table {
	drift := map[string]analysis.Drift{}
	for _, d := range m.r.Drift {
		drift[d.State] = d
	}
	byState := table{Caption: "From one state to the other; levels re the reference take; residual of the room's echoes that never met the panel", Small: true,
		Head: []string{"State", "Takes", "Louder by (dB)", "Later by (µs)", "Recorder's clock (ppm)", "Sound faster by (ppm)", "Air warmer by (°C)", "Echoes left before (dB)", "after (dB)", "Put right"}, Words: map[int]bool{9: true}}
	t := table{Caption: "How each take was brought into line with the reference take; residual: what is left of the direct sound", Small: true,
		Head: []string{"Position", "State", "File", "Later by (µs)", "Louder by (dB)", "Clock faster by (ppm)", "Gain reshaped by (dB)", "Residual before (dB)", "after (dB)"}, Words: map[int]bool{1: true, 2: true}}
	for _, state := range states {
		n := 0
		gain, delay, clock := newExtent(), newExtent(), newExtent()
		for _, p := range m.byAngle() {
			for _, a := range p.Alignment {
				if a.State != state.name {
					continue
				}
				n++
				gain.add(a.GainDB)
				delay.add(a.DelayS * 1e6)
				clock.add(a.ClockPPM)
			}
		}
		if m.r.Recordings != nil {
			for _, f := range m.r.Recordings.Files {
				for _, s := range f.Sweeps {
					if f.State == state.name && s.ClockFrom != "direct sound" {
						clock.add(s.ClockPPM)
					}
				}
			}
		}
		if n == 0 {
			continue
		}
		speed, warmer, before, after, done := dash, dash, dash, dash, dash
		if d, ok := drift[state.name]; ok {
			speed = num(d.SpeedPPM, 0)
			if d.StandardErrorPPM.Known() {
				speed += " ± " + num(1.96*d.StandardErrorPPM, 0)
			}
			warmer, before, after = num(d.WarmerC, 2), num(d.ResidualBefore, 1), num(d.ResidualAfter, 1)
			done = "no"
			if d.Corrected {
				done = "yes"
			}
		}
		byState.row(upperFirst(state.words), strconv.Itoa(n), gain.words(2), delay.words(1), clock.words(1), speed, warmer, before, after, done)
	}
	for _, p := range m.r.Positions {
		for _, a := range p.Alignment {
			row := cells(p.Name, a.State, fileName(a.File), scaled(a.DelayS, 1e6, 1), num(a.GainDB, 2), num(a.ClockPPM, 1), num(a.ShapedDB, 1), num(a.ResidualBefore, 1), num(a.ResidualAfter, 1))
			row[2].Class = "file"
			t.Rows = append(t.Rows, row)
		}
	}
	return []table{byState.known(), t.known()}
}

// fileName is the last two parts of a path, which tell the files of a survey apart, cut where they are long.
func fileName(path string) string {
	parts := strings.FieldsFunc(path, func(r rune) bool { return r == '/' || r == '\\' })
	return shorten(strings.Join(parts[max(0, len(parts)-2):], "/"), 32)
}

// orderLooks are the looks of the distortion orders 2 to 5.
var orderLooks = []struct {
	look
	key
}{
	{look{measuredColour, 1.5, nil, draw.CircleGlyph{}, 1.8}, key{"k-order2", "2nd order"}},
	{look{predictedColour, 1.5, predictedLook.dashes, hollowDisc{}, 2}, key{"k-order3", "3rd order"}},
	{look{textbookColour, 1.6, []vg.Length{1.5, 2.5}, hollowSquare{}, 1.8}, key{"k-order4", "4th order"}},
	{look{flatColour, 1.3, []vg.Length{7, 2, 1.5, 2}, draw.CrossGlyph{}, 2}, key{"k-order5", "5th order"}},
}

// recordings draws noise and distortion of the sweep recordings.
func (m *maker) recordings() (*figure, error) {
	r := m.r.Recordings
	if r == nil {
		return nil, nil
	}
	f := &figure{
		ID: "recordings", Title: "The recordings", Columns: "pair",
		See: "First how far the responses stand above the noise (signal-to-noise ratio): the middle recording, with bars from the worst to the best. " +
			"Then what the loudspeaker adds of its own (harmonic distortion of the orders 2 to 5) below the response, in the middle recording.",
		Sure: "Noise is taken from the silence around the sweep. Where a line of distortion is missing, noise hides it or the sweep doesn't reach there. Distortion lies ahead of the response and is cut off, so next to none of it gets into the figures.",
	}
	bands, faults := len(r.BandCentreHz), 0
	for _, file := range r.Files {
		faults += len(file.Faults)
	}
	snr := &series{look: measuredLook, name: "middle recording"}
	for i, hz := range r.BandCentreHz {
		low, mid, high := lowMidHigh(m.noise(i))
		snr.addInterval(logHz(hz), mid, low, high)
	}
	var levels []*series
	var keys []key
	for k, o := range orderLooks {
		s := &series{look: o.look, name: o.Text}
		for i, hz := range r.BandCentreHz {
			_, mid, _ := lowMidHigh(m.distortion(k+2, i))
			s.add(logHz(hz), mid)
		}
		levels = append(levels, s)
		keys = append(keys, keyIf(s, o.key))
	}
	axis, xt := span{}, []plot.Tick(nil)
	if bands > 0 {
		axis, xt = frequencyAxis(r.BandCentreHz, r.BandCentreHz[0]/1.12, r.BandCentreHz[bands-1]*1.12, 330, 26)
	}
	for _, part := range []struct {
		caption, title, yLabel string
		y                      span
		series                 []*series
	}{
		{"Response above noise", "Signal-to-noise ratio of the recordings", "Signal above noise (dB)", span{0, 60}, []*series{snr}},
		{"Harmonic distortion below the response", "Harmonic distortion of the recordings, by order", "Level re response (dB)", span{-60, 0}, levels},
	} {
		y := part.y
		if r, ok := reach(part.series); ok {
			y = outward(span{math.Max(math.Min(y.low, r.low), -120), math.Min(math.Max(y.high, r.high), 140)}, 10)
		}
		err := m.put(f, part.caption, &chart{
			title: part.title, desc: "Line chart over frequency in hertz, in decibels. The numbers are in the tables below the picture.",
			w: 380, h: 230, xLabel: "Frequency (Hz)", yLabel: part.yLabel, x: axis, y: y, xTicks: xt, yTicks: ticks(y, niceStep(y.high-y.low, 6), plainTick), series: part.series,
		}, "Noise hides it in all bands.")
		if err != nil {
			return nil, err
		}
	}
	f.Keys = legend(append([]key{keyIf(snr, key{"k-measured", "signal above noise"}), keyIf(snr, key{"k-bar", "worst to best recording"})}, keys...)...)
	if faults > 0 {
		f.Notes = append(f.Notes, fact{"Faults", fmt.Sprintf("%s found in %s; each stands in the table with its cure.", count(faults, "fault was", "faults were"), count(len(r.Files), "recording", "recordings"))})
	}
	f.Tables = m.recordingTables()
	return f.settle(fmt.Sprintf("%s of sweeps were read, but neither noise nor distortion could be told.", count(len(r.Files), "recording", "recordings"))), nil
}

// noise lists the signal-to-noise ratios of all sweeps in a band, as far as they are known.
func (m *maker) noise(band int) []float64 {
	var out []float64
	for _, f := range m.r.Recordings.Files {
		for _, s := range f.Sweeps {
			if v := at(s.SNRDB, band); finite(v) {
				out = append(out, v)
			}
		}
	}
	return out
}

// distortion lists the levels of an order of all sweeps in a band; minus infinity where noise hides it, so that a single loud recording is no median.
func (m *maker) distortion(order, band int) []float64 {
	var out []float64
	for _, f := range m.r.Recordings.Files {
		for _, s := range f.Sweeps {
			level := math.Inf(-1)
			for _, d := range s.Distortion {
				if v := at(d.LevelDB, band); d.Order == order && finite(v) {
					level = v
				}
			}
			out = append(out, level)
		}
	}
	return out
}

// lowMidHigh are the extremes and the median of v; NaN where there is none.
func lowMidHigh(v []float64) (low, mid, high float64) {
	if len(v) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(v)
	return v[0], v[len(v)/2], v[len(v)-1]
}

func (m *maker) recordingTables() []table {
	r := m.r.Recordings
	take := func(f analysis.RecordedFile, i int) string {
		s := f.Position + ", " + f.State
		if len(f.Sweeps) > 1 {
			s += fmt.Sprintf(", sweep %d", i+1)
		}
		return s
	}
	t := table{Caption: "Each recording: signal-to-noise ratio, distortion re the response (medians over the bands), recorder's clock against the player's", Small: true,
		Head:  []string{"Recording", "File", "Rate (kHz)", "Sweep starts (s)", "SNR, median (dB)", "lowest (dB)", "at", "2nd (dB)", "3rd (dB)", "4th (dB)", "5th (dB)", "Clock (ppm)", "told from", "Counts", "Faults"},
		Words: map[int]bool{1: true, 12: true, 13: true}}
	faults := table{Caption: "Faults found in the recordings", Small: true, Head: []string{"Recording", "Kind", "What, where and the cure"}, Words: map[int]bool{1: true, 2: true}}
	for _, f := range r.Files {
		for i, s := range f.Sweeps {
			order := [4]string{dash, dash, dash, dash}
			for _, d := range s.Distortion {
				if d.Order >= 2 && d.Order <= 5 {
					order[d.Order-2] = num(d.MedianDB, 0)
				}
			}
			clock, from, counts := num(s.ClockPPM, 1), s.ClockFrom, "yes"
			if from == "" || clock == dash {
				from = dash
			} else if s.ClockCorrected {
				from += ", put right"
			}
			if s.Left {
				counts = "no: damaged"
			}
			row := cells(take(f, i), fileName(f.File), fixed(f.SampleRateHz/1000, 1), num(s.StartS, 2), num(s.SNRMedianDB, 0), num(s.SNRLowestDB, 0), hertz(float64(s.SNRLowestHz)),
				order[0], order[1], order[2], order[3], clock, from, counts, strconv.Itoa(len(f.Faults)))
			row[1].Class, row[12].Class = "file", "file"
			if len(f.Faults) > 0 {
				row[14].Class = "flag"
			}
			t.Rows = append(t.Rows, row)
		}
		for _, w := range f.Faults {
			faults.row(f.Position+", "+f.State, w.Code, w.Text)
		}
	}
	t = t.known()
	out := []table{t}
	if len(faults.Rows) > 0 {
		out = []table{faults, t}
	}
	for from := 0; from < len(r.BandCentreHz); from += 12 {
		to := min(from+12, len(r.BandCentreHz))
		snr := table{Caption: "Signal-to-noise ratio per band (dB)", Small: true, Head: []string{"Recording"}}
		for _, hz := range r.BandCentreHz[from:to] {
			snr.Head = append(snr.Head, hertz(hz))
		}
		for _, f := range r.Files {
			for i, s := range f.Sweeps {
				row := []string{take(f, i)}
				for k := from; k < to; k++ {
					row = append(row, fixed(at(s.SNRDB, k), 0))
				}
				snr.row(row...)
			}
		}
		out = append(out, snr)
	}
	distortion := table{Caption: "Distortion per band of the played frequency, re the response: the middle recording, in brackets the worst (dB); “–”: hidden by noise; the data file holds each recording's", Small: true,
		Head: []string{"Band", "2nd", "3rd", "4th", "5th order"}}
	for i, hz := range r.BandCentreHz {
		row := []string{hertz(hz)}
		for order := 2; order <= 5; order++ {
			_, mid, worst := lowMidHigh(m.distortion(order, i))
			text := fixed(mid, 0)
			if finite(worst) {
				text += " (" + fixed(worst, 0) + ")"
			}
			row = append(row, text)
		}
		distortion.row(row...)
	}
	return append(out, distortion)
}
