package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// describe writes the outcome and the sentences from the figures.
func (c *Comparison) describe() {
	first, last := c.Surveys[0], c.Surveys[len(c.Surveys)-1]
	w := &c.Whole
	var wells, maybe []WellChange
	told := false
	for _, x := range w.Wells {
		told = told || x.DepthM.Significance != ""
		switch x.DepthM.Significance {
		case significant:
			wells = append(wells, x)
		case possible:
			maybe = append(maybe, x)
		}
	}
	var bands, flat []BandChange
	for _, x := range w.Bands {
		told = told || x.Panel.Significance != "" || x.Normalised.Significance != ""
		if x.Panel.Significance == significant || x.Normalised.Significance == significant {
			bands = append(bands, x)
		}
		if x.Flat.Significance == significant {
			flat = append(flat, x)
		}
	}
	sortBy(wells, func(x WellChange) float64 { return -math.Abs(float64(x.DepthM.Change)) })

	c.Outcome = Unchanged
	switch {
	case len(wells) > 0:
		c.Outcome = Changed
		c.Headline = fmt.Sprintf("%s changed: %s.", capital(counted(len(wells), "well", "wells")), changedList(wells))
	case len(bands) > 0:
		c.Outcome = Changed
		c.Headline = fmt.Sprintf("No well's depth changed significantly, but the diffusion coefficient did in %s.", counted(len(bands), "band", "bands"))
	case !told:
		c.Outcome = CannotTell
		c.Headline = "Whether anything changed can't be told: no figure is known with an interval in both surveys."
	default:
		c.Headline = "Nothing changed significantly."
	}
	switch {
	case first.Verdict != last.Verdict:
		c.Headline += fmt.Sprintf(" The verdict went from “%s” to “%s”.", first.Verdict, last.Verdict)
	case len(c.Surveys) > 2:
		c.Headline += fmt.Sprintf(" The verdict is “%s”, as in the first survey.", last.Verdict)
	default:
		c.Headline += fmt.Sprintf(" The verdict is still “%s”.", last.Verdict)
	}

	for _, x := range wells {
		c.Reasons = append(c.Reasons, fmt.Sprintf("Well %d: %s to %s\u00a0mm deep, %s (95\u00a0%%: %s); %s.", x.Number, mm(float64(x.DepthM.From)), mm(float64(x.DepthM.To)), deeper(x.DepthM.Change), signedRange(x.DepthM, 1000, 1), judged(x)))
	}
	if len(maybe) > 0 {
		var numbers []string
		for _, x := range maybe {
			numbers = append(numbers, fmt.Sprintf("%d (%+.1f\u00a0mm)", x.Number, 1000*float64(x.DepthM.Change)))
		}
		known := 0
		for _, x := range w.Wells {
			if x.DepthM.Significance != "" {
				known++
			}
		}
		c.Reasons = append(c.Reasons, fmt.Sprintf("Possibly changed, but among %d wells this may be chance: well %s.", known, joinAnd(numbers)))
	}
	const most = 4
	for i, x := range bands {
		if i == most {
			c.Reasons = append(c.Reasons, fmt.Sprintf("The coefficient changed in %d more bands; see the table.", len(bands)-most))
			break
		}
		what, d := "diffusion coefficient", x.Panel
		if d.Significance != significant {
			what, d = "normalised diffusion coefficient", x.Normalised
		}
		c.Reasons = append(c.Reasons, fmt.Sprintf("At %s the %s went from %.2f to %.2f (%+.3f; 95\u00a0%%: %s).", hertz(x.CentreHz), what, float64(d.From), float64(d.To), float64(d.Change), signedRange(d, 1, 3)))
	}
	if len(c.Surveys) > 2 {
		for _, s := range c.Steps {
			var names []string
			for _, x := range s.Wells {
				if x.DepthM.Significance == significant {
					names = append(names, fmt.Sprintf("well %d by %+.1f\u00a0mm", x.Number, 1000*float64(x.DepthM.Change)))
				}
			}
			text := "no well changed significantly"
			if s.WellsWhy != "" {
				text = "depths don't compare: " + s.WellsWhy
			}
			if len(names) > 0 {
				text = joinAnd(names)
			}
			c.Reasons = append(c.Reasons, fmt.Sprintf("From %s to %s: %s.", c.Surveys[s.From-1].Name, c.Surveys[s.To-1].Name, text))
		}
	}
	if w.WellsWhy != "" {
		c.Reasons = append(c.Reasons, "Depths can't be compared: "+w.WellsWhy+".")
	}
	if w.BandsWhy != "" {
		c.Reasons = append(c.Reasons, "Diffusion coefficients can't be compared: "+w.BandsWhy+".")
	}
	if g, l := len(w.Gained), len(w.Lost); g+l > 0 {
		c.Reasons = append(c.Reasons, fmt.Sprintf("%s came up, %s went away.", capital(counted(g, "warning", "warnings")), counted(l, "warning", "warnings")))
	}

	c.seen(wells, bands)
	c.howSure(flat)
	c.toDo(maybe)
	c.Method = []Note{
		{"Change", "The later figure less the earlier one. Its 95\u00a0% interval is the change ± √(U₁² + U₂²), U being half of each figure's own 95\u00a0% interval: independent errors add up as squares. Where several sets of depths explain a survey, the interval spans all of them. A coefficient's interval takes in the largest change of the flat board's coefficient, which the rig must have made.", "JCGM 100:2008, 5.1.2"},
		{"Significant", "Among all wells, or all bands of one coefficient, changes are taken in the order of their probability under chance, and count as long as the k-th of n stays below 5\u00a0% / (n − k + 1): one false alarm in twenty comparisons, however many wells. “Possible” is a change whose own interval excludes 0 but that may be chance among so many.", "Holm, Scand. J. Statist. 6 (1979) 65 (from memory)"},
		{"Intervals apart", "Two 95\u00a0% intervals that don't overlap are a stricter test than the change's own interval: |change| above U₁ + U₂ instead of √(U₁² + U₂²). Both stand in the tables.", "JCGM 100:2008, 5.1.2"},
		{"Warnings", "Told apart by their code and place.", ""},
	}
}

