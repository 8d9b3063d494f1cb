package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// What a tape measure and a hand that sets up stands get wrong: 5 mm, one standard deviation, in each direction. Limits are multiples of what
// that makes of a path: five times for one of many positions, so that chance reaches it once in a million.
const (
	tapeM        = 0.005
	directOffM   = 5 * tapeM       // of one direct path
	reflectedOff = 4.5 * 2 * tapeM // of one reflected path less the direct one: a microphone that is nearer counts twice
	allOffM      = 4 * tapeM       // of the median over positions, in which single errors average out
	speedOff     = 0.01            // 6 °C
	searchM      = 0.30            // of path: beyond it the gate is in the wrong place, and the reflection no longer agrees
	rangeNeeded  = 0.15            // of direct paths, so that a scale shows
)

// sighting is what the responses of one position say about distances, as the survey's speed of sound has it.
type sighting struct {
	i        int
	startM   float64 // when the file's first sample stands after the emission, if the direct sound came over the survey's distance
	laterM   float64 // by how much the reflection's path less the direct one is longer than in the survey; NaN where unknown
	directM  float64 // of the survey
	likeness likeness
}

// theory is where source and microphones may have stood instead, and how much more than the survey's speed of sound, or sample rate, the times say.
type theory struct {
	text   func(v float64) string
	lowest float64
	most   float64
	apply  func(source, mic *[3]float64, v float64) (scale float64)
}

func moved(what string, axis int, minus, plus string, source, mics bool) theory {
	return theory{lowest: -0.6, most: 0.6,
		text: func(v float64) string {
			return fmt.Sprintf("all times fit %s about %.0f\u00a0cm further %s than the survey says", what, 100*math.Abs(v), moreOr(v > 0, plus, minus))
		},
		apply: func(s, m *[3]float64, v float64) float64 {
			if source {
				s[axis] += v
			}
			if mics {
				m[axis] += v
			}
			return 1
		}}
}

// theories are the usual slips, each with one number to fit.
func (r *run) theories(rateHz float64) []theory {
	return []theory{
		{lowest: 0.4, most: 2.2,
			text: func(v float64) string { return r.scaleWords(v, rateHz) },
			apply: func(s, m *[3]float64, v float64) float64 {
				return v
			}},
		moved("a loudspeaker", 0, "towards −x", "towards +x", true, false),
		moved("a loudspeaker", 1, "towards the panel", "from the panel", true, false),
		moved("microphones that are all", 0, "towards −x", "towards +x", false, true),
		moved("microphones that are all", 1, "towards the panel", "from the panel", false, true),
		moved("a panel", 0, "towards +x", "towards −x", true, true), // places count from the panel
		moved("a panel's front", 1, "forward", "back", true, true),
		{lowest: 0.5, most: 2, text: func(v float64) string {
			return fmt.Sprintf("all times fit an arc of microphones with %.3g times the survey's radius", v)
		}, apply: func(s, m *[3]float64, v float64) float64 {
			for i := range m {
				m[i] *= v
			}
			return 1
		}},
		{lowest: -1, most: -1, text: func(float64) string {
			return "all times fit microphones with left and right exchanged: x counts to the right as drawn from above, with the panel's front facing up the page"
		}, apply: func(s, m *[3]float64, v float64) float64 { m[0] = -m[0]; return 1 }},
	}
}

// scaleWords names what makes all times come out longer or shorter by a factor: paths are that much longer than measured.
func (r *run) scaleWords(v, rateHz float64) string {
	for _, rate := range []float64{8000, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000} {
		// a path of n samples is n·c/rate
		if true_ := rateHz / v; rate != rateHz && math.Abs(true_/rate-1) < 0.01 {
			return fmt.Sprintf("all times fit a sample rate of %.0f\u00a0Hz instead of the %.0f\u00a0Hz in the files' headers: export them again at the rate at which they were recorded", rate, rateHz)
		}
	}
	kelvin := 293.15
	if t := r.air.TemperatureC; t.Known() {
		kelvin = float64(t) + 273.15
	}
	warmer := kelvin * (v*v - 1)
	if math.Abs(warmer) > 40 {
		return fmt.Sprintf("all times are %.2g times too short for the survey's distances: check their unit, and the sample rate in the files' headers", v)
	}
	return fmt.Sprintf("all times fit a speed of sound %.1f\u00a0%% %s, as in air %.0f\u00a0°C %s than the survey says", 100*math.Abs(v-1), moreOr(v > 1, "higher", "lower"), math.Abs(warmer), moreOr(v > 1, "warmer", "colder"))
}

