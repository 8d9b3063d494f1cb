package analysis

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// M. R. Schroeder, J. Acoust. Soc. Am. 65 (1979) 958, for both kinds; the figures computed from his definitions.
func TestSequences(t *testing.T) {
	for _, c := range []struct {
		prime, sum, largest, root int
		orderZeroDB               float64
	}{
		{7, 14, 4, 3, -8.451},
		{11, 44, 9, 2, -10.414},
		{13, 78, 12, 2, -11.139},
		{17, 136, 16, 3, -12.305},
		{23, 184, 18, 5, -13.617},
		{43, 860, 41, 3, -16.335},
	} {
		seq, err := QuadraticResidue(c.prime)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0
		for _, s := range seq {
			sum += s
		}
		if len(seq) != c.prime || sum != c.sum || slices.Max(seq) != c.largest {
			t.Errorf("prime %d: %d wells, sum %d, largest %d; want %d, %d, %d", c.prime, len(seq), sum, slices.Max(seq), c.prime, c.sum, c.largest)
		}
		for order := range seq {
			checkMagnitude(t, c.prime, order, panelOrder(seq, c.prime, 1, order), math.Sqrt(float64(c.prime)))
		}

		seq, root, err := PrimitiveRoot(c.prime)
		if err != nil {
			t.Fatal(err)
		}
		if len(seq) != c.prime-1 || root != c.root {
			t.Errorf("prime %d: %d wells on root %d, want %d on %d", c.prime, len(seq), root, c.prime-1, c.root)
		}
		zero := panelOrder(seq, c.prime, 1, 0)
		checkMagnitude(t, c.prime, 0, zero, 1)
		for order := 1; order < len(seq); order++ {
			other := panelOrder(seq, c.prime, 1, order)
			checkMagnitude(t, c.prime, order, other, math.Sqrt(float64(c.prime)))
			// One unit of the last digit: half of it for rounding, the rest since 10 lg 17 = 12.30449 stands as 12.305.
			if got := 20 * math.Log10(zero/other); math.Abs(got-c.orderZeroDB) > 0.001 {
				t.Errorf("prime %d: order 0 re order %d: %.4f dB, want %.3f", c.prime, order, got, c.orderZeroDB)
			}
		}
	}
}

// panelOrder is the magnitude of one order of the discrete Fourier transform of the panel's phases at so many times the
// design frequency. The depths are those of SequenceDepths, so it checks their modulus too.
func panelOrder(seq []int, modulus int, times float64, order int) float64 {
	const c, f0 = 343, 500
	var sum complex128
	for n, depth := range SequenceDepths(seq, modulus, f0, c) {
		phase := 2 * (2 * math.Pi * f0 * times / c) * depth // in and out again
		sum += cmplx.Rect(1, -phase-2*math.Pi*float64(n*order)/float64(len(seq)))
	}
	return cmplx.Abs(sum)
}

func checkMagnitude(t *testing.T, prime, order int, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*float64(prime) { // rounding of as many unit vectors, whose phases are a few hundred radians
		t.Errorf("prime %d, order %d: magnitude %.12g, want %.12g", prime, order, got, want)
	}
}

// The panel on prime 7, 500 Hz, c = 343 m/s: depths and orders computed from the definition; that it acts flat at 7·f0 is
// published for this panel (Dadiotis, Angus and Cox 2008).
func TestPrimeSevenPanel(t *testing.T) {
	seq, err := QuadraticResidue(7)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0, 0.049, 0.196, 0.098, 0.098, 0.196, 0.049} {
		if got := SequenceDepths(seq, 7, 500, 343)[i]; math.Abs(got-want) > 1e-12 { // rounding alone
			t.Errorf("well %d: %.6f m, want %.3f", i+1, got, want)
		}
	}
	for _, c := range []struct {
		times float64
		want  []float64
	}{
		{1, []float64{7, 7, 7, 7, 7, 7, 7}},
		{3, []float64{7, 7, 7, 7, 7, 7, 7}},
		{6, []float64{7, 7, 7, 7, 7, 7, 7}},
		{7, []float64{49, 0, 0, 0, 0, 0, 0}},
		{1.5, []float64{2.36467, 7.49396, 4.10992, 11.71379, 11.71379, 4.10992, 7.49396}},
	} {
		for order, want := range c.want {
			got := panelOrder(seq, 7, c.times, order)
			if math.Abs(got*got-want) > 0.000005 { // the table's last digit
				t.Errorf("%g·f0, order %d: %.6f, want %.5f", c.times, order, got*got, want)
			}
		}
	}
}

func TestPrimitiveRootSequence(t *testing.T) {
	// The textbook's example on prime 7 (Cox and D'Antonio; from memory).
	seq, root, err := PrimitiveRoot(7)
	if err != nil || root != 3 || !slices.Equal(seq, []int{1, 3, 2, 6, 4, 5}) {
		t.Errorf("got %v on root %d, %v", seq, root, err)
	}
	if seq, root, err := PrimitiveRoot(3); err != nil || root != 2 || !slices.Equal(seq, []int{1, 2}) {
		t.Errorf("prime 3: got %v on root %d, %v", seq, root, err)
	}
}

// For every prime: the quadratic residues are even about their middle, their inverse is a permutation of them for
// N ≡ 1 mod 4 alone, and the primitive root takes every value once.
func TestSequenceProperties(t *testing.T) {
	var primes []int
	for n := 3; n <= 1021; n++ {
		if isPrime(n) {
			primes = append(primes, n)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		prime := rapid.SampledFrom(primes).Draw(t, "prime")
		seq, err := QuadraticResidue(prime)
		if err != nil {
			t.Fatal(err)
		}
		inverse := make([]int, prime)
		for n, s := range seq {
			inverse[n] = (prime - s) % prime
			if n > 0 && s != seq[prime-n] {
				t.Fatalf("well %d has %d, its mirror %d", n, s, seq[prime-n])
			}
		}
		if permutes := slices.Equal(slices.Sorted(slices.Values(seq)), slices.Sorted(slices.Values(inverse))); permutes != (prime%4 == 1) {
			t.Fatalf("inverse is a permutation: %v", permutes)
		}
		roots, _, err := PrimitiveRoot(prime)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range slices.Sorted(slices.Values(roots)) {
			if s != i+1 {
				t.Fatalf("value %d is missing", i+1)
			}
		}
	})
}

func TestNotAPrime(t *testing.T) {
	for _, c := range []struct {
		n    int
		want string
	}{
		{-7, "sequence: found -7, expected an odd prime from 3 to 1021; use 3 or more"},
		{0, "sequence: found 0, expected an odd prime from 3 to 1021; use 3 or more"},
		{2, "sequence: found 2, expected an odd prime from 3 to 1021; use 3 or more"},
		{9, "sequence: found 9, expected an odd prime from 3 to 1021; use 7 or 11"},
		{1022, "sequence: found 1022, expected an odd prime from 3 to 1021; use 1021"},
		{math.MaxInt, "sequence: found 9223372036854775807, expected an odd prime from 3 to 1021; use 1021 or less"},
	} {
		if _, err := QuadraticResidue(c.n); err == nil || err.Error() != c.want {
			t.Errorf("quadratic residue: got %v, want %s", err, c.want)
		}
		if _, _, err := PrimitiveRoot(c.n); err == nil || err.Error() != c.want {
			t.Errorf("primitive root: got %v, want %s", err, c.want)
		}
	}
}
