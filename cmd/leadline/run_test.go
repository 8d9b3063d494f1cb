package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
	"github.com/spf13/cobra"
)

var update = flag.Bool("update", false, "rewrite the golden files")

type outcome struct {
	code           int
	stdout, stderr string
}

func leadline(args ...string) outcome {
	var stdout, stderr bytes.Buffer
	code := run(context.Background(), args, &stdout, &stderr)
	return outcome{code, stdout.String(), stderr.String()}
}

// example writes the built-in example and returns its survey's path.
func example(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "a folder with 'quotes' and ünïcode")
	if o := leadline("example", dir); o.code != 0 {
		t.Fatalf("example: %+v", o)
	}
	return filepath.Join(dir, exampleSurvey)
}

// edit rewrites the survey.
func edit(t *testing.T, path string, change func(string) string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(change(string(b))), 0o644); err != nil {
		t.Fatal(err)
	}
}

// keepPositions leaves only every n-th position, which shortens a check.
func keepPositions(n int) func(string) string {
	return func(s string) string {
		parts := strings.Split(s, "\n[[position]]")
		kept := parts[0]
		for i, p := range parts[1:] {
			if i%n == 0 {
				kept += "\n[[position]]" + p
			}
		}
		return kept
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (go test ./cmd/leadline -update rewrites it):\n%s", name, got)
	}
}

func TestCheckTheExample(t *testing.T) {
	survey := example(t)
	dir := filepath.Dir(survey)
	html, data := filepath.Join(dir, "report.html"), filepath.Join(dir, "result.json")
	o := leadline("check", survey, "--report", html, "--data", data)
	if o.code != exitDiffers {
		t.Fatalf("exit %d, want %d: %s", o.code, exitDiffers, o.stderr)
	}
	golden(t, "example.txt", o.stdout)
	page, err := os.ReadFile(html)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(page, []byte("<!DOCTYPE html>")) && !bytes.Contains(page, []byte("<!doctype html>")) {
		t.Error("the report is no HTML page")
	}
	const limit = 1_500_000
	if len(page) > limit {
		t.Errorf("the report has %d bytes, want at most %d", len(page), limit)
	}
	var result analysis.Result
	raw, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, &result); err != nil {
		t.Fatal(err)
	}
	if result.Schema != analysis.Schema || result.Verdict != analysis.Differs || len(result.Positions) != 33 || len(result.Wells) != 13 {
		t.Errorf("result: %s, %s, %d positions, %d wells", result.Schema, result.Verdict, len(result.Positions), len(result.Wells))
	}
	for _, p := range result.Positions {
		for _, levels := range [][]analysis.Num{p.PanelDB, p.FlatDB, p.PredictedDB} {
			if len(levels) != len(result.Bands) {
				t.Fatalf("%s: %d levels for %d bands", p.Name, len(levels), len(result.Bands))
			}
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".leadline-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("temporary files left: %v %v", left, err)
	}
}

// The contract's keys, read as a stranger would.
func TestDataOnStandardOutputIsNothingButTheResult(t *testing.T) {
	survey := example(t)
	edit(t, survey, keepPositions(5))
	o := leadline("check", survey, "--data", "-")
	var result map[string]any
	if err := json.Unmarshal([]byte(o.stdout), &result); err != nil {
		t.Fatalf("standard output is not one JSON value: %v", err)
	}
	for _, key := range []string{"schema", "verdict", "air", "bands", "positions", "wells", "warnings"} {
		if _, ok := result[key]; !ok {
			t.Errorf("key %q is missing", key)
		}
	}
	position := result["positions"].([]any)[0].(map[string]any)
	for _, key := range []string{"name", "angle_deg", "distance_m", "arrival_s", "gate", "panel_db", "flat_db", "predicted_panel_re_flat_db", "comb"} {
		if _, ok := position[key]; !ok {
			t.Errorf("position key %q is missing", key)
		}
	}
	band := result["bands"].([]any)[0].(map[string]any)
	for _, key := range []string{"centre_hz", "usable", "why", "diffusion", "correlation_scattering", "level_difference_rms_db"} {
		if _, ok := band[key]; !ok {
			t.Errorf("band key %q is missing", key)
		}
	}
	if strings.Contains(o.stdout, "NaN") {
		t.Error("NaN in JSON")
	}
}

func TestPredictNeedsNoFiles(t *testing.T) {
	survey := example(t)
	edit(t, survey, keepPositions(8))
	if err := os.RemoveAll(filepath.Join(filepath.Dir(survey), "panel")); err != nil {
		t.Fatal(err)
	}
	o := leadline("predict", survey, "--data", "-")
	if o.code != 0 {
		t.Fatalf("exit %d: %s", o.code, o.stderr)
	}
	var result analysis.Result
	if err := json.Unmarshal([]byte(o.stdout), &result); err != nil {
		t.Fatal(err)
	}
	for _, b := range result.Bands {
		if b.CentreHz < 4500 && !b.Diffusion.PredictedPanel.Known() {
			t.Errorf("no prediction at %.0f Hz", b.CentreHz)
		}
	}
}

