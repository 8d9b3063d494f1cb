package analysis

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mat"

	"github.com/leadline/leadline/dsp"
)

// Drift is how much faster sound was in one state than in the empty room, beyond what the survey's temperatures say, and what was done about it.
type Drift struct {
	State            string `json:"state"`
	SpeedPPM         Num    `json:"speed_ppm"`                // faster than expected, parts per million
	StandardErrorPPM Num    `json:"speed_standard_error_ppm"` // from the scatter over the positions
	WarmerC          Num    `json:"warmer_c"`                 // the change of temperature that would do it
	ResidualBefore   Num    `json:"residual_before_db"`       // of the subtraction before the panel's reflection, re the empty room's echoes there
	ResidualAfter    Num    `json:"residual_after_db"`        // the same at positions that the estimate doesn't know
	Positions        int    `json:"positions"`                // that tell something
	Corrected        bool   `json:"corrected"`
	Text             string `json:"text"` // empty where nothing was done
}

// alignment is the work on the positions from which the drift is told, and others with them.
type alignment struct {
	survey *Survey
	air    Air // the reference
	takes  []map[string][]response
	last   bool               // takes are no longer needed
	scale  map[string]float64 // per state: speed of sound re the reference air

	positions []*measuredPosition // nil where not aligned
	drift     []Drift
}

// run finds out how much the speed of sound drifted between the states, and aligns the takes of some positions, driftPositions among them, with it put right.
func (a *alignment) run(ctx context.Context, some []int) error {
	if err := a.align(ctx, driftPositions(len(a.takes)), false); err != nil {
		return err
	}
	faster := map[string]float64{"flat": 1, "panel": 1}
	for state := range faster {
		d, ok := a.findDrift(state)
		if !ok {
			continue
		}
		if a.drift = append(a.drift, d); d.Corrected {
			faster[state] = 1 + float64(d.SpeedPPM)*1e-6
		}
	}
	slices.SortFunc(a.drift, func(x, y Drift) int { return len(x.State) - len(y.State) }) // flat, panel
	// The reference air is the panel's.
	a.scale["empty"] /= faster["panel"]
	a.scale["flat"] *= faster["flat"] / faster["panel"]
	a.last = true
	return a.align(ctx, some, true)
}

// driftPositions are those from which a drift is estimated, which all share: all, or of very many some.
func driftPositions(positions int) []int {
	most := fitAtMost
	if positions > fitAtMost {
		most = driftAtMost
	}
	return spreadEvenly(positions, most)
}

// align aligns some positions and forgets the others.
func (a *alignment) align(ctx context.Context, some []int, shape bool) error {
	a.positions = make([]*measuredPosition, len(a.takes))
	return eachOf(ctx, some, func(i int) (err error) {
		a.positions[i], err = a.position(i, a.takes[i], shape)
		if a.last {
			a.takes[i] = nil // their memory is the next positions'
		}
		return err
	})
}

// position aligns the takes of one position, as far as the drift is known.
func (a *alignment) position(i int, takes map[string][]response, shape bool) (*measuredPosition, error) {
	return alignPosition(a.survey, &a.survey.Positions[i], takes, a.air.SpeedOfSoundMS, a.scale, shape)
}

// Sound that is faster by a factor 1 + s shrinks the time between direct sound and echoes: with something there, the response aligned on the direct
// sound at t₀ is b(t) = g[a(t) + d a'(t) + s (t − t₀) e'(t)] to first order, where a is the empty room's response, e its echoes alone, g a gain and d
// a rest of delay. s is fitted where no reflection of the panel is: before its first arrival, and after it has long died out, where the room's own
// reverberation is the same but for the panel's late echoes, which count as noise. All positions share s.

const (
	driftLowHz   = 150
	driftHighHz  = 6000
	lateAfterS   = 0.008 // from the panel's last arrival to the late part
	lateAtLeastS = 0.010
	driftAtMost  = 33 // positions, where there are more than fitAtMost: one number is sought
)

// driftPart is a stretch of one position's responses that tells of a drift.
type driftPart struct {
	position       int
	a, b, echo     []float64 // the empty room's response, the state's, and the echoes in the first
	startS, rate   float64
	directS        float64
	window         dsp.GateWindow
	late           bool
	unit           float64 // energy of the direct sound's peak
	information, s float64 // of the last fit: weight and estimate
	rest           float64 // what it leaves, re unit
	echoes         float64 // energy of the echoes in the window, re unit

	stepHz float64        // of the spectra
	fixed  [][]complex128 // spectra, before they are weighed, of what no fit changes: the columns and the echoes; nil before the first
}

