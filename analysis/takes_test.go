package analysis

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// syntheticRoom is a room made of pulses at known times: what comes when is exact at any speed of sound.
type syntheticRoom struct {
	arrivalS, gain []float64
}

func (r *syntheticRoom) add(arrivalS, gain float64) {
	r.arrivalS, r.gain = append(r.arrivalS, arrivalS), append(r.gain, gain)
}

// response has every pulse early by the ratio of the speeds; sample 0 is the emission.
func (r *syntheticRoom) response(faster, rate float64, noise float64, seed uint64) response {
	x := make([]float64, int(0.075*rate))
	random := rand.New(rand.NewPCG(seed, 1))
	for i := range x {
		x[i] = noise * random.NormFloat64()
	}
	for k, at := range r.arrivalS {
		at /= faster
		for n := max(0, int((at-0.001)*rate)); n < min(len(x), int((at+0.001)*rate)); n++ {
			u := (float64(n)/rate - at) / 0.00012
			x[n] += r.gain[k] * math.Exp(-u*u) * math.Cos(1.6*u)
		}
	}
	return response{file: fmt.Sprint("take ", seed), samples: x, sampleRateHz: rate}
}

// lateRoom has no echo before the panel's reflection but a reverberation of 300 pulses, 20 dB and more below the direct sound and decaying
// by 60 dB in 0.3 s; with the panel there come its reflection and 100 late pulses of its own, 6 dB below the others.
func lateRoom(direct, panel float64, seed uint64) (empty, with syntheticRoom) {
	random := rand.New(rand.NewPCG(seed, 2))
	decay := func(t float64) float64 { return math.Pow(10, -3*t/0.3) }
	empty.add(direct, 1)
	for range 300 {
		after := 0.010 + 0.055*random.Float64()
		empty.add(direct+after, 0.1*random.NormFloat64()*decay(after))
	}
	with.arrivalS, with.gain = append(with.arrivalS, empty.arrivalS...), append(with.gain, empty.gain...)
	for k := range 6 {
		with.add(panel+0.0003*float64(k), 0.3*random.NormFloat64())
	}
	for range 100 {
		after := 0.010 + 0.055*random.Float64()
		with.add(direct+after, 0.05*random.NormFloat64()*decay(after))
	}
	return empty, with
}

func lateSurvey(positions int) *Survey {
	s := &Survey{SourceM: [3]float64{0, 2, 0}, Panel: Panel{DepthsM: []float64{0, 0.1, 0.05}, WellWidthM: 0.05, FinThicknessM: 0.005, HeightM: 0.5, BackM: 0.005}}
	for i := range positions {
		angle := (-60 + 120*float64(i)/float64(positions-1)) * math.Pi / 180
		s.Positions = append(s.Positions, SurveyPosition{Name: fmt.Sprint(i), MicM: [3]float64{math.Sin(angle), math.Cos(angle), 0}})
	}
	return s
}

// Where no echo comes before the panel's reflection, the reverberation long after it tells the drift; the panel's reflection itself, which has none of the
// room's drift here, has no say, and without a drift none is found.
func TestDriftFromTheLatePart(t *testing.T) {
	const rate, speed = 48000.0, 343.2
	for _, faster := range []float64{1, 1.0017, 0.9966} {
		s := lateSurvey(9)
		air := Air{SpeedOfSoundMS: speed, TemperatureC: 20}
		a := &alignment{survey: s, air: air, scale: map[string]float64{"empty": 1, "flat": 1, "panel": 1}}
		var all []int
		for i, p := range s.Positions {
			way := newPaths(&s.Panel, s.SourceM, p.MicM)
			empty, with := lateRoom(way.direct/speed, way.middle/speed, uint64(i))
			a.takes = append(a.takes, map[string][]response{
				"empty": {empty.response(1, rate, 1e-4, uint64(2*i))},
				"panel": {with.response(faster, rate, 1e-4, uint64(2*i+1))},
			})
			all = append(all, i)
		}
		if err := a.run(context.Background(), all); err != nil {
			t.Fatal(err)
		}
		if len(a.drift) != 1 || a.drift[0].State != "panel" {
			t.Fatalf("drift: %+v", a.drift)
		}
		d := a.drift[0]
		t.Logf("%+v", d)
		// The panel's late pulses are half as strong as the others: with some 100 independent values at each of 9 positions, late by 30 ms at 2 kHz.
		near(t, "speed, ppm", float64(d.SpeedPPM), 1e6*(faster-1), 50, "0.03 °C")
		if want := faster != 1; d.Corrected != want {
			t.Errorf("faster by %v: corrected %v", faster, d.Corrected)
		}
		// Put right, the subtraction leaves the panel's own.
		if faster != 1 {
			near(t, "the empty room is brought to the panel's air", a.scale["empty"], 1/(1+float64(d.SpeedPPM)*1e-6), 1e-12, "the same numbers")
		}
	}
}

