package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// describe puts the figures into words: headline, reasons, what to do, how sure, the receivers, the method and the cautions.
func (r *run) describe() {
	res := r.result
	res.Receivers.Text = r.receiversText()
	if res.Kind == "predict" {
		res.Headline = "This is what the design should do; nothing was measured."
		res.ToDo = []string{"Build the panel, measure it with and without, and run a check."}
		if better := r.bandsBetter(func(d *Diffusion) Num { return d.PredictedNormalised }); better != "" {
			res.Reasons = append(res.Reasons, better)
		}
		res.HowSure = []string{"All of it is computed, for rigid wood and depths as designed. Against an independent three-dimensional wave simulation of a panel of 13 wells, " +
			"levels came out within 0.5\u00a0dB rms and diffusion coefficients within 0.03, from 1.25 to 4\u00a0kHz."}
	} else {
		r.verdictText()
	}
	res.Method = methodNotes(res)
	res.Caution = cautions
	res.Seen = res.seen()
}

func (r *run) verdictText() {
	res := r.result
	var wrong, open []Well
	for _, w := range res.Wells {
		switch w.Verdict {
		case "shallow", "deep":
			wrong = append(wrong, w)
		case "undecided":
			open = append(open, w)
		}
	}
	// by what mending gains in diffusion, then by how far off they are
	slices.SortStableFunc(wrong, func(a, b Well) int {
		if a.GainInDiffusion.Known() && b.GainInDiffusion.Known() {
			return cmp.Compare(b.GainInDiffusion, a.GainInDiffusion)
		}
		return cmp.Compare(math.Abs(float64(b.DifferenceM)), math.Abs(float64(a.DifferenceM)))
	})
	switch res.Verdict {
	case AsDesigned:
		res.Headline = fmt.Sprintf("The panel came out as designed: every well is within %.1f\u00a0mm.", res.ToleranceM*1000)
		res.ToDo = append(res.ToDo, "Nothing to mend. Hang the panel and keep this report to compare with later measurements.")
	case Differs:
		res.Headline = fmt.Sprintf("The panel differs from the design: %s.", wellList(wrong))
		res.Reasons = append(res.Reasons, res.Patterns...)
		for _, w := range wrong {
			res.ToDo = append(res.ToDo, mend(w))
		}
	default:
		res.Headline = "The data cannot decide whether the panel came out as designed."
		if len(open) > 0 && len(open) < len(res.Wells) {
			res.Headline = fmt.Sprintf("The data cannot decide: %s stay open.", numberList(open))
		}
	}
	for _, w := range wrong {
		res.Reasons = append(res.Reasons, fmt.Sprintf("Well %d is %s: built %s\u00a0mm deep (%s to %s), designed %s\u00a0mm.", w.Number, offBy(w), mm(float64(w.BuiltM)), mm(float64(w.LowM)), mm(float64(w.HighM)), mm(w.DesignM)))
	}
	if len(r.contradictions) > 0 {
		r.contradictionText()
		open = nil
	}
	for _, w := range open {
		res.Reasons = append(res.Reasons, fmt.Sprintf("Well %d is undecided: %s.", w.Number, w.Why))
		if len(res.Reasons) > 20 {
			break
		}
	}
	if res.Verdict == AsDesigned {
		largest := res.Wells[0]
		for _, w := range res.Wells {
			if math.Abs(float64(w.DifferenceM)) > math.Abs(float64(largest.DifferenceM)) {
				largest = w
			}
		}
		res.Reasons = append(res.Reasons, fmt.Sprintf("The largest deviation found is %s\u00a0mm, at well %d.", mm(math.Abs(float64(largest.DifferenceM))), largest.Number))
	}
	if better := r.bandsBetter(func(d *Diffusion) Num { return d.Normalised }); better != "" {
		res.Reasons = append(res.Reasons, better)
	}
	if open != nil {
		res.ToDo = append(res.ToDo, "Repeat each take three times (a list of files in the survey), so that noise averages out, and add positions between those you have.")
	}
	if f := res.Fit; f != nil {
		res.HowSure = append(res.HowSure, fmt.Sprintf("The depths explain the measured reflection to within %.0f\u00a0%% (the design alone: %.0f\u00a0%%), from %d positions between %.0f and %.0f\u00a0Hz.",
			100*f.Misfit, 100*f.DesignMisfit, f.Positions, f.LowHz, f.HighHz))
		res.HowSure = append(res.HowSure, "The intervals are meant to hold the true depth in 95 of 100 cases; they include how much the answer moves when a fifth of the positions or of the frequencies is left out.")
		if f.Misfit > 0.3 {
			res.HowSure = append(res.HowSure, "That is a poor fit: something in the rig or the panel is not as the survey says (positions, source, temperature, a leaking well).")
		}
	}
	res.HowSure = append(res.HowSure, r.alignmentText()...)
	var levels []string
	for _, b := range res.Bands {
		if b.Usable && b.LevelDifferenceRMSDB.Known() {
			levels = append(levels, fmt.Sprintf("%s %.1f", hertz(b.CentreHz), float64(b.LevelDifferenceRMSDB)))
		}
	}
	if len(levels) > 0 && len(levels) < 30 {
		res.HowSure = append(res.HowSure, "Predicted and measured levels of the panel differ by (dB rms over the positions): "+strings.Join(levels, ", ")+".")
	}
	if f := res.Fit; f != nil && len(f.Explanations) > 1 {
		res.HowSure = append(res.HowSure, fmt.Sprintf("%d sets of depths fit about equally well; the wells on which they differ are undecided.", len(f.Explanations)))
	}
	if len(res.Warnings) > 0 {
		res.HowSure = append(res.HowSure, fmt.Sprintf("There are %d warnings; read them below.", len(res.Warnings)))
	}
	if len(res.ToDo) == 0 {
		res.ToDo = append(res.ToDo, "Measure again with what the warnings ask for.")
	}
}

