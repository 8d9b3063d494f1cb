package dsp

import (
	"io"
	"math"
	"testing"
)

// memoryReader hands out samples in memory, in uneven blocks.
type memoryReader struct {
	channels [][]float64
	at       int
}

func (r *memoryReader) ReadFrames(dst [][]float64) (int, error) {
	n := 0
	for c := range dst {
		if dst[c] != nil {
			n = copy(dst[c][:min(len(dst[c]), 30011)], r.channels[c][r.at:])
		}
	}
	if r.at += n; n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

var _ FrameReader = (*WAVStream)(nil) // what the command reads with

func recordingOf(s *Sweep, channels ...[]float64) RecordingSpec {
	return RecordingSpec{
		Open:     func() (FrameReader, error) { return &memoryReader{channels: channels}, nil },
		Channels: len(channels), SampleRateHz: s.SampleRateHz, Sweep: s,
		BeforeS: 0.002, ResponseS: 0.05, Bands: []Band{thirdOctave(7), thirdOctave(10), thirdOctave(13), thirdOctave(16)},
	}
}

func mustMeasure(t *testing.T, spec RecordingSpec) *MeasuredRecording {
	t.Helper()
	m, err := MeasureRecording(spec)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func responseOf(t *testing.T, m *MeasuredRecording, take, index int) *Response {
	t.Helper()
	if len(m.Takes) <= take || len(m.Takes[take].Responses) <= index {
		t.Fatalf("no response %d of take %d: %+v", index, take, m.Faults)
	}
	return &m.Takes[take].Responses[index]
}

// truth is what a perfect measurement gives: loudspeaker and room, through the documented pass band, from startS on.
func truth(t *testing.T, s *Sweep, r testRig, startS float64, count int) []float64 {
	t.Helper()
	rate := s.SampleRateHz
	h := r.room
	if r.speaker {
		h = loudspeaker(append(append([]float64(nil), h...), make([]float64, int(0.1*rate))...), rate)
	}
	v := mustInverse(t, s.Excitation(), 0.1)
	n := SmoothLength(2*len(h) + int(rate))
	H := RealSpectrum(h, n)
	for k := range H {
		H[k] *= complex(v.PassBand(float64(k)*rate/float64(n)), 0)
	}
	lead := 4096
	padded := append(make([]float64, lead), RealSignal(H, n)...)
	copy(padded, RealSignal(H, n)[n-lead:])
	whole := math.Floor(startS * rate)
	return FractionalDelay(padded, whole-startS*rate)[lead+int(whole):][:count]
}

// The chain of issue and test bench in one: loudspeaker with high-pass and ripples, third-order distortion at −40 dB, noise 45 dB
// below the sweep, 24 bits, unknown start, clocks 30 ppm apart. With a loopback channel the response must be the true one, in time
// and in level, but for the noise that the measurement itself foretells.
func TestChainAgainstTheTruth(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 2, 48000))
	for _, clock := range [][2]int{{0, 0}, clock30ppm} {
		rig := testRig{sweep: s, room: smallRoom(48000, 0.0029, 1), speaker: true, thirdDB: -40, snrDB: 45, clock: clock, startS: 0.3137, endS: 0.3, hiss: 4, bits: 24}
		mic, loopback := rig.record()
		spec := recordingOf(s, mic, loopback)
		spec.LoopbackChannel, spec.ResponseS = 2, 0.25
		m := mustMeasure(t, spec)
		if len(m.Faults) != 0 {
			t.Errorf("a good recording has no faults: %+v", m.Faults)
		}
		r := responseOf(t, m, 0, 0)
		near(t, "start of the sweep in the file, s", m.Takes[0].StartS, 1.3137, 1e-4) // to the sample, and 30 ppm of it
		want := truth(t, s, rig, r.StartS, len(r.Samples))
		residual := make([]float64, len(want))
		for i := range want {
			residual[i] = r.Samples[i] - want[i]
		}
		// The noise in a third octave of 231 Hz and a quarter of a second scatters by 13 %, its estimate by less: three times
		// that is 1.7 dB. A fault of the chain as large as the noise, 49 dB and more below the response, would show as 3 dB.
		for _, k := range []int{10, 13, 16, 19} {
			band := thirdOctave(k)
			noise := r.Noise.Density(band) * float64(len(want))
			near(t, "residual re the noise, dB", 10*math.Log10(bandPower(residual, 48000, band)/noise), 0, 1.7)
			if snr := r.Noise.SNRdB(want, band); snr < 45 {
				t.Errorf("signal-to-noise of the truth at %v Hz: %v dB", band.CentreHz, snr)
			}
		}
		// Third-order distortion as put in: −40 dB of the sweep, through loudspeaker and room at three times the frequency.
		for _, l := range r.Harmonics {
			switch {
			case l.Order == 3:
				expected := -40 + 10*math.Log10(bandPower(want, 48000, l.Band.times(3))/bandPower(want, 48000, l.Band))
				near(t, "third order, dB", l.LevelDB, expected, 0.5) // responses are cut at different lengths
			case !math.IsNaN(l.LevelDB) && l.LevelDB > l.FloorDB+3:
				t.Errorf("order %d at %v Hz: %v dB where nothing was put in", l.Order, l.Band.CentreHz, l.LevelDB)
			}
		}
	}
}

