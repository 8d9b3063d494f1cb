package analysis

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/leadline/leadline/dsp"
	"github.com/leadline/leadline/fixtures/recorder"
)

// session is a measurement session in which the virtual bench is recorded with sweeps.
type session struct {
	bench   string // survey of the bench
	every   int    // every how many positions
	seconds float64
	chain   recorder.Chain // what all recordings have in common
	state   map[string]recorder.Chain
	air     string // the survey's [air]
	sweep   string // further keys of [sweep]
	repeats int    // sweeps in a recording; 0 for one
	nothing bool   // flat board and panel are not there
}

// Temperatures of the states, in degrees; the bench's own air, 343.2 m/s, is that of 20 °C.
var sessionC = map[string]float64{"empty": 20, "flat": 21, "panel": 19}

// badDay is the list: loudspeaker, distortion, noise, rounding, an unknown start, level steps, temperatures and clocks.
func badDay() session {
	s := session{bench: "room-a-panel-as-designed", every: 4, seconds: 1, air: "speed_of_sound_m_s = 343.2",
		chain: recorder.Chain{Loudspeaker: true, ThirdDB: -40, SNRdB: 45, Bits: 24, ClockPPM: 30, EndS: 0.1}, state: map[string]recorder.Chain{}}
	for state, gainDB := range map[string]float64{"empty": 0, "flat": 1, "panel": -1} {
		c := s.chain
		c.GainDB, c.SpeedRatio = gainDB, SpeedOfSoundISO9613(sessionC[state])/343.2
		s.state[state] = c
	}
	return s
}

// clean returns the bench's own survey, with the positions of the session.
func (s session) clean(t *testing.T) *Survey {
	t.Helper()
	survey, err := LoadSurvey(filepath.Join("..", "fixtures", "virtual-bench", s.bench+".toml"))
	if err != nil {
		t.Fatal(err)
	}
	var kept []SurveyPosition
	for i, p := range survey.Positions {
		if i%s.every == 0 {
			kept = append(kept, p)
		}
	}
	survey.Positions = kept
	return survey
}

// record writes the session's recordings and survey, and reads the survey.
func (s session) record(t *testing.T) *Survey {
	t.Helper()
	clean, dir := s.clean(t), t.TempDir()
	spec := dsp.SuggestSweep(50, 20000, s.seconds, 48000)
	spec.SilenceBeforeS, spec.SilenceAfterS, spec.Repeats = 0.5, 0.3, max(1, s.repeats)
	sweep, err := dsp.NewSweep(spec)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "[air]\n%s\n[panel]\ndepths_m = [%s]\nwell_width_m = %g\nfin_thickness_m = %g\nheight_m = %g\ncap_m = %g\nback_m = %g\n",
		s.air, strings.Trim(strings.Join(strings.Fields(fmt.Sprint(clean.Panel.DepthsM)), ", "), "[]"),
		clean.Panel.WellWidthM, clean.Panel.FinThicknessM, clean.Panel.HeightM, clean.Panel.CapM, clean.Panel.BackM)
	fmt.Fprintf(&b, "[source]\nposition_m = [0.0, 2.0, 0.0]\n")
	for _, r := range clean.Room {
		fmt.Fprintf(&b, "[room]\n%s_m = %g\n", r.Name, r.PlaceM)
	}
	fmt.Fprintf(&b, "[sweep]\nlow_hz = 50\nhigh_hz = 20000\nseconds = %g\n%s\n", s.seconds, s.sweep)
	errs := make([]error, len(clean.Positions))
	lines := make([]string, len(clean.Positions))
	parallel(0, len(clean.Positions), func(i int) {
		p := clean.Positions[i]
		lines[i] = fmt.Sprintf("[[position]]\nname = %q\nmic_m = [%g, %g, %g]\n", p.Name, p.MicM[0], p.MicM[1], p.MicM[2])
		for k, state := range p.states() {
			chain := s.state[state.name]
			chain.Sweep, chain.Seed = sweep, uint64(10*i+k)
			chain.StartS = 0.05 + 0.0137*float64((7*i+3*k)%11)
			response := state.files[0]
			if s.nothing {
				response = p.Empty[0]
			}
			audio, err := dsp.ReadWAVChannel(response, 1)
			if err != nil {
				errs[i] = err
				return
			}
			h := audio.Channels[0]
			for n := range 48 { // the bench stops after 13.9 ms
				h[len(h)-1-n] *= float64(n) / 48
			}
			mic, loopback := chain.Record(h)
			channels := [][]float64{mic}
			if strings.Contains(s.sweep, "loopback_channel") {
				channels = append(channels, loopback)
			}
			name := fmt.Sprintf("%s-%s.wav", state.name, p.Name)
			lines[i] += fmt.Sprintf("%s = %q\n", state.name, name)
			if err := dsp.WriteWAVFile(filepath.Join(dir, name), &dsp.Audio{SampleRateHz: 48000, Channels: channels}, dsp.WAVFormat{SampleRateHz: 48000, BitsPerSample: 24}); err != nil {
				errs[i] = err
			}
		}
	})
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "survey.toml")
	if err := os.WriteFile(path, []byte(b.String()+strings.Join(lines, "")), 0o644); err != nil {
		t.Fatal(err)
	}
	survey, err := LoadSurvey(path)
	if err != nil {
		t.Fatal(err)
	}
	return survey
}