// driftParts cuts what tells of the drift of a state out of all positions.
func (a *alignment) driftParts(state string) []driftPart {
	some := driftPositions(len(a.takes))
	positions := make([]*measuredPosition, len(some))
	for n, i := range some {
		positions[n] = a.positions[i]
	}
	tails := commonTail(positions)
	var parts []driftPart
	for _, i := range some {
		m := a.positions[i]
		takes := m.panel
		if state == "flat" {
			takes = m.flat
		}
		if m.empty == nil || len(takes) == 0 {
			continue
		}
		b := slices.Clone(mean(takes))
		for n := range b {
			b[n] += m.empty[n]
		}
		way := newPaths(&a.survey.Panel, a.survey.SourceM, m.survey.MicM)
		speed := a.air.SpeedOfSoundMS
		peak := 0.0
		for _, v := range m.empty {
			peak = max(peak, math.Abs(v))
		}
		part := driftPart{position: i, a: m.empty, b: b, echo: tails.without(m), startS: m.startS, rate: m.sampleRateHz, directS: m.directS, unit: peak * peak}
		if end := way.earliest/speed - preringS; end > m.directS+0.001 {
			part.window = dsp.GateWindow{OpenS: m.directS - 0.001, FullS: m.directS - 0.0005, FallS: end - 0.0005, ClosedS: end}
			parts = append(parts, part)
		}
		from := (way.latest(&a.survey.Panel, a.survey.SourceM, m.survey.MicM))/speed + lateAfterS
		to := m.startS + float64(len(m.empty))/m.sampleRateHz - 0.005
		if to-from > lateAtLeastS {
			part.window = dsp.GateWindow{OpenS: from, FullS: from + 0.001, FallS: to - 0.001, ClosedS: to}
			part.late, part.echo = true, m.empty
			parts = append(parts, part)
		}
	}
	return parts
}

// latest is the longest way in metres over the front face, down the deepest well and back.
func (paths) latest(panel *Panel, source, mic [3]float64) float64 {
	longest := 0.0
	for _, x := range []float64{-1, 1} {
		for _, z := range []float64{-1, 1} {
			corner := [3]float64{x * panel.WidthM() / 2, 0, z * panel.HeightM / 2}
			longest = max(longest, distance(source, corner)+distance(corner, mic))
		}
	}
	return longest + 2*panel.OuterDepthM()
}

// tail is the loudspeaker's own decay, which all positions share: the median of the empty room's responses, aligned and scaled to the direct
// sound. It is nil where there are too few positions to tell.
type tail struct {
	samples []float64 // the direct sound stands at sample lead
	rate    float64
}

const tailLead = 64 // samples

func commonTail(positions []*measuredPosition) tail {
	const atLeast = 5
	var aligned [][]float64
	t := tail{}
	length := math.MaxInt
	for _, m := range positions {
		if m.empty == nil || t.rate != 0 && m.sampleRateHz != t.rate {
			continue
		}
		t.rate = m.sampleRateHz
		x := dsp.FractionalDelay(m.empty, tailLead-(m.directS-m.startS)*t.rate)
		peak := directPeak(x, tailLead, t.rate)
		if peak == 0 {
			continue
		}
		for n := range x {
			x[n] /= peak
		}
		aligned = append(aligned, x)
		length = min(length, len(x))
	}
	if len(aligned) < atLeast {
		return t
	}
	t.samples = make([]float64, length)
	column := make([]float64, len(aligned))
	for n := range t.samples {
		for i, x := range aligned {
			column[i] = x[n]
		}
		slices.Sort(column)
		t.samples[n] = column[len(column)/2]
	}
	return t
}

// directPeak is the value with the largest magnitude within half a millisecond of a sample.
func directPeak(x []float64, at int, rate float64) float64 {
	near := int(0.0005 * rate)
	peak := 0.0
	for _, v := range x[min(len(x), max(0, at-near)):max(0, min(len(x), at+near+1))] {
		if math.Abs(v) > math.Abs(peak) {
			peak = v
		}
	}
	return peak
}

