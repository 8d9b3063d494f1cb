package analysis

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// spoilt is a survey of the virtual bench whose files and figures a case spoils.
type spoilt struct {
	t      *testing.T
	survey *Survey
	dir    string
	count  int
}

func newSpoilt(t *testing.T, bench string, flat bool, keep func(float64) bool) *spoilt {
	t.Helper()
	s := &spoilt{t: t, survey: newBenchRig(t, bench, flat, keep).survey, dir: t.TempDir()}
	for i := range s.survey.Positions {
		p := &s.survey.Positions[i]
		p.Empty, p.Flat, p.Panel = slices.Clone(p.Empty), slices.Clone(p.Flat), slices.Clone(p.Panel)
	}
	return s
}

func (s *spoilt) at(name string) *SurveyPosition {
	for i := range s.survey.Positions {
		if s.survey.Positions[i].Name == name {
			return &s.survey.Positions[i]
		}
	}
	s.t.Fatalf("no position %s", name)
	return nil
}

func (s *spoilt) positions(change func(p *SurveyPosition)) {
	for i := range s.survey.Positions {
		change(&s.survey.Positions[i])
	}
}

// rewrite puts a changed copy in a file's place.
func (s *spoilt) rewrite(file *string, change func(a *dsp.Audio)) {
	s.t.Helper()
	a, err := dsp.ReadWAV(*file)
	if err != nil {
		s.t.Fatal(err)
	}
	change(a)
	s.count++
	path := filepath.Join(s.dir, fmt.Sprintf("%d-%s", s.count, filepath.Base(*file)))
	if err := dsp.WriteWAVFile(path, a, dsp.WAVFormat{SampleRateHz: a.SampleRateHz, BitsPerSample: 32, Float: true}); err != nil {
		s.t.Fatal(err)
	}
	*file = path
}

// poison puts bits into the last sample of a position's panel take, which no writer of ours would.
func (s *spoilt) poison(name string, bits uint32) {
	file := &s.at(name).Panel[0]
	s.rewrite(file, func(*dsp.Audio) {})
	data, err := os.ReadFile(*file)
	if err != nil {
		s.t.Fatal(err)
	}
	binary.LittleEndian.PutUint32(data[len(data)-4:], bits)
	if err := os.WriteFile(*file, data, 0o644); err != nil {
		s.t.Fatal(err)
	}
}

// files rewrites every file of a position.
func (s *spoilt) files(p *SurveyPosition, change func(a *dsp.Audio)) {
	for _, list := range [][]string{p.Empty, p.Flat, p.Panel} {
		for n := range list {
			s.rewrite(&list[n], change)
		}
	}
}

// moveReflection delays what the panel adds to the empty room, as a panel does that stands further back.
func (s *spoilt) moveReflection(p *SurveyPosition, pathM float64) {
	empty, err := dsp.ReadWAV(p.Empty[0])
	if err != nil {
		s.t.Fatal(err)
	}
	s.rewrite(&p.Panel[0], func(a *dsp.Audio) {
		x := a.Channels[0]
		for i, v := range empty.Channels[0] {
			x[i] -= v
		}
		x = dsp.FractionalDelay(x, pathM/343.2*float64(a.SampleRateHz))
		for i, v := range empty.Channels[0] {
			x[i] += v
		}
		a.Channels[0] = x
	})
}

func addOffset(a *dsp.Audio) {
	x := a.Channels[0]
	offset := 0.1 * slices.Max(x)
	for i := range x {
		x[i] += offset
	}
}

func exchange(a, b *SurveyPosition) {
	a.Empty, a.Flat, a.Panel, b.Empty, b.Flat, b.Panel = b.Empty, b.Flat, b.Panel, a.Empty, a.Flat, a.Panel
}