// doubtPlaces compares when sounds arrive with the survey's places. Direct sounds tell where the files share a zero of time, whatever latency all of them have;
// reflections less direct sounds tell always, by the flat board (which is known) or else by the panel, where it is like its design.
// True where most positions contradict the survey.
func (r *run) doubtPlaces() bool {
	first, last := r.usableBins()
	flat, what := r.hasFlat(), "flat board"
	if !flat {
		what = "panel"
	}
	seen := make([]sighting, len(r.positions))
	parallel(0, len(seen), func(i int) {
		m := r.positions[i]
		s := sighting{i: i, startM: m.fileStartS * r.air.SpeedOfSoundMS, directM: m.directS * r.air.SpeedOfSoundMS, laterM: math.NaN()}
		measured, predicted := r.flat, r.modelFlat
		if measured[i] == nil && !flat { // the design's reflection, where the panel is nearly that
			measured, predicted = r.panel, r.modelPanel
		}
		if measured[i] != nil && r.empty[i] != nil && last > first {
			if s.likeness = r.alike(i, measured[i], predicted[i], searchM); s.likeness.known && s.likeness.gamma > alikeEnough {
				s.laterM = s.likeness.laterM
			}
		}
		seen[i] = s
	})
	if len(seen) < 3 {
		return false
	}
	slope, shared := sharedZero(seen)
	start := medianOf(len(seen), func(n int) (float64, bool) { return seen[n].startM, true })
	later := medianOf(len(seen), func(n int) (float64, bool) { return seen[n].laterM, !math.IsNaN(seen[n].laterM) })
	spread := func(of func(s sighting) float64) float64 {
		return 1.4826 * medianOf(len(seen), func(n int) (float64, bool) { v := math.Abs(of(seen[n])); return v, !math.IsNaN(v) })
	}
	directSpread := spread(func(s sighting) float64 { return s.startM - start })
	laterSpread := spread(func(s sighting) float64 { return s.laterM - later })
	agreement := medianOf(len(seen), func(n int) (float64, bool) { return seen[n].likeness.gamma, seen[n].likeness.known })
	var why []string
	if shared {
		if directSpread > allOffM {
			why = append(why, fmt.Sprintf("the direct sounds' paths scatter by %.0f\u00a0mm about the survey's distances", 1000*directSpread))
		}
		if _, off := slope.off(); off {
			why = append(why, fmt.Sprintf("the direct sounds' paths grow by %.3f\u00a0m per metre of the survey's distances", 1-slope.value))
		}
	}
	beside := trend{}
	if flat {
		beside = r.beside(seen)
	}
	switch {
	case math.Abs(later) > allOffM:
		why = append(why, fmt.Sprintf("the %s's reflection comes over a path %.0f\u00a0mm %s than the survey's (after the direct sound)", what, 1000*math.Abs(later), moreOr(later > 0, "longer", "shorter")))
	case laterSpread > reflectedOff*2/3:
		why = append(why, fmt.Sprintf("the reflections' paths scatter by %.0f\u00a0mm about the survey's", 1000*laterSpread))
	case math.Abs(beside.value) > max(allOffM, 4*beside.standardError):
		why = append(why, fmt.Sprintf("the paths over the flat board's edges are those of a board about %.0f\u00a0mm further towards %sx", 1000*math.Abs(beside.value), moreOr(beside.value > 0, "+", "−")))
	case flat && agreement < alikeEnough:
		why = append(why, fmt.Sprintf("the flat board's reflection agrees with the one that must come over the survey's places to %.2f only (1 is perfect)", agreement))
	}
	if why != nil {
		r.contradict(Warning{"places", "all positions", joinAnd(why) + "; " + r.explain(seen, shared) + "; a tape measure is right to some millimetres"})
		return true
	}
	r.doubtSingles(seen, shared, start, later)
	return false
}

