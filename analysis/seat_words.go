package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// seatCriterion is the published limit for early reflections in listening rooms. Below 5.6 kHz it is judged; the prediction does not reach further.
func seatCriterion() SeatCriterion {
	const lowest, highest = 891.25, 5623.42 // edges of the third octaves of 1 and 5 kHz
	return SeatCriterion{
		LimitDB: -10, AdvisoryDB: -15, WithinS: 0.015, LowHz: 1000, HighHz: 8000, JudgedLowHz: lowest, JudgedHighHz: highest,
		Text: "Reflections within 15\u00a0ms of the direct sound at least 10\u00a0dB under it from 1 to 8\u00a0kHz. Judged here in every third octave from 1 to 5\u00a0kHz, all of the scattered sound counted: the prediction ends at 5.7\u00a0kHz and says nothing of the rest. " +
			"A single reflection is hardly audible some 15 to 20\u00a0dB under the direct sound; that figure is advisory.",
		Source: "ITU-R BS.1116; EBU Tech 3276, 2.2 (both from memory); audibility: Olive and Toole, J. Audio Eng. Soc. 37 (1989) (from memory)",
	}
}

// distanceRules are the trade's rules of thumb for the nearest seat.
func distanceRules(p *Panel, speed float64) []DistanceRule {
	const source = "common practice, no source"
	waves := DistanceRule{Text: "three wavelengths of the design frequency", DistanceM: Unknown(), Source: source}
	if p.DesignFrequencyHz.Known() {
		waves.DistanceM = Num(3 * speed / float64(p.DesignFrequencyHz))
	}
	return []DistanceRule{waves, {"three times the build depth", Num(3 * p.OuterDepthM()), source}}
}

// onePlane says what a panel of parallel wells cannot do.
var onePlane = []string{
	"A panel of parallel wells spreads sound in one plane only, the one across its wells. In the plane along the wells it reflects like a flat board of its size.",
	"Hung with upright wells it spreads sound sideways, and does nothing against echoes between floor and ceiling; hung with lying wells it spreads sound up and down, and a listener who moves sideways hears a flat board's comb.",
	"It does not absorb: what it sends elsewhere comes back from other surfaces later. It does not act well below its design frequency, where it is a flat board.",
}

func inMetres(v Num) string { return fmt.Sprintf("%.2f\u00a0m", float64(v)) }
func dB(v Num) string       { return fmt.Sprintf("%.1f\u00a0dB", float64(v)) }

// under says how far a level lies under the direct sound, or over it.
func under(v Num) string {
	if v > 0 {
		return dB(v) + " over"
	}
	return dB(-v) + " under"
}

// keptFrom returns from which distance on the level stays at or under a limit, as far as the points go, by straight lines between them; beyond where the reflection comes
// later than the criterion looks, any level will do. Unknown where the last point is above. first tells that it already holds at the first point.
func keptFrom(distances []float64, points []SeatPoint, limit float64, late func(distance float64) bool) (at Num, first bool) {
	over := -1
	for i, p := range points {
		if float64(p.WorstDB) > limit && !late(distances[i]) {
			over = i
		}
	}
	switch {
	case over < 0:
		return Num(distances[0]), true
	case over == len(points)-1:
		return Unknown(), false
	}
	a, b := float64(points[over].WorstDB), float64(points[over+1].WorstDB)
	if b >= a || b > limit {
		return Num(distances[over+1]), false
	}
	return Num(distances[over] + (distances[over+1]-distances[over])*(a-limit)/(a-b)), false
}

