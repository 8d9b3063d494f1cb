package analysis

import (
	"fmt"
	"math"
)

// roles is one way in which the files of a position may have been exchanged: what the flat board's reflection then is, from the reflections that
// the survey's names give (each the difference to what is called empty).
type roles struct {
	text string // what the files seem to be
	flat func(flat, panel complex128) complex128
}

// The six orders of three states. Differences are linear, so nothing has to be read again.
var exchanges = []roles{
	{"as named", func(f, p complex128) complex128 { return f }},
	{"the files of flat board and panel seem exchanged", func(f, p complex128) complex128 { return p }},
	{"the files of empty room and panel seem exchanged", func(f, p complex128) complex128 { return f - p }},
	{"the files of empty room and flat board seem exchanged", func(f, p complex128) complex128 { return -f }},
	{"the files named flat hold the empty room, those named panel the flat board, those named empty the panel", func(f, p complex128) complex128 { return p - f }},
	{"the files named panel hold the empty room, those named empty the flat board, those named flat the panel", func(f, p complex128) complex128 { return -p }},
}

// reversedRoles gives the panel's reflection with its sign reversed, where there is no flat board's.
const reversedRoles = 2

func (e *roles) of(flat, panel []complex128) []complex128 {
	out := make([]complex128, len(flat))
	for k := range out {
		out[k] = e.flat(flat[k], panel[k])
	}
	return out
}

// A flat board's reflection is known before anything is built, from its size and the places alone, so it tells which file is which. It agrees with its
// prediction to 0.9 and more (normalised correlation) where tape measure and room are what they should be; another state's reflection, which has other
// delays, agrees to about half, and a reversed sign not at all.
const (
	alikeEnough = 0.75
	clearlyMore = 0.15
	withinTapeM = 0.06 // of path, either way: several times what a tape measure gets wrong
)

// flatLikenesses compares, per position and exchange, what then would be the flat board's reflection with its prediction; nil where a state is missing.
func (r *run) flatLikenesses() (all [][]likeness, medians []float64) {
	all = make([][]likeness, len(r.positions))
	parallel(0, len(r.positions), func(i int) {
		if r.flat[i] == nil || r.empty[i] == nil {
			return
		}
		all[i] = make([]likeness, len(exchanges))
		for e := range exchanges {
			all[i][e] = r.alike(i, exchanges[e].of(r.flat[i], r.panel[i]), r.modelFlat[i], withinTapeM)
		}
	})
	for e := range exchanges {
		medians = append(medians, medianOf(len(all), func(i int) (float64, bool) {
			if all[i] == nil {
				return 0, false
			}
			return all[i][e].gamma, all[i][e].known
		}))
	}
	return all, medians
}

func (e *roles) said(where string, taken, named float64) Warning {
	return Warning{"states", where, fmt.Sprintf("%s: taken so, the flat board agrees with its prediction to %.2f, as named to %.2f (1 is perfect); put the file names right", e.text, taken, named)}
}

// doubtWholeStates finds states whose files are exchanged or without a reflection at most positions.
func (r *run) doubtWholeStates(all [][]likeness, whole []float64) (found bool) {
	if first, last := r.usableBins(); last < first {
		return false
	}
	for _, state := range r.reflections() {
		if usual, most := state.medians(); most < noReflection {
			r.contradict(Warning{"no reflection", state.name, fmt.Sprintf("what the takes hold beyond the empty room is %s the reflection that must be there: the files are the empty room's, or nothing stood in the panel's place; check the file names, or measure again", below(usual))})
			found = true
		}
	}
	if found {
		return true
	}
	if !r.hasFlat() {
		// the panel may be anything, but not a reflection with its sign reversed that is like the design's
		of := func(reversed bool) float64 {
			return medianOf(len(r.positions), func(i int) (float64, bool) {
				if r.panel[i] == nil || r.empty[i] == nil {
					return 0, false
				}
				x := r.panel[i]
				if reversed {
					x = exchanges[reversedRoles].of(make([]complex128, len(x)), x)
				}
				l := r.alike(i, x, r.modelPanel[i], withinTapeM)
				return l.gamma, l.known
			})
		}
		if taken, named := of(true), of(false); taken > alikeEnough && taken > named+clearlyMore {
			r.contradict(Warning{"states", "all positions", fmt.Sprintf("the files of empty room and panel seem exchanged: taken so, the panel agrees with its design's prediction to %.2f, as named to %.2f (1 is perfect); put the file names right", taken, named)})
			return true
		}
		return false
	}
	best := 0
	for e, v := range whole {
		if v > whole[best] {
			best = e
		}
	}
	if whole[best] > alikeEnough && whole[best] > whole[0]+clearlyMore {
		r.contradict(exchanges[best].said("all positions", whole[best], whole[0]))
		return true
	}
	if !(whole[0] > alikeEnough) {
		return false // doubtPlaces says why
	}
	of := func(set [][]complex128) float64 {
		return medianOf(len(all), func(i int) (float64, bool) {
			if all[i] == nil {
				return 0, false
			}
			l := r.alike(i, set[i], r.modelFlat[i], withinTapeM)
			return l.gamma, l.known
		})
	}
	if panel, design := of(r.panel), of(r.modelPanel); panel > 0.9 && design < alikeEnough {
		r.contradict(Warning{"states", "panel", fmt.Sprintf("the panel's takes hold the reflection of a flat board (they agree with its prediction to %.2f; the design would to %.2f): wrong files, wells covered, or the panel's back turned to the loudspeaker; check the file names and the panel", panel, design)})
		return true
	}
	return false
}

