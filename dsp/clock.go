package dsp

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// ClockEstimate says how the recorder's clock runs against the player's.
type ClockEstimate struct {
	// PPM is by how many parts per million the recording is longer than what was played, counted in samples: positive where
	// the recorder's clock is the faster. Resample(recording, 1/(1+PPM·1e-6)) puts it right.
	PPM float64
	// StandardErrorPPM follows from the scatter of the phases about the fit, so it holds the noise, not what the source of
	// the estimate can't know.
	StandardErrorPPM float64
	// Source is where it comes from: "loopback", "pilot", "repeats" or "direct sound".
	Source string
}

// A signal whose frequency f is played at the time t(f), recorded by a clock that is off by ε, has its phase turned by
// −2πf ε t(f): reading a signal slower moves every component by ε times its own time. For an exponential sweep t is L ln(f/f₁).
// The estimates below fit this curve to the phase between what should and what did come; all work on complex spectra, where noise
// is plain, and not on arrival times.

// phaseBasis is one unknown of a fit: the phase in radians, at a frequency in hertz, that a unit of it takes away.
type phaseBasis func(frequencyHz float64) float64

func delayBasis(f float64) float64 { return 2 * math.Pi * f } // per second

// clockBasis is per ppm, for a component played at emissionS(f).
func clockBasis(emissionS func(f float64) float64) phaseBasis {
	return func(f float64) float64 { return 2 * math.Pi * 1e-6 * f * emissionS(f) }
}

// sweepEmission is t(f) of an exponential sweep with its zero at 1 kHz, where a fit also has a free delay.
func sweepEmission(rateS float64) func(f float64) float64 {
	return func(f float64) float64 { return rateS * math.Log(f/1000) }
}

const (
	fitBands   = 96
	leastPower = 1e-3 // of the strongest band: a band 30 dB below it has no say
)

// fitPhases finds the coefficients c that leave C(f)·exp(+jΣ c_i B_i(f)) as real and positive as it gets, from a spectrum C of a
// transform of length n. It works on sums over bands, each weighing by its size, since noise of even power turns a sum of power p
// by 1/√p. The first basis carries the start: the delay at which C's correlation is largest. The standard errors follow from
// the scatter about the fit.
func fitPhases(C []complex128, n int, sampleRateHz, lowHz, highHz float64, bases ...phaseBasis) (coefficients, standardErrors []float64, err error) {
	step := sampleRateHz / float64(n)
	width := max((highHz-lowHz)/fitBands, 2*step)
	bands, unknowns := int((highHz-lowHz)/width), len(bases)
	if bands < 4*unknowns {
		return nil, nil, fmt.Errorf("clock: from %.4g to %.4g Hz there is too little to fit: use a wider sweep", lowHz, highHz)
	}
	first, last := int(math.Ceil(lowHz/step)), min(int(highHz/step), len(C)-1)

	inBand := make([]complex128, len(C))
	copy(inBand[first:last+1], C[first:last+1])
	correlation := RealSignal(inBand, n)
	lag := argMaxAbs(correlation)
	if correlation[lag] == 0 {
		return nil, nil, errors.New("clock: nothing was recorded in the band of the fit")
	}
	if lag > n/2 {
		lag -= n
	}
	coefficients = make([]float64, unknowns)
	middle := (lowHz + highHz) / 2
	coefficients[0] = delayBasis(middle) * float64(lag) / sampleRateHz / bases[0](middle)

	sums := make([]complex128, bands)
	design, right := mat.NewDense(bands, unknowns, nil), mat.NewVecDense(bands, nil)
	var correction mat.VecDense
	for range 10 {
		k, strongest := first, 0.0
		for b := range sums {
			sums[b] = 0
			for end := lowHz + float64(b+1)*width; k <= last && float64(k)*step < end; k++ {
				turn := 0.0
				for i, basis := range bases {
					turn += coefficients[i] * basis(float64(k)*step)
				}
				sums[b] += C[k] * cmplx.Rect(1, turn)
			}
			strongest = max(strongest, cmplx.Abs(sums[b]))
		}
		previous, begun := 0.0, false
		for b, sum := range sums {
			low := lowHz + float64(b)*width
			// Where the loudspeaker sends next to nothing, the phase is anything, and so is the turn that the next band would start from.
			if cmplx.Abs(sum) < leastPower*strongest {
				sum = 0
			}
			phase := cmplx.Phase(sum)
			if sum == 0 {
				phase = 0
			} else {
				if begun {
					phase += 2 * math.Pi * math.Round((previous-phase)/(2*math.Pi))
				}
				previous, begun = phase, true
			}
			w := math.Sqrt(cmplx.Abs(sum))
			for i, basis := range bases {
				design.Set(b, i, -w*basis(low+width/2))
			}
			right.SetVec(b, w*phase)
		}
		var qr mat.QR
		qr.Factorize(design)
		if err := qr.SolveVecTo(&correction, false, right); err != nil {
			return nil, nil, fmt.Errorf("clock: the fit has no single answer: %w", err)
		}
		largest := 0.0
		for i := range coefficients {
			coefficients[i] += correction.AtVec(i)
			largest = max(largest, math.Abs(correction.AtVec(i)*bases[i](highHz)))
		}
		if largest < 1e-9 {
			break
		}
	}
	var residual mat.VecDense
	residual.MulVec(design, &correction)
	residual.SubVec(right, &residual)
	variance := mat.Dot(&residual, &residual) / float64(bands-unknowns)
	var normal, covariance mat.Dense
	normal.Mul(design.T(), design)
	if err := covariance.Inverse(&normal); err != nil {
		return nil, nil, fmt.Errorf("clock: the fit has no single answer: %w", err)
	}
	standardErrors = make([]float64, unknowns)
	for i := range standardErrors {
		standardErrors[i] = math.Sqrt(variance * covariance.At(i, i))
	}
	return coefficients, standardErrors, nil
}

