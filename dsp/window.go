package dsp

import "math"

// GateWindow is a time window that rises with half a Blackman–Harris window, stays at 1 and falls with another half:
// the gate shape of EN 1793-5 (from memory: 0.5 ms rise, a flat part, a longer fall). Times in seconds on the caller's axis.
type GateWindow struct {
	OpenS   float64 // 0 up to here
	FullS   float64 // 1 from here …
	FallS   float64 // … to here
	ClosedS float64 // 0 from here
}

// At returns the window's value, 0 to 1, at time t.
func (g GateWindow) At(t float64) float64 {
	switch {
	case t <= g.OpenS || t >= g.ClosedS:
		return 0
	case t < g.FullS:
		return blackmanHarris((t - g.OpenS) / (g.FullS - g.OpenS) / 2)
	case t > g.FallS:
		return blackmanHarris((g.ClosedS - t) / (g.ClosedS - g.FallS) / 2)
	}
	return 1
}

// blackmanHarris is the four-term window at u = 0…1, 1 in the middle (Harris, Proc. IEEE 66 (1978) 51, minimum four-term).
func blackmanHarris(u float64) float64 {
	a := 2 * math.Pi * u
	return 0.35875 - 0.48829*math.Cos(a) + 0.14128*math.Cos(2*a) - 0.01168*math.Cos(3*a)
}

// SpectrumAt returns Σ x[n] e^{+j2πf t_n} at the frequencies f = k·stepHz, k = 0 … count−1, with t_n = startS + n/sampleRateHz: the
// sampled Fourier integral times the sample rate, in the e^{-iωt} convention (a delay of τ multiplies by e^{+j2πfτ}).
func SpectrumAt(x []float64, startS, sampleRateHz, stepHz float64, count int) []complex128 {
	out := make([]complex128, count)
	step := func(k int) (turnCos, turnSin, c, s float64) {
		w := 2 * math.Pi * float64(k) * stepHz
		turnSin, turnCos = math.Sincos(w / sampleRateHz)
		s, c = math.Sincos(w * startS)
		return
	}
	done := 0
	if hasVectors && len(x) > 0 {
		var turns [32]float64
		var sums [16]float64
		for ; done+8 <= count; done += 8 {
			for lane := range 8 {
				turns[lane], turns[8+lane], turns[16+lane], turns[24+lane] = step(done + lane)
			}
			turnsVectors(&sums, &turns, &x[0], len(x))
			for lane := range 8 {
				out[done+lane] = complex(sums[lane], sums[8+lane])
			}
		}
	}
	for k := done; k < count; k++ {
		turnCos, turnSin, c, s := step(k)
		var re, im float64
		for _, v := range x {
			re += v * c
			im += v * s
			c, s = c*turnCos-s*turnSin, c*turnSin+s*turnCos
		}
		out[k] = complex(re, im)
	}
	return out
}
