package dsp

import (
	"errors"
	"fmt"
	"math"
)

// SweepSpec says which exponential sweep to make and what stands around it. SuggestSweep fills in everything but the first four.
type SweepSpec struct {
	LowHz, HighHz float64 // first and last frequency
	Seconds       float64 // length of the sweep; a synchronised one takes the nearest length that suits, see NewSweep
	SampleRateHz  float64 // there is no default

	// Plain leaves the sweep as Farina wrote it, with the length asked for. The default is Novak's synchronised sweep: each
	// distortion order then is the sweep itself played early by a known time, so that its response has the right phase.
	Plain bool

	FadeInS, FadeOutS             float64 // half a Hann window at either end of the sweep
	SilenceBeforeS, SilenceAfterS float64 // around every sweep: the noise is taken from the first, the room dies away in the second
	LevelDBFS                     float64 // of the sweep's peak: 0 is ±1
	Repeats                       int     // how often silence, sweep and silence follow each other
	Pilot                         bool    // a short chirp PilotLeadS before every sweep, which tells the clocks of player and recorder apart
}

// The pilot: a linear chirp under a Hann window, in the band where loudspeakers are good and the ear forgiving.
const (
	// PilotLeadS is the time from the pilot's first sample to the sweep's, in seconds.
	PilotLeadS    = 0.5
	pilotSeconds  = 0.1
	pilotLowHz    = 500.0
	pilotHighHz   = 8000.0
	maxPlaybackHz = 768_000
	maxPlaybackS  = 600 // ten minutes of doubles at 192 kHz stay below 1 GB
	fadeInOctave  = 1.0 / 6
	fadeOutOctave = 1.0 / 24
)

// SuggestSweep gives a spec that suits a measurement in a room: the synchronised sweep, once, at −12 dBFS, with one second of
// silence before it and one and a half after, faded in over the first sixth of an octave and out over the last 24th. It
// checks nothing: NewSweep does.
func SuggestSweep(lowHz, highHz, seconds, sampleRateHz float64) SweepSpec {
	perOctave := seconds * math.Ln2 / math.Log(highHz/lowHz)
	return SweepSpec{
		LowHz: lowHz, HighHz: highHz, Seconds: seconds, SampleRateHz: sampleRateHz,
		FadeInS: fadeInOctave * perOctave, FadeOutS: fadeOutOctave * perOctave,
		SilenceBeforeS: 1, SilenceAfterS: 1.5, LevelDBFS: -12, Repeats: 1,
	}
}

// Sweep is an exponential sweep, x(t) = A sin{2πf₁L(e^{t/L} − 1)} for 0 ≤ t < T, L = T/ln(f₂/f₁) (Farina, AES preprint 5093,
// 2000), between fades. Its frequency at t is f₁e^{t/L}, and where a loudspeaker distorts, the response of order n stands
// L ln n before the linear one once the sweep has been divided out. Make it with NewSweep.
type Sweep struct {
	SweepSpec
	RateS     float64 // L: the time in which the frequency grows by the factor e
	DurationS float64 // T
}

