package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
)

// checkedPanel runs a check of every second position of the example, twice recorded with a little noise, with one of the bench's panels in place, and returns the result file.
func checkedPanel(t *testing.T, bench string) string {
	t.Helper()
	survey := example(t)
	dir := filepath.Dir(survey)
	edit(t, survey, keepPositions(2))
	rng := rand.New(rand.NewPCG(1, 2))
	edit(t, survey, func(s string) string {
		lines := strings.Split(s, "\n")
		for i, line := range lines {
			state, file, found := strings.Cut(strings.TrimSuffix(line, `"`), ` = "`)
			if !found || state != "panel" && state != "flat" {
				continue
			}
			folder := map[string]string{"panel": bench, "flat": "flat"}[state]
			raw, err := os.ReadFile(filepath.Join("..", "..", "fixtures", "virtual-bench", "room-b", folder, path.Base(file)))
			if err != nil {
				t.Fatal(err)
			}
			clean, err := dsp.DecodeWAV(bytes.NewReader(raw), int64(len(raw)), file)
			if err != nil {
				t.Fatal(err)
			}
			var takes []string
			for n := range 2 {
				peak := 0.0
				take := make([]float64, len(clean.Channels[0]))
				for _, v := range clean.Channels[0] {
					peak = max(peak, v, -v)
				}
				for i, v := range clean.Channels[0] {
					take[i] = v + 1e-4*peak*rng.NormFloat64()
				}
				name := strings.TrimSuffix(file, ".wav") + fmt.Sprintf("-take%d.wav", n+1)
				wav, err := wavFile(filepath.Join(dir, filepath.FromSlash(name)), take, float64(clean.SampleRateHz))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(wav.path, wav.data, 0o644); err != nil {
					t.Fatal(err)
				}
				takes = append(takes, fmt.Sprintf("%q", name))
			}
			lines[i] = state + " = [" + strings.Join(takes, ", ") + "]"
		}
		return strings.Join(lines, "\n")
	})
	out := filepath.Join(dir, bench+".json")
	if o := leadline("check", survey, "--data", out, "--quiet"); o.code == exitUsage || o.stdout != "" {
		t.Fatalf("check: %+v", o)
	}
	return out
}

// A panel with two wrong wells, then mended: the comparison names both wells, and every way out says so.
func TestCompare(t *testing.T) {
	if testing.Short() {
		t.Skip("two checks of twice as many takes")
	}
	before, after := checkedPanel(t, "panel-built-1"), checkedPanel(t, "panel-as-designed")
	dir := t.TempDir()
	html, data, tables := filepath.Join(dir, "comparison.html"), filepath.Join(dir, "comparison.json"), filepath.Join(dir, "tables")
	o := leadline("compare", before, after, "--report", html, "--data", data, "--tables", tables)
	if o.code != exitDiffers || o.stderr != "" {
		t.Fatalf("exit %d: %s", o.code, o.stderr)
	}
	golden(t, "comparison.txt", o.stdout)
	for _, name := range []string{html, data, filepath.Join(tables, "depths.csv"), filepath.Join(tables, "coefficients.csv"), filepath.Join(tables, "depth-changes.csv"), filepath.Join(tables, "coefficient-changes.csv")} {
		if info, err := os.Stat(name); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The lists over bands follow the bands: where a band is not usable its place is kept.
	r, _, err := analysis.LoadResult(before)
	if err != nil {
		t.Fatal(err)
	}
	for i, b := range r.Bands {
		p := r.Positions[0]
		if len(p.PanelIntervalDB) != len(r.Bands) || p.PanelIntervalDB[i].High.Known() != (b.Usable && p.PanelDB[i].Known()) && b.Why[:5] != "noise" {
			t.Errorf("band %.0f Hz, usable %v: interval %v of %d", b.CentreHz, b.Usable, p.PanelIntervalDB, len(p.PanelIntervalDB))
		}
	}

	if o := leadline("compare", before, before); o.code != exitAsDesigned || !strings.Contains(o.stdout, "UNCHANGED") {
		t.Errorf("a survey with itself: exit %d, %s%s", o.code, o.stdout, o.stderr)
	}
	if o := leadline("compare", before, after, before, "--data", "-"); o.code != exitAsDesigned || !strings.HasPrefix(o.stdout, "{") || !strings.HasSuffix(o.stdout, "}\n") {
		t.Errorf("there and back: exit %d, %s", o.code, o.stderr)
	}

	change := func(name, old, new string) string {
		raw, err := os.ReadFile(after)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(raw, []byte(old)) {
			t.Fatalf("no %q in the result", old)
		}
		out := filepath.Join(dir, name)
		if err := os.WriteFile(out, bytes.Replace(raw, []byte(old), []byte(new), 1), 0o644); err != nil {
			t.Fatal(err)
		}
		return out
	}
	if o := leadline("compare", before, change("newer.json", `"kind"`, `"moon": "full", "kind"`)); o.code != exitDiffers || !strings.Contains(o.stderr, "newer.json") || !strings.Contains(o.stderr, "moon") {
		t.Errorf("a newer minor version: exit %d, %s", o.code, o.stderr)
	}
	for _, c := range []struct{ name, file, want string }{
		{"one file", "", "two or more"},
		{"other schema", change("schema.json", "leadline/result/1", "leadline/result/9"), `leadline/result/9`},
		{"other panel", change("panel.json", `"height_m": 0.6`, `"height_m": 0.9`), "panel's height is 900.0 mm"},
		{"cut file", change("cut.json", `"bands": [`, "\x00"), "no JSON"},
		{"a folder", dir, "folder"},
		{"no file", filepath.Join(dir, "nowhere.json"), "nowhere.json"},
	} {
		args := []string{"compare", before}
		if c.file != "" {
			args = append(args, c.file)
		}
		target := filepath.Join(dir, "refused.html")
		o := leadline(append(args, "--report", target)...)
		if o.code != exitUsage || !strings.Contains(o.stderr, c.want) || o.stdout != "" {
			t.Errorf("%s: exit %d, %q lacks %q", c.name, o.code, o.stderr, c.want)
		}
		if _, err := os.Stat(target); err == nil {
			t.Errorf("%s: a report was written", c.name)
		}
	}
	if o := leadline("compare", before, after, "--data", before); o.code != exitUsage || !strings.Contains(o.stderr, "files to be read") {
		t.Errorf("over an input: exit %d, %s", o.code, o.stderr)
	}
}

// Too few positions for depths and no repeats for intervals: nothing can be told.
func TestCompareCannotTell(t *testing.T) {
	survey := example(t)
	edit(t, survey, keepPositions(9))
	out := filepath.Join(filepath.Dir(survey), "result.json")
	if o := leadline("check", survey, "--data", out); o.code != exitUndecided {
		t.Fatalf("check: exit %d", o.code)
	}
	if o := leadline("compare", out, out); o.code != exitUndecided || !strings.Contains(o.stdout, "CAN'T BE TOLD") {
		t.Errorf("exit %d: %s%s", o.code, o.stdout, o.stderr)
	}
}
