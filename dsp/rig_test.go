package dsp

import (
	"math"
	"math/rand/v2"
)

// testRig is a player, a loudspeaker, a room and a recorder, each made from a closed form or from a method other than the
// package's own, so that what the package recovers can be compared with what was put in.
type testRig struct {
	sweep   *Sweep
	room    []float64 // response at the player's rate
	speaker bool      // 80 Hz high-pass and ripples of ±3 dB
	thirdDB float64   // third-order distortion re the sweep; 0 for none
	snrDB   float64   // sweep re noise, both as rms over the sweep, in the microphone channel; 0 for no noise
	clock   [2]int    // the recorder takes clock[1] samples where the player gave clock[0]; zeros for one clock
	startS  float64   // how long the recorder ran before the player started
	endS    float64   // and after it ended
	hiss    uint64    // seed of the noise
	bits    int       // 0 for no quantisation
}

// The pairs' ratios, in parts per million; both numbers have small factors, so that transforms stay exact.
var (
	clock30ppm = [2]int{32767, 32768} // 30.519
	clock50ppm = [2]int{19844, 19845} // 50.393
)

func ppmOf(clock [2]int) float64 { return (float64(clock[1])/float64(clock[0]) - 1) * 1e6 }

// record returns the microphone's channel and the loopback's.
func (r testRig) record() (mic, loopback []float64) {
	s := r.sweep
	rate := s.SampleRateHz
	played := s.Playback()
	lead := make([]float64, int(r.startS*rate))
	loopback = append(append(lead, played...), make([]float64, int(r.endS*rate))...)

	driven := append([]float64(nil), loopback...)
	if r.thirdDB != 0 {
		for _, start := range s.StartsSamples() {
			at := len(lead) + start
			for i := range s.Samples() {
				tS := float64(i) / rate
				if 3*s.FrequencyHz(tS) > 0.49*rate { // inaudible, and beyond what a recorder takes in
					break
				}
				phase := 2 * math.Pi * s.LowHz * s.RateS * math.Expm1(tS/s.RateS)
				driven[at+i] += math.Pow(10, r.thirdDB/20) * s.amplitude() * s.fade(tS) * math.Sin(3*phase)
			}
		}
	}
	if r.speaker {
		driven = loudspeaker(driven, rate)
	}
	mic = convolve(driven, r.room)[:len(driven)]
	if r.clock[0] != 0 {
		mic, loopback = otherClock(mic, r.clock), otherClock(loopback, r.clock)
	}
	random := rand.New(rand.NewPCG(r.hiss, 2))
	if r.snrDB != 0 {
		start := len(lead) + s.StartsSamples()[0]
		sigma := rootMeanSquare(mic[start:start+len(s.Samples())]) * math.Pow(10, -r.snrDB/20)
		for i := range mic {
			mic[i] += sigma * random.NormFloat64()
		}
	}
	if r.bits > 0 {
		full := math.Exp2(float64(r.bits - 1))
		for i := range mic {
			mic[i] = math.Round(mic[i]*full) / full
			loopback[i] = math.Round(loopback[i]*full) / full
		}
	}
	return mic, loopback
}

// otherClock reads a signal with another clock by Fourier's series, which is exact for a signal that is silent at both ends.
func otherClock(x []float64, clock [2]int) []float64 {
	blocks := len(x)/clock[0] + 1
	from, to := clock[0]*blocks, clock[1]*blocks
	y := RealSignal(RealSpectrum(x, from), to)
	for i := range y {
		y[i] *= float64(to) / float64(from)
	}
	return y[:int(float64(len(x))*float64(to)/float64(from))]
}

// loudspeaker is a second-order high-pass at 80 Hz and ripples of ±3 dB, by second-order sections under the bilinear transform.
func loudspeaker(x []float64, rate float64) []float64 {
	section := func(x []float64, b0, b1, b2, a0, a1, a2 float64) []float64 {
		y := make([]float64, len(x))
		var x1, x2, y1, y2 float64
		for i, v := range x {
			y[i] = (b0*v + b1*x1 + b2*x2 - a1*y1 - a2*y2) / a0
			x1, x2, y1, y2 = v, x1, y[i], y1
		}
		return y
	}
	// s → k (1−z⁻¹)/(1+z⁻¹), k so that the frequency itself is kept.
	bilinear := func(x []float64, f, n2, n1, n0, d2, d1, d0 float64) []float64 {
		k := 1 / math.Tan(math.Pi*f/rate)
		return section(x, n2*k*k+n1*k+n0, 2*(n0-n2*k*k), n2*k*k-n1*k+n0, d2*k*k+d1*k+d0, 2*(d0-d2*k*k), d2*k*k-d1*k+d0)
	}
	y := bilinear(x, 80, 1, 0, 0, 1, math.Sqrt2, 1)
	for i, f := range []float64{180, 420, 950, 2100, 4700, 9500} {
		gain := math.Pow(10, 3.0/20)
		boost, cut := gain, 1.0
		if i%2 == 1 {
			boost, cut = 1, gain
		}
		y = bilinear(y, f, 1, 0.7*boost, 1, 1, 0.7*cut, 1)
	}
	return y
}

// smallRoom is a direct sound of 1 at directS, four reflections and a tail that dies away by 60 dB in 0.3 s.
func smallRoom(rate, directS float64, seed uint64) []float64 {
	h := make([]float64, int((directS+0.35)*rate))
	add := func(delayS, gain float64) {
		one := make([]float64, 256)
		one[128] = gain
		at := (directS + delayS) * rate
		whole := math.Floor(at)
		for i, v := range FractionalDelay(one, at-whole) {
			if k := int(whole) - 128 + i; k >= 0 && k < len(h) {
				h[k] += v
			}
		}
	}
	add(0, 1)
	for _, r := range [][2]float64{{0.00583, 0.4}, {0.0071, -0.35}, {0.0117, 0.3}, {0.019, 0.22}} {
		add(r[0], r[1])
	}
	random := rand.New(rand.NewPCG(seed, 3))
	for i := int((directS + 0.012) * rate); i < len(h); i++ {
		h[i] += 0.02 * random.NormFloat64() * math.Pow(10, -3*(float64(i)/rate-directS)/0.3)
	}
	return h
}