// NewSweep checks spec and works out L and T. The synchronised sweep (Novak, Lotton and Simon, JAES 63 (2015) 786) rounds f₁L
// to the nearest whole number, so that sin of n times the phase is the sweep itself L ln n later; T changes with L. Errors
// name the value, what it should be and the remedy.
func NewSweep(spec SweepSpec) (*Sweep, error) {
	for _, v := range []struct {
		name  string
		value float64
	}{
		{"low frequency", spec.LowHz}, {"high frequency", spec.HighHz}, {"length in seconds", spec.Seconds}, {"sample rate", spec.SampleRateHz},
	} {
		if !(v.value > 0) || math.IsInf(v.value, 0) {
			return nil, fmt.Errorf("sweep: the %s is %g: a number above 0 is needed", v.name, v.value)
		}
	}
	switch {
	case spec.SampleRateHz > maxPlaybackHz:
		return nil, fmt.Errorf("sweep: a sample rate of %g Hz: at most %d Hz are made, more than any converter takes", spec.SampleRateHz, maxPlaybackHz)
	case spec.HighHz >= spec.SampleRateHz/2:
		return nil, fmt.Errorf("sweep: the high frequency, %g Hz, must lie below half the sample rate, %g Hz: lower it or raise the sample rate", spec.HighHz, spec.SampleRateHz/2)
	case spec.HighHz < 2*spec.LowHz:
		return nil, fmt.Errorf("sweep: from %g to %g Hz is less than an octave: lower the low or raise the high frequency", spec.LowHz, spec.HighHz)
	case spec.Repeats < 1:
		return nil, fmt.Errorf("sweep: %d repeats: at least 1 is needed", spec.Repeats)
	case !(spec.LevelDBFS <= 0) || math.IsInf(spec.LevelDBFS, 0):
		return nil, fmt.Errorf("sweep: a level of %g dBFS: it must be 0 or below, full scale being 0", spec.LevelDBFS)
	}
	for _, v := range []struct {
		name  string
		value float64
	}{
		{"fade-in", spec.FadeInS}, {"fade-out", spec.FadeOutS}, {"silence before the sweep", spec.SilenceBeforeS}, {"silence after the sweep", spec.SilenceAfterS},
	} {
		if !(v.value >= 0) || math.IsInf(v.value, 0) {
			return nil, fmt.Errorf("sweep: the %s is %g s: 0 or more is needed", v.name, v.value)
		}
	}

	s := &Sweep{SweepSpec: spec, DurationS: spec.Seconds}
	ratio := math.Log(spec.HighHz / spec.LowHz)
	s.RateS = spec.Seconds / ratio
	if !spec.Plain {
		cycles := math.Round(spec.LowHz * s.RateS)
		if cycles < 1 {
			return nil, fmt.Errorf("sweep: %g s is too short to be synchronised from %g Hz: at least %.3g s are needed", spec.Seconds, spec.LowHz, ratio/spec.LowHz)
		}
		s.RateS = cycles / spec.LowHz
		s.DurationS = s.RateS * ratio
	}
	if s.FadeInS+s.FadeOutS > s.DurationS {
		return nil, fmt.Errorf("sweep: fades of %g and %g s don't fit into a sweep of %.4g s: shorten them", s.FadeInS, s.FadeOutS, s.DurationS)
	}
	if total := float64(s.Repeats) * (s.SilenceBeforeS + s.DurationS + s.SilenceAfterS); !(total <= maxPlaybackS) {
		return nil, fmt.Errorf("sweep: %.4g s of signal in all: at most %d s are made; take fewer repeats or a shorter sweep", total, maxPlaybackS)
	}
	if s.Pilot {
		switch {
		case s.SilenceBeforeS < PilotLeadS:
			return nil, fmt.Errorf("sweep: a pilot needs %g s of silence before the sweep and finds %g s: lengthen it", PilotLeadS, s.SilenceBeforeS)
		case s.pilotBandHigh() < 2*s.pilotBandLow():
			return nil, fmt.Errorf("sweep: from %g to %g Hz leaves the pilot less than an octave between %g and %g Hz: widen the sweep or leave the pilot out",
				s.LowHz, s.HighHz, pilotLowHz, pilotHighHz)
		}
	}
	return s, nil
}

// FrequencyHz is the frequency of the sweep tS seconds after its start, f₁e^{t/L}.
func (s *Sweep) FrequencyHz(tS float64) float64 { return s.LowHz * math.Exp(tS/s.RateS) }

// TimeS is the time after the start at which the sweep passes a frequency, L ln(f/f₁).
func (s *Sweep) TimeS(frequencyHz float64) float64 { return s.RateS * math.Log(frequencyHz/s.LowHz) }

// HarmonicLeadS is the time in seconds by which the response of a distortion order stands before the linear response, L ln n
// (Farina 2000, Novak 2015); 0 for order 1. An order below 1 gives NaN.
func (s *Sweep) HarmonicLeadS(order int) float64 {
	if order < 1 {
		return math.NaN()
	}
	return s.RateS * math.Log(float64(order))
}

// Value is the sweep tS seconds after its start, with fades and level; 0 outside 0 ≤ tS < DurationS.
func (s *Sweep) Value(tS float64) float64 {
	if !(tS >= 0 && tS < s.DurationS) {
		return 0
	}
	return s.amplitude() * s.fade(tS) * math.Sin(2*math.Pi*s.LowHz*s.RateS*math.Expm1(tS/s.RateS))
}

func (s *Sweep) amplitude() float64 { return math.Pow(10, s.LevelDBFS/20) }

func (s *Sweep) fade(tS float64) float64 {
	gain := 1.0
	if tS < s.FadeInS {
		gain = 0.5 - 0.5*math.Cos(math.Pi*tS/s.FadeInS)
	}
	if left := s.DurationS - tS; left < s.FadeOutS {
		gain *= 0.5 - 0.5*math.Cos(math.Pi*left/s.FadeOutS)
	}
	return gain
}

// Samples returns one sweep alone, sample i at i/SampleRateHz seconds after its start: ceil(DurationS·SampleRateHz) samples.
func (s *Sweep) Samples() []float64 {
	x := make([]float64, int(math.Ceil(s.DurationS*s.SampleRateHz)))
	for i := range x {
		x[i] = s.Value(float64(i) / s.SampleRateHz)
	}
	return x
}

func (s *Sweep) pilotBandLow() float64  { return max(pilotLowHz, s.LowHz) }
func (s *Sweep) pilotBandHigh() float64 { return min(pilotHighHz, s.HighHz) }

