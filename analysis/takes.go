package analysis

import (
	"fmt"
	"math"
	"slices"

	"github.com/leadline/leadline/dsp"
)

// response is one measured impulse response on the time axis of its own file.
type response struct {
	file         string
	samples      []float64
	sampleRateHz float64

	// Known only of sweep recordings.
	sweepRateS    float64    // L of the sweep whose clock has yet to be compared with the other takes'; 0 for none
	noise         *dsp.Noise // from the silence before the sweep
	lowHz, highHz float64    // where the response is whole; zeros for everywhere
}

// measuredPosition is what the files of one position hold, aligned: sample n stands at time startS + n/sampleRateHz after the
// emission of the sound, in the reference air.
type measuredPosition struct {
	survey        *SurveyPosition
	sampleRateHz  float64
	startS        float64
	fileStartS    float64     // when the reference take's file begins, by the survey's distance; startS before anything was cut off
	directS       float64     // arrival of the direct sound
	empty         []float64   // mean of the takes; nil without an empty room
	panel, flat   [][]float64 // each take aligned to empty, empty subtracted where there is one
	gatedOnly     bool        // only the samples in the gate are kept
	subtracted    float64     // share of empty that panel and flat have lost
	alignment     []Alignment
	panelError    []float64 // per take: residual of the direct sound after alignment, relative to it (amplitude)
	flatError     []float64
	noise         float64      // variance of a sample; NaN where unknown
	white         float64      // what it was before the direct sound, in responses without noises
	noises        []*dsp.Noise // of the takes, from the silence, where they are recordings
	divided       []float64    // power gain of what the loudspeaker was divided out with, from 0 to half the sample rate; nil where it wasn't
	lowHz, highHz float64      // where all takes are whole; 0 and +Inf for everywhere
}

// panelWhole is the first take of the panel, nothing subtracted.
func (m *measuredPosition) panelWhole() []float64 {
	if m.empty == nil {
		return m.panel[0]
	}
	whole := slices.Clone(m.panel[0])
	for n := range whole {
		whole[n] += m.subtracted * m.empty[n]
	}
	return whole
}

// noiseDensity returns the noise's power density in a band: n samples hold, on average, n times that in |DFT|². NaN where unknown.
func (m *measuredPosition) noiseDensity(lowHz, highHz float64) float64 {
	density := m.white
	if len(m.noises) > 0 {
		density = 0
		for _, n := range m.noises {
			density += n.Density(dsp.Band{LowHz: lowHz, HighHz: highHz}) / float64(len(m.noises))
		}
	}
	if m.divided == nil {
		return density
	}
	step := m.sampleRateHz / 2 / float64(len(m.divided)-1)
	first, last := int(lowHz/step+0.5), min(int(highHz/step+0.5), len(m.divided)-1)
	gain := 0.0
	for k := first; k <= last; k++ {
		gain += m.divided[k] / float64(last-first+1)
	}
	return density * gain
}

// noisePower returns the variance of a sample.
func (m *measuredPosition) noisePower() float64 {
	const parts = 100
	width := m.sampleRateHz / 2 / parts
	sum := 0.0
	for i := range parts {
		sum += m.noiseDensity(float64(i)*width, float64(i+1)*width) / parts
	}
	return sum
}

// earliest and middle panel paths of a position, in metres.
type paths struct {
	direct   float64 // source to microphone
	earliest float64 // over the nearest point of the front face
	middle   float64 // over the middle of the front face
}

func newPaths(panel *Panel, source, mic [3]float64) paths {
	// The sum of two distances to a point of a plane is convex: clamp the search to the front, one coordinate at a time.
	sum := func(x, z float64) float64 {
		p := [3]float64{x, 0, z}
		return distance(source, p) + distance(p, mic)
	}
	x, z := 0.0, 0.0
	for range 40 {
		beforeX, beforeZ := x, z
		x = minimise(func(x float64) float64 { return sum(x, z) }, panel.WidthM()/2)
		z = minimise(func(z float64) float64 { return sum(x, z) }, panel.HeightM/2)
		if x == beforeX && z == beforeZ {
			break
		}
	}
	return paths{distance(source, mic), sum(x, z), sum(0, 0)}
}

