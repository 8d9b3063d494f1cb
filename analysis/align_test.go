package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// pulse is a band-limited click at sample `at`, with a later reflection that differs between states.
func pulse(n int, at, gain, reflection float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		u := float64(i) - at
		x[i] = gain * (math.Exp(-u*u/8)*math.Cos(u/2) + reflection*math.Exp(-(u-300)*(u-300)/30))
	}
	return x
}

// The delay and level put in must come out, whatever the reflection does.
func TestAlignFindsDelayAndGain(t *testing.T) {
	const rate = 48000.0
	reference := pulse(1024, 200, 1, 0.3)
	window := dsp.GateWindow{OpenS: 150 / rate, FullS: 170 / rate, FallS: 260 / rate, ClosedS: 300 / rate}
	random := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		delay := 6 * (random.Float64() - 0.5)
		gain := 0.5 + random.Float64()
		x := pulse(1024, 200+delay, 1/gain, -0.9)
		gotDelay, gotGain, before, after := align(reference, x, 0, rate, window, math.Round(delay))
		near(t, "delay", gotDelay, delay, 1e-5, "the pulse is sampled, so the delay is exact up to its band's end")
		near(t, "gain", gotGain, gain, 1e-5, "as above")
		if !(after < 1e-4 && after <= before) {
			t.Errorf("residual %g before, %g after", before, after)
		}
	}
}

// Residual of a misaligned subtraction, 20 lg(2 |sin πfΔt|): −44.0 dB at 1 kHz for 1 µs, −12.0 dB at 4 kHz for 10 µs (computed).
func TestResidualOfMisalignment(t *testing.T) {
	for _, c := range []struct{ hz, us, want float64 }{{1000, 1, -44.0}, {4000, 1, -32.0}, {8000, 5, -12.0}, {4000, 10, -12.03}} {
		const rate = 192000.0
		tone := func(delayS float64) []float64 {
			x := make([]float64, 9600)
			for i := range x {
				x[i] = math.Sin(2 * math.Pi * c.hz * (float64(i)/rate - delayS))
			}
			return x
		}
		a, b := tone(0), dsp.FractionalDelay(tone(0), c.us*1e-6*rate)
		var left, whole float64
		for i := 2000; i < 7600; i++ {
			left += (a[i] - b[i]) * (a[i] - b[i])
			whole += a[i] * a[i]
		}
		near(t, "residual", 10*math.Log10(left/whole), c.want, 0.06, "the table has one decimal")
	}
}
