package analysis

import (
	"fmt"
	"math"
	"regexp"
	"slices"
)

// Seen is what one picture of the report shows in this result, in one sentence.
type Seen struct {
	Picture string `json:"picture"` // setup, section, levels, agreement, diffusion, comb, takes, recordings, farfield, seat-1, seat-2 …, row or rowpolar; of a comparison depths, changes or coefficients
	Text    string `json:"text"`
}

// minus finds the sign of a number, which print writes longer than a hyphen.
var minus = regexp.MustCompile(`(?:\B)-(\d)`)

// seen says what each picture shows; pictures about which nothing is known are left out. Plain words first, the trade's term in brackets.
func (res *Result) seen() []Seen {
	var out []Seen
	say := func(picture, format string, args ...any) {
		out = append(out, Seen{picture, minus.ReplaceAllString(fmt.Sprintf(format, args...), "−$1")})
	}
	if c := res.Receivers; c.Count > 1 && c.SmallestDeg.Known() && c.LargestDeg.Known() {
		gate := ""
		if s := res.shortestGateS(); s.Known() {
			gate = fmt.Sprintf("; the shortest gate stays open for %.1f\u00a0ms", 1000*float64(s))
		}
		say("setup", "%d microphones from %.0f° to %.0f°, the source %.2f\u00a0m from the panel%s.", c.Count, float64(c.SmallestDeg), float64(c.LargestDeg), distance(res.SourceM, [3]float64{}), gate)
	}
	var wrong, open []Well
	built := 0
	for _, w := range res.Wells {
		if w.BuiltM.Known() {
			built++
		}
		switch w.Verdict {
		case "shallow", "deep":
			wrong = append(wrong, w)
		case "undecided":
			open = append(open, w)
		}
	}
	if n := len(res.Wells); n > 0 && built > 0 {
		slices.SortStableFunc(wrong, func(a, b Well) int {
			return int(math.Copysign(1, math.Abs(float64(b.DifferenceM))-math.Abs(float64(a.DifferenceM))))
		})
		text := fmt.Sprintf("%d of %d wells are where the design has them, within %s\u00a0mm", n-len(wrong)-len(open), n, trimmedMM(res.ToleranceM))
		if len(wrong) > 0 {
			text += "; " + wellList(wrong)
		}
		if len(open) > 0 {
			text += fmt.Sprintf("; %d can't be told", len(open))
		}
		say("section", "%s.", text)
	} else if n > 0 {
		deepest := 0.0
		for _, w := range res.Wells {
			deepest = max(deepest, w.DesignM)
		}
		say("section", "%d wells as designed, the deepest %s\u00a0mm.", n, mm(deepest))
	}
	usable := 0
	var better, apart, known int
	var best, worst *Band
	for i := range res.Bands {
		b := &res.Bands[i]
		if !b.Usable {
			continue
		}
		usable++
		n := b.Diffusion.Normalised
		if !n.Known() {
			n = b.Diffusion.PredictedNormalised
		}
		if n.Known() {
			known++
			if n > 0.2 {
				better++
			}
			if best == nil || n > best.normalised() {
				best = b
			}
		}
		if b.LevelDifferenceRMSDB.Known() && b.ToleranceDB.Known() {
			if b.LevelDifferenceRMSDB > b.ToleranceDB {
				apart++
			}
			if worst == nil || b.LevelDifferenceRMSDB > worst.LevelDifferenceRMSDB {
				worst = b
			}
		}
	}
	if low, high := res.strongest(usable); low.Known() {
		how := fmt.Sprintf("between %.1f and %.1f\u00a0dB weaker", float64(low), float64(high))
		if high-low < 0.05 {
			how = fmt.Sprintf("%.1f\u00a0dB weaker", float64(low))
		}
		say("levels", "The strongest sound off the panel is %s than the strongest off the flat board, from band to band.", how)
	}
	if worst != nil {
		text := fmt.Sprintf("In %d of %d bands measurement and prediction lie further apart than the tolerance would explain", apart, usable)
		if apart == 0 {
			text = "In no band do measurement and prediction lie further apart than the tolerance would explain"
		}
		say("agreement", "%s; the largest difference is %.1f\u00a0dB at %s.", text, float64(worst.LevelDifferenceRMSDB), hertz(worst.CentreHz))
	}
	if best != nil {
		spreads := "spreads"
		if res.Kind == "predict" {
			spreads = "should spread"
		}
		say("diffusion", "The panel %s sound clearly more evenly than a flat board in %d of %d bands (normalised diffusion coefficient above 0.2), best at %s (%.2f).",
			spreads, better, known, hertz(best.CentreHz), float64(best.normalised()))
	}
	panel, flat := res.combDepth()
	switch {
	case panel.Known() && flat.Known():
		say("comb", "The deepest comb with the panel has %.1f\u00a0dB from peak to notch, with the flat board %.1f\u00a0dB.", float64(panel), float64(flat))
	case panel.Known():
		say("comb", "The deepest comb with the panel has %.1f\u00a0dB from peak to notch.", float64(panel))
	}
	var left []float64
	for _, p := range res.Positions {
		for _, a := range p.Alignment {
			if a.State == "panel" && a.ResidualAfter.Known() {
				left = append(left, float64(a.ResidualAfter))
			}
		}
	}
	if m := middle(left); m.Known() {
		say("takes", "With the panel the direct sound is taken off to %.0f\u00a0dB in the middle take, to %.0f\u00a0dB in the worst.", float64(m), slices.Max(left))
	}
	if r := res.Recordings; r != nil {
		var signal []float64
		for _, f := range r.Files {
			for _, s := range f.Sweeps {
				if s.SNRMedianDB.Known() {
					signal = append(signal, float64(s.SNRMedianDB))
				}
			}
		}
		if m := middle(signal); m.Known() {
			say("recordings", "The middle recording stands %.0f\u00a0dB above the noise (signal-to-noise ratio), the worst %.0f\u00a0dB.", float64(m), slices.Min(signal))
		}
	}
	if f := res.FarField; f != nil {
		low, high := math.Inf(1), math.Inf(-1)
		for i, b := range f.Bands {
			if i < len(res.Bands) && res.Bands[i].Usable && b.Normalised.Known() {
				low, high = min(low, float64(b.Normalised)), max(high, float64(b.Normalised))
			}
		}
		if low <= high {
			say("farfield", "Far away the design should reach %.2f to %.2f (normalised diffusion coefficient) in the usable bands.", low, high)
		}
	}
	if res.Seating != nil {
		for i := range res.Seating.Seats {
			seat := &res.Seating.Seats[i]
			f := seat.asIs()
			say(fmt.Sprintf("seat-%d", i+1), "Here, %.2f\u00a0m from the panel's front, the comb is %.1f\u00a0dB deep on average from 1 to 5\u00a0kHz, with a flat board %.1f\u00a0dB; the strongest third octave of the scattered sound lies %s the direct sound, with a flat board %s.",
				seat.PlaceM[1], float64(f.MeanCombDB), float64(seat.Flat.MeanCombDB), under(f.WorstDB), under(seat.Flat.WorstDB))
		}
	}
	res.seenInRow(say)
	return out
}

