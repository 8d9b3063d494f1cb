package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"github.com/leadline/leadline/dsp"
)

// contradict notes that the data contradict the survey: beside the warning, no verdict is given on them.
func (r *run) contradict(w ...Warning) {
	r.warn(w...)
	r.contradictions = append(r.contradictions, w...)
}

// contradictionWhy is what the wells say where the data contradict the survey.
const contradictionWhy = "the data contradict the survey or hold too much noise, see the warnings"

// withhold takes every verdict back where the data contradict the survey.
func (r *run) withhold() {
	if len(r.contradictions) == 0 {
		return
	}
	r.result.Verdict = Undecided
	for i := range r.result.Wells {
		r.result.Wells[i].Verdict, r.result.Wells[i].Why = "undecided", contradictionWhy
	}
}

// contradictionText puts contradictions into the verdict's words.
func (r *run) contradictionText() {
	res := r.result
	noise := func(w Warning) bool { return w.Code == "noise" }
	if !slices.ContainsFunc(r.contradictions, func(w Warning) bool { return !noise(w) }) {
		res.Headline = "The data cannot decide whether the panel came out as designed: too much of them is noise."
		res.Reasons = append(res.Reasons, strings.ToUpper(r.contradictions[0].Text[:1])+r.contradictions[0].Text[1:]+".")
		return
	}
	res.Headline = "The recordings contradict the survey, so nothing is said about the panel: set right what the warnings name and run the check again."
	for _, w := range r.contradictions {
		where := w.Where
		if where != "" {
			where += ": "
		}
		res.Reasons = append(res.Reasons, where+strings.ToUpper(w.Text[:1])+w.Text[1:]+".")
	}
	res.ToDo = append(res.ToDo, "Set right what contradicts the survey, in the survey or by measuring again, and run the check again.")
}

// doubtData looks for what contradicts the survey before any depth is fitted: states and places.
func (r *run) doubtData() {
	all, whole := r.flatLikenesses()
	if r.doubtWholeStates(all, whole) || r.doubtPlaces() {
		return // single positions can't be judged by the others
	}
	r.doubtSingleStates(all, whole)
}

// likeness is how well a measured reflection agrees with a predicted one, whatever its level.
type likeness struct {
	gamma  float64 // normalised correlation at the best delay, −1 to 1, the noise in the measured one allowed for
	laterM float64 // by how much the measured one is later, as a path
	level  float64 // energy of the measured one less its noise, re the predicted
	most   float64 // what the level may be at most, three standard deviations of the noise higher
	sigma  float64 // standard deviation of gamma from noise
	known  bool    // false where noise hides it
}

// contradicted says whether a position has been named already.
func (r *run) contradicted(i int) bool {
	return slices.ContainsFunc(r.contradictions, func(w Warning) bool { return w.Where == r.positions[i].survey.Name })
}

// usableBins are the bins of the grid that count; none where no band does.
func (r *run) usableBins() (first, last int) {
	low, high := float64(r.result.Spectrum.LowestUsableHz), float64(r.result.Spectrum.HighestUsableHz)
	if !(high > low) {
		return 0, -1
	}
	return max(r.grid.first, int(math.Ceil(low/r.grid.stepHz))), min(r.grid.last, int(high/r.grid.stepHz))
}

