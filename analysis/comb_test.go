package analysis

import (
	"math"
	"math/cmplx"
	"testing"
)

// Peak to notch of one reflection at a given level below the direct sound: 20 lg (1+a)/(1−a), computed; notches at odd multiples of half the
// inverse of the delay: a path difference of 1 m at 343 m/s puts them at 171.5, 514.5 and 857.5 Hz.
func TestCombOfOneReflection(t *testing.T) {
	const step = 0.5
	const delayS = 1.0 / 343
	for level, want := range map[float64]float64{-0.5: 30.820, -3: 15.340, -6: 9.570, -10: 5.688, -15: 3.122, -20: 1.743} {
		a := math.Pow(10, level/20)
		ratio := make([]complex128, 2400)
		for k := range ratio {
			ratio[k] = cmplx.Rect(a, 2*math.Pi*float64(k)*step*delayS)
		}
		trace, whole := combOf(ratio, step, []Band{{LowHz: 400, HighHz: 900}}, 50, 1000)
		near(t, "peak to notch", float64(trace.PeakToNotchDB[0]), want, 2e-3, "three decimals in the table, notches between 0.5 Hz steps")
		near(t, "level", float64(trace.ReflectionDB[0]), level, 1e-9, "rounding")
		if level < -15 {
			continue
		}
		for i, f := range []float64{171.5, 514.5, 857.5} {
			near(t, "notch", float64(trace.NotchHz[i]), f, 0.05, "parabola through 0.5 Hz steps")
		}
		near(t, "first notch", float64(whole.FirstNotchHz), 171.5, 0.05, "as above")
	}
}