// badData are the usual ways in which a session goes wrong, made from the virtual bench: what the check must say of each. An empty code stands for an error
// (exit 2), other codes for a warning beside an undecided verdict (exit 3).
var badData = []struct {
	name  string
	code  string
	where string
	says  []string // in the warning or error
	spoil func(s *spoilt)
}{
	{"a sample that is not a number", "", "", []string{"NaN"}, func(s *spoilt) {
		s.poison("arc+20", math.Float32bits(float32(math.NaN())))
	}},
	{"an infinite sample", "", "", []string{"Inf"}, func(s *spoilt) {
		s.poison("arc+20", math.Float32bits(float32(math.Inf(-1))))
	}},
	{"silence", "", "", []string{"silent"}, func(s *spoilt) {
		s.rewrite(&s.at("arc+20").Panel[0], func(a *dsp.Audio) { clear(a.Channels[0]) })
	}},
	{"the dead one of two channels", "", "", []string{"silent"}, func(s *spoilt) {
		p := s.at("arc+20")
		s.files(p, func(a *dsp.Audio) { a.Channels = append(a.Channels, make([]float64, len(a.Channels[0]))) })
		p.Channel = 2
	}},
	{"noise alone in one take", "take", "arc+20", []string{"no direct sound"}, func(s *spoilt) {
		random := rand.New(rand.NewPCG(1, 1))
		s.rewrite(&s.at("arc+20").Panel[0], func(a *dsp.Audio) {
			for i := range a.Channels[0] {
				a.Channels[0][i] = 1e-4 * random.NormFloat64()
			}
		})
	}},
	{"44.1 kHz in the headers of 48 kHz", "places", "all positions", []string{"fit a sample rate of 48000"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { s.files(p, func(a *dsp.Audio) { a.SampleRateHz = 44100 }) })
	}},
	{"96 kHz in the headers of 48 kHz", "places", "all positions", []string{"fit a sample rate of 48000"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { s.files(p, func(a *dsp.Audio) { a.SampleRateHz = 96000 }) })
	}},
	{"a wrong rate at one position", "place", "arc+20", []string{"99\u00a0mm longer"}, func(s *spoilt) {
		s.files(s.at("arc+20"), func(a *dsp.Audio) { a.SampleRateHz = 44100 })
	}},
	{"empty room and panel exchanged", "states", "all positions", []string{"empty room and panel"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Empty, p.Panel = p.Panel, p.Empty })
	}},
	{"empty room and flat board exchanged", "states", "all positions", []string{"empty room and flat board"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Empty, p.Flat = p.Flat, p.Empty })
	}},
	{"flat board and panel exchanged", "states", "all positions", []string{"flat board and panel"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Panel, p.Flat = p.Flat, p.Panel })
	}},
	{"the three exchanged in a ring", "states", "all positions", []string{"named flat hold the empty room"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Empty, p.Flat, p.Panel = p.Panel, p.Empty, p.Flat })
	}},
	{"empty room and panel exchanged at one position", "states", "arc+20", []string{"empty room and panel"}, func(s *spoilt) {
		p := s.at("arc+20")
		p.Empty, p.Panel = p.Panel, p.Empty
	}},
	{"flat board and panel exchanged at one position", "states", "arc+20", []string{"flat board and panel"}, func(s *spoilt) {
		p := s.at("arc+20")
		p.Flat, p.Panel = p.Panel, p.Flat
	}},
	{"no panel in the panel's takes", "no reflection", "panel", nil, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Panel = p.Empty })
	}},
	{"no panel in one take", "no reflection", "arc+20", nil, func(s *spoilt) { s.at("arc+20").Panel = s.at("arc+20").Empty }},
	{"the flat board in the panel's takes", "states", "panel", []string{"reflection of a flat board"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.Panel = p.Flat })
	}},
	{"files of two positions exchanged", "place", "arc+20", []string{"exchanged with those of arc-40"}, func(s *spoilt) { exchange(s.at("arc+20"), s.at("arc-40")) }},
	{"files of neighbours exchanged, panel alone", "place", "arc+20", []string{"another position"}, func(s *spoilt) {
		a, b := s.at("arc+20"), s.at("arc+30")
		a.Panel, b.Panel = b.Panel, a.Panel
	}},
	{"every file one position late", "places", "all positions", []string{"files of positions are exchanged"}, func(s *spoilt) {
		list := s.survey.Positions
		for i := range len(list) - 1 {
			exchange(&list[i], &list[i+1])
		}
	}},
	{"one microphone 10 cm further out", "place", "arc+20", []string{"95\u00a0mm longer"}, func(s *spoilt) { s.at("arc+20").MicM[1] += 0.1 }},
	{"one microphone 10 cm to the side", "place", "arc+20", []string{"mm shorter"}, func(s *spoilt) { s.at("arc+20").MicM[0] += 0.1 }},
	{"all microphones 10 cm further out", "places", "all positions", []string{"microphones", "further towards the panel"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.MicM[1] += 0.1 })
	}},
	{"all microphones 10 cm to the side", "places", "all positions", []string{"microphones", "10\u00a0cm further towards −x"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.MicM[0] += 0.1 })
	}},
	{"a wrong radius", "places", "all positions", []string{"0.91 times the survey's radius"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { p.MicM[0] *= 1.1; p.MicM[1] *= 1.1 })
	}},
	{"one microphone in decimetres", "place", "arc+20", []string{"microphone stood elsewhere"}, func(s *spoilt) {
		m := &s.at("arc+20").MicM
		m[0], m[1] = 3.4, 9.4 // of 0.34 and 0.94 m; centimetres leave the survey's range
	}},
	{"the source 10 cm further out", "places", "all positions", []string{"loudspeaker", "towards the panel"}, func(s *spoilt) { s.survey.SourceM[1] += 0.1 }},
	{"the source 10 cm to the side", "places", "all positions", []string{"loudspeaker about 10\u00a0cm further towards −x"}, func(s *spoilt) { s.survey.SourceM[0] += 0.1 }},
	{"air 10 °C warmer than it was", "places", "all positions", []string{"10\u00a0°C colder"}, func(s *spoilt) { s.survey.Air.SpeedOfSoundMS = Num(SpeedOfSoundISO9613(30)) }},
	{"air 10 °C colder than it was", "places", "all positions", []string{"10\u00a0°C warmer"}, func(s *spoilt) { s.survey.Air.SpeedOfSoundMS = Num(SpeedOfSoundISO9613(10)) }},
	{"panel and board 3 cm forward", "places", "all positions", []string{"a panel's front about 3\u00a0cm further forward"}, func(s *spoilt) {
		s.survey.SourceM[1] += 0.03
		s.positions(func(p *SurveyPosition) { p.MicM[1] += 0.03 })
	}},
	{"panel and board 5 cm beside their place", "places", "all positions", []string{"towards +x"}, func(s *spoilt) {
		s.survey.SourceM[0] += 0.05
		s.positions(func(p *SurveyPosition) { p.MicM[0] += 0.05 })
	}},
	{"the panel 2 cm behind the board's place", "moved", "panel", []string{"mm longer than the flat board"}, func(s *spoilt) {
		s.positions(func(p *SurveyPosition) { s.moveReflection(p, 0.04) })
	}},
	{"the panel moved 3 cm back before one take", "place", "arc+20", []string{"panel stood elsewhere"}, func(s *spoilt) { s.moveReflection(s.at("arc+20"), 0.06) }},
}

