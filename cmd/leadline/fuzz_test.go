package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
)

// tinySurvey is checked in a tenth of a second: one position, two wells.
const tinySurvey = `title = "Tiny"
[air]
temperature_c = 20
[panel]
depths_m = [0.0, 0.1]
well_width_m = 0.05
fin_thickness_m = 0.005
height_m = 0.2
cap_m = 0.01
back_m = 0.01
[source]
position_m = [0, 2, 0]
[[position]]
name = "a"
mic_m = [0.2, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
`

// fiveTinyPlaces hears a reflection where the panel's is.
const fiveTinyPlaces = `[air]
speed_of_sound_m_s = 343
[panel]
depths_m = [0.0, 0.05]
well_width_m = 0.05
fin_thickness_m = 0.005
height_m = 0.2
cap_m = 0.01
back_m = 0.01
[source]
position_m = [0, 2, 0]
[[position]]
name = "a"
mic_m = [0, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
[[position]]
name = "b"
mic_m = [0.05, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
[[position]]
name = "c"
mic_m = [-0.05, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
[[position]]
name = "d"
mic_m = [0.1, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
[[position]]
name = "e"
mic_m = [-0.1, 1, 0]
empty = "empty.wav"
panel = "panel.wav"
`

// tinyWAV holds a pulse, and smaller ones later.
func tinyWAV(t testing.TB, at ...int) []byte {
	x := make([]float64, 400)
	for i, n := range at {
		x[n] = 0.9 / float64(1+2*i)
	}
	var b bytes.Buffer
	if err := dsp.WriteWAV(&b, &dsp.Audio{SampleRateHz: 8000, Channels: [][]float64{x}}, dsp.WAVFormat{SampleRateHz: 8000, BitsPerSample: 16}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// tiny writes the tiny survey and its files into dir and returns its path.
func tiny(t testing.TB, dir string) string {
	t.Helper()
	for name, data := range map[string][]byte{"survey.toml": []byte(tinySurvey), "empty.wav": tinyWAV(t, 47), "panel.wav": tinyWAV(t, 47, 90, 101)} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "survey.toml")
}

// heapAllocated gives the heap bytes that f allocates in all, freed again or not.
func heapAllocated(f func()) int {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return int(after.TotalAlloc - before.TotalAlloc)
}

// refused checks what must hold after exit 2: one line that says why, and nothing else, anywhere.
func refused(t *testing.T, o outcome, files ...string) {
	t.Helper()
	if o.code != exitUsage || o.stdout != "" || !strings.HasPrefix(o.stderr, "leadline: ") || strings.Count(o.stderr, "\n") != 1 {
		t.Errorf("exit %d, want %d and one line: stdout %q, stderr %q", o.code, exitUsage, o.stdout, o.stderr)
	}
	for _, f := range files {
		if _, err := os.Lstat(f); err == nil {
			t.Errorf("%s was written", f)
		}
	}
}

// small says that a survey is one that a fuzzer has the time for.
func small(s *analysis.Survey) bool {
	p := &s.Panel
	if len(p.DepthsM) > 4 || p.WidthM() > 0.4 || p.HeightM > 0.4 || p.OuterDepthM() > 0.4 || len(s.Positions) > 5 || len(s.Files()) > 12 {
		return false
	}
	if s.Row != nil && (len(s.Row.Order) > 2 || s.Row.Panels > 2) || len(s.Seats) > 0 { // the field at a seat takes seconds
		return false
	}
	return s.Sweep == nil || s.Sweep.Seconds < 1 || s.Sweep.File != ""
}

// FuzzCheck: whatever a survey and its files hold, a check ends with one of the four exit codes, and with all that belongs to it.
func FuzzCheck(f *testing.F) {
	good, panel := tinyWAV(f, 47), tinyWAV(f, 47, 90, 101)
	f.Add([]byte(tinySurvey), good, panel)
	f.Add([]byte(strings.Replace(tinySurvey, "[source]", "[gate]\nstart_s = 0.002\nend_s = 0.04\n[room]\nfloor_m = -0.4\n[source]", 1)), good, panel)
	f.Add([]byte(strings.Replace(tinySurvey, `empty = "empty.wav"`, `flat = ["empty.wav"]`, 1)), good, panel)
	f.Add([]byte(strings.Replace(tinySurvey, `depths_m = [0.0, 0.1]`, "sequence = \"primitive root\"\nprime = 3\ndesign_frequency_hz = 900", 1)), panel, panel[:300])
	f.Add([]byte(tinySurvey+"[[position]]\nname = \"b\"\nangle_deg = -20\ndistance_m = 1\npanel = \"panel.wav\"\nempty = \"empty.wav\"\n"), tinyWAV(f, 10, 390), tinyWAV(f, 0, 2))
	f.Add([]byte(tinySurvey+"[sweep]\nlow_hz = 100\nhigh_hz = 3000\nseconds = 0.03\n"), good, panel)
	f.Add([]byte(fiveTinyPlaces), tinyWAV(f, 47), tinyWAV(f, 47, 93, 97)) // enough to recover depths
	f.Add([]byte(tinySurvey+"[row]\norder = \"DI\"\ngap_m = 0.05\n"), good, panel)
	f.Add([]byte(tinySurvey+"[row]\npanels = 2\nkinds = \"DM\"\n"), good, panel)
	dir := f.TempDir()
	html := filepath.Join(dir, "report.html")
	f.Fuzz(func(t *testing.T, survey, empty, panel []byte) {
		path := filepath.Join(dir, "survey.toml")
		s, err := analysis.ParseSurvey(survey, path)
		if err == nil && !small(s) || len(empty)+len(panel) > 8192 {
			t.Skip()
		}
		for name, data := range map[string][]byte{"survey.toml": survey, "empty.wav": empty, "panel.wav": panel} {
			if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		os.Remove(html)
		var o outcome
		used := heapAllocated(func() { o = leadline("check", path, "--report", html, "--data", "-") })
		// the prediction's share depends on the panel, and this one is small
		if limit := 512<<20 + 4000*(len(survey)+len(empty)+len(panel)); used > limit {
			t.Errorf("%d bytes allocated", used)
		}
		if o.code == exitUsage {
			refused(t, o, html)
			return
		}
		var result analysis.Result
		if err := json.Unmarshal([]byte(o.stdout), &result); err != nil {
			t.Fatalf("exit %d: %v: %.200q", o.code, err, o.stdout)
		}
		want := map[analysis.Verdict]int{analysis.AsDesigned: exitAsDesigned, analysis.Differs: exitDiffers, analysis.Undecided: exitUndecided}
		if code, ok := want[result.Verdict]; !ok || code != o.code {
			t.Errorf("exit %d with the verdict %q", o.code, result.Verdict)
		}
		page, err := os.ReadFile(html)
		if err != nil || !bytes.HasSuffix(bytes.TrimSpace(page), []byte("</html>")) {
			t.Errorf("no whole report: %v", err)
		}
		for _, w := range result.Wells {
			if math.IsInf(float64(w.BuiltM), 0) {
				t.Errorf("well %d: %v m", w.Number, w.BuiltM)
			}
		}
	})
}

// FuzzPlan: whatever a plan file holds, it is refused in one line or planned, and then the survey file that comes out can be read.
func FuzzPlan(f *testing.F) {
	f.Add([]byte(planExample))
	f.Add([]byte(strings.NewReplacer("radius_m = [1.0, 2.0]", "radius_m = 1", "step_deg = 5", "step_deg = 45", "prime = 13", "prime = 3").Replace(planExample)))
	dir := f.TempDir()
	path, sheet, out := filepath.Join(dir, "room.toml"), filepath.Join(dir, "sheet.html"), filepath.Join(dir, "survey.toml")
	f.Fuzz(func(t *testing.T, room []byte) {
		if err := os.WriteFile(path, room, 0o600); err != nil {
			t.Fatal(err)
		}
		os.Remove(sheet)
		os.Remove(out)
		var o outcome
		used := heapAllocated(func() { o = leadline("plan", path, "--sheet", sheet, "--survey", out) })
		if limit := 256<<20 + 4000*len(room); used > limit {
			t.Errorf("%d bytes allocated", used)
		}
		if o.code == exitUsage {
			refused(t, o, sheet, out)
			return
		}
		if _, err := analysis.LoadSurvey(out); o.code != 0 || err != nil {
			t.Errorf("exit %d: %v", o.code, err)
		}
	})
}

// FuzzCompare: whatever two results hold, comparing them ends in a whole comparison or in one line.
func FuzzCompare(f *testing.F) {
	dir := f.TempDir()
	before, after, html := filepath.Join(dir, "before.json"), filepath.Join(dir, "after.json"), filepath.Join(dir, "comparison.html")
	write(f, filepath.Join(dir, "survey.toml"), fiveTinyPlaces)
	write(f, filepath.Join(dir, "empty.wav"), string(tinyWAV(f, 47)))
	write(f, filepath.Join(dir, "panel.wav"), string(tinyWAV(f, 47, 93, 97)))
	if o := leadline("check", filepath.Join(dir, "survey.toml"), "--data", after); o.code != exitUndecided {
		f.Fatalf("%+v", o)
	}
	var result map[string]any
	if err := json.Unmarshal([]byte(read(f, after)), &result); err != nil {
		f.Fatal(err)
	}
	for _, large := range []string{"responses", "far_field", "time_view", "notes"} {
		delete(result, large)
	}
	small, err := json.Marshal(result)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(small, small)
	f.Add(small, []byte(read(f, after)))
	f.Add(small, bytes.ReplaceAll(small, []byte(`"undecided"`), []byte(`"deep"`)))
	f.Add(small, bytes.ReplaceAll(small, []byte(`:0.0`), []byte(`:1e300,"x":0.0`)))
	f.Fuzz(func(t *testing.T, first, next []byte) {
		write(t, before, string(first))
		write(t, after, string(next))
		os.Remove(html)
		o := leadline("compare", before, after, "--report", html, "--data", "-")
		if o.code == exitUsage {
			refused(t, o, html)
			return
		}
		if !json.Valid([]byte(o.stdout)) || !strings.HasSuffix(strings.TrimSpace(read(t, html)), "</html>") {
			t.Errorf("exit %d without a whole comparison: %.200q", o.code, o.stdout)
		}
	})
}
