package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
)

// The exported WAV files hold, as 32-bit floats, what the result's data hold; the list names every one of them and when it begins.
func TestExports(t *testing.T) {
	survey := example(t)
	edit(t, survey, keepPositions(5))
	dir := filepath.Dir(survey)
	tables, responses, data := filepath.Join(dir, "out", "tables"), filepath.Join(dir, "out", "responses"), filepath.Join(dir, "result.json")
	o := leadline("check", survey, "--tables", tables, "--responses", responses, "--data", data)
	if o.code == exitUsage {
		t.Fatal(o.stderr)
	}
	result, _, err := analysis.LoadResult(data)
	if err != nil {
		t.Fatal(err)
	}
	list, err := os.Open(filepath.Join(responses, "responses.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer list.Close()
	rows, err := csv.NewReader(list).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	aligned := result.Aligned()
	if len(aligned) != 7*5 || len(rows) != 1+len(aligned) { // empty, flat, panel as aligned, and the latter two gated
		t.Fatalf("%d responses, %d rows in the list, want 35 of 7 positions and a header", len(aligned), len(rows))
	}
	for i, a := range aligned {
		if rows[1+i][0] != a.Path {
			t.Errorf("row %d of the list names %s, want %s", i+1, rows[1+i][0], a.Path)
		}
		wav, err := dsp.ReadWAV(filepath.Join(responses, filepath.FromSlash(a.Path)))
		if err != nil {
			t.Fatal(err)
		}
		if !wav.Float || wav.BitsPerSample != 32 || float64(wav.SampleRateHz) != a.SampleRateHz || len(wav.Channels) != 1 || len(wav.Channels[0]) != len(a.Samples) {
			t.Fatalf("%s: %d bits, float %v, %d Hz, %d channels", a.Path, wav.BitsPerSample, wav.Float, wav.SampleRateHz, len(wav.Channels))
		}
		for n, v := range wav.Channels[0] {
			if v != float64(float32(a.Samples[n])) {
				t.Fatalf("%s: sample %d is %v, want %v", a.Path, n, v, a.Samples[n])
			}
		}
	}
	names, err := filepath.Glob(filepath.Join(tables, "*.csv"))
	if err != nil || len(names) != 9 { // all but that of recordings
		t.Errorf("tables %v, %v", names, err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "out", "*", ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("temporary files left: %v %v", left, err)
	}

	// One file that can't be written keeps all others from being written.
	blocked := filepath.Join(dir, "blocked")
	if err := os.MkdirAll(filepath.Join(blocked, "wells.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	if o := leadline("check", survey, "--tables", blocked); o.code != exitUsage || !strings.Contains(o.stderr, "wells.csv") {
		t.Errorf("a folder in a table's place: exit %d, %s", o.code, o.stderr)
	}
	if names, _ := filepath.Glob(filepath.Join(blocked, "*.csv")); len(names) != 1 {
		t.Errorf("%v was written although one table could not be", names)
	}

	// Never over the inputs: the empty room's recordings stand in a folder of that name.
	edit(t, survey, func(s string) string { return strings.ReplaceAll(s, "panel/arc", "gated/arc") })
	if err := os.Rename(filepath.Join(dir, "panel"), filepath.Join(dir, "gated")); err != nil {
		t.Fatal(err)
	}
	edit(t, survey, func(s string) string { return strings.ReplaceAll(s, `name = "arc-80"`, `name = "x"`) })
	if err := os.Rename(filepath.Join(dir, "gated", "arc-80.wav"), filepath.Join(dir, "gated", "x-panel.wav")); err != nil {
		t.Fatal(err)
	}
	edit(t, survey, func(s string) string { return strings.ReplaceAll(s, "gated/arc-80.wav", "gated/x-panel.wav") })
	if o := leadline("check", survey, "--responses", dir); o.code != exitUsage || !strings.Contains(o.stderr, "files to be read") {
		t.Errorf("over an input: exit %d, %s", o.code, o.stderr)
	}
}