// measured is the part of a check that measures: everything but the prediction.
func measured(t *testing.T, s *Survey) *run {
	t.Helper()
	r, err := newRun(s, Options{BandsPerOctave: 3}, "check")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.measure(context.Background()); err != nil {
		t.Fatal(err)
	}
	r.chooseRange()
	r.transferFunctions()
	return r
}

// bandLevels are the reflected energies of the positions, and their diffusion coefficient.
func (r *run) bandLevels(transfer [][]complex128, b *Band) (energies []float64, diffusion float64) {
	for _, x := range transfer {
		energies = append(energies, r.energy(x, b))
	}
	return energies, float64(DiffusionCoefficient(energies))
}

// compareWithClean holds what recordings give against what the clean responses give. The limits are those the project set itself: a diffusion
// coefficient within 0.03, reflected levels within 0.5 dB rms, each band from 1.25 to 4 kHz. The log is the README's table.
func compareWithClean(t *testing.T, s session) *run {
	t.Helper()
	want, got := measured(t, s.clean(t)), measured(t, s.record(t))
	for _, d := range got.result.Drift {
		t.Logf("%s: sound faster by %.0f ± %.0f ppm (%.2f °C), corrected %v; echoes' residual %.1f dB before, %.1f dB after",
			d.State, d.SpeedPPM, d.StandardErrorPPM, d.WarmerC, d.Corrected, d.ResidualBefore, d.ResidualAfter)
	}
	for _, w := range got.result.Warnings {
		switch w.Code {
		case "temperature", "level", "air":
		default:
			t.Errorf("unexpected: %v", w)
		}
	}
	t.Logf("| band | diffusion, clean | from recordings | difference | level, dB rms | at most | flat board: clean | from recordings | level, dB rms |")
	for i := range want.result.Bands {
		b := &want.result.Bands[i]
		if b.CentreHz < 1200 || b.CentreHz > 4100 {
			continue
		}
		if !got.result.Bands[i].Usable {
			t.Errorf("%.0f Hz is not usable: %s", b.CentreHz, got.result.Bands[i].Why)
			continue
		}
		line := fmt.Sprintf("| %.0f Hz |", b.CentreHz)
		for _, state := range []struct {
			name      string
			want, got [][]complex128
		}{{"panel", want.panel, got.panel}, {"flat board", want.flat, got.flat}} {
			we, wd := want.bandLevels(state.want, b)
			ge, gd := got.bandLevels(state.got, b)
			squares, worst := 0.0, 0.0
			for k := range we {
				db := 10 * math.Log10(ge[k]/we[k])
				squares += db * db / float64(len(we))
				worst = max(worst, math.Abs(db))
			}
			if state.name == "panel" {
				line += fmt.Sprintf(" %.3f | %.3f | %+.3f | %.2f | %.2f |", wd, gd, gd-wd, math.Sqrt(squares), worst)
			} else {
				line += fmt.Sprintf(" %.3f | %.3f | %.2f |", wd, gd, math.Sqrt(squares))
			}
			near(t, fmt.Sprintf("%s, diffusion at %.0f Hz", state.name, b.CentreHz), gd, wd, 0.03, "limit set for recordings of the virtual bench")
			atMost(t, fmt.Sprintf("%s, level at %.0f Hz", state.name, b.CentreHz), math.Sqrt(squares), 0.5, "limit set for recordings of the virtual bench")
		}
		t.Log(line)
	}
	return got
}

func driftOf(t *testing.T, r *run, state string) Drift {
	t.Helper()
	for _, d := range r.result.Drift {
		if d.State == state {
			return d
		}
	}
	t.Fatalf("no drift of %s", state)
	return Drift{}
}

