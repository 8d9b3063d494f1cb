package scatter

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"
)

func hankelStandardLibrary(x float64) (h0, h1 complex128) {
	return complex(math.J0(x), math.Y0(x)), complex(math.J1(x), math.Y1(x))
}

// hankelTolerance is relative to the modulus. The boundary integrals need 1e-10; hankel promises 3e-14, the reference adds
// its own rounding, and what is left over allows for processors that fuse multiplication and addition.
const hankelTolerance = 5e-14

// logSpaced calls f for count values from low to high at equal ratios.
func logSpaced(low, high float64, count int, f func(x float64)) {
	for i := range count {
		f(low * math.Pow(high/low, float64(i)/float64(count-1)))
	}
}

// traced returns the Hankel functions by rays of these lengths.
func traced(xs []float64) [][2]complex128 {
	s := &rays{}
	for _, x := range xs {
		s.from(Point{-x, 0}, Point{1, 0})
	}
	return s.trace(1, s.measure(nil))[:len(xs)]
}

// Rays four at once against one number after the other, over all segments, with numbers between that vectors can't do.
func TestHankelsTwin(t *testing.T) {
	var xs []float64
	logSpaced(1e-7, 2*maxHankelX, 50_000, func(x float64) { xs = append(xs, x) })
	for s := 1; s <= envelopeSegments; s++ {
		x := envelopeSegments / float64(s)
		xs = append(xs, x, math.Nextafter(x, 0), math.NaN(), math.Nextafter(x, 1e9), 0.5, math.Inf(1))
	}
	got := traced(xs)
	worst := 0.0
	for i, x := range xs {
		h0, h1 := hankel(x)
		if math.IsNaN(x) {
			if !cmplx.IsNaN(got[i][0]) || !cmplx.IsNaN(got[i][1]) {
				t.Errorf("x = %g: %v, want not a number", x, got[i])
			}
			continue
		}
		if x > 1e9 {
			continue
		}
		worst = max(worst, cmplx.Abs(got[i][0]-h0)/cmplx.Abs(h0), cmplx.Abs(got[i][1]-h1)/cmplx.Abs(h1))
	}
	below(t, "Hankel functions four at once", worst, hankelTolerance, "each within its own rounding")
}

// The table comes from mpmath with 40 digits, see testdata/scipy/hankel_make.py. It is checked one by one and four at once.
func TestHankelTable(t *testing.T) {
	file, err := os.Open("../../testdata/scipy/hankel.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var worst, worstX, first, last float64
	var xs []float64
	var want [][2]complex128
	for i, row := range rows[1:] {
		var v [5]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(row[k], 64); err != nil {
				t.Fatal(err)
			}
		}
		if i == 0 {
			first = v[0]
		}
		last = v[0]
		xs, want = append(xs, v[0]), append(want, [2]complex128{complex(v[1], v[2]), complex(v[3], v[4])})
	}
	four := traced(xs)
	for i, x := range xs {
		h0, h1 := hankel(x)
		for _, got := range [][2]complex128{{h0, h1}, four[i]} {
			for n := range got {
				if e := cmplx.Abs(got[n]-want[i][n]) / cmplx.Abs(want[i][n]); !(e <= worst) {
					worst, worstX = e, x
				}
			}
		}
	}
	if first > 1e-6 || last < maxHankelX {
		t.Errorf("the table runs from %g to %g, want 1e-6 to the end of the polynomials", first, last)
	}
	if !(worst < hankelTolerance) {
		t.Errorf("error %.2g at x = %g", worst, worstX)
	}
	t.Logf("largest error %.2g, at x = %g", worst, worstX)
}