// bandsBetter says where the panel scatters better than the flat board, by the normalised coefficient that of takes from a band.
func (r *run) bandsBetter(of func(*Diffusion) Num) string {
	const clearly = 0.2
	type stretch struct{ low, high float64 }
	var stretches []stretch
	var best *Band
	joined := false // to the band before
	for i := range r.result.Bands {
		b := &r.result.Bands[i]
		v := of(&b.Diffusion)
		better := b.Usable && v.Known() && v > clearly
		switch {
		case better && joined:
			stretches[len(stretches)-1].high = b.HighHz
		case better:
			stretches = append(stretches, stretch{b.LowHz, b.HighHz})
		}
		if joined = better; better && (best == nil || v > of(&best.Diffusion)) {
			best = b
		}
	}
	if best == nil {
		return ""
	}
	var where []string
	for _, s := range stretches {
		where = append(where, fmt.Sprintf("between %s and %s", hertz(s.low), hertz(s.high)))
	}
	return fmt.Sprintf("It scatters clearly better than the flat board %s (normalised diffusion coefficient above %g), best at %s (%.2f).",
		joinAnd(where), clearly, hertz(best.CentreHz), float64(of(&best.Diffusion)))
}

func mm(metres float64) string { return fmt.Sprintf("%.1f", metres*1000) }

// hertz writes a frequency to three digits with its unit; the mid-band of a third octave by its nominal name (IEC 61260-1:2014, annex E).
func hertz(f float64) string {
	nominal := [10]float64{1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8}
	if k := math.Round(10 * math.Log10(f)); f > 0 && math.Abs(f/math.Pow(10, k/10)-1) < 1e-3 {
		decade := math.Floor(k / 10)
		f = nominal[int(k-10*decade)] * math.Pow(10, decade)
	}
	if f >= 1000 {
		return fmt.Sprintf("%.3g\u00a0kHz", f/1000)
	}
	return fmt.Sprintf("%.3g\u00a0Hz", f)
}

func offBy(w Well) string {
	side := "too deep"
	if w.Verdict == "shallow" {
		side = "too shallow"
	}
	return fmt.Sprintf("%s\u00a0mm %s", mm(math.Abs(float64(w.DifferenceM))), side)
}

func wellList(wells []Well) string {
	const most = 3
	var parts []string
	for i, w := range wells {
		if i == most {
			parts = append(parts, fmt.Sprintf("%d more", len(wells)-most))
			break
		}
		parts = append(parts, fmt.Sprintf("well %d is %s", w.Number, offBy(w)))
	}
	return joinAnd(parts)
}

func numberList(wells []Well) string {
	var parts []string
	for _, w := range wells {
		parts = append(parts, fmt.Sprint(w.Number))
	}
	return "wells " + joinAnd(parts)
}

