package dsp

import (
	"math"
	"testing"
)

func sinc(u float64) float64 {
	if u == 0 {
		return 1
	}
	return math.Sin(math.Pi*u) / (math.Pi * u)
}

// A unit sample delayed by d is sinc(i − k − d), by the sampling theorem.
func TestFractionalDelayOfOneSampleIsASinc(t *testing.T) {
	for _, d := range []float64{0, 1, -3, 0.5, 0.25, -0.7, 12.000001, -17.49, 63.9, 200.3} {
		x := make([]float64, 100)
		x[40] = 2
		for i, v := range FractionalDelay(x, d) {
			want := 2 * sinc(float64(i)-40-d)
			// The fast convolution rounds at a few 1e-16 of the largest value.
			if math.Abs(v-want) > 1e-14 {
				t.Fatalf("delay %v: sample %d is %v, want %v", d, i, v, want)
			}
		}
	}
}

// A smooth burst well below half the rate, in closed form: delayed, it is the same burst read earlier.
func TestFractionalDelayOfABurst(t *testing.T) {
	burst := func(at float64) float64 {
		u := (at - 300) / 40
		return math.Exp(-u*u/2) * math.Sin(0.9*at)
	}
	x := make([]float64, 700)
	for i := range x {
		x[i] = burst(float64(i))
	}
	for _, d := range []float64{0.1, 33.37, -27.91} {
		for i, v := range FractionalDelay(x, d) {
			// The burst's spectrum has fallen below 1e-15 at half the rate and its edges below 1e-11.
			if want := burst(float64(i) - d); math.Abs(v-want) > 1e-10 {
				t.Fatalf("delay %v: sample %d is %v, want %v", d, i, v, want)
			}
		}
	}
}

func TestFractionalDelayDoesNotWrap(t *testing.T) {
	x := make([]float64, 64)
	for i := 40; i < 64; i++ {
		x[i] = math.Sin(math.Pi * float64(i-40) / 24)
	}
	y := FractionalDelay(x, 30)
	for i, v := range y {
		if i < 64 && v != 0 && i-30 < 40 {
			t.Fatalf("sample %d is %v: what left at the end came back", i, v)
		}
	}
	if len(FractionalDelay(nil, 0.5)) != 0 {
		t.Error("no samples in, no samples out")
	}
	if y := FractionalDelay([]float64{1, 2}, math.NaN()); !math.IsNaN(y[0]) {
		t.Error("an unknown delay must not look like a known one")
	}
	if y := FractionalDelay([]float64{1, 2}, math.Inf(-1)); y[0] != 0 || y[1] != 0 {
		t.Error("an infinite delay leaves silence")
	}
}

// A stretch of several delays of the same samples is that of each delay by itself; whole delays to the bit.
func TestDelaysOfAStretch(t *testing.T) {
	x := make([]float64, 700)
	for i := range x {
		x[i] = math.Sin(0.1*float64(i)*float64(i)/700) / (1 + float64(i%13))
	}
	for _, stretch := range [][2]int{{0, 700}, {0, 1}, {300, 90}, {699, 1}, {650, 50}, {5, 0}} {
		d := NewDelays(x, stretch[0], stretch[1])
		for _, delay := range []float64{0.3, -2.75, 4, 0.3, -350, 1e-9, 698.5, -2000.25, math.Inf(1), math.NaN()} {
			got, want := d.By(delay), FractionalDelay(x, delay)[stretch[0]:][:stretch[1]]
			for i := range want {
				if !(math.Abs(got[i]-want[i]) <= 2e-15) && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) || delay == 4 && got[i] != want[i] {
					t.Fatalf("stretch %v, delay %g, sample %d: %g, want %g but for rounding", stretch, delay, i, got[i], want[i])
				}
			}
		}
	}
}