// alike compares the gated transfer functions of one position, from −withinM to withinM of path.
func (r *run) alike(i int, measured, predicted []complex128, withinM float64) likeness {
	const stepM = 0.002 // a thirtieth of the shortest wavelength
	first, last := r.usableBins()
	var x, m, noise float64
	product := make([]complex128, 0, last-first+1)
	for k := first; k <= last; k++ {
		x, m = x+squared(measured[k]), m+squared(predicted[k])
		product = append(product, measured[k]*cmplx.Conj(predicted[k]))
	}
	if len(product) > 0 {
		b := Band{LowHz: float64(first) * r.grid.stepHz, HighHz: float64(last) * r.grid.stepHz}
		noise = r.noise(r.positions[i], i, &b) / (16 * math.Pi * math.Pi) * float64(len(product))
	}
	out := likeness{level: (x - noise) / m}
	// a gate of T holds 2BT independent values of the noise in a bandwidth B
	independent := 2 * float64(len(product)) * r.grid.stepHz * r.gates[i].lengthS
	out.most = (x - noise + 3*math.Sqrt((noise*noise+2*noise*max(0, x-noise))/max(1, independent/2))) / m
	if !(x-noise > 2*noise && m > 0) {
		return out
	}
	at := func(pathM float64) float64 {
		step := cmplx.Rect(1, -2*math.Pi*r.grid.stepHz*pathM/r.air.SpeedOfSoundMS)
		turn := cmplx.Rect(1, -2*math.Pi*r.grid.stepHz*float64(first)*pathM/r.air.SpeedOfSoundMS)
		sum := 0.0
		for _, p := range product {
			sum += real(p * turn)
			turn *= step
		}
		return sum
	}
	best, bestM := math.Inf(-1), 0.0
	for n := -int(withinM / stepM); n <= int(withinM/stepM); n++ {
		if v := at(float64(n) * stepM); v > best {
			best, bestM = v, float64(n)*stepM
		}
	}
	a, c := at(bestM-stepM), at(bestM+stepM)
	if bend := a - 2*best + c; bend < 0 {
		bestM += stepM * max(-1, min(1, (a-c)/(2*bend)))
	}
	out.gamma, out.laterM, out.known = best/math.Sqrt(m*(x-noise)), bestM, true
	out.sigma = math.Sqrt(noise / (x - noise) / max(1, independent))
	return out
}

// medianOf is the median of what some positions have; NaN where none has it.
func medianOf(n int, value func(i int) (float64, bool)) float64 {
	var values []float64
	for i := range n {
		if v, ok := value(i); ok {
			values = append(values, v)
		}
	}
	if values == nil {
		return math.NaN()
	}
	return median(values)
}

// doubtTakes finds takes that don't belong to their position's others; to be called on what was aligned, before anything is divided out.
func doubtTakes(s *Survey, m *measuredPosition, speed float64) (contradictions []Warning) {
	const other = 0.1 // energy of what is left re the direct sound: a third of its amplitude, where one loudspeaker at one place leaves a hundredth
	reference := m.empty
	if reference == nil {
		reference = m.panelWhole()
	}
	way := newPaths(&s.Panel, s.SourceM, m.survey.MicM)
	direct, _ := windowed(reference, m.startS, m.sampleRateHz, directWindow(m.directS, way, speed))
	energy := 0.0
	for _, v := range direct {
		energy += v * v
	}
	noise := 0.0
	if !math.IsNaN(m.noise) && energy > 0 {
		noise = 2 * m.noise * float64(len(direct)) / energy
	}
	for _, a := range m.alignment {
		if left := math.Pow(10, float64(a.ResidualAfter)/10); left-noise > other {
			contradictions = append(contradictions, Warning{"take", m.survey.Name, fmt.Sprintf("%s holds no direct sound that is like the reference take's (what differs is only %.0f dB below it): noise, another loudspeaker place, or a file that doesn't belong here; record this take again", a.File, -float64(a.ResidualAfter))})
		}
	}
	return contradictions
}