// The direct sound's window ends before any reflection of the panel, and what stands behind it plays no part in aligning.
func TestAlignmentIgnoresTheReflection(t *testing.T) {
	const rate, speed = 48000.0, 343.2
	s := lateSurvey(5)
	p := &s.Positions[1]
	way := newPaths(&s.Panel, s.SourceM, p.MicM)
	window := directWindow(way.direct/speed, way, speed)
	atMost(t, "end of the direct sound's window", window.ClosedS, way.earliest/speed-preringS, "so that a band-limited reflection is not heard in it")
	var empty, with syntheticRoom
	empty.add(way.direct/speed, 1)
	with.add(way.direct/speed, 1)
	with.add(way.earliest/speed+0.0006, -1.5) // even one that is louder than the direct sound
	m, err := alignPosition(s, p, map[string][]response{"empty": {empty.response(1, rate, 0, 1)}, "panel": {with.response(1, rate, 0, 2)}}, speed, map[string]float64{"empty": 1, "panel": 1}, true)
	if err != nil {
		t.Fatal(err)
	}
	a := m.alignment[1]
	near(t, "delay", float64(a.DelayS), 0, 1e-12, "there is none")
	near(t, "gain", float64(a.GainDB), 0, 1e-9, "there is none")
	if a.ShapedDB != 0 {
		t.Errorf("shaped by %v dB", a.ShapedDB)
	}
}

// A gain that depends on frequency is put right from the direct sound; noise alone gives no reason to.
func TestShapeFollowsTheDirectSoundNotTheNoise(t *testing.T) {
	const rate, speed = 48000.0, 343.2
	s := lateSurvey(5)
	p := &s.Positions[2] // on the axis: 5.8 ms before the panel's reflection
	way := newPaths(&s.Panel, s.SourceM, p.MicM)
	var empty, with syntheticRoom
	empty.add(way.direct/speed, 1)
	with.add(way.direct/speed, 1)
	with.add(way.middle/speed, 0.3)
	scale := map[string]float64{"empty": 1, "panel": 1}
	// A tilt of some dB: the loudspeaker's tweeter has cooled down, or the microphone was turned.
	tilted := with.response(1, rate, 1e-4, 2)
	x := tilted.samples
	for i := len(x) - 1; i > 3; i-- {
		x[i] = 0.9*x[i] + 0.1*x[i-3]
	}
	m, err := alignPosition(s, p, map[string][]response{"empty": {empty.response(1, rate, 1e-4, 1)}, "panel": {tilted}}, speed, scale, true)
	if err != nil {
		t.Fatal(err)
	}
	shaped := m.alignment[1]
	m, err = alignPosition(s, p, map[string][]response{"empty": {empty.response(1, rate, 1e-4, 1)}, "panel": {tilted}}, speed, scale, false)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("shaped by up to %.2f dB: residual %.1f dB, without %.1f dB", shaped.ShapedDB, shaped.ResidualAfter, m.alignment[1].ResidualAfter)
	if !(shaped.ShapedDB > 0.3) || !(shaped.ResidualAfter < m.alignment[1].ResidualAfter-10) {
		t.Errorf("not shaped: %+v", shaped)
	}
	for seed := uint64(10); seed < 40; seed++ {
		m, err := alignPosition(s, p, map[string][]response{"empty": {empty.response(1, rate, 1e-2, seed)}, "panel": {with.response(1, rate, 1e-2, seed+100)}}, speed, scale, true)
		if err != nil {
			t.Fatal(err)
		}
		if a := m.alignment[1]; a.ShapedDB != 0 {
			t.Errorf("seed %d: shaped by %v dB where there is only noise: %+v", seed, a.ShapedDB, a)
		}
	}
}

// A cut with faded edges gives the same shift as the whole.
func TestNeighbourhood(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, 20000)
	for i := range x {
		x[i] = random.NormFloat64()
	}
	whole := dsp.FractionalDelay(x, 0.37)
	cut, at := neighbourhood(x, 9000, 200)
	part := dsp.FractionalDelay(cut, 0.37)
	for i := range 200 {
		// White noise is the worst case: neighbours 1500 samples away and more, at 1/(π·1500) each, alternate.
		near(t, "shifted", part[at+i], whole[9000+i], 0.03, "what is cut off")
	}
}