// Bad data are named and give no verdict. Source of the list: common practice, no source.
func TestBadDataIsNamed(t *testing.T) {
	for _, c := range badData {
		t.Run(c.name, func(t *testing.T) {
			s := newSpoilt(t, "room-b-panel-built-1", true, every10within(60))
			c.spoil(s)
			r, err := Check(context.Background(), s.survey, Options{BandsPerOctave: 3})
			if c.code == "" {
				if err == nil {
					t.Fatalf("no error; verdict %s", r.Verdict)
				}
				for _, says := range append(c.says, "arc+20") {
					if !strings.Contains(err.Error(), says) {
						t.Errorf("%q is missing in: %v", says, err)
					}
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			named := false
			for _, w := range r.Warnings {
				if w.Code != c.code || w.Where != c.where {
					continue
				}
				named = true
				t.Log(w.Text)
				for _, says := range c.says {
					if !strings.Contains(w.Text, says) {
						t.Errorf("%q is missing in: %s", says, w.Text)
					}
				}
			}
			if !named {
				t.Errorf("no warning %q of %q: %v", c.code, c.where, r.Warnings)
			}
			if r.Verdict != Undecided {
				t.Errorf("verdict %s", r.Verdict)
			}
			for _, w := range r.Wells {
				if w.Verdict != "undecided" {
					t.Errorf("well %d: %s", w.Number, w.Verdict)
				}
			}
			if !strings.Contains(r.Headline, "contradict") {
				t.Errorf("headline: %s", r.Headline)
			}
		})
	}
}

// What is put right exactly, or changes nothing, keeps the verdict and is said.
func TestHarmlessBadData(t *testing.T) {
	want := prime13
	for _, c := range []struct {
		name, code string
		warnings   int
		spoil      func(s *spoilt)
	}{
		{"a constant offset in every file", "dc", 39, func(s *spoilt) { s.positions(func(p *SurveyPosition) { s.files(p, addOffset) }) }},
		{"a constant offset in one", "dc", 1, func(s *spoilt) { s.rewrite(&s.at("arc+20").Panel[0], addOffset) }},
		{"one take reversed", "", 0, func(s *spoilt) {
			s.rewrite(&s.at("arc+20").Panel[0], func(a *dsp.Audio) {
				for i := range a.Channels[0] {
					a.Channels[0][i] *= -1
				}
			})
		}},
	} {
		s := newSpoilt(t, "room-a-panel-as-designed", true, every10within(60))
		c.spoil(s)
		r, err := Check(context.Background(), s.survey, Options{BandsPerOctave: 3})
		if err != nil {
			t.Fatal(err)
		}
		found := 0
		for _, w := range r.Warnings {
			if w.Code == c.code {
				found++
			}
		}
		if c.code != "" && found != c.warnings || r.Verdict != AsDesigned {
			t.Errorf("%s: %d warnings, want %d; verdict %s: %v", c.name, found, c.warnings, r.Verdict, r.Warnings)
		}
		for j, w := range r.Wells {
			near(t, fmt.Sprintf("%s, well %d", c.name, j+1), float64(w.BuiltM), want[j], 0.001, "limit set for the virtual bench")
		}
	}
}

// Left and right exchanged, with a source on the axis, is a panel hung mirrored: the data can't tell, and the words say both.
func TestMirroredSurvey(t *testing.T) {
	for _, bench := range []string{"room-a-panel-as-designed", "room-b-panel-built-1"} {
		s := newSpoilt(t, bench, true, every10within(60))
		s.positions(func(p *SurveyPosition) { p.MicM[0] = -p.MicM[0] })
		r, err := Check(context.Background(), s.survey, Options{BandsPerOctave: 3})
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict != Differs || !strings.Contains(strings.Join(r.Reasons, " "), "left and right are exchanged") {
			t.Errorf("%s: %s: %v", bench, r.Verdict, r.Reasons)
		}
	}
}

// Without a flat board the panel's own reflection tells.
func TestBadDataWithoutFlatBoard(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(s *spoilt)
	}{
		{"empty room and panel exchanged", func(s *spoilt) { s.positions(func(p *SurveyPosition) { p.Empty, p.Panel = p.Panel, p.Empty }) }},
		{"no panel", func(s *spoilt) { s.positions(func(p *SurveyPosition) { p.Panel = p.Empty }) }},
		{"air 10 °C warmer", func(s *spoilt) { s.survey.Air.SpeedOfSoundMS = Num(SpeedOfSoundISO9613(30)) }},
		{"panel 3 cm forward", func(s *spoilt) {
			s.survey.SourceM[1] += 0.03
			s.positions(func(p *SurveyPosition) { p.MicM[1] += 0.03 })
		}},
		{"files of neighbours exchanged, panel alone", func(s *spoilt) {
			a, b := s.at("arc+20"), s.at("arc+30")
			a.Panel, b.Panel = b.Panel, a.Panel
		}},
	} {
		s := newSpoilt(t, "room-b-panel-built-1", false, every10within(60))
		c.spoil(s)
		r, err := Check(context.Background(), s.survey, Options{BandsPerOctave: 3})
		if err != nil {
			t.Fatal(err)
		}
		t.Log(c.name, r.Warnings)
		if r.Verdict != Undecided || len(r.Warnings) == 0 {
			t.Errorf("%s: %s, %v", c.name, r.Verdict, r.Warnings)
		}
	}
}

// A source off the axis tells left from right by the direct sounds; in another order, too, they tell.
func TestDirectSoundsTellSides(t *testing.T) {
	s := lateSurvey(13)
	s.SourceM = [3]float64{1.3, 1.5, 0}
	r := &run{survey: s, air: Air{SpeedOfSoundMS: 343.2}, result: &Result{}}
	for _, p := range s.Positions {
		mirror := p.MicM
		mirror[0] = -mirror[0]
		direct := distance(s.SourceM, p.MicM) / 343.2
		start := direct - distance(s.SourceM, mirror)/343.2 + 0.004 // a latency that all files share
		r.positions = append(r.positions, &measuredPosition{survey: &p, directS: direct, startS: start, fileStartS: start, sampleRateHz: 48000})
	}
	n := len(r.positions)
	r.flat, r.panel, r.result.Positions = make([][]complex128, n), make([][]complex128, n), make([]Position, n)
	r.result.Spectrum = Range{LowestUsableHz: Unknown(), HighestUsableHz: Unknown()}
	if !r.doubtPlaces() || !strings.Contains(r.contradictions[0].Text, "left and right exchanged") {
		t.Errorf("%v", r.contradictions)
	}
}

// What is right gives no alarm: the virtual bench, clean, with noise at 3 % of each record's peak, with places off by 5 mm rms each way, and as recordings of a bad day.
func TestGoodDataContradictNothing(t *testing.T) {
	quiet := func(name string, r *Result) {
		t.Helper()
		for _, w := range r.Warnings {
			switch w.Code {
			case "take", "states", "no reflection", "place", "places", "moved", "noise", "dc":
				t.Errorf("%s: %v", name, w)
			}
		}
		if r.Verdict == Undecided && strings.Contains(r.Headline, "contradict") {
			t.Errorf("%s: %s", name, r.Headline)
		}
	}
	for name := range builtDepths {
		quiet(name, benchResult(t, name))
	}
	r, _ := newBenchRig(t, "room-a-panel-built-2", true, every10within(60)).noisy(t, 0.03, 5).check(t)
	quiet("noise", r)
	for seed := range uint64(3) {
		rig := newBenchRig(t, "room-b-panel-built-1", seed != 1, every10within(60))
		rig.placesOff(rand.New(rand.NewPCG(seed, 55)))
		r, _ := rig.check(t)
		quiet(fmt.Sprintf("places off, %d", seed), r)
	}
	s := badDay()
	r, err := Check(context.Background(), s.record(t), Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	quiet("bad day", r)
	if r.Verdict != AsDesigned {
		t.Errorf("bad day: %s", r.Verdict)
	}
}

// A constant offset in sweep recordings does not reach the responses: the sweep's division knows nothing below its band.
func TestOffsetInRecordings(t *testing.T) {
	s := badDay()
	s.every = 8
	survey := s.record(t)
	want := measured(t, survey)
	for _, p := range survey.Positions {
		for _, file := range []string{p.Empty[0], p.Flat[0], p.Panel[0]} {
			a, err := dsp.ReadWAV(file)
			if err != nil {
				t.Fatal(err)
			}
			for i := range a.Channels[0] {
				a.Channels[0][i] += 0.002
			}
			if err := dsp.WriteWAVFile(file, a, dsp.WAVFormat{SampleRateHz: 48000, BitsPerSample: 32, Float: true}); err != nil {
				t.Fatal(err)
			}
		}
	}
	got := measured(t, survey)
	for i := range want.result.Bands {
		b := &want.result.Bands[i]
		if b.CentreHz < 1200 || b.CentreHz > 4100 {
			continue
		}
		for k := range want.panel {
			near(t, fmt.Sprintf("position %d at %.0f Hz, dB", k, b.CentreHz), 10*math.Log10(got.energy(got.panel[k], b)/want.energy(want.panel[k], b)), 0, 0.1, "less than the recordings' noise makes")
		}
	}
}

// Recordings without a loopback share no zero of time: the reflections less the direct sounds tell.
func TestBadRecordingsContradict(t *testing.T) {
	s := badDay()
	survey := s.record(t)
	said := func(name string, code string) {
		t.Helper()
		r, err := Check(context.Background(), survey, Options{BandsPerOctave: 3})
		if err != nil {
			t.Fatal(err)
		}
		found := slices.ContainsFunc(r.Warnings, func(w Warning) bool { return w.Code == code })
		if r.Verdict != Undecided || !found {
			t.Errorf("%s: %s, %v", name, r.Verdict, r.Warnings)
		}
	}
	speed := survey.Air.SpeedOfSoundMS
	survey.Air.SpeedOfSoundMS = Num(SpeedOfSoundISO9613(29))
	said("air 10 °C warmer than it was", "places")
	survey.Air.SpeedOfSoundMS = speed
	for i := range survey.Positions {
		p := &survey.Positions[i]
		p.Flat, p.Panel = p.Panel, p.Flat
	}
	said("flat board and panel exchanged", "states")
}

// Where most of what the gates hold is noise, no depth is believed.
func TestNoiseGivesNoVerdict(t *testing.T) {
	r, err := Check(context.Background(), newBenchRig(t, "room-a-panel-as-designed", false, every10within(60)).noisy(t, 0.1, 3).survey, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	if r.Verdict != Undecided || len(r.Warnings) == 0 {
		t.Errorf("%s: %v", r.Verdict, r.Warnings)
	}
	t.Log(r.Headline, r.Warnings)
}
