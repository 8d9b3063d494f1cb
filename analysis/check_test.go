package analysis

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// benchResult checks a survey of the virtual bench, once per test run.
func benchResult(t *testing.T, name string) *Result {
	t.Helper()
	benchMutex.Lock()
	defer benchMutex.Unlock()
	if r, ok := benchResults[name]; ok {
		return r
	}
	s, err := LoadSurvey(filepath.Join("..", "fixtures", "virtual-bench", name+".toml"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Check(context.Background(), s, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	benchResults[name] = r
	return r
}

var (
	benchMutex   sync.Mutex
	benchResults = map[string]*Result{}
)

// The virtual bench, an independent three-dimensional wave simulation, is the outside reference: what was built there is in its geometry.json.
// The limits are the ones the project set itself for it.
func TestBenchPredictionAgainstMeasurement(t *testing.T) {
	for _, name := range []string{"room-a-panel-as-designed", "room-b-panel-as-designed"} {
		r := benchResult(t, name)
		var squares float64
		count := 0
		for i, b := range r.Bands {
			if b.CentreHz < 1200 || b.CentreHz > 4100 {
				continue
			}
			if !b.Usable {
				t.Errorf("%s: %.0f Hz is not usable: %s", name, b.CentreHz, b.Why)
				continue
			}
			var band float64
			n := 0
			for _, p := range r.Positions {
				if math.Abs(p.AngleDeg) > 60.5 {
					continue
				}
				d := float64(p.PredictedDB[i] - p.PanelDB[i])
				band += d * d
				n++
			}
			if n != 25 {
				t.Fatalf("%s: %d positions within 60°, want 25", name, n)
			}
			squares, count = squares+band, count+n
			d := b.Diffusion
			t.Logf("%s %5.0f Hz: %.2f dB rms; diffusion measured %.3f predicted %.3f, flat %.3f %.3f", name, b.CentreHz, math.Sqrt(band/float64(n)), d.Panel, d.PredictedPanel, d.Flat, d.PredictedFlat)
			near(t, fmt.Sprintf("%s, diffusion at %.0f Hz", name, b.CentreHz), float64(d.PredictedPanel), float64(d.Panel), 0.04, "limit set for the virtual bench")
			near(t, fmt.Sprintf("%s, flat board's diffusion at %.0f Hz", name, b.CentreHz), float64(d.PredictedFlat), float64(d.Flat), 0.04, "limit set for the virtual bench")
		}
		rms := math.Sqrt(squares / float64(count))
		t.Logf("%s: %.2f dB rms over all", name, rms)
		atMost(t, name+", level", rms, 1.0, "limit set for the virtual bench")
	}
}

func TestBenchVerdictsAndDepths(t *testing.T) {
	for _, c := range []struct {
		name    string
		verdict Verdict
		wrong   map[int]float64 // well: built depth
		within  float64
	}{
		{"room-a-panel-as-designed", AsDesigned, nil, 0.001},
		{"room-b-panel-as-designed", AsDesigned, nil, 0.0015},
		{"room-b-panel-built-1", Differs, map[int]float64{4: 0.11, 11: 0.1275}, 0.0015},
		{"room-a-panel-built-2", Differs, map[int]float64{3: 0.1325, 7: 0.0525, 10: 0}, 0.0015},
	} {
		r := benchResult(t, c.name)
		if r.Verdict != c.verdict {
			t.Errorf("%s: verdict %q, want %q", c.name, r.Verdict, c.verdict)
		}
		for _, w := range r.Wells {
			truth, wrong := c.wrong[w.Number]
			if !wrong {
				truth = w.DesignM
			}
			near(t, fmt.Sprintf("%s, well %d", c.name, w.Number), float64(w.BuiltM), truth, c.within, "limit set for the virtual bench")
			if flagged := w.Verdict == "deep" || w.Verdict == "shallow"; flagged != wrong {
				t.Errorf("%s: well %d is called %s", c.name, w.Number, w.Verdict)
			}
			if !(float64(w.LowM) <= truth && truth <= float64(w.HighM)) {
				t.Errorf("%s: well %d: the interval %.4f to %.4f m misses %.4f m", c.name, w.Number, w.LowM, w.HighM, truth)
			}
		}
		if r.Headline == "" || len(r.ToDo) == 0 || len(r.HowSure) == 0 || !strings.Contains(r.Receivers.Text, "17497") {
			t.Errorf("%s: words are missing", c.name)
		}
	}
}

// The same input gives the same result to the last bit, on any number of processors.
func TestCheckIsDeterministic(t *testing.T) {
	whole := func() string {
		b, err := json.Marshal(benchResult(t, "room-b-panel-built-1"))
		if err != nil {
			t.Fatal(err)
		}
		delete(benchResults, "room-b-panel-built-1")
		return string(b)
	}
	a := whole()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, threads := range []int{1, 2, 4} {
		runtime.GOMAXPROCS(threads)
		if b := whole(); a != b {
			t.Errorf("on %d threads the result is another", threads)
		}
	}
}

// Positions at two sample rates: one is resampled with a warning, and the depths stay where they were.
func TestPositionsAtTwoSampleRates(t *testing.T) {
	s, err := LoadSurvey("../fixtures/virtual-bench/room-b-panel-built-1.toml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for i := range s.Positions {
		if i%3 != 0 {
			continue
		}
		for _, files := range [][]string{s.Positions[i].Empty, s.Positions[i].Flat, s.Positions[i].Panel} {
			for n, file := range files {
				a, err := dsp.ReadWAV(file)
				if err != nil {
					t.Fatal(err)
				}
				if a.Channels[0], err = dsp.Resample(a.Channels[0], 2); err != nil {
					t.Fatal(err)
				}
				a.SampleRateHz *= 2
				files[n] = filepath.Join(dir, filepath.Base(filepath.Dir(file))+filepath.Base(file))
				if err := dsp.WriteWAVFile(files[n], a, dsp.WAVFormat{SampleRateHz: a.SampleRateHz, BitsPerSample: 64, Float: true}); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	r, err := Check(context.Background(), s, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	want := benchResult(t, "room-b-panel-built-1")
	for i, w := range r.Wells {
		near(t, fmt.Sprintf("well %d", w.Number), float64(w.BuiltM), float64(want.Wells[i].BuiltM), 5e-5, "the resampling filter ends at 0.92 of half the lower rate, far above the bands")
	}
	warned := 0
	for _, w := range r.Warnings {
		if w.Code == "sample rate" {
			warned++
		}
	}
	if warned != 22 {
		t.Errorf("%d positions warned of, want 22", warned)
	}
}