// doubtSingleStates finds single positions whose states are exchanged or without a reflection, or whose flat board's reflection is none.
func (r *run) doubtSingleStates(all [][]likeness, whole []float64) {
	if first, last := r.usableBins(); last < first {
		return
	}
	for i, l := range all {
		if l == nil || r.contradicted(i) || !l[0].known {
			continue
		}
		best := 0
		for e := range l {
			if l[e].known && l[e].gamma > l[best].gamma {
				best = e
			}
		}
		less := clearlyMore + 3*l[0].sigma
		switch name := r.positions[i].survey.Name; {
		case l[best].gamma > 0.9 && l[0].gamma < l[best].gamma-less:
			r.contradict(exchanges[best].said(name, l[best].gamma, l[0].gamma))
		case l[0].gamma < whole[0]-clearlyMore-less:
			r.contradict(Warning{"place", name, fmt.Sprintf("the flat board's reflection agrees with its prediction to %.2f here, to %.2f in the median (1 is perfect): a file of another position or state, or a microphone that stood elsewhere; check the file names and its place", l[0].gamma, whole[0])})
		}
	}
	for _, state := range r.reflections() {
		usual, _ := state.medians()
		for i, v := range state.most {
			if usual > noReflection && v < noReflection*usual && !r.contradicted(i) {
				r.contradict(Warning{"no reflection", r.positions[i].survey.Name, fmt.Sprintf("%s: what the take holds beyond the empty room is %s the reflection that must be there: a file of the empty room, a dead channel, or the wrong take; check the file name, or measure again", state.name, below(v/usual))})
			}
		}
	}
}

// noReflection is −12 dB in energy over the whole range: a panel that absorbs half of everything leaves −3 dB.
const noReflection = 0.06

// reflected is how strong a state's reflections are re the predicted ones, per position, and what they may be at most; NaN where there is none.
type reflected struct {
	name        string
	level, most []float64
}

func (r *run) reflections() []reflected {
	var out []reflected
	for _, state := range []struct {
		name       string
		set, model [][]complex128
	}{{"flat", r.flat, r.modelFlat}, {"panel", r.panel, r.modelPanel}} {
		now := reflected{name: state.name}
		for i := range r.positions {
			l := likeness{level: math.NaN(), most: math.NaN()}
			if state.set[i] != nil && r.empty[i] != nil {
				l = r.alike(i, state.set[i], state.model[i], withinTapeM)
			}
			now.level, now.most = append(now.level, l.level), append(now.most, l.most)
		}
		out = append(out, now)
	}
	return out
}

func (s *reflected) medians() (level, most float64) {
	mid := func(v []float64) float64 {
		return medianOf(len(v), func(i int) (float64, bool) { return v[i], !math.IsNaN(v[i]) })
	}
	return mid(s.level), mid(s.most)
}

// below puts a ratio of energies into words.
func below(ratio float64) string {
	if ratio < 1e-6 {
		return "more than 60\u00a0dB below"
	}
	return fmt.Sprintf("%.0f\u00a0dB below", -10*math.Log10(ratio))
}