// normalised is the normalised diffusion coefficient as measured, else as predicted.
func (b *Band) normalised() Num {
	if b.Diffusion.Normalised.Known() {
		return b.Diffusion.Normalised
	}
	return b.Diffusion.PredictedNormalised
}

// strongest returns by how many dB, in the usable bands, the panel's strongest position at least and at most lies below the flat board's; unknown without a measured flat board.
func (res *Result) strongest(usable int) (low, high Num) {
	low, high = Unknown(), Unknown()
	if usable == 0 || res.Kind != "check" {
		return low, high
	}
	for i, b := range res.Bands {
		panel, flat := Unknown(), Unknown()
		for _, p := range res.Positions {
			if p.Used && i < len(p.PanelDB) && i < len(p.FlatDB) && p.PanelDB[i].Known() && p.FlatDB[i].Known() {
				if !panel.Known() || p.PanelDB[i] > panel {
					panel = p.PanelDB[i]
				}
				if !flat.Known() || p.FlatDB[i] > flat {
					flat = p.FlatDB[i]
				}
			}
		}
		if d := flat - panel; b.Usable && d.Known() {
			if !low.Known() || d < low {
				low = d
			}
			if !high.Known() || d > high {
				high = d
			}
		}
	}
	return low, high
}

// combDepth returns the largest depths of the comb in dB over positions and usable bands, with the panel and the flat board, measured or else predicted.
func (res *Result) combDepth() (panel, flat Num) {
	deepest := func(all func(*Comb) CombTrace) Num {
		out := Unknown()
		for i := range res.Positions {
			p := &res.Positions[i]
			for b, v := range all(&p.Comb).PeakToNotchDB {
				if p.Used && b < len(res.Bands) && res.Bands[b].Usable && v.Known() && (!out.Known() || v > out) {
					out = v
				}
			}
		}
		return out
	}
	if res.Kind == "predict" {
		return deepest(func(c *Comb) CombTrace { return c.PredictedPanel }), deepest(func(c *Comb) CombTrace { return c.PredictedFlat })
	}
	return deepest(func(c *Comb) CombTrace { return c.Panel }), deepest(func(c *Comb) CombTrace { return c.Flat })
}

// shortestGateS is how long the shortest gate of a position stays open.
func (res *Result) shortestGateS() Num {
	shortest := Unknown()
	for _, p := range res.Positions {
		if d := p.Gate.EndS - p.Gate.StartS; d.Known() && (!shortest.Known() || d < shortest) {
			shortest = d
		}
	}
	return shortest
}

// middle is the median; unknown where there is no value.
func middle(v []float64) Num {
	if len(v) == 0 {
		return Unknown()
	}
	return Num(median(v))
}

// trimmedMM writes a length in millimetres without idle zeros.
func trimmedMM(metres float64) string { return fmt.Sprintf("%.3g", metres*1000) }
