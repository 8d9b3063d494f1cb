package analysis

import (
	"math"
	"math/cmplx"
	"slices"

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

// loudspeakerInverse returns the inverse of the loudspeaker, as its direct sound shows it, on the frequencies of a transform of length n, in e^{+jωt}:
// gain 1 in the median, with a regularisation that keeps frequencies 20 dB below the median from being drawn up. colour is the power of its spectrum's
// deviation from a constant, re that constant, in dB.
func loudspeakerInverse(s *Survey, positions []*measuredPosition, speed, rate float64, n int) (inverse []complex128, colour float64) {
	g := grid{stepHz: rate / float64(n), first: 1, last: n / 2}
	g.last = min(g.last, int(1.5*pulseHighHz/g.stepHz))
	spectrum := sourceSpectrum(s, positions, g, speed)
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

// divideLoudspeaker takes the loudspeaker out of all responses of all positions, where it is worth it, and says so.
func divideLoudspeaker(s *Survey, positions []*measuredPosition, speed float64) bool {
	type size struct {
		rate float64
		n    int
	}
	of := func(m *measuredPosition) size { return size{m.sampleRateHz, dsp.SmoothLength(2 * len(m.panel[0]))} }
	inverses := map[size][]complex128{}
	for _, m := range positions {
		key := of(m)
		if inverses[key] != nil {
			continue
		}
		inverse, colour := loudspeakerInverse(s, positions, speed, key.rate, key.n)
		if colour < colourDB {
			return false
		}
		inverses[key] = inverse
	}
	parallel(0, len(positions), func(i int) {
		m, n := positions[i], of(positions[i]).n
		inverse := inverses[of(m)]
		for _, x := range slices.Concat([][]float64{m.empty}, m.panel, m.flat) {
			X := dsp.RealSpectrum(x, n)
			for k := range X {
				X[k] *= inverse[k]
			}
			copy(x, dsp.RealSignal(X, n))
		}
		m.divided = make([]float64, len(inverse))
		for k, v := range inverse {
			m.divided[k] = squared(v)
		}
		m.noise = m.noisePower()
	})
	return true
}
