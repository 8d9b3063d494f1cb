package dsp

import (
	"fmt"
	"math"
)

// OctaveRatio is G = 10^(3/10), the octave of the base-ten system (IEC 61260-1:2014, 5.2).
const OctaveRatio = 1.9952623149688795

// Band is one fractional-octave band: its exact mid-band frequency and its edges, in hertz.
type Band struct{ CentreHz, LowHz, HighHz float64 }

// FractionalOctaves returns the bands of 1/perOctave octave whose edges lie within lowHz to highHz, in rising order: exact mid-bands
// 1000·G^(k/b) for odd b and 1000·G^((2k+1)/2b) for even b, edges at G^(±1/2b) of them (IEC 61260-1:2014, 5.4 and 5.5).
// Errors: perOctave not 1 to 24, or a range that is not positive and rising.
func FractionalOctaves(perOctave int, lowHz, highHz float64) ([]Band, error) {
	if perOctave < 1 || perOctave > 24 {
		return nil, fmt.Errorf("bands of 1/%d octave: expected 1 to 24 bands per octave", perOctave)
	}
	if !(lowHz > 0) || !(highHz > lowHz) || math.IsInf(highHz, 0) {
		return nil, fmt.Errorf("bands from %g to %g Hz: expected a positive, rising range", lowHz, highHz)
	}
	b := float64(perOctave)
	offset := 0.0
	if perOctave%2 == 0 {
		offset = 0.5
	}
	const slack = 1e-9 // so that a range given by a band's own edges contains it
	step := math.Log(OctaveRatio) / b
	var bands []Band
	for k := int(math.Floor(math.Log(lowHz/1000)/step)) - 1; ; k++ {
		centre := 1000 * math.Exp((float64(k)+offset)*step)
		band := Band{centre, centre * math.Exp(-step/2), centre * math.Exp(step/2)}
		if band.HighHz > highHz*(1+slack) {
			return bands, nil
		}
		if band.LowHz >= lowHz*(1-slack) {
			bands = append(bands, band)
		}
	}
}

// BandEnergy integrates the squared magnitude of a spectrum over the band: spectrum[k] stands at k·stepHz and for the
// interval half a step to either side; bins cut by an edge count in proportion. The band-pass is the ideal one, which lies within the
// class 1 limits of IEC 61260-1:2014, table 1. The result is in squared units of the spectrum times hertz.
func BandEnergy(spectrum []complex128, stepHz float64, band Band) float64 {
	sum := 0.0
	from := max(0, int(math.Floor(band.LowHz/stepHz)))
	for k := from; k < len(spectrum); k++ {
		share := BandShare(k, stepHz, band)
		if share == 0 && float64(k)*stepHz > band.HighHz {
			break
		}
		re, im := real(spectrum[k]), imag(spectrum[k])
		sum += share * (re*re + im*im)
	}
	return sum
}

// BandShare returns how many hertz of the interval around k·stepHz lie in the band.
func BandShare(k int, stepHz float64, band Band) float64 {
	middle := float64(k) * stepHz
	return max(0, min(band.HighHz, middle+stepHz/2)-max(band.LowHz, middle-stepHz/2))
}