// The temperatures are not in the survey: they must be found. 0.1 °C is 0.5 µs over the 3 m from source to panel to microphone: −35 dB at 5 kHz.
func TestRecordingsOfABadDay(t *testing.T) {
	r := compareWithClean(t, badDay())
	for _, state := range []string{"flat", "panel"} {
		d := driftOf(t, r, state)
		near(t, state+", degrees warmer than the empty room", float64(d.WarmerC), sessionC[state]-sessionC["empty"], 0.1, "see above")
		if !d.Corrected || d.Text == "" {
			t.Errorf("%s: not corrected: %+v", state, d)
		}
	}
	for _, m := range r.positions {
		for _, a := range m.alignment {
			if a.State == "empty" {
				continue
			}
			near(t, a.File+": level", float64(a.GainDB), map[string]float64{"flat": 1, "panel": -1}[a.State], 0.02, "0.02 dB is −53 dB of residual, as the noise leaves")
			atMost(t, a.File+": residual after", float64(a.ResidualAfter), -50, "45 dB of noise before the division leave less")
			if !(a.ResidualBefore > a.ResidualAfter) {
				t.Errorf("%s: residual %v before, %v after", a.File, a.ResidualBefore, a.ResidualAfter)
			}
		}
	}
	if n := len(r.result.Recordings.Files); n != 27 {
		t.Errorf("%d recordings, want 27", n)
	}
}

// All 33 positions, in both rooms; with the temperatures in the survey there is nothing left to find.
func TestRecordingsOfABadDayAtAllPositions(t *testing.T) {
	if testing.Short() {
		t.Skip("99 recordings a room")
	}
	s := badDay()
	s.every, s.seconds = 1, 2
	t.Run("room-a, temperatures unknown", func(t *testing.T) { compareWithClean(t, s) })
	s.bench = "room-b-panel-built-1"
	s.air = fmt.Sprintf("empty_c = %g\nflat_c = %g\npanel_c = %g", sessionC["empty"], sessionC["flat"], sessionC["panel"])
	t.Run("room-b, temperatures given", func(t *testing.T) {
		r := compareWithClean(t, s)
		for _, state := range []string{"flat", "panel"} {
			near(t, state+", degrees beyond what is stated", float64(driftOf(t, r, state).WarmerC), 0, 0.1, "as where nothing is stated")
		}
	})
}

// Where the panel is absent in all three states, what is left after subtraction is noise. Clocks that differ by 50 ppm between the states may raise
// it by 0.5 dB, the project's limit, and the noise itself must be what the silence before the sweeps foretold.
func TestClockBetweenStatesLeavesTheNoise(t *testing.T) {
	// left is the mean power of the differences between 1 and 5 kHz in the 12 ms that hold direct sound and echoes, and later, and the power foretold.
	left := func(ppm float64) (early, late, foretold float64) {
		s := badDay()
		s.every, s.nothing = 8, true
		for state, clock := range map[string]float64{"empty": 0, "flat": -ppm, "panel": ppm} {
			c := s.chain
			c.ClockPPM = clock
			s.state[state] = c
		}
		r := measured(t, s.record(t))
		band := dsp.Band{LowHz: 1000, HighHz: 5000}
		power := func(m *measuredPosition, x []float64, fromS, toS float64) float64 {
			first, last := int((m.directS+fromS-m.startS)*m.sampleRateHz), int((m.directS+toS-m.startS)*m.sampleRateHz)
			n := dsp.SmoothLength(8 * (last - first))
			return dsp.BandEnergy(dsp.RealSpectrum(x[first:last], n), m.sampleRateHz/float64(n), band) / 4000 / float64(last-first)
		}
		for _, m := range r.positions {
			for _, x := range slices.Concat(m.panel, m.flat) {
				early += power(m, x, -0.001, 0.011)
				late += power(m, x, 0.015, 0.050)
				foretold += 2 * m.noiseDensity(band.LowHz, band.HighHz)
			}
		}
		return 10 * math.Log10(early), 10 * math.Log10(late), 10 * math.Log10(foretold)
	}
	early, late, foretold := left(0)
	// Ten differences with 2·4000 Hz·35 ms values each scatter by 0.1 dB; the half a second of silence says as much to 0.1 dB.
	near(t, "noise left, dB, re what the silence foretold", late, foretold, 0.4, "three times the scatter")
	drifting, _, _ := left(50)
	t.Logf("difference of two recordings with nothing between them: %.1f dB of noise foretold, %.1f dB left; clocks 50 ppm apart cost %.2f dB", foretold, late, drifting-early)
	atMost(t, "cost of clocks 50 ppm apart, dB", drifting-early, 0.5, "the project's limit")
}