// minimise returns where in −half…half the convex function f is least, by golden section to 1e-6 of the range.
func minimise(f func(float64) float64, half float64) float64 {
	const golden = 0.6180339887498949
	a, b := -half, half
	for b-a > 2e-6*half {
		c, d := b-golden*(b-a), a+golden*(b-a)
		if f(c) <= f(d) {
			b = d
		} else {
			a = c
		}
	}
	return (a + b) / 2
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

const (
	preringS  = 0.00025 // by which a band-limited pulse is heard before its arrival
	riseS     = 0.0005  // rising half of the gate (EN 1793-5, from memory)
	fallShare = 0.28    // falling half, as a share of the gate's length (likewise 2.22 of 7.9 ms)
)

// directWindow is the time around the direct sound that holds nothing of the panel's reflection.
func directWindow(directS float64, p paths, speed float64) dsp.GateWindow {
	end := min(directS+(p.earliest-p.direct)/speed-preringS, directS+0.003)
	end = max(end, directS+0.0001)
	fall := min(0.0005, (end-directS)/2)
	return dsp.GateWindow{OpenS: directS - 0.0015, FullS: directS - 0.001, FallS: end - fall, ClosedS: end}
}

// windowed returns x times the window, sample n at startS + n/rate, cut to where the window is open, and the time of its first sample.
func windowed(x []float64, startS, rate float64, g dsp.GateWindow) (y []float64, firstS float64) {
	from := max(0, int(math.Ceil((g.OpenS-startS)*rate)))
	to := min(len(x), int(math.Floor((g.ClosedS-startS)*rate))+1)
	if to <= from {
		return nil, startS
	}
	y = make([]float64, to-from)
	for i := range y {
		y[i] = x[from+i] * g.At(startS+float64(from+i)/rate)
	}
	return y, startS + float64(from)/rate
}

// onset returns the sample (fractional) at which the first strong sound peaks: the first local maximum of |x| that comes
// within 1 ms of the first sample above half of the greatest. Silent input gives NaN.
func onset(x []float64, rate float64) float64 { return onsetAt(x, dsp.Peak(x), rate) }

// onsetAt is onset where the greatest magnitude is known.
func onsetAt(x []float64, peak, rate float64) float64 {
	if peak == 0 {
		return math.NaN()
	}
	first := 0
	for math.Abs(x[first]) < peak/2 {
		first++
	}
	best := first
	for i := first; i < min(len(x), first+int(rate/1000)); i++ {
		if math.Abs(x[i]) > math.Abs(x[best]) {
			best = i
		}
	}
	if best == 0 || best == len(x)-1 {
		return float64(best)
	}
	a, b, c := math.Abs(x[best-1]), math.Abs(x[best]), math.Abs(x[best+1])
	if curve := a - 2*b + c; curve < 0 {
		return float64(best) + (a-c)/(2*curve)
	}
	return float64(best)
}

// align finds by how many samples x, as long as reference, is later and by which gain it must be multiplied so that both agree in the
// window, in the least-squares sense (Gauss–Newton on the delay, closed form for the gain). startS is the time of sample 0 of the reference.
// before and after are the residuals' amplitudes relative to the reference in the window.
func align(reference, x []float64, startS, rate float64, window dsp.GateWindow, coarse float64) (delay, gain, before, after float64) {
	target, firstS := windowed(reference, startS, rate, window)
	from := int(math.Round((firstS - startS) * rate))
	weights := make([]float64, len(target))
	total := 0.0
	for i := range target {
		weights[i] = window.At(firstS + float64(i)/rate)
		total += target[i] * target[i]
	}
	if total == 0 {
		return 0, 1, math.NaN(), math.NaN()
	}
	residual := func(y []float64, gain float64) float64 { // y from the window's first sample on
		sum := 0.0
		for i, w := range weights {
			d := target[i] - gain*w*y[i]
			sum += d * d
		}
		return math.Sqrt(sum / total)
	}
	before = residual(x[from:], 1)
	near, from := neighbourhood(x, from, len(target))
	// with what the slope needs on both sides
	low, high := max(0, from-slopeReach), min(len(near), from+len(target)+slopeReach)
	delays := dsp.NewDelays(near, low, high-low)
	from -= low
	delay, gain = coarse, 1
	for range 20 {
		y := delays.By(-delay)
		slope := derivative(y, from, len(target))
		var yy, ys, ss, ty, ts float64
		for i, w := range weights {
			a, b := w*y[from+i], w*slope[i]
			yy += a * a
			ys += a * b
			ss += b * b
			ty += target[i] * a
			ts += target[i] * b
		}
		det := yy*ss - ys*ys
		if det <= 0 || yy == 0 {
			break
		}
		gain = (ty*ss - ts*ys) / det
		step := (ts*yy - ty*ys) / det / gain
		if math.IsNaN(step) {
			break
		}
		step = max(-2, min(2, step))
		delay += step
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	y := delays.By(-delay)[from:]
	var yy, ty float64
	for i, w := range weights {
		yy += w * w * y[i] * y[i]
		ty += target[i] * w * y[i]
	}
	if yy > 0 {
		gain = ty / yy
	}
	return delay, gain, before, residual(y, gain)
}

var neighbourhoodEdge = func() (w [512]float64) {
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(len(w)))
	}
	return w
}()