// seen says what each picture shows.
func (c *Comparison) seen(wells []WellChange, bands []BandChange) {
	add := func(picture, format string, args ...any) {
		c.Seen = append(c.Seen, Seen{picture, fmt.Sprintf(format, args...)})
	}
	off := func(s ComparedSurvey) string {
		n := 0
		for _, w := range s.Wells {
			if w.Verdict == "shallow" || w.Verdict == "deep" {
				n++
			}
		}
		return counted(n, "well", "wells")
	}
	add("depths", "In the first survey %s stood off the design, in the last %s.", off(c.Surveys[0]), off(c.Surveys[len(c.Surveys)-1]))
	switch {
	case len(wells) > 0:
		add("changes", "From the first survey to the last, %s changed by more than chance explains.", counted(len(wells), "well", "wells"))
	case c.Whole.WellsWhy == "":
		add("changes", "From the first survey to the last no well changed by more than chance explains.")
	}
	switch {
	case len(bands) > 0:
		add("coefficients", "How evenly the panel spreads the sound changed in %s by more than chance explains.", counted(len(bands), "band", "bands"))
	case slices.ContainsFunc(c.Whole.Bands, func(b BandChange) bool { return b.Panel.Significance != "" }):
		add("coefficients", "How evenly the panel spreads the sound changed nowhere by more than chance explains.")
	default:
		add("coefficients", "How evenly the panel spreads the sound, survey by survey; whether it changed can't be told.")
	}
}