// A recording's faults reach the survey's warnings, with file, time and cure, and spoilt sweeps are left out where the file holds others.
func TestFaultsOfRecordingsInWords(t *testing.T) {
	s := badDay()
	s.every = 32
	s.sweep = "loopback_channel = 2"
	s.repeats = 3
	survey := s.record(t)
	file := survey.Positions[0].Panel[0]
	audio, err := dsp.ReadWAV(file)
	if err != nil {
		t.Fatal(err)
	}
	x := audio.Channels[0]
	clear(x[48000*12/10 : 48000*12/10+480]) // a dropout in the first sweep
	if err := dsp.WriteWAVFile(file, audio, dsp.WAVFormat{SampleRateHz: 48000, BitsPerSample: 24}); err != nil {
		t.Fatal(err)
	}
	all, err := ReadRecordings(context.Background(), survey, ResponseS, nil)
	if err != nil {
		t.Fatal(err)
	}
	var spoilt *RecordedFile
	for i, f := range all.Files {
		if len(f.Sweeps) != 3 {
			t.Errorf("%s: %d sweeps, want 3", f.File, len(f.Sweeps))
		}
		if f.File == file {
			spoilt = &all.Files[i]
		} else if len(f.Faults) > 0 {
			t.Errorf("%s: %v", f.File, f.Faults)
		}
	}
	if left := []bool{spoilt.Sweeps[0].Left, spoilt.Sweeps[1].Left, spoilt.Sweeps[2].Left}; !left[0] || left[1] || left[2] {
		t.Errorf("left out: %v, want the first", left)
	}
	text := fmt.Sprint(all.Warnings())
	for _, want := range []string{file, "at 1.2", "no signal", "left out", "audio buffer"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in %s", want, text)
		}
	}
	if n := len(all.takes(survey)[0]["panel"]); n != 2 {
		t.Errorf("%d takes of the panel, want 2", n)
	}
}

// Reversed recordings are turned round where others are not reversed, whatever the loudspeaker's pulse looks like.
func TestPolarity(t *testing.T) {
	up := make([]float64, 400)
	for i, v := range []float64{0.1, 0.4, 1, -0.7, -0.5, -0.2} {
		up[100+i] = v
	}
	down := make([]float64, 400)
	for i, v := range up[:390] {
		down[i+7] = -0.8 * v
	}
	fault := []Warning{{dsp.FaultPolarity, "", "reversed."}}
	session := func(reversed []bool, samples ...[]float64) *MeasuredRecordings {
		m := &MeasuredRecordings{}
		for i, x := range samples {
			f := RecordedFile{}
			if reversed[i] {
				f.Faults = slices.Clone(fault)
			}
			m.Files = append(m.Files, f)
			m.responses = append(m.responses, []response{{samples: slices.Clone(x), sampleRateHz: 48000}})
		}
		m.putPolarityRight()
		return m
	}
	all := session([]bool{false, true, true}, up, down, up)
	for i, want := range []float64{1, 0.8, 1} {
		x, _ := all.Response(i, 0)
		if got := slices.Max(x); got != want {
			t.Errorf("file %d: highest sample %v, want %v", i, got, want)
		}
		if turned := strings.Contains(fmt.Sprint(all.Files[i].Faults), "turned round"); turned != (i == 1) {
			t.Errorf("file %d: turned round %v", i, turned)
		}
	}
	if x, _ := session([]bool{true, true}, down, down).Response(0, 0); slices.Min(x) != -0.8 {
		t.Error("where all are reversed, none is turned")
	}
}

// What was played may be given as a file, at another rate, with repeats; the three numbers, and a pilot.
func TestPlayedSignal(t *testing.T) {
	spec := dsp.SuggestSweep(100, 15000, 0.6, 96000)
	spec.Repeats = 3
	s, err := dsp.NewSweep(spec)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "sweep.wav")
	if err := dsp.WriteWAVFile(path, &dsp.Audio{SampleRateHz: 96000, Channels: [][]float64{s.Playback()}}, dsp.WAVFormat{SampleRateHz: 96000, BitsPerSample: 24}); err != nil {
		t.Fatal(err)
	}
	p, err := readPlayed(&Sweep{File: path})
	if err != nil {
		t.Fatal(err)
	}
	starts := s.StartsSamples()
	near(t, "period", p.periodS, float64(starts[1]-starts[0])/96000, 1e-6, "a tenth of a sample")
	_, e, err := p.at(48000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", e.SampleRateHz, 48000, 0, "exact")
	near(t, "L", e.RateS, s.RateS, 1e-5*s.RateS, "24 bits and the fades")
	p, err = readPlayed(&Sweep{LowHz: 100, HighHz: 15000, Seconds: 0.6, Pilot: true, PeriodS: 4})
	if err != nil {
		t.Fatal(err)
	}
	sweep, _, err := p.at(48000)
	if err != nil || !sweep.Pilot || sweep.Plain || p.periodS != 4 {
		t.Errorf("%+v, %v", sweep, err)
	}
	if _, _, err := p.at(22050); err == nil || !strings.Contains(err.Error(), "below half the sample rate") {
		t.Errorf("a rate too low: %v", err)
	}
}