// Each fault ends with exit 2, names the place, and leaves no report.
func TestBadInput(t *testing.T) {
	replace := func(old, new string) func(string) string {
		return func(s string) string { return strings.Replace(s, old, new, 1) }
	}
	for _, c := range []struct {
		name   string
		change func(string) string
		want   string // regular expression on standard error
	}{
		{"unknown key", replace("height_m = 0.60", "height_m = 0.60\ncolour = 3"), `survey\.toml:\d+:\d+: .*colour`},
		{"missing file", replace(`panel = "panel/arc-80.wav"`, `panel = "panel/nowhere.wav"`), `survey\.toml:\d+:\d+: .*nowhere\.wav`},
		{"centimetres", replace("well_width_m = 0.040", "well_width_m = 4.0"), `survey\.toml:\d+:\d+: .*centimetres`},
		{"microphone behind the panel", replace("mic_m = [0, 1, 0]", "mic_m = [0, -1, 0]"), `survey\.toml:\d+:\d+: .*in front of the panel`},
		{"source inside the panel", replace("position_m = [0.0, 2.0, 0.0]", "position_m = [0.0, -0.05, 0.0]"), `survey\.toml:\d+:\d+: .*source`},
		{"two wells fewer than the sequence", replace("depths_m = [0.0, 0.0125,", "sequence = \"quadratic residue\"\nprime = 13\ndepths_m = ["), `survey\.toml:\d+:\d+: .*1[123]`},
		{"non-prime", replace("design_frequency_hz = 1000", "design_frequency_hz = 1000\nsequence = \"quadratic residue\"\nprime = 12"), `survey\.toml:\d+:\d+: .*12`},
		{"two positions of one name", replace(`name = "arc-75"`, `name = "arc-80"`), `survey\.toml:\d+:\d+: .*arc-80`},
		{"no panel file", replace(`panel = "panel/arc-80.wav"`, ""), `survey\.toml:\d+:\d+: .*panel`},
	} {
		t.Run(c.name, func(t *testing.T) {
			survey := example(t)
			edit(t, survey, c.change)
			html := filepath.Join(filepath.Dir(survey), "report.html")
			o := leadline("check", survey, "--report", html, "--data", "-")
			if o.code != exitUsage || o.stdout != "" {
				t.Errorf("exit %d with %d bytes on standard output, want %d and none", o.code, len(o.stdout), exitUsage)
			}
			if !regexp.MustCompile(c.want).MatchString(o.stderr) {
				t.Errorf("message %q does not match %q", o.stderr, c.want)
			}
			if _, err := os.Stat(html); err == nil {
				t.Error("a report was written")
			}
		})
	}
}

// rewrite changes one WAV file of the example.
func rewrite(t *testing.T, survey, file string, format dsp.WAVFormat, change func(i int, v float64) float64) {
	t.Helper()
	path := filepath.Join(filepath.Dir(survey), file)
	a, err := dsp.ReadWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range a.Channels[0] {
		a.Channels[0][i] = change(i, v)
	}
	if err := dsp.WriteWAVFile(path, a, format); err != nil {
		t.Fatal(err)
	}
}

func TestBadRecordings(t *testing.T) {
	float := dsp.WAVFormat{SampleRateHz: 48000, BitsPerSample: 32, Float: true}
	t.Run("silent", func(t *testing.T) {
		survey := example(t)
		rewrite(t, survey, "flat/arc+20.wav", float, func(int, float64) float64 { return 0 })
		o := leadline("check", survey)
		if o.code != exitUsage || !strings.Contains(o.stderr, "arc+20.wav") || !strings.Contains(o.stderr, "silent") {
			t.Errorf("exit %d: %s", o.code, o.stderr)
		}
	})
	t.Run("clipped and flat board of another level", func(t *testing.T) {
		survey := example(t)
		edit(t, survey, keepPositions(5))
		whole := dsp.WAVFormat{SampleRateHz: 48000, BitsPerSample: 16}
		rewrite(t, survey, "panel/arc+00.wav", whole, func(_ int, v float64) float64 { return math.Max(-0.9, math.Min(0.9, 1000*v)) })
		for _, name := range []string{"arc-80", "arc-55", "arc-30", "arc-05", "arc+20", "arc+45", "arc+70"} {
			rewrite(t, survey, "flat/"+name+".wav", float, func(_ int, v float64) float64 { return 0.5 * v })
		}
		o := leadline("check", survey, "--data", "-")
		var result analysis.Result
		if err := json.Unmarshal([]byte(o.stdout), &result); err != nil {
			t.Fatalf("%v: %s", err, o.stderr)
		}
		levels := 0
		for _, w := range result.Warnings {
			if w.Code == "level" && strings.Contains(w.Text, "6.0 dB quieter") {
				levels++
			}
		}
		if levels != 1 {
			t.Errorf("%d warnings of a flat board 6 dB quieter, want one for all its takes: %v", levels, result.Warnings)
		}
	})
	t.Run("not a WAV file", func(t *testing.T) {
		survey := example(t)
		if err := os.WriteFile(filepath.Join(filepath.Dir(survey), "empty", "arc+00.wav"), []byte("RIFFnonsense"), 0o644); err != nil {
			t.Fatal(err)
		}
		o := leadline("check", survey)
		if o.code != exitUsage || !strings.Contains(o.stderr, "arc+00.wav") {
			t.Errorf("exit %d: %s", o.code, o.stderr)
		}
	})
}