// neighbourhood cuts what stands around count samples from `from` on, with faded edges, and returns where they stand in it: what is
// further away has no part in a shift by some samples.
func neighbourhood(x []float64, from, count int) (cut []float64, at int) {
	const reach = 2048
	low, high := max(0, from-reach), min(len(x), from+count+reach)
	cut = slices.Clone(x[low:high])
	for i, w := range neighbourhoodEdge {
		if low > 0 {
			cut[i] *= w
		}
		if high < len(x) {
			cut[len(cut)-1-i] *= w
		}
	}
	return cut, from - low
}

// slopeReach is how many samples on either side derivative takes.
const slopeReach = 4

// derivative returns y′ per sample at count samples from `from`, by the eighth-order central difference: its error stays below
// 1 % up to 0.3 of the sample rate, and an error of the slope only slows the Newton steps, it does not move their end.
func derivative(y []float64, from, count int) []float64 {
	c := [slopeReach]float64{4.0 / 5, -1.0 / 5, 4.0 / 105, -1.0 / 280}
	at := func(i int) float64 {
		if i < 0 || i >= len(y) {
			return 0
		}
		return y[i]
	}
	d := make([]float64, count)
	for i := range d {
		for k, w := range c {
			d[i] += w * (at(from+i+k+1) - at(from+i-k-1))
		}
	}
	return d
}

// positionAlignment is the work on one position.
type positionAlignment struct {
	*measuredPosition
	window    dsp.GateWindow // on the direct sound
	reference []float64
	origin    float64 // sample of the reference's direct sound
}

// alignPosition brings all takes of a position onto the time and level of the reference, by the direct sound alone.
// speed is that of the reference air; scale[state] is the state's speed over it. shape allows a gain that depends on frequency.
func alignPosition(s *Survey, p *SurveyPosition, takes map[string][]response, speed float64, scale map[string]float64, shape bool) (*measuredPosition, error) {
	way := newPaths(&s.Panel, s.SourceM, p.MicM)
	order := []string{"empty", "flat", "panel"}
	if len(takes["empty"]) == 0 {
		order = []string{"panel", "flat"}
	}
	m := &measuredPosition{survey: p, directS: way.direct / speed, white: math.NaN(), highHz: math.Inf(1)}
	w := &positionAlignment{measuredPosition: m, window: directWindow(m.directS, way, speed)}
	for _, state := range order {
		for i := range takes[state] {
			if err := w.take(state, &takes[state][i], scale[state], shape); err != nil {
				return nil, err
			}
		}
		if state == "empty" {
			m.empty = mean(m.panel)
			w.reference = m.empty
			m.panel, m.panelError = nil, nil
		}
	}
	m.noise = m.noisePower()
	if m.empty != nil {
		m.subtracted = 1
		for _, set := range [][][]float64{m.panel, m.flat} {
			for _, x := range set {
				for i := range x {
					x[i] -= m.empty[i]
				}
			}
		}
	}
	return m, nil
}

// take aligns one take; the first of all is the reference.
func (w *positionAlignment) take(state string, take *response, scale float64, shape bool) error {
	x := take.samples
	if scale != 1 {
		// sound that is faster arrives early: stretch its time axis
		stretched, err := dsp.Resample(x, scale)
		if err != nil {
			return fmt.Errorf("%s: %w", take.file, err)
		}
		x = stretched
	}
	peak := onset(x, take.sampleRateHz)
	if math.IsNaN(peak) {
		return fmt.Errorf("%s: silent: every sample is zero; record this take again", take.file)
	}
	if take.noise != nil {
		w.noises = append(w.noises, take.noise)
	}
	w.lowHz = max(w.lowHz, take.lowHz)
	if take.highHz > 0 {
		w.highHz = min(w.highHz, take.highHz)
	}
	a := Alignment{State: state, File: take.file, ResidualBefore: Unknown(), ResidualAfter: Unknown(), ClockPPM: Unknown()}
	if w.reference == nil {
		w.sampleRateHz = take.sampleRateHz
		w.reference, w.origin = x, peak
		w.startS = w.directS - peak/w.sampleRateHz
		w.fileStartS = w.startS
		w.white = variance(x, int(peak-0.0015*w.sampleRateHz), w.sampleRateHz)
		w.add(state, slices.Clone(x), 0)
		w.alignment = append(w.alignment, a)
		return nil
	}
	fit := w.fit(x, peak-w.origin)
	a.ResidualBefore = decibels(fit.before * fit.before)
	if take.sweepRateS > 0 {
		fit, a.ClockPPM = w.otherClock(take, x, fit)
	}
	if shape {
		fit, a.ShapedDB = w.shape(fit)
	}
	a.DelayS, a.GainDB = Num(fit.delay/w.sampleRateHz), Num(-20*math.Log10(math.Abs(fit.gain)))
	a.ResidualAfter = decibels(fit.after * fit.after)
	w.alignment = append(w.alignment, a)
	w.add(state, fit.aligned, fit.after)
	return nil
}

