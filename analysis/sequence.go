package analysis

import "fmt"

// DesignSpeedOfSoundMS is the speed of sound, in m/s, that turns a sequence into depths: ISO 9613-1 at 20 °C.
// A design is a drawing, so it does not change with the air of the measuring day.
const DesignSpeedOfSoundMS = 343.2

// maxWells bounds what a survey can ask for: no panel comes near it.
const maxWells = 1024

// QuadraticResidue returns the sequence n² mod prime for n = 0 … prime−1 (M. R. Schroeder, J. Acoust. Soc. Am. 65 (1979)
// 958). The panel's phases exp(−2πi·s/prime) have a discrete Fourier transform of equal magnitude √prime.
// Anything but an odd prime up to 1021 is an error.
func QuadraticResidue(prime int) ([]int, error) {
	if err := checkPrime(prime); err != nil {
		return nil, err
	}
	seq := make([]int, prime)
	for n := range seq {
		seq[n] = n * n % prime
	}
	return seq, nil
}

// PrimitiveRoot returns the sequence root^n mod prime for n = 0 … prime−2, one well fewer than the prime, and the root:
// the least whose powers take every value from 1 to prime−1 (Schroeder 1979). With the modulus prime, the order 0 of its
// discrete Fourier transform has the magnitude 1 and every other one √prime.
// Anything but an odd prime up to 1021 is an error.
func PrimitiveRoot(prime int) (seq []int, root int, err error) {
	if err := checkPrime(prime); err != nil {
		return nil, 0, err
	}
	for root = 2; ; root++ { // every prime has a primitive root
		if seq = powers(root, prime); len(seq) == prime-1 {
			return seq, root, nil
		}
	}
}

// powers returns 1, root, root², … mod prime up to where they repeat.
func powers(root, prime int) []int {
	seq := []int{1}
	for s := root % prime; s != 1; s = s * root % prime {
		seq = append(seq, s)
	}
	return seq
}

// SequenceDepths returns the depth of each well in metres: s·λ/(2·modulus) with λ = c/f the wavelength at the design
// frequency in hertz and c in m/s, so that the wave going in and out of the well turns by 2π·s/modulus. The modulus is the
// prime for both kinds of sequence (T. J. Cox and P. D'Antonio, Acoustic Absorbers and Diffusers; from memory). The result
// has seq's length; it is not finite where modulus or frequency is 0.
func SequenceDepths(seq []int, modulus int, designFrequencyHz, speedOfSoundMS float64) []float64 {
	step := speedOfSoundMS / (2 * float64(modulus) * designFrequencyHz)
	depths := make([]float64, len(seq))
	for i, s := range seq {
		depths[i] = float64(s) * step
	}
	return depths
}

func checkPrime(prime int) error {
	if prime > 2 && prime <= maxWells && isPrime(prime) {
		return nil
	}
	return fmt.Errorf("sequence: found %d, expected an odd prime from 3 to 1021; %s", prime, nearestPrimes(prime))
}

func isPrime(n int) bool {
	if n < 2 {
		return false
	}
	for d := 2; d <= n/d; d++ {
		if n%d == 0 {
			return false
		}
	}
	return true
}

// nearestPrimes says which primes stand on either side of n.
func nearestPrimes(n int) string {
	if n <= 3 {
		return "use 3 or more"
	}
	if n > maxWells {
		return "use 1021 or less"
	}
	below, above := n-1, n+1
	for !isPrime(below) {
		below--
	}
	for !isPrime(above) {
		above++
	}
	if above > maxWells {
		return fmt.Sprintf("use %d", below)
	}
	return fmt.Sprintf("use %d or %d", below, above)
}
