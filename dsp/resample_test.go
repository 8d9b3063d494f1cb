package dsp

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readReference reads a table written by testdata/scipy/make_dsp.py: one slice per column.
func readReference(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("../testdata/scipy/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var columns [][]float64
	for s := bufio.NewScanner(f); s.Scan(); {
		fields := strings.Fields(s.Text())
		if columns == nil {
			columns = make([][]float64, len(fields))
		}
		for i, field := range fields {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			columns[i] = append(columns[i], v)
		}
	}
	return columns
}

// Tones in closed form, up to the edge of the pass band: a resampled tone is the tone sampled at the new rate.
func TestResampleTones(t *testing.T) {
	const n = 3000
	for _, ratio := range []float64{1, 1 + 30e-6, 1 - 50e-6, 147.0 / 160, 160.0 / 147, 2, 0.25, 4, math.Sqrt2, 1 / math.Pi} {
		for _, part := range []float64{0, 0.1, 0.5, 0.8, 0.99} { // of the pass band
			freq := part * ResamplePassBand * math.Min(1, ratio) / 2 // cycles per old sample
			x := make([]float64, n)
			for i := range x {
				x[i] = math.Cos(2*math.Pi*freq*float64(i) + 0.3)
			}
			y, err := Resample(x, ratio)
			if err != nil {
				t.Fatal(err)
			}
			edge := int(96*math.Max(1, ratio)) + 2
			worst := 0.0
			for m := edge; m < len(y)-edge; m++ {
				worst = math.Max(worst, math.Abs(y[m]-math.Cos(2*math.Pi*freq*float64(m)/ratio+0.3)))
			}
			// The promise of the doc: 100 dB.
			if worst > 1e-5 {
				t.Errorf("ratio %v, %v of the pass band: error %.2g", ratio, part, worst)
			}
		}
	}
}

// What the new rate can't hold must vanish rather than fold.
func TestResampleSuppressesWhatWouldFold(t *testing.T) {
	const ratio = 0.4
	for _, freq := range []float64{0.2005, 0.25, 0.37, 0.49} { // cycles per old sample; half the new rate is 0.2
		x := make([]float64, 4000)
		for i := range x {
			x[i] = math.Cos(2 * math.Pi * freq * float64(i))
		}
		y, err := Resample(x, ratio)
		if err != nil {
			t.Fatal(err)
		}
		for m := 100; m < len(y)-100; m++ {
			if math.Abs(y[m]) > 1e-5 { // the promise of the doc: 100 dB
				t.Fatalf("a tone at %v of the rate left %v at sample %d", freq, y[m], m)
			}
		}
	}
}

// SciPy's Fourier resampling is exact for a transient that is silent at both ends.
func TestResampleAgainstSciPy(t *testing.T) {
	x := readReference(t, "resample_in.txt")[0]
	for name, ratio := range map[string]float64{"resample_up.txt": 441.0 / 400, "resample_clock.txt": 801.0 / 800} {
		want := readReference(t, name)[0]
		y, err := Resample(x, ratio)
		if err != nil {
			t.Fatal(err)
		}
		for m, v := range y {
			// The promise of the doc, 100 dB: the transient's highest component, 0.31 + 5/(2π·25) cycles per sample, is in the pass band.
			if math.Abs(v-want[m]) > 1e-5 {
				t.Fatalf("%s: sample %d is %v, SciPy has %v", name, m, v, want[m])
			}
		}
	}
}

func TestResampleLengthsAndErrors(t *testing.T) {
	for _, c := range []struct {
		n     int
		ratio float64
		want  int
	}{{1, 3, 1}, {2, 3, 4}, {160, 147.0 / 160, 147}, {161, 147.0 / 160, 148}, {100001, 1 + 30e-6, 100004}, {0, 2, 0}} {
		y, err := Resample(make([]float64, c.n), c.ratio)
		if err != nil || len(y) != c.want {
			t.Errorf("%d samples by %v: %d samples, error %v; want %d", c.n, c.ratio, len(y), err, c.want)
		}
	}
	for _, ratio := range []float64{0, -1, math.NaN(), math.Inf(1), 17, 1.0 / 17} {
		if _, err := Resample([]float64{1, 2}, ratio); err == nil || !strings.Contains(err.Error(), "1/16 to 16") {
			t.Errorf("ratio %v: error %v, want one that names the range", ratio, err)
		}
	}
}

// The table against the kernel one by one, and that against Bessel's series written plainly.
func TestResampleTableIsTheKernel(t *testing.T) {
	bessel := func(x float64) float64 { // Abramowitz and Stegun 9.6.12
		sum, term := 1.0, 1.0
		for k := 1.0; term > 1e-18*sum; k++ {
			term *= (x / (2 * k)) * (x / (2 * k))
			sum += term
		}
		return sum
	}
	for _, scale := range []float64{1, 0.99997, 0.5} {
		half, phases := int(math.Ceil(resampleZeros/scale)), 7
		for r, row := range resampleTable(half, phases, scale) {
			for i, got := range row {
				u := float64(i-half+1) - float64(r)/float64(phases)
				if want := resampleKernel(u, scale); math.Abs(got-want) > 1e-14 {
					t.Fatalf("scale %v, row %d, entry %d: %v, the kernel is %v", scale, r, i, got, want)
				}
				v := u * scale / resampleZeros
				if v <= -1 || v >= 1 || u == 0 {
					continue
				}
				want := math.Sin(math.Pi*resampleCutoff*scale*u) / (math.Pi * u) * bessel(resampleBeta*math.Sqrt(1-v*v)) / bessel(resampleBeta)
				if math.Abs(got-want) > 1e-13 {
					t.Fatalf("scale %v, %v samples from the centre: %v, want %v", scale, u, got, want)
				}
			}
		}
	}
}