// without is the empty room's response of a position less direct sound and decay of the loudspeaker.
func (t tail) without(m *measuredPosition) []float64 {
	if t.samples == nil || t.rate != m.sampleRateHz {
		return m.empty
	}
	at := (m.directS - m.startS) * t.rate
	y := append([]float64(nil), m.empty...)
	shifted := make([]float64, len(y))
	copy(shifted, t.samples)
	shifted = dsp.FractionalDelay(shifted, at-tailLead)
	peak := directPeak(m.empty, int(math.Round(at)), t.rate)
	for n := range y {
		y[n] -= peak * shifted[n]
	}
	return y
}

// fit estimates by how much more than a factor of 1 + known the sound was faster, up to a frequency.
func (p *driftPart) fit(known, highHz float64) {
	b := p.b
	if known != 0 {
		factor := 1 + known
		stretched, err := dsp.Resample(b, factor)
		if err != nil {
			p.information = 0
			return
		}
		b = make([]float64, len(p.b))
		copy(b, stretched)
		b = dsp.FractionalDelay(b, -(p.directS-p.startS)*p.rate*(factor-1))
	}
	if p.fixed == nil {
		p.fix()
	}
	difference := make([]float64, len(p.a))
	for i := range difference {
		difference[i] = b[i] - p.a[i]
	}
	unknowns := len(p.fixed) - 1
	var spectra [][]complex128
	for _, X := range slices.Insert(slices.Clone(p.fixed), unknowns, p.spectrum(difference)) { // columns, difference, echoes
		spectra = append(spectra, p.weighed(X, highHz))
	}
	product := func(i, j int) float64 {
		sum := 0.0
		for k, v := range spectra[i] {
			sum += real(v * cmplx.Conj(spectra[j][k]))
		}
		return sum / p.unit
	}
	normal, right := mat.NewDense(unknowns, unknowns, nil), mat.NewVecDense(unknowns, nil)
	for i := range unknowns {
		right.SetVec(i, product(i, unknowns))
		for j := range unknowns {
			normal.Set(i, j, product(i, j))
		}
	}
	p.rest, p.echoes = product(unknowns, unknowns), product(unknowns+1, unknowns+1)
	p.information, p.s = 0, 0
	var inverse mat.Dense
	if err := inverse.Inverse(normal); err != nil {
		return // nothing to be told apart: no weight
	}
	var solution mat.VecDense
	solution.MulVec(&inverse, right)
	p.s = solution.AtVec(0)
	// what a fit with s = 0 leaves: gain and delay alone
	var rest mat.Dense
	sub := normal.Slice(1, unknowns, 1, unknowns)
	if err := rest.Inverse(sub); err != nil {
		return
	}
	var alone mat.VecDense
	alone.MulVec(&rest, right.SliceVec(1, unknowns))
	left := p.rest - mat.Dot(right, &solution)
	p.rest = max(0, p.rest-mat.Dot(right.SliceVec(1, unknowns), &alone))
	// Below −40 dB of the echoes something else than noise is left.
	noise := max(left, 1e-4*p.echoes) / (2 * (highHz - driftLowHz) * (p.window.ClosedS - p.window.OpenS))
	p.information = 1 / inverse.At(0, 0) / noise
}

// fix fills fixed.
func (p *driftPart) fix() {
	n := dsp.SmoothLength(2 * len(p.a))
	slope := func(x []float64) []float64 {
		X := dsp.RealSpectrum(x, n)
		for k := range X {
			X[k] *= complex(0, 2*math.Pi*float64(k)*p.rate/float64(n))
		}
		return dsp.RealSignal(X, n)[:len(x)]
	}
	moved := slope(p.echo)
	for i := range moved {
		moved[i] *= p.startS + float64(i)/p.rate - p.directS
	}
	p.fixed = [][]complex128{p.spectrum(moved), p.spectrum(p.a)}
	if !p.late {
		p.fixed = append(p.fixed, p.spectrum(slope(p.a))) // there the direct sound itself says how late it is
	}
	p.fixed = append(p.fixed, p.spectrum(p.echo))
}

// spectrum is that of the windowed signal up to driftHighHz.
func (p *driftPart) spectrum(x []float64) []complex128 {
	y, _ := windowed(x, p.startS, p.rate, p.window)
	n := dsp.SmoothLength(2 * len(y))
	p.stepHz = p.rate / float64(n)
	X := dsp.RealSpectrum(y, n)
	return slices.Clone(X[:min(len(X), int(driftHighHz/p.stepHz)+1)])
}

