package dsp

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
)

// sciPy is testdata/scipy/references.json, made by make_references.py beside it.
type sciPy struct {
	BlackmanHarris []float64 `json:"blackman_harris"`
	Bands          struct {
		Samples  []float64
		Energies []struct {
			MiddleHz float64 `json:"middle_hz"`
			Energy   float64
		}
	}
	StudentT95 map[string]float64 `json:"student_t_95"`
}

func readSciPy(t *testing.T) (s sciPy) {
	t.Helper()
	data, err := os.ReadFile("../testdata/scipy/references.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &s); err != nil {
		t.Fatal(err)
	}
	if len(s.BlackmanHarris) == 0 || len(s.Bands.Energies) == 0 || len(s.StudentT95) == 0 {
		t.Fatal("references.json lacks values")
	}
	return s
}

// The gate's two halves are SciPy's blackmanharris window, which has the minimum four terms of Harris (1978) as well.
func TestGateWindowAgainstSciPy(t *testing.T) {
	want := readSciPy(t).BlackmanHarris
	middle := (len(want) - 1) / 2
	g := GateWindow{OpenS: 0, FullS: 0.0005, FallS: 0.00568, ClosedS: 0.0079} // EN 1793-5, from memory: 0.5, 5.18 and 2.22 ms
	for i, w := range want {
		if i == 0 || i == len(want)-1 {
			continue // 6e-5 there, where the gate is shut
		}
		at := float64(i) / float64(middle)
		got := g.At(at * g.FullS)
		if i > middle {
			got = g.At(g.FallS + (at-1)*(g.ClosedS-g.FallS))
		}
		near(t, "window "+strconv.Itoa(i), got, w, 1e-12)
	}
}

// Energies of third octaves from the spectrum against SciPy's Butterworth band-passes of order 2·8 on the same signal. Such a filter passes noise as an ideal band-pass
// wider by (π/16)/sin(π/16) does, 0.028 dB; what slopes over its skirts makes the rest.
func TestBandEnergyAgainstSciPyFilters(t *testing.T) {
	ref := readSciPy(t).Bands
	const rate = 48000.0
	n := SmoothLength(1 << 17)
	spectrum := RealSpectrum(ref.Samples, n)
	bands, err := FractionalOctaves(3, 100, 5700)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range ref.Energies {
		for _, b := range bands {
			if math.Abs(b.CentreHz/e.MiddleHz-1) > 1e-6 {
				continue
			}
			got := 2 * BandEnergy(spectrum, rate/float64(n), b) / rate // Parseval, both signs of frequency
			db := 10 * math.Log10(got/e.Energy)
			t.Logf("%.0f Hz: %.3f dB", b.CentreHz, db)
			near(t, "band energy, dB re SciPy's filter", db, -0.028, 0.03)
		}
	}
}

// Student's t against SciPy, beyond the GUM's table.
func TestStudentT95AgainstSciPy(t *testing.T) {
	for freedom, want := range readSciPy(t).StudentT95 {
		n, err := strconv.Atoi(freedom)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "t", StudentT95(n+1), want, 1e-6*want)
	}
}