// Against the standard library, whose errors are below 1e-15, and the Wronskian J1 Y0 − J0 Y1 = 2/(πx) (DLMF 10.5.2).
func TestHankelDense(t *testing.T) {
	var worst, worstX, worstWronskian, wronskianX float64
	logSpaced(1e-6, 4e4, 100_000, func(x float64) {
		want0, want1 := hankelStandardLibrary(x)
		h0, h1 := hankel(x)
		if e := max(cmplx.Abs(h0-want0)/cmplx.Abs(want0), cmplx.Abs(h1-want1)/cmplx.Abs(want1)); !(e <= worst) {
			worst, worstX = e, x
		}
		w := real(h1)*imag(h0) - real(h0)*imag(h1)
		if e := math.Abs(w-2/(math.Pi*x)) / (cmplx.Abs(h0) * cmplx.Abs(h1)); !(e <= worstWronskian) {
			worstWronskian, wronskianX = e, x
		}
	})
	if !(worst < hankelTolerance) {
		t.Errorf("error %.2g at x = %g", worst, worstX)
	}
	if !(worstWronskian < 2*hankelTolerance) { // two factors, each within the tolerance
		t.Errorf("Wronskian off by %.2g at x = %g", worstWronskian, wronskianX)
	}
	t.Logf("largest difference %.2g, at x = %g; Wronskian %.2g, at x = %g", worst, worstX, worstWronskian, wronskianX)
}

// Across every border between two polynomials the step must be what the derivatives H0′ = −H1 and H1′ = H0 − H1/x say.
func TestHankelContinuity(t *testing.T) {
	borders := []float64{maxHankelX}
	for s := 1; s <= envelopeSegments; s++ {
		borders = append(borders, envelopeSegments/float64(s))
	}
	for _, border := range borders {
		// A few doubles away on both sides, as 1/x and its segment are rounded.
		a, b := border*(1-1e-15), border*(1+1e-15)
		a0, a1 := hankel(a)
		b0, b1 := hankel(b)
		step := complex(b-a, 0)
		jump0 := cmplx.Abs(b0-a0+step*a1) / cmplx.Abs(a0)
		jump1 := cmplx.Abs(b1-a1-step*(a0-a1/complex(a, 0))) / cmplx.Abs(a1)
		if jump := max(jump0, jump1); !(jump < hankelTolerance) {
			t.Errorf("jump of %.2g at x = %g", jump, border)
		}
	}
}

func TestHankelOutside(t *testing.T) {
	same := func(a, b float64) bool {
		return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= hankelTolerance*math.Abs(b)
	}
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 5e-324, 1e-320, 1e-300, 1e-100, 1e-9, 4e4, 1e6, 1e300} {
		want0, want1 := hankelStandardLibrary(x)
		h0, h1 := hankel(x)
		if !same(real(h0), real(want0)) || !same(imag(h0), imag(want0)) || !same(real(h1), real(want1)) || !same(imag(h1), imag(want1)) {
			t.Errorf("x = %g: got %v and %v, want %v and %v", x, h0, h1, want0, want1)
		}
	}
}

// The benchmarks run over the arguments of a panel calculation, wavenumber times distance: sixteen neighbours, as in a run of elements, and then others.
func hankelArguments() (xs [1024]float64) {
	i := 0
	logSpaced(0.05, 500, len(xs), func(x float64) {
		xs[i/16*37%64*16+i%16] = x
		i++
	})
	return xs
}

var hankelSink complex128

func BenchmarkHankel(b *testing.B) {
	xs := hankelArguments()
	for i := 0; b.Loop(); i++ {
		h0, h1 := hankel(xs[i%len(xs)])
		hankelSink = h0 + h1
	}
}

func BenchmarkHankels(b *testing.B) {
	xs := hankelArguments()
	s := &rays{}
	began := processorSeconds()
	for b.Loop() {
		s.list = s.list[:0]
		for _, x := range xs {
			s.from(Point{-x, 0}, Point{1, 0})
		}
		s.fours = s.measure(s.fours[:0])
		s.trace(1, s.fours)
	}
	b.ReportMetric((processorSeconds()-began)*1e9/float64(b.N)/float64(len(xs)), "cpu-ns/argument")
}

func BenchmarkHankelStandardLibrary(b *testing.B) {
	xs := hankelArguments()
	began := processorSeconds()
	for i := 0; b.Loop(); i++ {
		h0, h1 := hankelStandardLibrary(xs[i%len(xs)])
		hankelSink = h0 + h1
	}
	b.ReportMetric((processorSeconds()-began)*1e9/float64(b.N), "cpu-ns/argument")
}
