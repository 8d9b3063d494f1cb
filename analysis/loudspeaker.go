package analysis

import (
	"math"
	"math/cmplx"
	"slices"
	"sync"

	"github.com/leadline/leadline/dsp"
)

// A gate cuts off what the loudspeaker's ringing draws out of it, and how much that is differs from place to place. So a loudspeaker that rings is
// divided out of all responses first, as its direct sound shows it, and what is left is a short pulse.

const (
	pulseHighHz = 1.15 * predictionEndHz // up to here the pulse holds all frequencies alike; half an octave above, none
	colourFrom  = 800                    // hertz: below, a short look at the direct sound tells little
	colourDB    = -20.0                  // deviation from a pulse that is short and even; less does no harm
)

// pulseShape is the spectrum of the pulse that stands for the loudspeaker.
func pulseShape(frequencyHz, sampleRateHz float64) float64 {
	high := min(pulseHighHz, 0.3*sampleRateHz)
	return 0.5 + 0.5*math.Cos(math.Pi*min(1, max(0, 2*math.Log2(frequencyHz/high))))
}

// loudspeakerInverse returns the inverse of the loudspeaker, as its direct sounds show it, on the frequencies of a transform of length n, in e^{+jωt}:
// gain 1 in the median, with a regularisation that keeps frequencies 20 dB below the median from being drawn up. colour is the power of its spectrum's
// deviation from a constant, re that constant, in dB.
func loudspeakerInverse(sounds []directSound, speed, rate float64, n int) (inverse []complex128, colour float64) {
	g := grid{stepHz: rate / float64(n), first: 1, last: n / 2}
	g.last = min(g.last, int(1.5*pulseHighHz/g.stepHz))
	spectrum := sourceSpectrum(sounds, g, speed)
	var levels []float64
	var sum, count complex128
	judged := func(k int) bool {
		f := float64(k) * g.stepHz
		return f >= colourFrom && f <= predictionEndHz && pulseShape(f, rate) == 1
	}
	for k := 1; k <= g.last; k++ {
		if judged(k) {
			levels = append(levels, cmplx.Abs(spectrum[k]))
			sum, count = sum+spectrum[k], count+1
		}
	}
	if levels == nil { // a sample rate, or a response, too low to judge
		return nil, quietest
	}
	slices.Sort(levels)
	median, even := levels[len(levels)/2], sum/count
	deviation := 0.0
	inverse = make([]complex128, n/2+1)
	for k := 1; k <= g.last; k++ {
		shape := complex(pulseShape(float64(k)*g.stepHz, rate), 0)
		inverse[k] = spectrum[k] * shape * complex(median/(squared(spectrum[k])+median*median/100), 0)
		if judged(k) {
			deviation += squared(spectrum[k]/even-1) / real(count)
		}
	}
	return inverse, float64(decibels(deviation))
}

// loudspeaker is what is divided out of all responses. For use by any number of goroutines.
type loudspeaker struct {
	sounds []directSound
	speed  float64

	mutex  sync.Mutex
	bySize map[transformSize]*loudspeakerFilter
}

type transformSize struct {
	rate float64
	n    int
}

type loudspeakerFilter struct {
	inverse []complex128
	power   []float64 // its gain squared
	colour  float64
}

// newLoudspeaker judges by the direct sounds of some positions whether dividing is worth it for those that are given; nil where it isn't.
func newLoudspeaker(sounds []directSound, positions []*measuredPosition, speed float64) *loudspeaker {
	l := &loudspeaker{sounds: sounds, speed: speed, bySize: map[transformSize]*loudspeakerFilter{}}
	for _, m := range positions {
		if m != nil && l.of(m).colour < colourDB {
			return nil
		}
	}
	return l
}

// of returns the filter for the responses of a position, and keeps it for others as long.
func (l *loudspeaker) of(m *measuredPosition) *loudspeakerFilter {
	size := transformSize{m.sampleRateHz, dsp.SmoothLength(2 * len(m.panel[0]))}
	l.mutex.Lock()
	defer l.mutex.Unlock()
	f := l.bySize[size]
	if f == nil {
		f = &loudspeakerFilter{}
		f.inverse, f.colour = loudspeakerInverse(l.sounds, l.speed, size.rate, size.n)
		for _, v := range f.inverse {
			f.power = append(f.power, squared(v))
		}
		l.bySize[size] = f
	}
	return f
}

// divide takes the loudspeaker out of all responses of a position.
func (l *loudspeaker) divide(m *measuredPosition) {
	f := l.of(m)
	if f.inverse == nil {
		return // a response too short for any gate
	}
	n := dsp.SmoothLength(2 * len(m.panel[0]))
	for _, x := range slices.Concat([][]float64{m.empty}, m.panel, m.flat) {
		X := dsp.RealSpectrum(x, n)
		for k := range X {
			X[k] *= f.inverse[k]
		}
		copy(x, dsp.RealSignal(X, n))
	}
	m.divided = f.power
	m.noise = m.noisePower()
}
