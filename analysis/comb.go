package analysis

import (
	"math"
	"math/cmplx"

	"github.com/leadline/leadline/dsp"
)

// combOf describes direct sound plus reflection: ratio[k] is the reflection re the direct sound at k·stepHz. Levels per band are energy means;
// peak to notch is the highest over the lowest |1 + ratio| in the band.
func combOf(ratio []complex128, stepHz float64, bands []Band, lowHz, highHz float64) (trace CombTrace, whole Comb) {
	for _, b := range bands {
		energy, depth := combRange(ratio, stepHz, b.LowHz, b.HighHz)
		trace.ReflectionDB = append(trace.ReflectionDB, energy)
		trace.PeakToNotchDB = append(trace.PeakToNotchDB, depth)
	}
	whole.ReflectionDB, whole.PeakToNotchDB = combRange(ratio, stepHz, lowHz, highHz)
	whole.FirstNotchHz = Unknown()
	trace.NotchHz = notches(ratio, stepHz, lowHz, highHz)
	if len(trace.NotchHz) > 0 {
		whole.FirstNotchHz = trace.NotchHz[0]
	}
	return trace, whole
}

func combRange(ratio []complex128, stepHz, lowHz, highHz float64) (reflection, peakToNotch Num) {
	if !(highHz > lowHz) {
		return Unknown(), Unknown()
	}
	band := dsp.Band{LowHz: lowHz, HighHz: highHz}
	energy := dsp.BandEnergy(ratio, stepHz, band) / (highHz - lowHz)
	lowest, highest := math.Inf(1), 0.0
	for k := int(math.Ceil(lowHz / stepHz)); k <= int(highHz/stepHz) && k < len(ratio); k++ {
		a := cmplx.Abs(1 + ratio[k])
		lowest, highest = min(lowest, a), max(highest, a)
	}
	if energy == 0 || highest == 0 {
		return Unknown(), Unknown()
	}
	return decibels(energy), Num(20 * math.Log10(highest/max(lowest, 1e-10*highest)))
}

// notches returns the frequencies, refined by a parabola, at which |1 + ratio| has a minimum at least 1 dB below the maxima beside it.
func notches(ratio []complex128, stepHz, lowHz, highHz float64) []Num {
	if !(highHz > lowHz) {
		return nil
	}
	const dip, most = 1.0, 40
	from, to := int(math.Ceil(lowHz/stepHz)), min(int(highHz/stepHz), len(ratio)-1)
	level := func(k int) float64 { return 20 * math.Log10(max(cmplx.Abs(1+ratio[k]), 1e-10)) }
	var found []Num
	for k := from + 1; k < to && len(found) < most; k++ {
		here := level(k)
		if here > level(k-1) || here >= level(k+1) {
			continue
		}
		up := func(direction int) float64 {
			highest := here
			for i := k + direction; i >= from && i <= to && level(i) >= level(i-direction); i += direction {
				highest = max(highest, level(i))
			}
			return highest - here
		}
		if up(-1) < dip || up(1) < dip {
			continue
		}
		a, b, c := level(k-1), here, level(k+1)
		found = append(found, Num((float64(k)+(a-c)/(2*(a-2*b+c)))*stepHz))
	}
	return found
}