// beside fits how far the flat board stands beside its place, in metres along x: only the places whose reflection comes over an edge tell.
func (r *run) beside(seen []sighting) trend {
	const stepM = 0.01
	var x, y []float64
	for _, s := range seen {
		if math.IsNaN(s.laterM) {
			continue
		}
		source, mic := r.survey.SourceM, r.positions[s.i].survey.MicM
		is := newPaths(&r.survey.Panel, source, mic)
		source[0] -= stepM // the panel towards +x
		mic[0] -= stepM
		moved := newPaths(&r.survey.Panel, source, mic)
		x, y = append(x, (moved.earliest-is.earliest)/stepM), append(y, s.laterM)
	}
	if len(x) < 5 {
		return trend{}
	}
	return robustLine(x, y)
}

// doubtSingles names the positions whose times contradict their place while the others' don't.
func (r *run) doubtSingles(seen []sighting, shared bool, start, later float64) {
	var off []sighting
	for _, s := range seen {
		if shared && math.Abs(s.startM-start) > directOffM || math.Abs(s.laterM-later) > reflectedOff {
			off = append(off, s)
		}
	}
	for _, s := range off {
		var why []string
		if d := start - s.startM; shared && math.Abs(d) > directOffM {
			why = append(why, fmt.Sprintf("the direct sound comes over a path %.0f\u00a0mm %s than the survey's", 1000*math.Abs(d), moreOr(d > 0, "longer", "shorter")))
		}
		if d := s.laterM - later; math.Abs(d) > reflectedOff {
			why = append(why, fmt.Sprintf("the reflection's path, less the direct sound's, is %.0f\u00a0mm %s than the survey's", 1000*math.Abs(d), moreOr(d > 0, "longer", "shorter")))
		}
		text := joinAnd(why) + ": the microphone stood elsewhere, or the files are those of another position"
		for _, other := range off {
			// each one's path is the other's distance
			if shared && other.i != s.i && math.Abs(s.directM-s.startM+start-other.directM) < 2*tapeM && math.Abs(other.directM-other.startM+start-s.directM) < 2*tapeM {
				text += "; exchanged with those of " + r.positions[other.i].survey.Name + " they would fit"
				break
			}
		}
		r.contradict(Warning{"place", r.positions[s.i].survey.Name, text + "; measure its place again, and check the file names"})
	}
}

// trend is a slope with its standard error.
type trend struct{ value, standardError, residual float64 }

// off says by how much paths are longer than the survey's, and whether that is more than chance and tape measure make.
func (l trend) off() (factor float64, off bool) {
	return 1 - l.value, math.Abs(l.value) > max(speedOff, 4*l.standardError)
}

// robustLine fits y = a + b x by the median of all slopes (Theil 1950, Sen 1968), with a standard error as least squares would have it.
func robustLine(x, y []float64) trend {
	const enough = 200 // points: more give no better slope, and the pairs grow as their square
	var slopes []float64
	every := 1 + len(x)/enough
	for i := 0; i < len(x); i += every {
		for j := 0; j < i; j += every {
			if d := x[i] - x[j]; math.Abs(d) > 1e-3 {
				slopes = append(slopes, (y[i]-y[j])/d)
			}
		}
	}
	if slopes == nil {
		return trend{standardError: math.Inf(1), residual: math.Inf(1)}
	}
	out := trend{value: median(slopes)}
	rest := make([]float64, len(x))
	mean := 0.0
	for i := range x {
		rest[i] = y[i] - out.value*x[i]
		mean += x[i] / float64(len(x))
	}
	middle := median(slices.Clone(rest))
	var squares float64
	for i := range rest {
		rest[i] = math.Abs(rest[i] - middle)
		squares += (x[i] - mean) * (x[i] - mean)
	}
	out.residual = 1.4826 * median(rest)
	out.standardError = out.residual / math.Sqrt(squares)
	return out
}

