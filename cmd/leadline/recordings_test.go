package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
	"github.com/leadline/leadline/fixtures"
	"github.com/leadline/leadline/fixtures/recorder"
)

// recorded writes the example at every n-th place, turned into sweep recordings with the loopback in channel 2, and returns its survey's path.
func recorded(t *testing.T, n int) string {
	t.Helper()
	path := example(t)
	edit(t, path, keepPositions(n))
	edit(t, path, func(s string) string {
		return strings.Replace(s, "\n[room]", "\n[sweep]\nlow_hz = 50\nhigh_hz = 20000\nseconds = 1\nloopback_channel = 2\n\n[room]", 1)
	})
	survey, err := analysis.LoadSurvey(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range survey.Positions {
		for k, file := range []string{p.Empty[0], p.Flat[0], p.Panel[0]} {
			chain := recorder.Chain{Sweep: testSweep(t, 1), Loudspeaker: true, ThirdDB: -40, SNRdB: 45, Bits: 24, StartS: 0.3, EndS: 0.2, Seed: uint64(3*i + k)}
			recordTo(t, chain, file)
		}
	}
	return path
}

func testSweep(t *testing.T, seconds float64) *dsp.Sweep {
	t.Helper()
	spec := dsp.SuggestSweep(50, 20000, seconds, 48000)
	spec.SilenceBeforeS, spec.SilenceAfterS = 0.5, 0.3
	s, err := dsp.NewSweep(spec)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// recordTo replaces a file by a recording of the example's response of the same state and place.
func recordTo(t *testing.T, chain recorder.Chain, file string) {
	t.Helper()
	folder := filepath.Base(filepath.Dir(file))
	if folder == "panel" {
		folder = "panel-built-1"
	}
	raw, err := fixtures.Bench.ReadFile("virtual-bench/room-b/" + folder + "/" + filepath.Base(file))
	if err != nil {
		t.Fatal(err)
	}
	audio, err := dsp.DecodeWAV(bytes.NewReader(raw), int64(len(raw)), file)
	if err != nil {
		t.Fatal(err)
	}
	h := audio.Channels[0]
	for n := range 48 { // the bench stops after 13.9 ms
		h[len(h)-1-n] *= float64(n) / 48
	}
	mic, loopback := chain.Record(h)
	writeChannels(t, file, 48000, 10, mic, loopback)
}

// writeChannels writes 24 bits; the microphone's channel is first and gets a gain.
func writeChannels(t *testing.T, file string, rateHz int, gain float64, channels ...[]float64) {
	t.Helper()
	for i := range channels[0] {
		channels[0][i] *= gain
	}
	if err := dsp.WriteWAVFile(file, &dsp.Audio{SampleRateHz: rateHz, Channels: channels}, dsp.WAVFormat{SampleRateHz: rateHz, BitsPerSample: 24}); err != nil {
		t.Fatal(err)
	}
}

// change rewrites a recording.
func change(t *testing.T, file string, do func(channels [][]float64) [][]float64) {
	t.Helper()
	audio, err := dsp.ReadWAV(file)
	if err != nil {
		t.Fatal(err)
	}
	writeChannels(t, file, audio.SampleRateHz, 1, do(audio.Channels)...)
}

// A check of recordings finds what is wrong with the example's panel, as one of the responses does.
func TestCheckRecordings(t *testing.T) {
	survey := recorded(t, 2)
	dir := filepath.Dir(survey)
	data := filepath.Join(dir, "result.json")
	o := leadline("check", survey, "--data", data, "--report", filepath.Join(dir, "report.html"))
	if o.code != exitDiffers {
		t.Errorf("exit %d, want %d: %s\n%s", o.code, exitDiffers, o.stderr, o.stdout)
	}
	raw, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	var result analysis.Result
	if err := json.Unmarshal(raw, &result); err != nil {
		t.Fatal(err)
	}
	if result.Recordings == nil || len(result.Recordings.Files) != 51 || !result.LoudspeakerDivided {
		t.Errorf("recordings: %+v, loudspeaker %v", result.Recordings, result.LoudspeakerDivided)
	}
	for _, w := range result.Wells {
		if wrong := w.Number == 4 || w.Number == 11; wrong == (w.Verdict == "ok") {
			t.Errorf("well %d: %s, built %v", w.Number, w.Verdict, w.BuiltM)
		}
	}
}

// What the command responses writes is a survey with responses that a check takes.
func TestResponses(t *testing.T) {
	survey := recorded(t, 16)
	out := filepath.Join(t.TempDir(), "new folder")
	o := leadline("responses", survey, out)
	if o.code != 0 || o.stderr != "" {
		t.Fatalf("exit %d: %s", o.code, o.stderr)
	}
	if !strings.Contains(o.stdout, "9 responses") || !strings.Contains(o.stdout, "loopback") {
		t.Errorf("summary: %s", o.stdout)
	}
	for _, line := range strings.Split(o.stdout, "\n") {
		if strings.HasPrefix(line, "arc") {
			var third int
			// third order was put in at −40 dB; the loudspeaker's ripples move single bands by up to 6 dB, the median by less
			if f := strings.Fields(line); len(f) < 11 {
				t.Errorf("line: %q", line)
			} else if n, err := fmt.Sscan(f[len(f)-5], &third); n != 1 || err != nil || third < -43 || third > -37 {
				t.Errorf("third order %q in %q, want −40 dB", f[len(f)-5], line)
			}
		}
	}
	before, err := analysis.LoadSurvey(survey)
	if err != nil {
		t.Fatal(err)
	}
	after, err := analysis.LoadSurvey(filepath.Join(out, "survey.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if err := after.CheckFiles(); err != nil {
		t.Error(err)
	}
	if after.Sweep != nil || fmt.Sprint(after.Panel, after.SourceM, after.Room, after.Air, after.Title, after.ToleranceM) != fmt.Sprint(before.Panel, before.SourceM, before.Room, before.Air, before.Title, before.ToleranceM) {
		t.Errorf("the copy is another survey: %+v", after)
	}
	for i, p := range after.Positions {
		if p.MicM != before.Positions[i].MicM || len(p.Empty) != 1 || len(p.Flat) != 1 || len(p.Panel) != 1 {
			t.Errorf("place %d: %+v", i, p)
		}
	}
	audio, err := dsp.ReadWAV(after.Positions[1].Empty[0])
	if err != nil {
		t.Fatal(err)
	}
	// With a loopback the response begins 5 ms before the emission; at 0° the microphone is 1 m away.
	peak := 0
	for i, v := range audio.Channels[0] {
		if math.Abs(v) > math.Abs(audio.Channels[0][peak]) {
			peak = i
		}
	}
	if got := float64(peak)/48000 - 0.005; math.Abs(got-1/343.2) > 0.0001 {
		t.Errorf("direct sound %.4f s after the emission, want %.4f", got, 1/343.2)
	}
	if o := leadline("responses", survey, filepath.Dir(survey)); o.code != exitUsage || !strings.Contains(o.stderr, "give another folder") {
		t.Errorf("responses over the recordings: exit %d: %s", o.code, o.stderr)
	}
	if o := leadline("responses", filepath.Join(out, "survey.toml"), out); o.code != exitUsage || !strings.Contains(o.stderr, "no [sweep]") {
		t.Errorf("responses of responses: exit %d: %s", o.code, o.stderr)
	}
}

// Each fault is found and said in words with file and cure: exit code 2 where the recording can't be used, a warning where it can.
func TestFaultyRecordings(t *testing.T) {
	base := recorded(t, 33)
	copyOf := func(t *testing.T) (survey, file string) {
		t.Helper()
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(filepath.Dir(base))); err != nil {
			t.Fatal(err)
		}
		return filepath.Join(dir, exampleSurvey), filepath.Join(dir, "panel", "arc-80.wav")
	}
	for _, c := range []struct {
		name  string
		spoil func(t *testing.T, survey, file string)
		code  int
		words []string
	}{
		{"reversed", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 {
				for i := range x[0] {
					x[0][i] = -x[0][i]
				}
				return x
			})
		}, 0, []string{"reversed polarity", "turned round", "crossed wires"}},
		{"microphone and loopback exchanged", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 { return [][]float64{x[1], x[0]} })
		}, exitUsage, []string{"look exchanged", "exchange the two cables"}},
		{"the loopback taken for the microphone", func(t *testing.T, survey, _ string) {
			edit(t, survey, func(s string) string {
				return strings.Replace(strings.Replace(s, "loopback_channel = 2\n", "", 1), "name = ", "channel = 2\nname = ", 1)
			})
		}, 0, []string{"without any room", "Give the microphone's channel"}},
		{"no such channel", func(t *testing.T, survey, _ string) {
			edit(t, survey, func(s string) string { return strings.Replace(s, "loopback_channel = 2", "loopback_channel = 3", 1) })
		}, exitUsage, []string{"found: 2 channels", "expected: a channel 3"}},
		{"wrong sweep", func(t *testing.T, survey, _ string) {
			edit(t, survey, func(s string) string { return strings.Replace(s, "seconds = 1", "seconds = 1.05", 1) })
		}, exitUsage, []string{"holds a sweep, but not this one", "expected: a sweep from 50 to 20000 Hz in 1.05 s", "give the low and high frequency"}},
		{"no sweep", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 { return [][]float64{x[0][:20000], x[1][:20000]} })
		}, exitUsage, []string{"the sweep is not in the recording"}},
		{"truncated", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 { return [][]float64{x[0][:72000], x[1][:72000]} })
		}, exitUsage, []string{"at 1.50 s", "stops", "before the sweep ends: everything above", "let the recorder run"}},
		{"begun too late", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 { return [][]float64{x[0][64000:], x[1][64000:]} })
		}, exitUsage, []string{"the recording starts", "after the sweep: everything below", "start the recorder first"}},
		{"truncated at the very top", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 { return [][]float64{x[0][:83500], x[1][:83500]} })
		}, 0, []string{"everything above 1"}},
		{"clipped", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 {
				peak := 0.0
				for _, v := range x[0] {
					peak = max(peak, math.Abs(v))
				}
				for i, v := range x[0] {
					x[0][i] = max(-0.7*peak, min(0.7*peak, v))
				}
				return x
			})
		}, 0, []string{"clipped", "before a gain that lowered it", "lower the gain"}},
		{"wrong rate", func(t *testing.T, _, file string) {
			audio, err := dsp.ReadWAV(file)
			if err != nil {
				t.Fatal(err)
			}
			writeChannels(t, file, 44100, 1, audio.Channels...)
		}, exitUsage, []string{"a file of 44100 Hz was taken for one of 48000 Hz|a file of 48000 Hz was taken for one of 44100 Hz", "set player and recorder to one sample rate"}},
		{"dead", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 {
				clear(x[0])
				return x
			})
		}, exitUsage, []string{"channel 1: no signal in this channel", "phantom power"}},
		{"microphone unplugged", func(t *testing.T, _, file string) {
			change(t, file, func(x [][]float64) [][]float64 {
				for i := range x[0] {
					x[0][i] = 1e-4 * math.Sin(float64(i*i%7919))
				}
				return x
			})
		}, exitUsage, []string{"the sweep is not in this channel", "check which input is connected"}},
		{"empty file", func(t *testing.T, _, file string) {
			if err := os.WriteFile(file, nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}, exitUsage, []string{"arc-80.wav"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			survey, file := copyOf(t)
			c.spoil(t, survey, file)
			o := leadline("responses", survey, filepath.Join(t.TempDir(), "out"))
			if o.code != c.code {
				t.Errorf("exit %d, want %d: %s", o.code, c.code, o.stderr)
			}
			for _, word := range c.words {
				found := false
				for _, w := range strings.Split(word, "|") {
					found = found || strings.Contains(o.stderr, w)
				}
				if !found {
					t.Errorf("%q is missing: %s", word, o.stderr)
				}
			}
			if !strings.Contains(o.stderr, "arc-80.wav") {
				t.Errorf("the file is not named: %s", o.stderr)
			}
			if c.code == exitUsage {
				if o := leadline("check", survey, "--report", filepath.Join(t.TempDir(), "r.html")); o.code != exitUsage || !strings.Contains(o.stderr, "arc-80.wav") {
					t.Errorf("check: exit %d: %s", o.code, o.stderr)
				}
			}
		})
	}
}

