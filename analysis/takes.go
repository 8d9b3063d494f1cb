package analysis

import (
	"fmt"
	"math"

	"github.com/leadline/leadline/dsp"
)

// response is one measured impulse response on the time axis of its own file.
type response struct {
	file         string
	samples      []float64
	sampleRateHz float64
}

// measuredPosition is what the files of one position hold, aligned: sample n stands at time startS + n/sampleRateHz after the
// emission of the sound, in the reference air.
type measuredPosition struct {
	survey       *SurveyPosition
	sampleRateHz float64
	startS       float64
	directS      float64     // arrival of the direct sound
	empty        []float64   // mean of the takes; nil without an empty room
	panel, flat  [][]float64 // each take aligned to empty, empty subtracted where there is one
	panelWhole   []float64   // first panel take, aligned, nothing subtracted
	alignment    []Alignment
	panelError   []float64 // per take: residual of the direct sound after alignment, relative to it (amplitude)
	flatError    []float64
	noise        float64 // variance of a sample before the direct sound; NaN where there is no time before it
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
		x = minimise(func(x float64) float64 { return sum(x, z) }, panel.WidthM()/2)
		z = minimise(func(z float64) float64 { return sum(x, z) }, panel.HeightM/2)
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
func onset(x []float64, rate float64) float64 {
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
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

// align finds by how many samples x is later than reference and by which gain it must be multiplied so that both agree in the
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
	residual := func(y []float64, gain float64) float64 {
		sum := 0.0
		for i, w := range weights {
			d := target[i] - gain*w*y[from+i]
			sum += d * d
		}
		return math.Sqrt(sum / total)
	}
	padded := make([]float64, len(reference))
	copy(padded, x)
	before = residual(padded, 1)
	delay, gain = coarse, 1
	for range 20 {
		y := dsp.FractionalDelay(padded, -delay)
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
	y := dsp.FractionalDelay(padded, -delay)
	var yy, ty float64
	for i, w := range weights {
		yy += w * w * y[from+i] * y[from+i]
		ty += target[i] * w * y[from+i]
	}
	if yy > 0 {
		gain = ty / yy
	}
	return delay, gain, before, residual(y, gain)
}

// derivative returns y′ per sample at count samples from `from`, by the eighth-order central difference: its error stays below
// 1 % up to 0.3 of the sample rate, and an error of the slope only slows the Newton steps, it does not move their end.
func derivative(y []float64, from, count int) []float64 {
	c := [...]float64{4.0 / 5, -1.0 / 5, 4.0 / 105, -1.0 / 280}
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

// alignPosition brings all takes of a position onto the time and level of the reference, by the direct sound alone.
// speed is that of the reference air; scale[state] is the state's speed over it.
func alignPosition(s *Survey, p *SurveyPosition, takes map[string][]response, speed float64, scale map[string]float64) (*measuredPosition, error) {
	way := newPaths(&s.Panel, s.SourceM, p.MicM)
	order := []string{"empty", "flat", "panel"}
	if len(takes["empty"]) == 0 {
		order = []string{"panel", "flat"}
	}
	m := &measuredPosition{survey: p}
	var reference []float64
	var window dsp.GateWindow
	var origin float64
	for _, state := range order {
		for _, take := range takes[state] {
			x := take.samples
			if f := scale[state]; f != 1 {
				// sound f times as fast arrives early: stretch its time axis
				stretched, err := dsp.Resample(x, f)
				if err != nil {
					return nil, fmt.Errorf("%s: %w", take.file, err)
				}
				x = stretched
			}
			peak := onset(x, take.sampleRateHz)
			if math.IsNaN(peak) {
				return nil, fmt.Errorf("%s: silent: every sample is zero; record this take again", take.file)
			}
			a := Alignment{State: state, File: take.file, DelayS: 0, GainDB: 0, ResidualBefore: Unknown(), ResidualAfter: Unknown()}
			if reference == nil {
				m.sampleRateHz = take.sampleRateHz
				reference, origin = x, peak
				m.directS = way.direct / speed
				m.startS = m.directS - peak/m.sampleRateHz
				window = directWindow(m.directS, way, speed)
				m.noise = variance(x, int(peak-0.0015*m.sampleRateHz), m.sampleRateHz)
				m.add(state, x, 0)
				m.alignment = append(m.alignment, a)
				continue
			}
			delay, gain, before, after := align(reference, x, m.startS, m.sampleRateHz, window, peak-origin)
			aligned := make([]float64, len(reference))
			copy(aligned, x)
			if math.Abs(delay) > 1e-6 {
				aligned = dsp.FractionalDelay(aligned, -delay)
			}
			if math.Abs(gain-1) > 1e-6 {
				for i := range aligned {
					aligned[i] *= gain
				}
			}
			a.DelayS, a.GainDB = Num(delay/m.sampleRateHz), Num(-20*math.Log10(math.Abs(gain)))
			a.ResidualBefore, a.ResidualAfter = decibels(before*before), decibels(after*after)
			m.alignment = append(m.alignment, a)
			m.add(state, aligned, after)
		}
		if state == "empty" {
			m.empty = mean(m.panel)
			reference = m.empty
			m.panel, m.panelError = nil, nil
		}
	}
	m.panelWhole = m.panel[0]
	if m.empty != nil {
		m.panelWhole = append([]float64(nil), m.panel[0]...)
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

// add keeps an aligned take; those of the empty room are held in panel until their mean is taken.
func (m *measuredPosition) add(state string, x []float64, residual float64) {
	if state == "flat" {
		m.flat, m.flatError = append(m.flat, x), append(m.flatError, residual)
		return
	}
	m.panel, m.panelError = append(m.panel, append([]float64(nil), x...)), append(m.panelError, residual)
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

func mean(takes [][]float64) []float64 {
	if len(takes) == 0 {
		return nil
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
