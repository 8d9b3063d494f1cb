package analysis

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
)

// smallResult is a whole result of two wells, two bands and one position, as JSON.
func smallResult(t testing.TB) []byte {
	t.Helper()
	nan := Unknown()
	r := &Result{
		Schema: Schema, Kind: "check", Title: "Shelf", Survey: "shelf.toml", Verdict: Differs, Headline: "Well 2 is 4.0 mm too deep.", ToleranceM: 0.003,
		Air:   Air{SpeedOfSoundMS: 343.2, TemperatureC: 20, HumidityPercent: nan, Source: "ISO 9613-1"},
		Panel: PanelResult{Sequence: "explicit depths", Periods: 1, DesignFrequency: nan, WidthM: 0.1, HeightM: 0.5, DepthM: 0.06, WellWidthM: 0.04, FinThicknessM: 0.005, WellCentreM: []float64{-0.0225, 0.0225}, DesignDepthM: []float64{0, 0.05}},
		Wells: []Well{
			{Number: 1, BuiltM: 0.0002, LowM: 0, HighM: 0.001, DifferenceM: 0.0002, Verdict: "ok", GainInDiffusion: nan},
			{Number: 2, DesignM: 0.05, BuiltM: 0.054, LowM: 0.0531, HighM: 0.0549, DifferenceM: 0.004, Verdict: "deep", GainInDiffusion: 0.01},
		},
		Fit:       &DepthFit{Misfit: 0.09, DesignMisfit: 0.3, LowHz: 500, HighHz: 4000, Positions: 1, Explanations: []Explanation{{Text: "these", Misfit: 0.09, DepthM: []float64{0.0002, 0.054}}}},
		Positions: []Position{{Name: "p1", AngleDeg: 10, DistanceM: 1, MicM: [3]float64{0.17, 0.98, 0}, Used: true, PanelDB: []Num{-3, nan}, FlatDB: []Num{0, 0}}},
		Warnings:  []Warning{{"level", "p1", "quiet"}},
		Responses: &Responses{StepHz: 10, SourcePower: []Num{nan, 1}, Positions: []PositionResponses{{SampleRateHz: 48000, Panel: []Samples{{0, 0.5, -0.25}}, LimitS: nan}}},
	}
	for k := range 2 {
		c := 1000 * math.Pow(10, float64(k)/10)
		r.Bands = append(r.Bands, Band{CentreHz: c, LowHz: c * 0.891, HighHz: c * 1.122, Usable: k == 0, Diffusion: unknownDiffusion(), CorrelationScattering: nan, PredictedCorrelation: nan,
			LevelDifferenceRMSDB: 1, ToleranceDB: nan, ResidualDB: -20, PositionsUsed: 1})
	}
	r.Bands[0].Diffusion.Panel, r.Bands[0].Diffusion.PanelInterval = 0.7, &Interval{0.68, 0.72}
	b, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func mustRead(t testing.TB, raw []byte) *Result {
	t.Helper()
	r, _, err := ReadResult(bytes.NewReader(raw), "test.json")
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What is read and written again is the same, byte by byte: of the small result and of a whole check of the bench.
func TestReadResultKeepsEverything(t *testing.T) {
	whole, err := json.Marshal(benchResult(t, "room-b-panel-built-1"))
	if err != nil {
		t.Fatal(err)
	}
	for name, raw := range map[string][]byte{"small": smallResult(t), "bench": whole} {
		r, unknown, err := ReadResult(bytes.NewReader(raw), name)
		if err != nil || len(unknown) > 0 {
			t.Fatalf("%s: %v, unknown fields %v", name, err, unknown)
		}
		again, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		var compact bytes.Buffer
		if err := json.Compact(&compact, raw); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again, compact.Bytes()) {
			t.Errorf("%s: written again it differs", name)
		}
	}
}

// replaceOnce changes the JSON at one place, which must be there.
func replaceOnce(t *testing.T, raw []byte, old, new string) []byte {
	t.Helper()
	if !bytes.Contains(raw, []byte(old)) {
		t.Fatalf("the JSON holds no %q", old)
	}
	return bytes.Replace(raw, []byte(old), []byte(new), 1)
}

// Each fault is told with its place, what was found and what was expected.
func TestReadResultFaults(t *testing.T) {
	good := smallResult(t)
	nested := func(n int) string { return strings.Repeat("[", n) + strings.Repeat("]", n) }
	for _, c := range []struct {
		name     string
		old, new string
		want     []string // pieces of the message
	}{
		{"text for a number", `"tolerance_m": 0.003`, `"tolerance_m": "thin"`, []string{"test.json:", "tolerance_m", `"thin"`, "a number"}},
		{"null for what must be known", `"tolerance_m": 0.003`, `"tolerance_m": null`, []string{"tolerance_m", "null", "a number"}},
		{"a number too large", `"tolerance_m": 0.003`, `"tolerance_m": 1e999`, []string{"tolerance_m", "1e999", "64-bit"}},
		{"tolerance of 0", `"tolerance_m": 0.003`, `"tolerance_m": 0`, []string{"tolerance_m", "above 0"}},
		{"missing number", `"tolerance_m": 0.003,`, ``, []string{"test.json:1:1: tolerance_m: nothing"}},
		{"key twice", `"tolerance_m": 0.003`, `"tolerance_m": 0.003, "tolerance_m": 0.004`, []string{"tolerance_m", "second time"}},
		{"newer schema", `leadline/result/1`, `leadline/result/2`, []string{"schema", "leadline/result/2", "leadline/result/1"}},
		{"other data", `leadline/result/1`, `else`, []string{"schema", `"else"`, "leadline check --data"}},
		{"schema a number", `"leadline/result/1"`, `1`, []string{"schema", "the number", "text"}},
		{"unknown verdict", `"verdict": "differs"`, `"verdict": "fine"`, []string{"verdict", `"fine"`, `"as designed"`}},
		{"other kind", `"kind": "check"`, `"kind": "plan"`, []string{"kind", `"plan"`}},
		{"four coordinates", `0.17,`, `0.17, 1,`, []string{"positions[0].mic_m", "3 numbers"}},
		{"text for a list", `"warnings": [`, `"patterns": "none", "warnings": [`, []string{"patterns", "second time"}},
		{"a comma too many", `"wells": [`, `"wells": [,`, []string{"test.json:", "no JSON", "','"}},
		{"well numbers", `"number": 2`, `"number": 7`, []string{"wells[1].number", "7", "2"}},
		{"half a well", `"number": 2`, `"number": 2.5`, []string{"wells[1].number", "2.5", "whole number"}},
		{"interval the wrong way", `"low_m": 0.0531`, `"low_m": 0.06`, []string{"wells[1]", "inside the interval"}},
		{"lists of other lengths", `"flat_db": [`, `"flat_db": [1,`, []string{"positions[0].flat_db", "3 entries", "2 bands"}},
		{"bands out of order", `"centre_hz": 1000,`, `"centre_hz": 1300,`, []string{"bands[0]", "1300"}},
		{"samples that are none", `"panel": [
     "`, `"panel": [
     "!!`, []string{"responses.positions[0].panel[0]", "base64"}},
		{"cut samples", `AAAAAAAAAD8AAIC+`, `AAAAAAAAAD8AAA==`, []string{"responses.positions[0].panel[0]", "four for each sample"}},
		{"samples of NaN", `AAAAAAAAAD8AAIC+`, `AADAfw==`, []string{"responses.positions[0].panel[0]", "finite"}},
		{"nesting without end", `"title": "Shelf"`, `"later": ` + nested(20000), []string{"test.json:", "depth"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := ReadResult(bytes.NewReader(replaceOnce(t, good, c.old, c.new)), "test.json")
			var told *ResultError
			if !errors.As(err, &told) {
				t.Fatalf("got %v, want a ResultError", err)
			}
			for _, w := range c.want {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q lacks %q", err, w)
				}
			}
		})
	}
	for name, raw := range map[string]string{"empty": "", "blank": " \n", "cut": string(good[:len(good)/2]), "a list": "[]", "null": "null", "text": `"leadline/result/1"`, "no schema": "{}",
		"a WAV file": "RIFF\x00\x00\x00\x00WAVEfmt ", "two values": string(good) + "{}"} {
		if _, _, err := ReadResult(strings.NewReader(raw), "test.json"); err == nil || !strings.HasPrefix(err.Error(), "test.json") || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestReadResultLineAndColumn(t *testing.T) {
	raw := replaceOnce(t, smallResult(t), ` "tolerance_m": 0.003`, ` "tolerance_m": true`)
	line := 1 + bytes.Count(raw[:bytes.Index(raw, []byte(`"tolerance_m"`))], []byte("\n"))
	_, _, err := ReadResult(bytes.NewReader(raw), "test.json")
	if want := fmt.Sprintf("test.json:%d:17: tolerance_m: true: expected a number", line); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// A newer version may add fields; an older one may lack lists and numbers that may be unknown.
func TestReadResultOfOtherVersions(t *testing.T) {
	raw := replaceOnce(t, smallResult(t), `"title": "Shelf"`, `"title": "Shelf", "colour": {"deep": [1, {"x": null}]}`)
	raw = replaceOnce(t, raw, `"number": 2`, `"moisture": 0.1, "number": 2`)
	r, unknown, err := ReadResult(bytes.NewReader(raw), "test.json")
	if err != nil || !reflect.DeepEqual(unknown, []string{"colour", "wells[1].moisture"}) {
		t.Fatalf("%v, unknown %q", err, unknown)
	}
	if r.Wells[1].BuiltM != 0.054 || r.Title != "Shelf" {
		t.Error("what stands around unknown fields was read wrong")
	}
	raw = replaceOnce(t, smallResult(t), `"built_m": 0.0002,`, ``)
	if r := mustRead(t, raw); r.Wells[0].BuiltM.Known() {
		t.Errorf("a missing depth was read as %v, want unknown", r.Wells[0].BuiltM)
	}
}

func TestReadResultTooLarge(t *testing.T) {
	if _, _, err := ReadResult(blanks{}, "test.json"); err == nil || !strings.Contains(err.Error(), "64 MiB") {
		t.Errorf("a file without end: %v", err)
	}
	if _, _, err := ReadResult(iotest.ErrReader(os.ErrPermission), "test.json"); !errors.Is(err, os.ErrPermission) {
		t.Errorf("a reader that fails: %v", err)
	}
	many := replaceOnce(t, smallResult(t), `"reasons": null`, `"reasons": [`+strings.Repeat(`"",`, mostEntries)+`""]`)
	if _, _, err := ReadResult(bytes.NewReader(many), "test.json"); err == nil || !strings.Contains(err.Error(), "reasons") {
		t.Errorf("%d reasons: %v", mostEntries+1, err)
	}
	if _, _, err := LoadResult(filepath.Join(t.TempDir(), "nowhere.json")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

// blanks is a file that never ends.
type blanks struct{}

func (blanks) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	return len(p), nil
}

// FuzzReadResult: whatever is read, it is refused with its place or gives a result that can be written, read again and compared with itself.
func FuzzReadResult(f *testing.F) {
	good := smallResult(f)
	f.Add(good)
	for _, s := range []string{``, `{}`, `null`, `[]`, `{"schema":"leadline/result/1"}`, `{"schema":"leadline/result/1","kind":"check","bands":[{}]}`, `{"schema":1e999}`, "\ufeff{}", `{"a":` + strings.Repeat("[", 50)} {
		f.Add([]byte(s))
	}
	f.Add(bytes.ReplaceAll(good, []byte("null"), []byte("[]")))
	f.Add(bytes.ReplaceAll(good, []byte("0.05"), []byte("-1e300")))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var r *Result
		var err error
		if used := allocated(func() { r, _, err = ReadResult(bytes.NewReader(raw), "fuzz.json") }); used > 1<<20+2000*len(raw) {
			t.Errorf("%d bytes allocated for %d", used, len(raw))
		}
		if err != nil {
			if r != nil || !strings.HasPrefix(err.Error(), "fuzz.json") {
				t.Errorf("error %q without the file's name, or with a result", err)
			}
			return
		}
		once, err := json.Marshal(r)
		if err != nil {
			t.Fatalf("what was read can't be written: %v", err)
		}
		again, _, err := ReadResult(bytes.NewReader(once), "again.json")
		if err != nil {
			t.Fatalf("what was written can't be read: %v", err)
		}
		if twice, _ := json.Marshal(again); !bytes.Equal(once, twice) {
			t.Error("written and read again it differs")
		}
		r.Aligned()
	})
}

// A result that an early version wrote can still be read. Where this fails, a field was added that must be there: make it one that may be missing (Num, text, list or
// pointer), or give the schema a new number. Never rewrite the file.
func TestReadResultOfTheFirstVersion(t *testing.T) {
	r, unknown, err := LoadResult(filepath.Join("testdata", "result-first.json"))
	if err != nil || len(unknown) > 0 {
		t.Fatalf("%v, unknown fields %q", err, unknown)
	}
	if len(r.Wells) != 2 || r.Wells[1].BuiltM != 0.054 || len(r.Responses.Positions[0].Panel[0]) != 3 {
		t.Errorf("read wrong: %+v", r)
	}
}