// howSure says what the intervals hold and what they don't.
func (c *Comparison) howSure(flat []BandChange) {
	w := &c.Whole
	add := func(format string, args ...any) { c.HowSure = append(c.HowSure, fmt.Sprintf(format, args...)) }
	if w.WellsWhy == "" {
		add("The change of a depth takes the two surveys' errors as independent. In truth both share the prediction's own error and, where the rig stood the same, the errors of its places: " +
			"these cancel in a difference (JCGM 100:2008, 5.2.2), so the intervals are rather too wide. A change called significant stands; a small one may be missed.")
	}
	judged := func(of func(BandChange) Change) bool {
		return slices.ContainsFunc(w.Bands, func(b BandChange) bool { return of(b).Significance != "" })
	}
	switch {
	case w.BandsWhy != "" || len(w.Bands) == 0:
	case judged(func(b BandChange) Change { return b.Panel }) || judged(func(b BandChange) Change { return b.Normalised }):
		if !w.RigChange.Known() {
			add("The intervals of diffusion coefficients come from the repeated takes of each survey alone; what setting the rig up anew did to all takes is not in them. Without a flat board measured in both surveys " +
				"that can't be told from what the panel did, so no coefficient counts as significant.")
			break
		}
		add("The intervals of diffusion coefficients come from the repeated takes of each survey, and from the flat board: it doesn't change, so the largest change of its coefficient (%.3f) stands for what setting "+
			"the rig up anew did. Where the flat board's recordings were used again instead of made anew, that is not in them, and small changes may come from the rig.", float64(w.RigChange))
		if len(flat) > 0 {
			var at []string
			for _, b := range flat {
				at = append(at, hertz(b.CentreHz))
			}
			add("The flat board's own coefficient changed by more than its takes' spread, at %s: there the rig did.", joinAnd(at))
		}
	default:
		add("Whether diffusion coefficients changed can't be told: without repeated takes they have no interval. The tables show the bare differences.")
	}
	for _, s := range c.Surveys {
		if s.Misfit > 0.3 {
			add("%s: the depths leave %.0f\u00a0%% of what was measured unexplained, a poor fit; its intervals may be too narrow.", s.Name, 100*float64(s.Misfit))
		}
		if len(s.Unknown) > 0 {
			add("%s was written by a newer version; what this one doesn't know of it plays no part (%s).", s.Name, strings.Join(s.Unknown[:min(3, len(s.Unknown))], ", "))
		}
	}
	c.HowSure = append(c.HowSure, w.Differences...)
}

func (c *Comparison) toDo(maybe []WellChange) {
	last := c.Surveys[len(c.Surveys)-1]
	add := func(s string) { c.ToDo = append(c.ToDo, s) }
	if len(maybe) > 0 {
		add("Measure again, with every take repeated, to tell a possible change from chance.")
	}
	switch last.Verdict {
	case Differs:
		add("Wells are still off: the report of " + last.Name + " says what to mend.")
	case Undecided:
		add("The last survey is undecided: its report says what to measure again.")
	case AsDesigned:
		add("Nothing to mend.")
	}
	if c.Whole.WellsWhy == "" && c.Whole.BandsWhy == "" && !slices.ContainsFunc(c.Whole.Bands, func(b BandChange) bool { return b.Panel.Significance != "" }) {
		add("Record every take at least twice next time: only then do diffusion coefficients have intervals.")
	}
	if c.Whole.BandsWhy == "" && !c.Whole.RigChange.Known() {
		add("Measure a flat board in every survey: it tells what the rig changed from what the panel changed.")
	}
	if c.Whole.BandsWhy != "" {
		add("Put source and microphones where they stood in the first survey if coefficients are to be compared.")
	}
}

// judged says where a well stood and stands against its design.
func judged(x WellChange) string {
	if x.FromVerdict == x.ToVerdict {
		return fmt.Sprintf("still %s", verdictOf(x.ToVerdict))
	}
	return fmt.Sprintf("%s before, now %s", verdictOf(x.FromVerdict), verdictOf(x.ToVerdict))
}

func verdictOf(s string) string {
	switch s {
	case "ok":
		return "as designed"
	case "shallow", "deep":
		return "too " + s
	}
	return s
}

func deeper(d Num) string {
	if d < 0 {
		return mm(-float64(d)) + "\u00a0mm shallower"
	}
	return mm(float64(d)) + "\u00a0mm deeper"
}

func changedList(wells []WellChange) string {
	const most = 3
	var parts []string
	for i, x := range wells {
		if i == most {
			parts = append(parts, fmt.Sprintf("%d more", len(wells)-most))
			break
		}
		parts = append(parts, fmt.Sprintf("well %d is %s", x.Number, deeper(x.DepthM.Change)))
	}
	return joinAnd(parts)
}

// signedRange writes the interval of a change.
func signedRange(c Change, scale float64, decimals int) string {
	return fmt.Sprintf("%+.*f to %+.*f", decimals, scale*float64(c.Low), decimals, scale*float64(c.High))
}

func counted(n int, one, many string) string {
	switch n {
	case 0:
		return "no " + one
	case 1:
		return "one " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
