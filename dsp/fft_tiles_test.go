package dsp

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

var tileLengths = []int{512, 576, 640, 768, 960, 1024, 1536, 1600, 4096, 5760, 8000/64*64*0 + 9600, 65536, 96000, 245760}

// The root mean square of a transform's error against gonum's, which knows nothing of tiles.
func TestTilesAgainstGonum(t *testing.T) {
	for _, n := range tileLengths {
		if !tileLength(n) {
			t.Fatalf("%d is no length for tiles", n)
		}
		x := randomSamples(uint64(n), n)
		plan := fourier.NewFFT(n)
		want := plan.Coefficients(nil, append([]float64(nil), x...))
		got := tilesFor(n).spectrum(append([]float64(nil), x...))
		if len(got) != len(want) {
			t.Fatalf("n = %d: %d lines, want %d", n, len(got), len(want))
		}
		for k := range want {
			// √n is the size of a line of white samples; both sides round, gonum's more the longer its factors
			if cmplx.Abs(got[k]-want[k]) > 3e-14*math.Sqrt(float64(n)) {
				t.Fatalf("n = %d, line %d: %v, gonum has %v", n, k, got[k], want[k])
			}
		}
		back := tilesFor(n).signal(got)
		for i := range x {
			if math.Abs(back[i]-x[i]) > 1e-14 {
				t.Fatalf("n = %d: sample %d comes back as %v, was %v", n, i, back[i], x[i])
			}
		}
	}
}

// A filter in tiles against the spectra multiplied one by one.
func TestFilterAgainstSpectra(t *testing.T) {
	for _, n := range append([]int{2, 90, 270}, tileLengths...) {
		G := RealSpectrum(randomSamples(uint64(n)+1, n), n)
		x := randomSamples(uint64(n)+2, n-n/5)
		X := RealSpectrum(x, n)
		for k := range X {
			X[k] *= G[k]
		}
		want := RealSignal(X, n)
		for i, v := range newFilter(G, n).apply(x) {
			if math.Abs(v-want[i]) > 1e-14*float64(n) { // samples are of the size of √n
				t.Fatalf("n = %d, sample %d: %v, want %v", n, i, v, want[i])
			}
		}
	}
}

// The processor's own instructions against the same steps in Go.
func TestPassesAgainstPlain(t *testing.T) {
	if !hasVectors {
		t.Skip("this processor has only one way")
	}
	for _, radix := range []int{2, 3, 4, 5} {
		for _, m := range []int{1, 2, 7} {
			for _, s := range []int{1, 3, 8} {
				src, tw := randomSamples(5, 8*radix*m*s), randomSamples(6, 2*(radix-1)*m)
				got, want := make([]float64, len(src)), make([]float64, len(src))
				pass(radix, got, src, tw, m, s)
				passPlain(radix, want, src, tw, m, s)
				for i := range want {
					if math.Abs(got[i]-want[i]) > 1e-14*10 {
						t.Fatalf("radix %d, m = %d, s = %d: value %d is %v, want %v", radix, m, s, i, got[i], want[i])
					}
				}
			}
		}
	}
}

func TestTurnsAgainstPlain(t *testing.T) {
	const rows, quads, stride = 16, 2, 80
	tile, turns, lanes := randomSamples(1, 8*(rows+1)), randomSamples(2, 2*(rows+1)), randomSamples(3, 8*(rows+1))
	for _, step := range []int{1, -1} {
		first := 0
		if step < 0 {
			first = rows
		}
		got, want := make([]float64, stride*quads), make([]float64, stride*quads)
		turnOut(got, tile, turns, lanes, stride, first, step, quads)
		turnOutPlain(want, tile, turns, lanes, stride, first, step, quads)
		back, wantBack := make([]float64, len(tile)), make([]float64, len(tile))
		turnIn(back, want, turns, lanes, stride, first, step, quads)
		turnInPlain(wantBack, want, turns, lanes, stride, first, step, quads)
		for _, pair := range [][2][]float64{{got, want}, {back, wantBack}} {
			for i, v := range pair[0] {
				if math.Abs(v-pair[1][i]) > 1e-13 { // products of up to five white samples, rounded differently
					t.Fatalf("step %d, value %d: %v, want %v", step, i, v, pair[1][i])
				}
			}
		}
	}
}

func TestFilterTilesAgainstPlain(t *testing.T) {
	const n = 12
	lanes, turns := make([]complex128, 4), make([]complex128, n)
	for i := range lanes {
		lanes[i] = complex(root(i, 400))
	}
	for i := range turns {
		turns[i] = complex(root(7*i, 400))
	}
	p := randomSamples(1, 16*n)
	a, b := randomSamples(2, 8*n), randomSamples(3, 8*n)
	wantA, wantB := slices.Clone(a), slices.Clone(b)
	filterTiles(a, b, p, lanes, turns)
	filterTilesPlain(wantA, wantB, p, lanes, turns)
	for i := range a {
		if math.Abs(a[i]-wantA[i]) > 1e-14 || math.Abs(b[i]-wantB[i]) > 1e-14 { // sums of six products of white samples; the two ways round differently
			t.Fatalf("value %d: %v and %v, want %v and %v", i, a[i], b[i], wantA[i], wantB[i])
		}
	}
}

// Samples that end anywhere are samples with zeros after them, and a part of the result is that part, both to the bit.
func TestFilterOfPartsIsTheWhole(t *testing.T) {
	for _, n := range []int{90, 512, 1600, 5760} {
		f := newFilter(RealSpectrum(randomSamples(uint64(n)+1, n), n), n)
		for _, length := range []int{0, 1, 7, n / 5, n/2 + 3, n - 9, n - 1, n} {
			x := randomSamples(2, length)
			want := f.apply(append(slices.Clone(x), make([]float64, n-length)...))
			if !sameBits(f.apply(x), want) {
				t.Fatalf("n = %d: %d samples and zeros after them differ", n, length)
			}
			for _, from := range []int{0, 1, n / 3, n - 1} {
				for _, count := range []int{0, 1, 8, n / 5, n - 1, n} {
					got := make([]float64, count)
					f.cut(got, x, from)
					for i, v := range got {
						if math.Float64bits(v) != math.Float64bits(want[(from+i)%n]) {
							t.Fatalf("n = %d, %d samples: %d from %d on: sample %d is %v, want %v", n, length, count, from, i, v, want[(from+i)%n])
						}
					}
				}
			}
		}
	}
}

func BenchmarkTransform(b *testing.B) {
	for _, n := range []int{512, 1536, 12000 / 64 * 64, 240000, 960000} {
		if !tileLength(n) {
			n = SmoothLength(n)
		}
		x := randomSamples(1, n)
		X := RealSpectrum(x, n)
		f := newFilter(X, n)
		b.Run(fmt.Sprintf("spectrum/%d", n), func(b *testing.B) {
			for b.Loop() {
				RealSpectrum(x, n)
			}
		})
		b.Run(fmt.Sprintf("signal/%d", n), func(b *testing.B) {
			for b.Loop() {
				RealSignal(X, n)
			}
		})
		b.Run(fmt.Sprintf("filter/%d", n), func(b *testing.B) {
			for b.Loop() {
				f.apply(x)
			}
		})
		b.Run(fmt.Sprintf("cut/%d", n), func(b *testing.B) {
			dst := make([]float64, n/5)
			for b.Loop() {
				f.cut(dst, x, 0)
			}
		})
		plan := fourier.NewFFT(n)
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			for b.Loop() {
				plan.Coefficients(X, x)
			}
		})
	}
}