// advise turns figures into a recommendation for every seat, with its reasons and doubts.
func (w *seatRun) advise() {
	seating := w.result.Seating
	var open, near []string
	for i := range seating.Seats {
		seat := &seating.Seats[i]
		w.adviseSeat(seat)
		w.tuningText(seat)
		if seating.Panels > 1 { // the row is what hangs there
			row := func(text *string) { *text = strings.ReplaceAll(*text, "the panel", "the row") }
			row(&seat.Advice.Text)
			row(&seat.Tuning.Text)
			for i := range seat.Advice.Reasons {
				row(&seat.Advice.Reasons[i])
			}
		}
		if !seat.Advice.Holds {
			open = append(open, seat.Name)
		}
		if seat.PlaceM[1] < 3*w.survey.Panel.OuterDepthM() {
			near = append(near, seat.Name)
		}
	}
	if open != nil {
		w.warn(Warning{"seat", several(open), fmt.Sprintf("what the panel sends back to the seat is less than %.0f\u00a0dB under the direct sound in some third octave from 1 to 5\u00a0kHz; see the seat's advice", -seating.Criterion.LimitDB)})
	}
	if near != nil {
		w.warn(Warning{"near seat", several(near), fmt.Sprintf("the seat is nearer to the panel than three times its depth, %.2g\u00a0m (common practice, no source): single wells are heard there", 3*w.survey.Panel.OuterDepthM())})
	}
	seating.Doubts = []string{
		"The loudspeaker counts as a point that sends alike to seat and panel; a real one sends less aside, so a panel off its axis is heard weaker than told.",
		"The rest of the room is left out: the wall around the panel, floor and furniture send sound of their own.",
		"On an independent three-dimensional wave simulation the reflected level comes out within about 1\u00a0dB rms from 0.3\u00a0m on, the comb within 0.4\u00a0dB.",
	}
}

// asIs returns the figures of the panel as it is.
func (s *Seat) asIs() *SeatFigures {
	if s.Built != nil {
		return s.Built
	}
	return &s.Design
}

// points returns the sweep of the panel as it is.
func (s *SeatSweep) points() []SeatPoint {
	if len(s.Built) > 0 {
		return s.Built
	}
	return s.Design
}