// gateOf cuts the direct sound, near a sample, out of a response, before the first reflection of smallRoom.
func gateOf(h []float64, direct int) []float64 {
	g := append([]float64(nil), h[direct-80:direct+240]...)
	for i := range 60 {
		g[i] *= halfHann(i, 60)
		g[len(g)-1-i] *= halfHann(i, 60)
	}
	return g
}

// The cost of a clock error in the subtraction of two recordings: the residual that clock and correction leave, without noise, must
// stay so far below the residual of the noise that both together are less than 0.5 dB above the noise alone: 9.1 dB below.
func TestClockErrorsCostLittleInASubtraction(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 2, 48000))
	measure := func(clock [2]int, snrDB float64, seed uint64, loopback bool) *Response {
		rig := testRig{sweep: s, room: smallRoom(48000, 0.0029, 1), speaker: true, thirdDB: -40, snrDB: snrDB, clock: clock, startS: 0.3137 + 0.011*float64(seed), endS: 0.2, hiss: seed, bits: 24}
		mic, played := rig.record()
		spec := recordingOf(s, mic)
		if loopback {
			spec = recordingOf(s, mic, played)
			spec.LoopbackChannel = 2
		}
		return responseOf(t, mustMeasure(t, spec), 0, 0)
	}
	// residualDB aligns two responses, once or also in their clocks, and compares what differs with the reference, over 15 ms.
	residualDB := func(reference, r *Response, clockToo bool) float64 {
		n := min(len(reference.Samples), len(r.Samples))
		x := r.Samples[:n]
		direct := int(math.Round((reference.DirectS - reference.StartS) * 48000))
		compare := func() (ClockEstimate, float64) {
			e, delayS, err := RelativeClock(gateOf(reference.Samples, direct), gateOf(x, direct), 48000, s.RateS, 1000, 16000)
			if err != nil {
				t.Fatal(err)
			}
			return e, delayS
		}
		if clockToo {
			for range 2 { // the second time for the last hundredth of a ppm
				e, _ := compare()
				var err error
				if x, err = CorrectClock(x, 48000, s.RateS, float64(direct), e.PPM); err != nil {
					t.Fatal(err)
				}
			}
		}
		_, delayS := compare()
		x = FractionalDelay(x, -delayS*48000)
		from := direct + 48
		difference := make([]float64, 15*48)
		for i := range difference {
			difference[i] = x[from+i] - reference.Samples[from+i]
		}
		return dB(rootMeanSquare(difference) / rootMeanSquare(reference.Samples[from:from+len(difference)]))
	}
	for _, loopback := range []bool{true, false} {
		noise := residualDB(measure([2]int{}, 45, 1, loopback), measure([2]int{}, 45, 2, loopback), false)
		clean := measure([2]int{}, 0, 1, loopback)
		for _, clock := range [][2]int{clock30ppm, clock50ppm} {
			off := measure(clock, 0, 2, loopback)
			alone := residualDB(clean, off, true)
			t.Logf("loopback %v, %.1f ppm: residual of the noise %.1f dB, of the clock %.1f dB, cost %.3f dB", loopback, ppmOf(clock), noise, alone, 10*math.Log10(1+math.Pow(10, (alone-noise)/10)))
			if alone > noise-9.1 {
				t.Errorf("loopback %v, %.1f ppm: the clock leaves %.1f dB where the noise leaves %.1f", loopback, ppmOf(clock), alone, noise)
			}
			if uncorrected := residualDB(clean, off, false); !loopback && uncorrected < noise+10 {
				t.Errorf("this test shows nothing: without correction the clock leaves only %.1f dB", uncorrected)
			}
		}
	}
}