// The written sweep is what was asked for, and the survey's lines that go with it find it again.
func TestSweep(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sweep.wav")
	o := leadline("sweep", path, "--rate-hz", "44100", "--seconds", "0.8", "--repeats", "2", "--pilot", "--low-hz", "60", "--high-hz", "18000", "--level-dbfs", "0")
	if o.code != 0 || o.stderr != "" {
		t.Fatalf("exit %d: %s", o.code, o.stderr)
	}
	for _, want := range []string{"low_hz = 60\n", "high_hz = 18000\n", "seconds = 0.8\n", "period_s = ", "pilot = true\n", "start quiet", "tweeter", "Synchronised"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("%q is missing: %s", want, o.stdout)
		}
	}
	audio, err := dsp.ReadWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	if audio.SampleRateHz != 44100 || audio.BitsPerSample != 24 || len(audio.Channels) != 1 {
		t.Errorf("%d Hz, %d bits, %d channels", audio.SampleRateHz, audio.BitsPerSample, len(audio.Channels))
	}
	spec := dsp.SuggestSweep(60, 18000, 0.8, 44100)
	spec.Repeats, spec.Pilot, spec.LevelDBFS = 2, true, 0
	s, err := dsp.NewSweep(spec)
	if err != nil {
		t.Fatal(err)
	}
	want := s.Playback()
	if len(audio.Channels[0]) != len(want) {
		t.Fatalf("%d samples, want %d", len(audio.Channels[0]), len(want))
	}
	for i, v := range audio.Channels[0] {
		if math.Abs(v-want[i]) > 1.5/(1<<23) { // half a step of rounding, one of the top
			t.Fatalf("sample %d: %v, want %v", i, v, want[i])
		}
	}
	if o := leadline("sweep", path, "--rate-hz", "44100", "--float", "--plain"); o.code != 0 || !strings.Contains(o.stdout, "32-bit floats") || !strings.Contains(o.stdout, "in 2 s") {
		t.Errorf("floats: %+v", o)
	}
	if o := leadline("sweep", "-", "--rate-hz", "48000", "--seconds", "0.5"); o.code != 0 || !strings.HasPrefix(o.stdout, "RIFF") || !strings.Contains(o.stderr, "start quiet") {
		t.Errorf("to standard output: exit %d, %s", o.code, o.stderr)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "--rate-hz 48000"},
		{[]string{"--rate-hz", "32000"}, "below half the sample rate"},
		{[]string{"--rate-hz", "48000", "--bits", "20"}, "expected integers of 16, 24 or 32 bits"},
		{[]string{"--rate-hz", "48000", "--level-dbfs", "3"}, "0 or below"},
		{[]string{"--rate-hz", "48000", "--seconds", "1000"}, "at most 600 s"},
		{[]string{"--rate-hz", "48000", "--repeats", "0"}, "at least 1"},
	} {
		out := filepath.Join(t.TempDir(), "no.wav")
		if o := leadline(append([]string{"sweep", out}, c.args...)...); o.code != exitUsage || !strings.Contains(o.stderr, c.want) {
			t.Errorf("%v: exit %d: %s", c.args, o.code, o.stderr)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%v: a file was written", c.args)
		}
	}
}