// clockFitBand is where loudspeakers and converters turn the phase little, inside the band in which the division is exact.
func clockFitBand(v *Inverse) (lowHz, highHz float64) {
	low, high := v.FlatBandHz()
	return max(low, min(1000, high/8)), 0.9 * high
}

// ClockFromDirectSound estimates the clock from one exponential sweep, by how the direct sound (cut 1 ms before to gateS after
// directLag, which must end before the first reflection) is spread over time. In a loopback channel this is good to a few
// hundredths of a ppm, and Source is "loopback" if the caller sets it. Through a loudspeaker it is not: a delay that grows with the
// logarithm of the frequency is a clock's or the loudspeaker's own, and one sweep can't tell which; the loudspeaker of the tests, a
// single driver, reads 10 ppm wrong with a sweep of 2 s, a crossover may read 100. That error is the same in every recording with
// the same sweep and loudspeaker, so differences between recordings are good: RelativeClock. Errors: no exponential sweep; nothing
// recorded.
func (d *Deconvolution) ClockFromDirectSound(directLag, gateS float64) (ClockEstimate, error) {
	e := d.inverse.excitation
	if e.RateS <= 0 {
		return ClockEstimate{}, errors.New("clock: the played signal is no exponential sweep, so its recording doesn't tell the clock")
	}
	rate := e.SampleRateHz
	pre := int(0.001 * rate)
	h := d.Cut(int(math.Floor(directLag))-pre, pre+int(gateS*rate))
	for i := range pre / 2 {
		h[i] *= halfHann(i, pre/2)
	}
	fall := (len(h) - pre) / 2
	for i := range fall {
		h[len(h)-1-i] *= halfHann(i, fall)
	}
	low, high := clockFitBand(d.inverse)
	n := SmoothLength(max(4*len(h), int(rate/20)))
	H := RealSpectrum(h, n)
	for k, v := range H {
		H[k] *= complex(cmplx.Abs(v), 0) // the fit wants powers
	}
	c, se, err := fitPhases(H, n, rate, low, high, delayBasis, clockBasis(sweepEmission(e.RateS)))
	if err != nil {
		return ClockEstimate{}, err
	}
	return ClockEstimate{PPM: c[1], StandardErrorPPM: se[1], Source: "direct sound"}, nil
}

// RelativeClock estimates by how much more a response is stretched by its clocks than a reference, in ppm, and by how much it comes
// later, in seconds at 1 kHz. Both are cuts of equal length around the direct sound, windowed alike and free of what differs
// between the two; both come from the same exponential sweep (rateS is its L) through the same loudspeaker. lowHz to highHz is the
// band of the fit. CorrectClock takes the difference out. Errors: lengths, rates, bands and silence that leave nothing to fit.
func RelativeClock(reference, response []float64, sampleRateHz, rateS, lowHz, highHz float64) (e ClockEstimate, delayS float64, err error) {
	if len(reference) == 0 || len(reference) != len(response) {
		return e, 0, fmt.Errorf("clock: cuts of %d and %d samples: two of one length are needed", len(reference), len(response))
	}
	if !(sampleRateHz > 0 && rateS > 0 && lowHz > 0 && highHz > lowHz && highHz <= sampleRateHz/2) {
		return e, 0, fmt.Errorf("clock: a sweep of L = %g s and a band of %g to %g Hz at %g Hz: nothing can be fitted", rateS, lowHz, highHz, sampleRateHz)
	}
	n := SmoothLength(max(4*len(reference), int(sampleRateHz/20)))
	c, se, err := fitPhases(crossSpectrum(reference, response, n), n, sampleRateHz, lowHz, highHz, delayBasis, clockBasis(sweepEmission(rateS)))
	if err != nil {
		return e, 0, err
	}
	return ClockEstimate{PPM: c[1], StandardErrorPPM: se[1], Source: "direct sound"}, c[0], nil
}

// crossSpectrum has the phase of b re a: that of a delay where b is a delayed.
func crossSpectrum(a, b []float64, n int) []complex128 {
	A, B := RealSpectrum(a, n), RealSpectrum(b, n)
	for k := range A {
		A[k] = B[k] * cmplx.Conj(A[k])
	}
	return A
}