// doubtFit looks for what contradicts the survey once depths are found that explain the panel as well as any do: single positions that they don't explain, and
// a panel that stood elsewhere than the flat board did or the survey says.
func (r *run) doubtFit(f *fitData, best *fitState) {
	const usual = 0.85 // agreement in the median, at which a fit is good enough to judge positions by it
	n := len(r.fitted)
	fitted := make([]likeness, n) // by their places in the fit
	for i := range fitted {
		model := make([]complex128, len(best.model[i]))
		for k, v := range best.model[i] {
			model[k] = best.common[k] * v
		}
		fitted[i] = r.alike(r.fitted[i], f.measured[i], model, searchM)
		fitted[i].laterM += best.shifts[i] * f.outside.speed
	}
	agreement := medianOf(n, func(i int) (float64, bool) { return fitted[i].gamma, fitted[i].known })
	if !(agreement > usual) {
		return
	}
	sure := func(i int) bool { return fitted[i].known && fitted[i].gamma > alikeEnough }
	later := medianOf(n, func(i int) (float64, bool) { return fitted[i].laterM, sure(i) })
	if math.Abs(later) > allOffM && !r.hasFlat() {
		r.contradict(Warning{"places", "all positions", fmt.Sprintf("the panel's reflection comes over a path %.0f\u00a0mm %s than the survey's (after the direct sound): the panel's front, the microphones or the source stood elsewhere, or the air's temperature is wrong; measure again, a tape measure is right to some millimetres", 1000*math.Abs(later), moreOr(later > 0, "longer", "shorter"))})
		return
	}
	var along, paths []float64
	for i := range fitted {
		if sure(i) {
			along, paths = append(along, f.sideways[i]), append(paths, fitted[i].laterM)
		}
	}
	if beside := robustLine(along, paths); math.Abs(beside.value) > max(allOffM, 4*beside.standardError) {
		r.contradict(Warning{"places", "panel", fmt.Sprintf("the reflections' paths are those of a panel about %.0f\u00a0mm further towards %sx than the survey says; measure its middle, the loudspeaker and the microphones again", 1000*math.Abs(beside.value), moreOr(beside.value > 0, "+", "−"))})
		return
	}
	var moved []float64
	for i := range fitted {
		if at := r.fitted[i]; r.flat[at] != nil && sure(i) {
			if flat := r.alike(at, r.flat[at], r.modelFlat[at], searchM); flat.known && flat.gamma > alikeEnough {
				moved = append(moved, fitted[i].laterM-flat.laterM)
			}
		}
	}
	if len(moved) > n/2 {
		if by := median(moved); math.Abs(by) > allOffM {
			r.contradict(Warning{"moved", "panel", fmt.Sprintf("the panel's reflections come over a path %.0f\u00a0mm %s than the flat board's: panel and board did not stand with their fronts in one plane, or source or microphones were moved between; put the panel's front where the board's was and measure again", 1000*math.Abs(by), moreOr(by > 0, "longer", "shorter"))})
			return
		}
	}
	for i, l := range fitted {
		name := r.positions[r.fitted[i]].survey.Name
		switch {
		case !l.known:
		case l.gamma < agreement-0.4:
			r.contradict(Warning{"place", name, fmt.Sprintf("the panel's reflection here agrees to %.2f with what the other positions say the panel is, in the median they do to %.2f (1 is perfect): a file of another position or state, or a microphone that stood elsewhere; check the file names and its place", l.gamma, agreement)})
		case math.Abs(l.laterM-later) > reflectedOff:
			r.contradict(Warning{"place", name, fmt.Sprintf("the panel's reflection comes over a path %.0f\u00a0mm %s than the survey's, the other positions taken as right: the microphone or the panel stood elsewhere in this take; measure it again", 1000*math.Abs(l.laterM-later), moreOr(l.laterM > later, "longer", "shorter"))})
		}
	}
}

// takeOffset takes a constant off an impulse response where there is one that is not sound: no loudspeaker sends 0 Hz, so the samples of a response, most of which are
// its silence and its decay, have a median near 0. Where the median stands out from that of their scatter and above −50 dB of the peak, it goes. peak is dsp.Peak(x), as is
// left afterwards. text says what was taken off; nothing of what was all offset.
func takeOffset(x []float64, peak float64) (text string, left float64) {
	const (
		least  = 0.003
		hangUp = 50 // samples over which low notes hang together: 1 ms
	)
	if len(x) == 0 || medianWithin(x, least, peak) {
		return "", peak
	}
	middle := median(slices.Clone(x))
	apart := make([]float64, len(x))
	for n, v := range x {
		apart[n] = math.Abs(v - middle)
		left = max(left, apart[n])
	}
	scatter := 1.2533 * 1.4826 * median(apart) / math.Sqrt(max(1, float64(len(x))/hangUp))
	if !(math.Abs(middle) > least*left && math.Abs(middle) > 5*scatter) {
		return "", peak
	}
	for n := range x {
		x[n] -= middle
	}
	if left > 0 {
		text = fmt.Sprintf("a constant offset of %.1f\u00a0%% of the peak, which is no sound; taken off: look for a fault in the interface, or a wrong export", 100*math.Abs(middle)/left)
	}
	return text, left
}

// medianWithin says, without sorting, whether the median lies within a share of the greatest distance from it: where more than half of the samples lie within L =
// share·peak/(1 + share) of 0, so does the median, and the loudest sample is at least peak − L = L/share away from it. False where that can't be said.
func medianWithin(x []float64, share, peak float64) bool {
	limit, within := share*peak/(1+share), 0
	for block := range slices.Chunk(x, 4096) {
		if within += dsp.CountWithin(block, limit); within > len(x)/2 {
			return true
		}
	}
	return false
}