// sharedZero says whether the files begin at one time: then where they begin does not follow the distance. Files that were cut at their direct sound
// begin later by the distance itself; files cut by hand begin anyhow. Both leave only the reflections to tell.
func sharedZero(seen []sighting) (trend, bool) {
	var x, y []float64
	for _, s := range seen {
		x, y = append(x, s.directM), append(y, s.startM)
	}
	l := robustLine(x, y)
	reach := slices.Max(x) - slices.Min(x)
	if reach > rangeNeeded && l.residual < reach/12 && math.Abs(l.value-1) > 0.15 {
		return l, true
	}
	// the same distances in another order
	far, rest := inOrder(seen)
	return l, far > rangeNeeded && rest < 2*tapeM
}

// inOrder compares the paths that the direct sounds came with the survey's distances, both sorted: how far the paths reach and the mean deviation.
func inOrder(seen []sighting) (reach, rest float64) {
	var x, y []float64
	for _, s := range seen {
		x, y = append(x, s.directM), append(y, s.directM-s.startM)
	}
	slices.Sort(x)
	slices.Sort(y)
	reach = y[len(y)-1] - y[0]
	for n := range x {
		y[n] -= x[n]
	}
	middle := median(slices.Clone(y))
	for _, v := range y {
		rest += math.Abs(v-middle) / float64(len(y))
	}
	return reach, rest
}

// explain names the slip that explains the times best.
func (r *run) explain(seen []sighting, shared bool) string {
	type result struct {
		text string
		cost float64
	}
	told := make([]sighting, 0, fitAtMost) // a slip shows in some as in all
	for _, n := range spreadEvenly(len(seen), fitAtMost) {
		told = append(told, seen[n])
	}
	cost := func(t *theory, v float64) float64 {
		var direct, reflected []float64
		for _, s := range told {
			source, mic := r.survey.SourceM, r.positions[s.i].survey.MicM
			was := newPaths(&r.survey.Panel, source, mic)
			scale := 1.0
			if t != nil {
				scale = t.apply(&source, &mic, v)
			}
			is := newPaths(&r.survey.Panel, source, mic)
			direct = append(direct, (s.directM-s.startM)*scale-is.direct)
			if !math.IsNaN(s.laterM) {
				reflected = append(reflected, (was.earliest-was.direct+s.laterM)*scale-(is.earliest-is.direct))
			}
		}
		sum := 0.0
		if shared {
			middle := median(slices.Clone(direct))
			for _, d := range direct {
				sum += math.Abs(d-middle) / float64(len(told))
			}
		}
		for _, d := range reflected {
			sum += math.Abs(d) / float64(len(told))
		}
		return sum
	}
	null := cost(nil, 0)
	var found []result
	for _, t := range r.theories(r.positions[0].sampleRateHz) {
		best, at := math.Inf(1), t.lowest
		step := (t.most - t.lowest) / 30
		for n := range 31 {
			v := t.lowest + step*float64(n)
			if c := cost(&t, v); c < best {
				best, at = c, v
			}
		}
		for ; step > 1e-3; step /= 3 {
			for _, v := range []float64{at - 2*step/3, at - step/3, at + step/3, at + 2*step/3} {
				if c := cost(&t, v); c < best {
					best, at = c, v
				}
			}
		}
		found = append(found, result{t.text(at), best})
	}
	if shared {
		_, rest := inOrder(seen)
		var now []float64
		start := medianOf(len(seen), func(n int) (float64, bool) { return seen[n].startM, true })
		for _, s := range seen {
			now = append(now, math.Abs(s.startM-start))
		}
		if median(now) < 2*rest+tapeM {
			rest = math.Inf(1) // they fit in the survey's order as well
		}
		found = append(found, result{"the direct sounds fit the distances in another order: files of positions are exchanged", 2 * rest})
	}
	sortBy(found, func(f result) float64 { return f.cost })
	if !(found[0].cost < 0.5*null) {
		return "no single slip explains it: check every place, unit and file name"
	}
	texts := []string{found[0].text}
	for _, f := range found[1:] {
		if f.cost < 1.5*found[0].cost+tapeM/5 && len(texts) < 3 {
			texts = append(texts, f.text)
		}
	}
	return strings.Join(texts, ", or ")
}