// pilotValue is the pilot tS seconds after its first sample.
func (s *Sweep) pilotValue(tS float64) float64 {
	if !(tS >= 0 && tS < pilotSeconds) {
		return 0
	}
	low, high := s.pilotBandLow(), s.pilotBandHigh()
	window := 0.5 - 0.5*math.Cos(2*math.Pi*tS/pilotSeconds)
	return s.amplitude() * window * math.Sin(2*math.Pi*(low*tS+(high-low)*tS*tS/(2*pilotSeconds)))
}

// periodSamples is the length of silence, sweep and silence together, each a whole number of samples.
func (s *Sweep) periodSamples() (before, sweep, period int) {
	before = int(math.Round(s.SilenceBeforeS * s.SampleRateHz))
	sweep = int(math.Ceil(s.DurationS * s.SampleRateHz))
	return before, sweep, before + sweep + int(math.Round(s.SilenceAfterS*s.SampleRateHz))
}

// StartsSamples lists where in Playback the sweeps start, as indices of their first samples.
func (s *Sweep) StartsSamples() []int {
	before, _, period := s.periodSamples()
	starts := make([]int, s.Repeats)
	for i := range starts {
		starts[i] = i*period + before
	}
	return starts
}

// Playback returns all that is to be played: for every repeat the silence, in it the pilot where one is wanted, the sweep, and
// the silence after it.
func (s *Sweep) Playback() []float64 {
	before, sweep, period := s.periodSamples()
	x := make([]float64, period*s.Repeats)
	once := x[:period]
	copy(once[before:before+sweep], s.Samples())
	if s.Pilot {
		lead := int(math.Round(PilotLeadS * s.SampleRateHz))
		for i := range int(pilotSeconds * s.SampleRateHz) {
			once[before-lead+i] = s.pilotValue(float64(i) / s.SampleRateHz)
		}
	}
	for i := 1; i < s.Repeats; i++ {
		copy(x[i*period:], once)
	}
	return x
}

// Excitation is a signal that was played, as its deconvolution needs it.
type Excitation struct {
	Samples       []float64
	SampleRateHz  float64
	LowHz, HighHz float64 // band in which the signal has power
	RateS         float64 // L of an exponential sweep; 0 where the signal is another, so that distortion orders can't be told apart
}

// Excitation is one sweep without the silences.
func (s *Sweep) Excitation() *Excitation {
	return &Excitation{Samples: s.Samples(), SampleRateHz: s.SampleRateHz, LowHz: s.LowHz, HighHz: s.HighHz, RateS: s.RateS}
}

// AtRate is the same signal at another sample rate, as a recording at that rate needs it. What the lower of the two rates can't
// hold is lost, and the band says so. Errors as in Resample, and where less than an octave is left.
func (e *Excitation) AtRate(sampleRateHz float64) (*Excitation, error) {
	x, err := Resample(e.Samples, sampleRateHz/e.SampleRateHz)
	if err != nil {
		return nil, err
	}
	out := &Excitation{Samples: x, SampleRateHz: sampleRateHz, LowHz: e.LowHz, RateS: e.RateS,
		HighHz: min(e.HighHz, ResamplePassBand*min(sampleRateHz, e.SampleRateHz)/2)}
	if out.HighHz < 2*out.LowHz {
		return nil, fmt.Errorf("sweep: from %g Hz on, a sample rate of %g Hz leaves less than an octave: record at a higher rate", e.LowHz, sampleRateHz)
	}
	return out, nil
}

// ExcitationFromSamples takes the played signal from a file's samples: silence at both ends is cut off, the band found from the
// spectrum, and whether it is an exponential sweep, and how fast, from the growth of its frequency. Of several stretches of
// signal between silences of 50 ms and more, as where a pilot or repeats stand in the file, it takes the first of those that are
// as long as the longest, and says where it stands: index startSample. Silence is what stays below −60 dB of the peak. An
// error says why the signal can't serve: no signal, less than an octave, or too short to be told from a click.
func ExcitationFromSamples(x []float64, sampleRateHz float64) (e *Excitation, startSample int, err error) {
	if !(sampleRateHz > 0) || math.IsInf(sampleRateHz, 0) {
		return nil, 0, fmt.Errorf("sweep file: a sample rate of %g Hz: a number above 0 is needed", sampleRateHz)
	}
	peak := 0.0
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, 0, fmt.Errorf("sweep file: sample %d is %g: export the file again", i, v)
		}
		peak = max(peak, math.Abs(v))
	}
	if peak == 0 {
		return nil, 0, errors.New("sweep file: every sample is 0: export it again, and see that the right track is not muted")
	}
	from, to := longestStretch(x, peak*1e-3, int(0.05*sampleRateHz))
	e = &Excitation{Samples: append([]float64(nil), x[from:to]...), SampleRateHz: sampleRateHz}
	if duration := float64(to-from) / sampleRateHz; duration < 0.05 {
		return nil, 0, fmt.Errorf("sweep file: the longest stretch of signal lasts %.3g s: a sweep of some seconds is needed", duration)
	}
	e.LowHz, e.HighHz = occupiedBand(e.Samples, sampleRateHz)
	if e.HighHz < 2*e.LowHz {
		return nil, 0, fmt.Errorf("sweep file: the signal occupies only %.4g to %.4g Hz: a sweep over the whole range of the measurement is needed", e.LowHz, e.HighHz)
	}
	if rate, first := fitExponential(e); rate > 0 {
		e.RateS, e.LowHz = rate, first
		e.HighHz = min(first*math.Exp(float64(to-from)/sampleRateHz/rate), sampleRateHz/2)
	}
	return e, from, nil
}