// CorrectClock takes a clock error out of a response that has been deconvolved already: what resampling the recording by
// 1/(1 + ppm·10⁻⁶) before the division would have given, up to a common delay. Each frequency moves back by the part of
// ppm·10⁻⁶·L ln(f/1 kHz), so 1 kHz stays where it is, and the time axis shrinks about anchorSample. rateS is the L of the sweep.
// The result has the response's length; the first and last milliseconds see the silence outside. response is not changed. An error
// where ppm is not a number or beyond 10⁵.
func CorrectClock(response []float64, sampleRateHz, rateS, anchorSample, ppm float64) ([]float64, error) {
	if !(math.Abs(ppm) <= 1e5 && sampleRateHz > 0 && rateS > 0) {
		return nil, fmt.Errorf("clock: a correction by %g ppm (sweep of L = %g s at %g Hz) makes no sense", ppm, rateS, sampleRateHz)
	}
	n := SmoothLength(2 * len(response))
	H := RealSpectrum(response, n)
	basis := clockBasis(sweepEmission(rateS))
	for k := 1; k < len(H); k++ {
		H[k] *= cmplx.Rect(1, ppm*basis(float64(k)*sampleRateHz/float64(n)))
	}
	stretch := 1 + ppm*1e-6
	scaled, err := Resample(RealSignal(H, n)[:len(response)], 1/stretch)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(response))
	copy(out, FractionalDelay(append(scaled, make([]float64, max(0, len(out)-len(scaled)))...), anchorSample*(1-1/stretch)))
	return out, nil
}

// ClockFromPilot estimates the clock from the pilot in front of the sweep: loudspeaker and room treat both alike, but the sweep
// plays every frequency later, by a known time, so that the estimate is good to some hundredths of a ppm with any loudspeaker.
// segment is the recording from PilotLeadS (in samples, rounded) before d's segment up to its start; d is the division of the
// sweep, with the room's response within half a second of lag 0. An error where the sweep has no pilot, lengths don't fit, or
// nothing was recorded.
func (s *Sweep) ClockFromPilot(segment []float64, d *Deconvolution) (ClockEstimate, error) {
	rate := s.SampleRateHz
	lead := int(math.Round(PilotLeadS * rate))
	if !s.Pilot || d.SampleRateHz() != rate || len(segment) != lead {
		return ClockEstimate{}, fmt.Errorf("clock: no pilot in the sweep, or %d samples of it where %d at %g Hz are needed", len(segment), lead, rate)
	}
	pilot := make([]float64, int(pilotSeconds*rate))
	for i := range pilot {
		pilot[i] = s.pilotValue(float64(i) / rate)
	}
	low, high := s.pilotBandLow(), s.pilotBandHigh()
	n := SmoothLength(2 * lead)
	// Recorded pilot over played pilot over the sweep's response, all as products, so that bands weigh by what was played in them.
	C := crossSpectrum(pilot, segment, n)
	response := RealSpectrum(d.Cut(0, lead), n)
	for k := range C {
		C[k] = response[k] * cmplx.Conj(C[k])
	}
	later := func(f float64) float64 {
		return s.TimeS(f) + float64(lead)/rate - pilotSeconds*(f-low)/(high-low)
	}
	// The window leaves little power at either end of the pilot's band.
	edge := 0.05 * (high - low)
	c, se, err := fitPhases(C, n, rate, low+edge, high-edge, clockBasis(later))
	if err != nil {
		return ClockEstimate{}, err
	}
	return ClockEstimate{PPM: c[0], StandardErrorPPM: se[0], Source: "pilot"}, nil
}

// ClockFromRepeats estimates the clock from two responses of one recording whose sweeps were played apartS seconds apart, each cut
// at the same lags from segments that many samples (a whole number) apart: by how much the later one is late. lowHz to highHz is
// the band of the fit, inside that of the sweep. It is good to a few hundredths of a ppm with any loudspeaker, as long as nothing
// moved. Errors: lengths, bands and silence that leave nothing to fit.
func ClockFromRepeats(first, later []float64, sampleRateHz, apartS, lowHz, highHz float64) (ClockEstimate, error) {
	if len(first) == 0 || len(first) != len(later) {
		return ClockEstimate{}, fmt.Errorf("clock: responses of %d and %d samples: two of one length are needed", len(first), len(later))
	}
	if !(sampleRateHz > 0 && apartS > 0 && lowHz > 0 && highHz > lowHz && highHz <= sampleRateHz/2) {
		return ClockEstimate{}, fmt.Errorf("clock: repeats %g s apart and a band of %g to %g Hz at %g Hz: nothing can be fitted", apartS, lowHz, highHz, sampleRateHz)
	}
	n := SmoothLength(2 * len(first))
	c, se, err := fitPhases(crossSpectrum(first, later, n), n, sampleRateHz, lowHz, highHz, clockBasis(func(float64) float64 { return apartS }))
	if err != nil {
		return ClockEstimate{}, err
	}
	return ClockEstimate{PPM: c[0], StandardErrorPPM: se[0], Source: "repeats"}, nil
}