func joinAnd(parts []string) string {
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// mend says in the workshop's words what would bring a well to its design.
func mend(w Well) string {
	d := math.Abs(float64(w.DifferenceM))
	todo := fmt.Sprintf("Well %d: set its bottom back by %s\u00a0mm (remove or thin what lies there)", w.Number, mm(d))
	if w.Verdict == "deep" {
		todo = fmt.Sprintf("Well %d: glue in a strip %s\u00a0mm thick at the bottom", w.Number, mm(d))
	}
	if w.GainInDiffusion.Known() {
		todo += fmt.Sprintf("; alone it changes the mean diffusion coefficient by %+.3f", float64(w.GainInDiffusion))
	}
	return todo + "."
}

// receiversText says in words how the set-up differs from the standard's and what that changes.
func (r *run) receiversText() string {
	rec := r.result.Receivers
	if rec.Count < 2 {
		return "A single position says nothing about how evenly sound is scattered; the diffusion coefficient needs an arc of microphones."
	}
	span := float64(rec.LargestDeg - rec.SmallestDeg)
	text := fmt.Sprintf("%d positions from %.0f° to %.0f°, %.2f to %.2f\u00a0m from the panel. ", rec.Count, float64(rec.SmallestDeg), float64(rec.LargestDeg), float64(rec.DistanceLowM), float64(rec.DistanceHighM))
	text += "The standard (ISO 17497-2:2012) asks for 37 receivers every 5° over the half circle, 5\u00a0m away with the source at 10\u00a0m, in the panel's far field. "
	width := r.result.Panel.WidthM
	far := 2 * width * width * 2000 / r.result.Air.SpeedOfSoundMS
	if float64(rec.DistanceHighM) < far {
		text += fmt.Sprintf("Here the microphones stand in the near field (at 2\u00a0kHz the far field of a panel %.2f\u00a0m wide begins at about %.1f\u00a0m): the flat board spreads its reflection over more angles than it would far away, so its coefficient comes out higher and the normalised one lower. ", width, far)
	}
	if span < 170 {
		text += fmt.Sprintf("Only %.0f° of the half circle are seen: what leaves the panel at grazing angles does not count. ", span)
	}
	return text + "Compare these coefficients with the prediction for the same positions, not with published tables."
}

func methodNotes(res *Result) []Note {
	notes := []Note{
		{"Prediction", "The outside of the panel, a rigid box, is solved by boundary elements with Burton and Miller's combination; the wells carry modes with the air's boundary layers, joined at their mouths. Finite height comes in by Kirchhoff's approximation in the vertical plane, corrected by the exact solution of the vertical section.", "Burton and Miller, Proc. R. Soc. A 323 (1971) 201; Stinson, J. Acoust. Soc. Am. 89 (1991) 550"},
		{"Bands", "Base-ten fractional octaves, ideal band-pass on the gated spectrum.", "IEC 61260-1:2014"},
		{"Diffusion coefficient", "d = [(ΣE)² − ΣE²] / [(n−1) ΣE²] over the positions of the arc; normalised (d − d_flat)/(1 − d_flat).", "ISO 17497-2:2012 (formula from memory)"},
		{"Standard arrangement", "Source at 10 m, 37 receivers at 5 m, panel of unlimited height; the textbook view is the Fourier transform of the wells' phase shifts.", "ISO 17497-2:2012; Schroeder, J. Acoust. Soc. Am. 65 (1979) 958"},
		{"Speed of sound", res.Air.Source, ""},
	}
	if res.Row != nil {
		notes = append(notes, rowNote)
	}
	if res.Seating != nil {
		notes = append(notes, seatNotes...)
	}
	if res.Kind != "check" {
		return notes
	}
	return append(append(notes, handlingNotes(res)...),
		Note{"Alignment", "Delay and level of every take are matched to the empty room's by least squares on the direct sound before the panel's first reflection, never on the reflection itself.", "Guidorzi and Garai 2013; Robinson and Xiang 2010"},
		Note{"Gate", "Rising half Blackman–Harris window of 0.5 ms, flat, falling half of 28 % of the length. It closes before the first echo that the room adds to the panel's reflection, or when the reflection has died out. The lowest band has two periods inside it.", "EN 1793-5 (from memory)"},
		Note{"Level", "The reflection is divided by what the source sends to the panel, taken from the direct sound, so that loudspeaker and microphone cancel out.", ""},
		Note{"Correlation scattering coefficient", "1 − |Σ p₁p₀*|² / (Σ|p₁|² Σ|p₀|²) over the positions, panel against flat board.", "Mommertz, Applied Acoustics 60 (2000) 201"},
		Note{"Intervals", "95 % from the spread of repeated takes with Student's t.", "JCGM 100:2008"},
		Note{"Built depths", "All depths together are fitted to the complex gated reflections of all positions by least squares, after a search that changes single wells; one factor per frequency and one path error per position are free within narrow limits. Depths are taken to lie within about 2\u00a0mm of the design unless the data say otherwise, as wood and a saw have it; that matters only where noise is strong.", ""},
	)
}

// cautions are the usual ones of the trade; they defer to local codes and licensed practice.
var cautions = []string{
	"Loud sweeps can hurt ears and tweeters: start quiet, raise the level in small steps, wear hearing protection, and leave the room during long runs.",
	"Wood dust harms lungs and can burn: use extraction and a mask. Saws and routers: keep guards on and hands away.",
	"A panel is heavy. Hang it from the structure, not from plasterboard, with fixings rated for several times its weight; overhead mounting belongs to a licensed professional.",
	"Ask about fire behaviour: in many places wall linings must meet a reaction-to-fire class. Local codes decide.",
}