// directFit is a take brought onto the reference.
type directFit struct {
	delay, gain, before, after float64 // as align gives them
	aligned                    []float64
}

func (w *positionAlignment) fit(x []float64, coarse float64) directFit {
	var f directFit
	if n := len(w.reference); len(x) < n {
		x = append(slices.Clone(x), make([]float64, n-len(x))...)
	} else {
		x = x[:n]
	}
	f.delay, f.gain, f.before, f.after = align(w.reference, x, w.startS, w.sampleRateHz, w.window, coarse)
	if math.Abs(f.delay) > 1e-6 {
		f.aligned = dsp.FractionalDelay(x, -f.delay)
	} else {
		f.aligned = slices.Clone(x)
	}
	if math.Abs(f.gain-1) > 1e-6 {
		for i := range f.aligned {
			f.aligned[i] *= f.gain
		}
	}
	return f
}

// lowered says that a residual has fallen enough, by a quarter of a decibel, to believe in what lowered it.
func lowered(before, after float64) bool { return after < 0.97*before }

// otherClock compares a take's clock with the reference's, by how the direct sound is spread over time, and puts it right by ppm where
// that lowers the residual.
func (w *positionAlignment) otherClock(take *response, x []float64, fit directFit) (directFit, Num) {
	const lowHz = 1000 // below, loudspeakers turn the phase, and the sweep hardly tells its time
	highHz := 0.9 * min(take.highHz, 0.45*w.sampleRateHz)
	cut := func(x []float64) []float64 {
		y, _ := windowed(x, w.startS, w.sampleRateHz, w.window)
		return y
	}
	ppm := 0.0
	for range 3 { // the second and third for the last hundredths
		clock, _, err := dsp.RelativeClock(cut(w.reference), cut(fit.aligned), w.sampleRateHz, take.sweepRateS, lowHz, highHz)
		if err != nil || math.Abs(clock.PPM) <= 3*clock.StandardErrorPPM {
			break
		}
		y, err := dsp.CorrectClock(x, w.sampleRateHz, take.sweepRateS, w.origin+fit.delay, ppm+clock.PPM)
		if err != nil {
			break
		}
		next := w.fit(y, fit.delay)
		if !lowered(fit.after, next.after) {
			break
		}
		next.before = fit.before
		fit, ppm = next, ppm+clock.PPM
	}
	return fit, Num(ppm)
}

// add keeps an aligned take; those of the empty room are held in panel until their mean is taken.
func (m *measuredPosition) add(state string, x []float64, residual float64) {
	if state == "flat" {
		m.flat, m.flatError = append(m.flat, x), append(m.flatError, residual)
		return
	}
	m.panel, m.panelError = append(m.panel, x), append(m.panelError, residual)
}

// variance returns the mean square of x before sample end, NaN where that is less than 1 ms.
func variance(x []float64, end int, rate float64) float64 {
	end = min(end, len(x))
	if float64(end) < rate/1000 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range x[:end] {
		sum += v * v
	}
	return sum / float64(end)
}

// mean is that of takes; of one, itself.
func mean(takes [][]float64) []float64 {
	switch len(takes) {
	case 0:
		return nil
	case 1:
		return takes[0]
	}
	m := make([]float64, len(takes[0]))
	for _, x := range takes {
		for i, v := range x {
			m[i] += v / float64(len(takes))
		}
	}
	return m
}

// quietest is the level written where nothing at all is left.
const quietest = -200

// decibels returns 10 lg of a ratio of energies, no less than quietest.
func decibels(ratio float64) Num {
	if math.IsNaN(ratio) {
		return Unknown()
	}
	return Num(max(quietest, 10*math.Log10(ratio)))
}
