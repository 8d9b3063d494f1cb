package dsp

import (
	"math"
	"testing"
)

// clockRig records two sweeps with pilots through a loudspeaker in a room, and divides both.
func clockRig(t *testing.T, clock [2]int) (s *Sweep, v *Inverse, mic, loopback []float64, start, period int) {
	t.Helper()
	spec := SuggestSweep(50, 20000, 2, 48000)
	spec.Pilot, spec.Repeats = true, 2
	s = mustSweep(t, spec)
	rig := testRig{sweep: s, room: smallRoom(48000, 0.0029, 1), speaker: true, thirdDB: -40, snrDB: 45, clock: clock, startS: 0.3, endS: 0.2, hiss: 1 + uint64(clock[0]), bits: 24}
	mic, loopback = rig.record()
	starts := s.StartsSamples()
	return s, mustInverse(t, s.Excitation(), 0.3), mic, loopback, int(0.29*48000) + starts[0], starts[1] - starts[0]
}

func ppmIn(clock [2]int) float64 {
	if clock[0] == 0 {
		return 0
	}
	return ppmOf(clock)
}

// Accuracy of each way at 45 dB signal-to-noise per sample and a sweep of 2 s. The aim was 0.5 ppm. The bounds are some three times
// what noise and method leave: 0.02 ppm of the gate's shape for one sweep in a loopback, noise alone for the others.
func TestClockEstimates(t *testing.T) {
	for _, clock := range [][2]int{{}, clock30ppm, clock50ppm, {19845, 19844}} {
		want := ppmIn(clock)
		s, v, mic, loopback, start, period := clockRig(t, clock)
		d, l := mustDeconvolve(t, v, mic[start:]), mustDeconvolve(t, v, loopback[start:])

		at, _ := l.Onset(0, 9600)
		e, err := l.ClockFromDirectSound(at, 0.005)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ppm from a loopback", e.PPM, want, 0.06)

		e, err = s.ClockFromPilot(mic[start-24000:start], d)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ppm from the pilot", e.PPM, want, 0.02)
		if math.Abs(e.PPM-want) > 5*e.StandardErrorPPM {
			t.Errorf("pilot: %v ppm is %v off, with a standard error of %v", e.PPM, e.PPM-want, e.StandardErrorPPM)
		}

		second := mustDeconvolve(t, v, mic[start+period:])
		e, err = ClockFromRepeats(d.Cut(0, 14400), second.Cut(0, 14400), 48000, float64(period)/48000, 500, 16000)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ppm from repeats", e.PPM, want, 0.002)
	}
}

// Through a loudspeaker one sweep reads the loudspeaker's own delay as a clock, by the same amount whatever the clock: the doc of
// ClockFromDirectSound says so and gives 10 ppm for this one.
func TestClockFromDirectSoundIncludesTheLoudspeaker(t *testing.T) {
	for _, clock := range [][2]int{{}, clock30ppm, clock50ppm} {
		_, v, mic, _, start, _ := clockRig(t, clock)
		d := mustDeconvolve(t, v, mic[start:])
		at, _ := d.Onset(0, 9600)
		e, err := d.ClockFromDirectSound(at, 0.005)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ppm from the direct sound, less the loudspeaker's", e.PPM-ppmIn(clock), -8.7, 0.1)
	}
}

// RelativeClock against resampling, and CorrectClock against both: the response of a sweep recorded by another clock, made
// right, is the response of the first.
func TestRelativeClockAndItsCorrection(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 2, 48000))
	v := mustInverse(t, s.Excitation(), 0.3)
	room := smallRoom(48000, 0.0029, 2)
	x := convolve(append(make([]float64, 480), s.Samples()...), room)
	direct := 480 + 139
	clean := mustDeconvolve(t, v, x).Cut(0, 6000)
	for _, clock := range [][2]int{clock30ppm, {19845, 19844}} {
		y := otherClock(append(x, make([]float64, 4800)...), clock)
		h := mustDeconvolve(t, v, y).Cut(0, 6000)
		var sum float64
		var delayS float64
		for range 2 {
			e, d, err := RelativeClock(gateOf(clean, direct), gateOf(h, direct), 48000, s.RateS, 1000, 16000)
			if err != nil {
				t.Fatal(err)
			}
			sum, delayS = sum+e.PPM, d
			if h, err = CorrectClock(h, 48000, s.RateS, float64(direct), e.PPM); err != nil {
				t.Fatal(err)
			}
		}
		near(t, "ppm", sum, ppmOf(clock), 0.002)
		h = FractionalDelay(h, -delayS*48000)
		for i := direct - 200; i < 5000; i++ {
			// −80 dB: the filter takes out the delay at each frequency, but the ends of the sweep, between the fades, stay where
			// the other clock had them.
			if math.Abs(h[i]-clean[i]) > 1e-4 {
				t.Fatalf("%.1f ppm: lag %d is %v, want %v", ppmOf(clock), i, h[i], clean[i])
			}
		}
	}
}

func TestClockErrorsAreSaid(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 1, 48000))
	v := mustInverse(t, s.Excitation(), 0.1)
	d := mustDeconvolve(t, v, make([]float64, 1000))
	if _, err := d.ClockFromDirectSound(100, 0.005); err == nil {
		t.Error("silence has no clock")
	}
	if _, err := s.ClockFromPilot(make([]float64, 24000), d); err == nil {
		t.Error("this sweep has no pilot")
	}
	a, b := make([]float64, 100), make([]float64, 100)
	a[50], b[51] = 1, 1
	for name, err := range map[string]error{
		"lengths":       second(RelativeClock(a, b[:99], 48000, 0.3, 1000, 10000)),
		"no sweep":      second(RelativeClock(a, b, 48000, 0, 1000, 10000)),
		"no band":       second(RelativeClock(a, b, 48000, 0.3, 1000, 1000)),
		"beyond rate":   second(RelativeClock(a, b, 48000, 0.3, 1000, 30000)),
		"repeats at 0":  first(ClockFromRepeats(a, b, 48000, 0, 1000, 10000)),
		"repeats, none": first(ClockFromRepeats(nil, nil, 48000, 1, 1000, 10000)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	for _, ppm := range []float64{math.NaN(), math.Inf(1), 2e5} {
		if _, err := CorrectClock(a, 48000, 0.3, 50, ppm); err == nil {
			t.Errorf("%v ppm can't be corrected", ppm)
		}
	}
}

func first(_ ClockEstimate, err error) error             { return err }
func second(_ ClockEstimate, _ float64, err error) error { return err }