// weighed is a spectrum in the band of the fit.
func (p *driftPart) weighed(X []complex128, highHz float64) []complex128 {
	Y := slices.Clone(X[:min(len(X), int(highHz/p.stepHz)+1)])
	for k := range Y {
		f := float64(k) * p.stepHz
		w := min(1, max(0, f/driftLowHz-0.5)) * min(1, max(0, 4*(1-f/highHz)))
		Y[k] *= complex(w, 0)
	}
	return Y
}

// sharedDrift fits s to some of the parts, coarse to fine: the weighted median over them, with its standard error from their scatter.
func sharedDrift(parts []*driftPart) (s, standardError float64, independent float64) {
	for _, highHz := range []float64{driftHighHz / 8, driftHighHz / 4, driftHighHz / 2, driftHighHz, driftHighHz} {
		parallel(0, len(parts), func(i int) { parts[i].fit(s, highHz) })
		sort.Slice(parts, func(i, j int) bool { return parts[i].s < parts[j].s })
		step := weightedMedian(parts, func(p *driftPart) float64 { return p.s })
		spread := func(p *driftPart) float64 { return math.Abs(p.s - step) }
		sorted := slices.Clone(parts)
		sort.Slice(sorted, func(i, j int) bool { return spread(sorted[i]) < spread(sorted[j]) })
		var sum, squares float64
		for _, p := range parts {
			sum, squares = sum+p.information, squares+p.information*p.information
		}
		if squares == 0 {
			return 0, math.Inf(1), 0
		}
		independent = sum * sum / squares
		// 1.4826 turns the median deviation into a standard one, 1.2533 that of a mean into that of a median.
		standardError = 1.2533 * 1.4826 * weightedMedian(sorted, spread) / math.Sqrt(independent)
		s += step
	}
	return s, standardError, independent
}

// weightedMedian is that of sorted values.
func weightedMedian(sorted []*driftPart, value func(*driftPart) float64) float64 {
	total := 0.0
	for _, p := range sorted {
		total += p.information
	}
	sum := 0.0
	for _, p := range sorted {
		if sum += p.information; sum >= total/2 {
			return value(p)
		}
	}
	return 0
}

// restDB is what a drift of s leaves in some parts, in dB re the echoes there.
func restDB(parts []*driftPart, s float64) float64 {
	parallel(0, len(parts), func(i int) { parts[i].fit(s, driftHighHz) })
	var rest, echoes float64
	for _, p := range parts {
		rest, echoes = rest+p.rest, echoes+p.echoes
	}
	return float64(decibels(rest / echoes))
}

// findDrift estimates the drift of a state against the empty room, and whether it should be put right: where it is clear of its error, and where
// the estimate from every second position lowers the residual at the others. False where nothing tells.
func (a *alignment) findDrift(state string) (Drift, bool) {
	const (
		fewest     = 4    // positions
		negligible = 2e-5 // 0.1 µs in 5 ms, 0.01 °C
		lowersBy   = 1.0  // dB
	)
	parts := a.driftParts(state)
	var all []*driftPart
	var halves [2][]*driftPart
	seen := map[int]bool{}
	for i := range parts {
		all = append(all, &parts[i])
		seen[parts[i].position] = true
		half := len(seen) % 2
		halves[half] = append(halves[half], &parts[i])
	}
	if len(seen) < fewest {
		return Drift{}, false
	}
	d := Drift{State: state, Positions: len(seen)}
	s, standardError, independent := sharedDrift(slices.Clone(all))
	if independent < 3 {
		return Drift{}, false
	}
	kelvin := 293.15
	if t := a.air.TemperatureC; t.Known() {
		kelvin = float64(t) + 273.15
	}
	d.SpeedPPM, d.StandardErrorPPM, d.WarmerC = Num(1e6*s), Num(1e6*standardError), Num(kelvin*((1+s)*(1+s)-1))
	before := restDB(all, 0)
	d.ResidualBefore, d.ResidualAfter = Num(before), Num(before)
	if !(math.Abs(s) > 3*standardError && math.Abs(s) > negligible) {
		return d, true
	}
	var energy float64
	for i := range halves {
		other, _, _ := sharedDrift(slices.Clone(halves[1-i]))
		energy += math.Pow(10, restDB(halves[i], other)/10) / 2
	}
	d.ResidualAfter = decibels(energy)
	if float64(d.ResidualAfter) > before-lowersBy {
		return d, true
	}
	d.Corrected = true
	d.Text = fmt.Sprintf("Sound was %.2g %% %s than in the empty room%s (air %.2g °C %s), by the room's echoes where no reflection of the panel is. Put right: their residual fell from %.0f to %.0f dB. Note each state's temperature.",
		100*math.Abs(s), moreOr(s > 0, "faster", "slower"), a.beyond(state), math.Abs(float64(d.WarmerC)), moreOr(s > 0, "warmer", "colder"), before, float64(d.ResidualAfter))
	return d, true
}