func (w *seatRun) adviseSeat(seat *Seat) {
	seating := w.result.Seating
	c := &seating.Criterion
	speed := w.air.SpeedOfSoundMS
	late := func(d float64) bool {
		way := newPaths(&w.survey.Panel, w.survey.SourceM, [3]float64{seat.PlaceM[0], d, seat.PlaceM[2]})
		return (way.middle-way.direct)/speed > c.WithinS
	}
	a := &seat.Advice
	var already, flatAlready bool
	sweep := &seat.Sweep
	a.AtLeastM, already = keptFrom(sweep.DistanceM, sweep.points(), c.LimitDB, late)
	a.FlatAtLeastM, flatAlready = keptFrom(sweep.DistanceM, sweep.Flat, c.LimitDB, late)
	a.AdvisoryM, _ = keptFrom(sweep.DistanceM, sweep.points(), c.AdvisoryDB, func(float64) bool { return false })
	f := seat.asIs()
	lateHere := late(seat.PlaceM[1])
	a.Holds = lateHere || float64(f.WorstDB) <= c.LimitDB
	nearest, farthest := Num(sweep.DistanceM[0]), Num(sweep.DistanceM[len(sweep.DistanceM)-1])
	switch {
	case already:
		a.Text = fmt.Sprintf("Any distance from %s on will do: the panel's sound stays at least 10\u00a0dB under the direct sound.", inMetres(nearest))
	case a.AtLeastM.Known():
		a.Text = fmt.Sprintf("Sit at least %s in front of the panel: from there on its sound stays at least 10\u00a0dB under the direct sound in every third octave from 1 to 5\u00a0kHz.", inMetres(a.AtLeastM))
	default:
		a.Text = fmt.Sprintf("No distance up to %s keeps the panel's sound 10\u00a0dB under the direct sound: move the loudspeaker nearer to the seat, turn it so that it does not aim at the panel, or add absorption.", inMetres(farthest))
	}
	switch here := inMetres(Num(seat.PlaceM[1])); {
	case a.Holds:
		a.Text += fmt.Sprintf(" This seat, %s away, keeps to it.", here)
	case a.AtLeastM.Known() && float64(a.AtLeastM) > seat.PlaceM[1]:
		a.Text += fmt.Sprintf(" This seat, %s away, is %s too near.", here, inMetres(a.AtLeastM-Num(seat.PlaceM[1])))
	default:
		a.Text += fmt.Sprintf(" This seat, %s away, does not.", here)
	}
	say := func(format string, v ...any) { a.Reasons = append(a.Reasons, fmt.Sprintf(format, v...)) }
	verdict := "within the limit"
	switch {
	case lateHere:
		verdict = fmt.Sprintf("it comes %.1f\u00a0ms after the direct sound, later than the 15\u00a0ms that the limit looks at", 1000*float64(seat.ReflectionS))
	case !a.Holds:
		verdict = "over the limit"
	}
	say("At the seat, %s from the panel's front, the strongest third octave (%s) lies %s the direct sound: %s. With a flat board it would be %s, at %s.",
		inMetres(Num(seat.PlaceM[1])), hertz(float64(f.WorstHz)), under(f.WorstDB), verdict, under(seat.Flat.WorstDB), hertz(float64(seat.Flat.WorstHz)))
	switch {
	case flatAlready:
		say("A flat board keeps to the limit from %s on too.", inMetres(nearest))
	case a.FlatAtLeastM.Known():
		say("A flat board in its place would ask for %s.", inMetres(a.FlatAtLeastM))
	default:
		say("A flat board in its place would break the limit up to %s and further.", inMetres(farthest))
	}
	say("Comb at the seat as the ear's bands see it, mean over the third octaves from 1 to 5\u00a0kHz: %s with the panel, %s with a flat board, none with nothing there.", dB(f.MeanCombDB), dB(seat.Flat.MeanCombDB))
	say("Across a listening area 0.6\u00a0m wide the level varies by %s with the panel, %s with a flat board, %s with nothing there (standard deviation).", dB(f.MeanUnevenness), dB(seat.Flat.MeanUnevenness), dB(seat.Nothing))
	say("The scattered sound comes %.1f\u00a0ms after the direct sound on average, spread over %.2f\u00a0ms (rms); a flat board's over %.2f\u00a0ms.", 1000*float64(f.CentreS), 1000*float64(f.SpreadS), 1000*float64(seat.Flat.SpreadS))
	for _, r := range seating.Rules {
		if !r.DistanceM.Known() {
			say("Rule of thumb, %s (%s): the survey gives no design frequency.", r.Text, r.Source)
			continue
		}
		compare := "the computed answer says nothing nearer than that is good enough at any distance"
		switch {
		case already:
			compare = "stricter than computed"
			if r.DistanceM <= nearest {
				compare = "nearer than what was computed"
			}
		case a.AtLeastM.Known():
			switch difference := float64(r.DistanceM - a.AtLeastM); {
			case math.Abs(difference) < 0.1:
				compare = "about as computed"
			case difference < 0:
				compare = fmt.Sprintf("%s nearer than computed: %s", inMetres(Num(-difference)), ruleLevel(sweep, float64(r.DistanceM)))
			default:
				compare = fmt.Sprintf("%s farther than computed: %s", inMetres(Num(difference)), ruleLevel(sweep, float64(r.DistanceM)))
			}
		default:
			compare = "the computed answer finds no distance that is enough: " + ruleLevel(sweep, float64(r.DistanceM))
		}
		say("Rule of thumb, %s (%s): %s, %s.", r.Text, r.Source, inMetres(r.DistanceM), compare)
	}
	if seat.Area != nil {
		say("Best place in the area given: %s from the panel's front, %.2f\u00a0m to the side (x), by the limit first, then by comb and variation across 0.6\u00a0m.", inMetres(Num(seat.PlaceM[1])), seat.PlaceM[0])
	}
	lying := &seat.Lying
	if math.Abs(float64(lying.WorstDB-f.WorstDB)) < 0.05 && math.Abs(float64(lying.MeanCombDB-f.MeanCombDB)) < 0.05 {
		say("Hung with its wells lying instead of upright it does the same straight ahead, at this seat; across 0.6\u00a0m the level then varies by %s.", dB(lying.MeanUnevenness))
	} else {
		say("Hung with its wells lying instead of upright, at this seat: comb %s, variation across 0.6\u00a0m %s, strongest third octave %s the direct sound.", dB(lying.MeanCombDB), dB(lying.MeanUnevenness), under(lying.WorstDB))
	}
}

