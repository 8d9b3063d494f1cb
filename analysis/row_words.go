package analysis

import (
	"fmt"
	"math"
	"strings"
)

// rowText says what a row's figures mean.
func rowText(row *Row) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	var kinds []string
	for _, k := range row.Kinds {
		if strings.Contains(row.Order, k.Letter) {
			kinds = append(kinds, k.Letter+" "+k.Name)
		}
	}
	n := len(row.Panels)
	switch {
	case n == 1:
		add("One panel, %.3g\u00a0m wide (%s).", row.WidthM, joinAnd(kinds))
	case row.GapM > 0:
		add("%d panels with gaps of %s\u00a0mm, %.3g\u00a0m wide in all, from the lowest x: %s (%s).", n, trimmedMM(row.GapM), row.WidthM, spaced(row.Order), joinAnd(kinds))
	default:
		add("%d panels that touch, %.3g\u00a0m wide in all, from the lowest x: %s (%s).", n, row.WidthM, spaced(row.Order), joinAnd(kinds))
	}
	if strings.ContainsAny(row.Order, "MB") {
		add("A mirrored panel is the same panel hung upside down.")
	}
	if parts := len(row.Boxes) / n; parts > 1 {
		add("Each panel is built of %d boxes; where two of them meet, each carries half a fin, so that the wells stay where they would be in one piece.", parts)
	}
	if row.Search != nil {
		out = append(out, row.Search.Text)
	}
	if row.Mean.Known() && row.MeanEqual.Known() {
		text := fmt.Sprintf("Over the design band, %s to %s, the row's mean diffusion coefficient is %.2f", hertz(row.DesignLowHz), hertz(row.DesignHighHz), float64(row.Mean))
		if strings.Trim(row.Order, "D") != "" {
			text += fmt.Sprintf(", that of as many panels as designed %.2f", float64(row.MeanEqual))
		}
		add("%s, that of a flat board of the row's size %.2f.", text, float64(row.MeanFlat))
		if row.MeanBuilt.Known() {
			add("With the recovered depths in its panels D and M it is %.2f.", float64(row.MeanBuilt))
		}
	}
	if n > 1 {
		sine := 1 + math.Abs(math.Sin(row.SourceAngleDeg*math.Pi/180))
		add("Equal panels repeat every %.3g\u00a0m. Where the wavelength is shorter than %.3g\u00a0m they send the sound into separate lobes, whose directions the polar responses mark; other orders fill the gaps between them.", row.PitchM, row.PitchM*sine)
		if row.Times > 1 && math.Abs(float64(row.PeriodM)-row.PitchM) > 1e-6 {
			add("This order repeats itself every %.3g\u00a0m, %d times, so it has lobes of its own, closer together.", float64(row.PeriodM), row.Times)
		}
	}
	if row.Search != nil && !strings.Contains(row.Search.Kinds, "I") && n >= 4 {
		add("Every fourth inverted, the trade's rule, was not compared: kinds leaves inverted panels out.")
	} else if row.Search != nil && n < 4 && n > 1 {
		add("Every fourth inverted, the trade's rule, needs four panels or more, so it was not compared.")
	}
	add("The coefficients hold for a source at %.3g\u00a0m and receivers at %.3g\u00a0m%s; the polar responses for places far away.", row.SourceM, row.ReceiverM, furtherAway(row))
	return out
}

func furtherAway(row *Row) string {
	if row.ReceiverM > standardReceiverM {
		return ", further away than the standard's 10 and 5\u00a0m so that 80 % of the receivers of so wide a row are outside the specular zone"
	}
	return ", as the standard has it"
}

// rowNote is the row's line of the method.
var rowNote = Note{"Row of panels", "All panels together are one finite structure of unlimited height, solved as the single panel is. Inverted: a well of s steps becomes one of prime − s steps, one of none stays; " +
	"without a sequence, the deepest well less the depth. Lobes: sin θ = mλ/period − sin ψ. Orders are compared by the diffusion coefficient averaged over the design band: all of them where there are at most 256, else those that the wells' phases alone judge best.", "Schroeder, J. Acoust. Soc. Am. 65 (1979) 958; ISO 17497-2:2012"}

// seenInRow says what the row's pictures show.
func (res *Result) seenInRow(say func(picture, format string, args ...any)) {
	row := res.Row
	if row == nil {
		return
	}
	if row.Mean.Known() {
		say("row", "The row %s reaches %.2f (mean diffusion coefficient in its design band), as many panels as designed %.2f, a flat board of its size %.2f.",
			spaced(row.Order), float64(row.Mean), float64(row.MeanEqual), float64(row.MeanFlat))
	}
	span := func(of func(p RowPolar) []Num) (low, high Num) {
		low, high = Num(math.Inf(1)), Num(math.Inf(-1))
		for _, p := range row.Polars {
			top := Num(quietest)
			for _, v := range of(p) {
				if v > top { // no unknown one is
					top = v
				}
			}
			low, high = min(low, -top), max(high, -top)
		}
		return low, high
	}
	if len(row.Polars) > 0 {
		low, high := span(func(p RowPolar) []Num { return p.RowDB })
		equalLow, equalHigh := span(func(p RowPolar) []Num { return p.EqualDB })
		text := fmt.Sprintf("Far away the row's strongest direction is %.0f to %.0f\u00a0dB weaker than a flat board's", float64(low), float64(high))
		if strings.Trim(row.Order, "D") != "" {
			text += fmt.Sprintf(", that of as many panels as designed %.0f to %.0f\u00a0dB", float64(equalLow), float64(equalHigh))
		}
		say("rowpolar", "%s.", text)
	}
}