// longestStretch finds the first of the longest stretches of x that hold no gap of gap samples below the threshold; the
// stretches of repeats may differ by a few samples, so 1 % counts as equal.
func longestStretch(x []float64, threshold float64, gap int) (from, to int) {
	start, last := -1, -1
	take := func() {
		if start >= 0 && float64(last+1-start) > 1.01*float64(to-from) {
			from, to = start, last+1
		}
	}
	for i, v := range x {
		if math.Abs(v) <= threshold {
			continue
		}
		if start < 0 || i-last > gap {
			take()
			start = i
		}
		last = i
	}
	take()
	return from, to
}

// occupiedBand finds the band between the outermost twelfth octaves whose energy is within 15 dB of the mean over all that hold
// any: an exponential sweep has the same energy in each.
func occupiedBand(x []float64, sampleRateHz float64) (lowHz, highHz float64) {
	n := SmoothLength(len(x))
	X := RealSpectrum(x, n)
	step := sampleRateHz / float64(n)
	const part = 1.0 / 12
	var edges, energies []float64
	total := 0.0
	for low := sampleRateHz / 2; low > 4*step && low > 1; low *= math.Exp2(-part) {
		e := 0.0
		for k := int(math.Ceil(low * math.Exp2(-part) / step)); float64(k)*step < low && k < len(X); k++ {
			e += power(X[k])
		}
		edges, energies, total = append(edges, low), append(energies, e), total+e
	}
	// The mean over the bands that share the energy evenly: participation ratio.
	squares := 0.0
	for _, e := range energies {
		squares += e * e
	}
	if squares == 0 {
		return 0, 0
	}
	threshold := squares / total * math.Pow(10, -1.5)
	for i, e := range energies {
		if e >= threshold {
			if highHz == 0 {
				highHz = edges[i]
			}
			lowHz = edges[i] * math.Exp2(-part)
		}
	}
	return lowHz, highHz
}

// fitExponential fits k = a e^{t/L} + c to the times t of the upward zero crossings, numbered by k: the phase of an exponential
// sweep in turns. It returns L and the frequency at the first sample, a/L, or zeros where the signal is something else.
func fitExponential(e *Excitation) (rateS, firstHz float64) {
	var times []float64
	for i := 1; i < len(e.Samples); i++ {
		if a, b := e.Samples[i-1], e.Samples[i]; a < 0 && b >= 0 {
			times = append(times, (float64(i)-b/(b-a))/e.SampleRateHz)
		}
	}
	duration := float64(len(e.Samples)) / e.SampleRateHz
	if len(times) < 20 {
		return 0, 0
	}
	// For a given L the other two follow by linear least squares.
	fit := func(L float64) (misfit, a float64) {
		var n, sg, sgg, sk, skk, sgk float64
		for k, t := range times {
			g, k := math.Exp((t-duration)/L), float64(k)
			n, sg, sgg, sk, skk, sgk = n+1, sg+g, sgg+g*g, sk+k, skk+k*k, sgk+g*k
		}
		varG, varK, cov := sgg-sg*sg/n, skk-sk*sk/n, sgk-sg*sk/n
		return max(0, varK-cov*cov/varG) / n, cov / varG * math.Exp(-duration/L)
	}
	// The misfit has one minimum in L; the band gives a first guess.
	guess := duration / math.Log(e.HighHz/e.LowHz)
	low, high := guess/2, guess*2
	for range 100 {
		third := (high - low) / 3
		left, _ := fit(low + third)
		right, _ := fit(high - third)
		if left < right {
			high -= third
		} else {
			low += third
		}
	}
	L := (low + high) / 2
	misfit, a := fit(L)
	// A true sweep misses by the error of interpolating its crossings, some hundredths of a turn; a linear one by many turns.
	if misfit > 0.1*0.1 {
		return 0, 0
	}
	return L, a / L
}
