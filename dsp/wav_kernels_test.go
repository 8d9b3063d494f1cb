package dsp

import (
	"encoding/binary"
	"math"
	"testing"
)

// Samples four at a time against one by one, to the bit, from and to slices that end with the last sample.
func TestWAVKernelsAgainstPlain(t *testing.T) {
	special := []float32{0, float32(math.Copysign(0, -1)), 1, -1, math.MaxFloat32, -math.MaxFloat32, math.SmallestNonzeroFloat32, 1e-40}
	bad := []float32{float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))}
	for n := range 23 {
		x := randomSamples(uint64(n), n)
		for i := range x {
			if i%3 == 0 {
				x[i] = float64(special[i%len(special)])
			}
		}
		x = append(x, 1+0x1p-24, 1+0x3p-24, 1+0x1p-24+0x1p-50)[:n+3] // halves to even, and just above one
		for _, align := range []int{4, 8, 12} {
			bytes, want := make([]byte, align*(len(x)-1)+4), make([]byte, align*(len(x)-1)+4)
			toFloats(bytes, x, align)
			toFloatsPlain(want, x, align)
			if string(bytes) != string(want) {
				t.Fatalf("%d samples %d bytes apart: % X, want % X", len(x), align, bytes, want)
			}
			sameFloats(t, bytes, len(x), align)
			for at := range x {
				for _, v := range bad {
					spoilt := append([]byte(nil), bytes...)
					binary.LittleEndian.PutUint32(spoilt[align*at:], math.Float32bits(v))
					if got := sameFloats(t, spoilt, len(x), align); got != at {
						t.Fatalf("%v at sample %d found at %d", v, at, got)
					}
				}
			}
		}
		for size := 2; size <= 4; size++ {
			for _, align := range []int{size, 2 * size} {
				bytes := make([]byte, align*n+size)
				for i := range bytes {
					bytes[i] = byte(31*i + i*i/7)
				}
				got, want := make([]float64, n+1), make([]float64, n+1)
				wordsOf(got, bytes, size, align, 0x1p-15)
				wordsOfPlain(want, bytes, size, align, 0x1p-15)
				if !sameBits(got, want) {
					t.Fatalf("%d integers of %d bytes %d apart: %v, want %v", n+1, size, align, got, want)
				}
			}
		}
	}
}

// sameFloats returns where the first bad sample is.
func sameFloats(t *testing.T, bytes []byte, n, align int) int {
	t.Helper()
	got, want := make([]float64, n), make([]float64, n)
	bad := floatsOf(got, bytes, align)
	if plain := floatsOfPlain(want, bytes, align); plain != bad {
		t.Fatalf("the first bad sample is %d, want %d", bad, plain)
	}
	if !sameBits(got[:bad], want[:bad]) {
		t.Fatalf("%v, want %v", got[:bad], want[:bad])
	}
	return bad
}