func TestOutputsThatCannotBeWritten(t *testing.T) {
	survey := example(t)
	edit(t, survey, keepPositions(8))
	dir := filepath.Dir(survey)
	good := filepath.Join(dir, "result.json")
	o := leadline("check", survey, "--data", good, "--report", dir)
	if o.code != exitUsage || !strings.Contains(o.stderr, "folder") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	if _, err := os.Stat(good); err == nil {
		t.Error("one of two outputs was written although the other failed")
	}
}

func TestWrongUse(t *testing.T) {
	for _, args := range [][]string{{"check"}, {"check", "a", "b"}, {"nonsense"}, {"check", "--nonsense"}, {"check", "nowhere.toml"}, {"check", "--example", "x"}, {"example"}} {
		if o := leadline(args...); o.code != exitUsage || o.stderr == "" || o.stdout != "" {
			t.Errorf("%v: %+v", args, o)
		}
	}
}

func TestInterrupted(t *testing.T) {
	survey := example(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stdout, stderr bytes.Buffer
	html := filepath.Join(filepath.Dir(survey), "report.html")
	if code := run(ctx, []string{"check", survey, "--report", html}, &stdout, &stderr); code != exitUsage || !strings.Contains(stderr.String(), "interrupted") {
		t.Errorf("exit %d: %s", code, stderr.String())
	}
	if _, err := os.Stat(html); err == nil {
		t.Error("a report was written")
	}
}

// Every command's help ends with examples and then its exit codes; the root's is checked too.
func TestHelp(t *testing.T) {
	visit(newRoot(new(int), io.Discard, io.Discard), func(c *cobra.Command) {
		args := append(strings.Fields(c.CommandPath())[1:], "--help")
		o := leadline(args...)
		_, tail, found := strings.Cut(o.stdout, "\nExamples:\n")
		example, codes, found2 := strings.Cut(tail, "\nExit codes:\n")
		if o.code != 0 || !found || !found2 || !strings.Contains(example, "  leadline ") {
			t.Errorf("%v: exit %d, no examples before the exit codes at the end:\n%s%s", args, o.code, o.stdout, o.stderr)
		}
		for _, line := range strings.Split(strings.TrimRight(codes, "\n"), "\n") {
			if !regexp.MustCompile(`^  [0-3]  \S`).MatchString(line) {
				t.Errorf("%v: %q is no exit code", args, line)
			}
		}
		if byHelp := leadline(append([]string{"help"}, args[:len(args)-1]...)...); byHelp.stdout != o.stdout {
			t.Errorf("%v: help says something else than --help", args)
		}
	})
	if o := leadline("help", "nonsense"); o.code != exitUsage || o.stdout != "" || !strings.Contains(o.stderr, "nonsense") {
		t.Errorf("help nonsense: %+v", o)
	}
}

func visit(c *cobra.Command, f func(*cobra.Command)) {
	f(c)
	for _, sub := range c.Commands() {
		visit(sub, f)
	}
}

// Without the empty room the floor's echo of the direct sound covers the reflection: nothing can be decided, and the report says what to measure.
func TestNoEmptyRoom(t *testing.T) {
	survey := example(t)
	edit(t, survey, func(s string) string { return regexp.MustCompile(`(?m)^empty = .*\n`).ReplaceAllString(s, "") })
	html := filepath.Join(filepath.Dir(survey), "report.html")
	o := leadline("check", survey, "--report", html)
	if o.code != exitUndecided || !strings.Contains(o.stderr, "measure the empty room too") {
		t.Errorf("exit %d: %s", o.code, o.stderr)
	}
	if _, err := os.Stat(html); err != nil {
		t.Error("no report")
	}
}

// One position, two, four: too few for depths, but no crash.
func TestFewPositions(t *testing.T) {
	for _, n := range []int{40, 20, 9} {
		survey := example(t)
		edit(t, survey, keepPositions(n))
		if o := leadline("check", survey); o.code != exitUndecided {
			t.Errorf("every %d. position: exit %d: %s%s", n, o.code, o.stdout, o.stderr)
		}
	}
}