func moreOr(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

// beyond says that a stated drift was taken into account already.
func (a *alignment) beyond(state string) string {
	if a.scale[state] == a.scale["empty"] {
		return ""
	}
	return ", beyond what the stated temperatures explain,"
}

// shape puts right a gain that depends on frequency: a filter of five taps 71 µs apart, fitted to the direct sound up to 7 kHz. It is used where it
// lowers the residual by more than its free parameters would in noise (F test), and changes the gain by little. deviation is the largest change in dB.
func (w *positionAlignment) shape(fit directFit) (directFit, Num) {
	const (
		taps     = 2 // on each side
		spacingS = 1 / 14000.0
		lowHz    = 200.0
		highHz   = 6500.0
		atLeast  = 3e-3 // residual re the direct sound, −50 dB: below, nothing is to be gained
		strict   = 8    // F: by chance less than once in a thousand
		most     = 3.0  // dB
	)
	rate := w.sampleRateHz
	if fit.after < atLeast || highHz > 0.45*rate {
		return fit, 0
	}
	target, _ := windowed(w.reference, w.startS, rate, w.window)
	x, _ := windowed(fit.aligned, w.startS, rate, w.window)
	n := dsp.SmoothLength(4 * max(len(target), int(rate/50)))
	T, X := dsp.RealSpectrum(target, n), dsp.RealSpectrum(x, n)
	step := rate / float64(n)
	first, last := int(math.Ceil(lowHz/step)), int(highHz/step)
	const unknowns = 2*taps + 1
	tap := func(i int, f float64) complex128 { return cmplx.Rect(1, -2*math.Pi*f*float64(i-taps)*spacingS) }
	normal, right := mat.NewDense(unknowns, unknowns, nil), mat.NewVecDense(unknowns, nil)
	var total, ownEnergy, common float64
	for k := first; k <= last; k++ {
		f := float64(k) * step
		total += squared(T[k])
		ownEnergy += squared(X[k])
		common += real(T[k] * cmplx.Conj(X[k]))
		for i := range unknowns {
			c := X[k] * tap(i, f)
			right.SetVec(i, right.AtVec(i)+real(T[k]*cmplx.Conj(c)))
			for j := range unknowns {
				normal.Set(i, j, normal.At(i, j)+real(c*cmplx.Conj(X[k]*tap(j, f))))
			}
		}
	}
	var taken mat.VecDense
	if err := taken.SolveVec(normal, right); err != nil {
		return fit, 0 // nothing there to fit
	}
	plain := total - common*common/ownEnergy
	shaped := total - mat.Dot(right, &taken)
	free := 2*(highHz-lowHz)*(w.window.ClosedS-w.window.OpenS) - unknowns
	if free < 1 || !((plain-shaped)/(unknowns-2) > strict*shaped/free) {
		return fit, 0
	}
	deviation := 0.0
	for f := lowHz; f <= highHz; f += 50 {
		var gain complex128
		for i := range unknowns {
			gain += complex(taken.AtVec(i), 0) * tap(i, f)
		}
		deviation = max(deviation, math.Abs(20*math.Log10(cmplx.Abs(gain))))
	}
	if deviation > most {
		return fit, 0
	}
	next := fit
	next.aligned = make([]float64, len(fit.aligned))
	for i := range unknowns {
		moved := dsp.FractionalDelay(fit.aligned, float64(i-taps)*spacingS*rate)
		for j, v := range moved {
			next.aligned[j] += taken.AtVec(i) * v
		}
	}
	next.after = w.residual(next.aligned)
	if !lowered(fit.after, next.after) {
		return fit, 0
	}
	return next, Num(deviation)
}

// residual of an aligned take in the direct sound's window, as align tells it.
func (w *positionAlignment) residual(x []float64) float64 {
	target, _ := windowed(w.reference, w.startS, w.sampleRateHz, w.window)
	y, _ := windowed(x, w.startS, w.sampleRateHz, w.window)
	var rest, total float64
	for i, v := range target {
		rest += (v - y[i]) * (v - y[i])
		total += v * v
	}
	return math.Sqrt(rest / total)
}