// ruleLevel says how strong the panel's sound is at a rule's distance.
func ruleLevel(s *SeatSweep, at float64) string {
	i, exact := slices.BinarySearch(s.DistanceM, at)
	points := s.points()
	switch {
	case exact:
	case i == 0 || i == len(points):
		return "there nothing was computed"
	case at-s.DistanceM[i-1] < s.DistanceM[i]-at:
		i--
	}
	return fmt.Sprintf("there the strongest third octave lies %s the direct sound", under(points[i].WorstDB))
}

func (w *seatRun) tuningText(seat *Seat) {
	t := &seat.Tuning
	now := t.Points[slices.Index(t.PanelXM, 0)][slices.Index(t.DistanceM, seat.PlaceM[1])]
	best := t.Points[slices.Index(t.PanelXM, t.BestPanelXM)][slices.Index(t.DistanceM, t.BestDistanceM)]
	where := ""
	switch {
	case t.BestPanelXM != 0 && t.BestDistanceM != seat.PlaceM[1]:
		where = fmt.Sprintf("with the panel %s further towards %sx and the seat %s from its front", inMetres(Num(math.Abs(t.BestPanelXM))), sign(t.BestPanelXM), inMetres(Num(t.BestDistanceM)))
	case t.BestPanelXM != 0:
		where = fmt.Sprintf("with the panel %s further towards %sx", inMetres(Num(math.Abs(t.BestPanelXM))), sign(t.BestPanelXM))
	case t.BestDistanceM != seat.PlaceM[1]:
		where = fmt.Sprintf("with the seat %s from its front", inMetres(Num(t.BestDistanceM)))
	}
	if where == "" {
		t.Text = "Panel and seat stand as well as they can within the limits given."
	} else {
		t.Text = fmt.Sprintf("Best %s: comb %s instead of %s, strongest third octave %s the direct sound instead of %s.", where, dB(best.MeanCombDB), dB(now.MeanCombDB), under(best.WorstDB), under(now.WorstDB))
	}
	f := seat.asIs()
	t.Text += fmt.Sprintf(" One more panel beside (%d in all) makes the strongest third octave %s the direct sound instead of %s, the comb %s instead of %s, the variation across 0.6\u00a0m %s instead of %s.",
		w.result.Seating.Panels+1, under(seat.Another.WorstDB), under(f.WorstDB), dB(seat.Another.MeanCombDB), dB(f.MeanCombDB), dB(seat.Another.MeanUnevenness), dB(f.MeanUnevenness))
}

func sign(v float64) string {
	if v < 0 {
		return "−"
	}
	return "+"
}

var seatNotes = []Note{
	{"Seats", "The same prediction at the seat's place, in the near field of panel and loudspeaker, divided by the direct sound of a point source. Comb depth: highest less lowest level of direct plus scattered sound in a third octave, after averaging the power over the ear's equivalent rectangular bandwidth, 24.7 (4.37 f/kHz + 1) Hz, around every frequency.", "Glasberg and Moore, Hearing Research 47 (1990) 103"},
	{"Spread in time", "Centre and standard deviation of the scattered energy from 1 to 5\u00a0kHz in time, from the spectrum's slope by Parseval's theorem.", ""},
	{"Seats' limit", "Which distance is enough is judged by the strongest third octave of the scattered sound.", "ITU-R BS.1116; EBU Tech 3276 (from memory)"},
}
