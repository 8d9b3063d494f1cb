package analysis

import "errors"

// QuadraticResidue returns n² mod prime for n = 0 … prime−1.
func QuadraticResidue(prime int) ([]int, error) { return nil, errors.New("sequence: not written yet") }

// PrimitiveRoot returns root^n mod prime for n = 0 … prime−2 with the least primitive root.
func PrimitiveRoot(prime int) (seq []int, root int, err error) {
	return nil, 0, errors.New("sequence: not written yet")
}

// SequenceDepths returns the depths in metres, s·c/(2·modulus·f0).
func SequenceDepths(seq []int, modulus int, designFrequencyHz, speedOfSoundMS float64) []float64 {
	return nil
}
