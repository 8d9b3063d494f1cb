package scatter

import (
	"math"
	"slices"
	"sync"
)

// Inside a well the velocity at the mouth falls into modes cos(mπu/w), of which each goes down the well and back: the pressure of mode m is −cot(φ)/q times its
// velocity, with φ = q·depth + i·loss and q² = k² − (mπ/w)². For the functions φ_f this makes ∫ p φ_i = −Σ_j W_ij v_j over the mouth,
//
//	W_ij = w Σ_m ε_m β_mi β_mj cot(φ_m)/q_m,
//
// where β_mf is the mean of φ_f cos(mπu/w). Most modes decay before they reach the bottom; of these −i cot φ = 1 is left, whatever the depth, and their sum is a
// power series in k² whose coefficients are known beforehand.

const (
	modesInTail   = 400 // the sum's terms fall as m^{−7/3}; the rest is below 1e-4 of it
	shallowModes  = 64  // at most so many follow the depth of a shallow well; the rest counts nothing beside them
	tailTerms     = 10
	tailFrom      = 6 // the lowest mode that may be in the tail
	tailReach     = 4 // a mode in the tail has mπ ≥ tailReach·kw, so that the series converges as 16^{−p}
	tailLast      = 2*maxWavelengths*tailReach + 2
	closedDepthM  = 1e-18 // stands for no depth: v is as good as 0, yet still tells p
	nearResonance = 1e-9
)

// modeShapes holds what modes and functions have to do with each other.
type modeShapes struct {
	functions int
	mean      [][]float64   // β by mode and function
	pairs     []pair        // of functions, f ≤ g
	alike     []pair        // of equal parity; of the others nothing is left
	byParity  [2][]pair     // with both functions even, or odd
	tail      [][][]float64 // by first mode, power, and pair of functions: Σ ε β β /(mπ)^{1+2p}, times the power's coefficient in (1−x)^{−1/2}
}

// pair is an entry of a symmetric matrix's upper triangle.
type pair struct{ f, g, index int }

var shapesOf = struct {
	sync.Mutex
	known map[int]*modeShapes // by number of functions
}{known: map[int]*modeShapes{}}

func newModeShapes(functions int) *modeShapes {
	shapesOf.Lock()
	defer shapesOf.Unlock()
	if s := shapesOf.known[functions]; s != nil {
		return s
	}
	s := &modeShapes{functions: functions}
	r := ruleOf(modesInTail)
	s.mean = make([][]float64, modesInTail)
	for m := range s.mean {
		s.mean[m] = make([]float64, functions)
		if m == 0 {
			s.mean[m][0] = 1 // and exactly 0 for the others: near a resonance of the plane mode rounding would be blown up
			continue
		}
		for q, xi := range r.node {
			value := r.values(q)
			cosine := math.Cos(float64(m) * math.Pi * (xi + 1) / 2)
			for f := m & 1; f < functions; f += 2 {
				s.mean[m][f] += value[f] * cosine
			}
		}
	}
	for f := range functions {
		for g := f; g < functions; g++ {
			p := pair{f, g, len(s.pairs)}
			s.pairs = append(s.pairs, p)
			if f&1 == g&1 {
				s.alike = append(s.alike, p)
				s.byParity[f&1] = append(s.byParity[f&1], p)
			}
		}
	}
	s.tail = make([][][]float64, tailLast+1)
	sums := make([][]float64, tailTerms)
	for p := range sums {
		sums[p] = make([]float64, len(s.pairs))
	}
	for m := modesInTail - 1; m >= tailFrom; m-- {
		factor := 2 / (float64(m) * math.Pi)
		for p := range sums {
			for _, pair := range s.pairs {
				sums[p][pair.index] += factor * s.mean[m][pair.f] * s.mean[m][pair.g]
			}
			factor *= (float64(p) + 0.5) / float64(p+1) / (float64(m*m) * math.Pi * math.Pi)
		}
		if m <= tailLast {
			s.tail[m] = make([][]float64, tailTerms)
			for p := range sums {
				s.tail[m][p] = slices.Clone(sums[p])
			}
		}
	}
	shapesOf.known[functions] = s
	return s
}

// wellMatrix is W for one well, and minus its derivatives: the upper triangles, row by row.
type wellMatrix struct {
	w, depth, loss []complex128
}

// set fills in the matrix for a well of width widthM, k2 being the squared wavenumber of the plane wave, and on request the derivatives.
func (m *wellMatrix) set(s *modeShapes, widthM float64, k2 complex128, well Well, derivatives bool) {
	cleared := func(v []complex128) []complex128 {
		v = slices.Grow(v[:0], len(s.pairs))[:len(s.pairs)]
		clear(v)
		return v
	}
	m.w = cleared(m.w)
	if derivatives {
		m.depth, m.loss = cleared(m.depth), cleared(m.loss)
	}
	size, first := tailBegins(widthM, k2, well)
	for mode := range first {
		across := float64(mode) * math.Pi / widthM
		row := newWellMode(k2-complex(across*across, 0), across, well)
		norm := widthM * modeNorm(mode)
		ratio, slope := scale(row.ratio, norm), scale(row.slope, norm)
		lossSlope := scaleI(slope*row.inverse, 1)
		mean := s.mean[mode]
		for _, pair := range s.byParity[mode&1] {
			both := mean[pair.f] * mean[pair.g]
			m.w[pair.index] += scale(ratio, both)
			if derivatives {
				m.depth[pair.index] += scale(slope, both)
				m.loss[pair.index] += scale(lossSlope, both)
			}
		}
	}
	power, step := complex(-widthM*widthM, 0), scale(k2, widthM*widthM)
	lowest := float64(first) * math.Pi
	ratio, left := size*size/(lowest*lowest), 1.0
	for _, row := range s.tail[first] {
		for _, pair := range s.alike {
			m.w[pair.index] += scale(power, row[pair.index])
		}
		power *= step
		if left *= ratio; left < 1e-14 {
			break
		}
	}
}

// tailBegins returns the first mode of the tail, and the well's width times √|k2|.
func tailBegins(widthM float64, k2 complex128, well Well) (size float64, first int) {
	size = widthM * math.Sqrt(math.Abs(real(k2))+math.Abs(imag(k2)))
	first = max(tailFrom, int(tailReach*size/math.Pi)+1)
	if deep := 5 * widthM; deep > float64(shallowModes)*well.DepthM { // e^{−2·5π} of the first mode that is taken as deep returns
		first = max(first, shallowModes)
	} else {
		first = max(first, int(deep/well.DepthM)+1)
	}
	return size, min(first, tailLast)
}

// wellMode is one mode at the mouth.
type wellMode struct {
	inverse complex128 // 1/q
	ratio   complex128 // cot(φ)/q
	slope   complex128 // −d ratio/d depth = 1/sin² φ; per loss it is i/q times as much
}

// newWellMode never gives infinite numbers: at a resonance of a mode (sin φ = 0), and where it begins to propagate (q = 0), it stays a little beside it.
func newWellMode(q2 complex128, across float64, well Well) wellMode {
	if least := nearResonance * (across*across + 1e-6); math.Abs(real(q2))+math.Abs(imag(q2)) < least {
		q2 = complex(-least, 0)
	}
	q := sqrtUp(q2)
	mode := wellMode{inverse: invert(q)}
	depth := max(well.DepthM, closedDepthM)
	turn, decay := real(q)*depth, imag(q)*depth+well.Loss
	if decay > 18 { // nothing returns
		mode.ratio = scaleI(mode.inverse, -1)
		return mode
	}
	if turn+decay < 1e-8 { // cot φ = 1/φ, sin φ = φ within rounding
		inverse := invert(complex(turn, decay))
		mode.ratio, mode.slope = inverse*mode.inverse, inverse*inverse
		return mode
	}
	// both times e^{−decay}
	var missing float64
	if decay > 0.5 {
		missing = 0.5 - 0.5*math.Exp(-2*decay) // nothing cancels
	} else {
		missing = -0.5 * math.Expm1(-2*decay)
	}
	sin, cos := math.Sincos(turn)
	sine := complex(sin*(1-missing), cos*missing)
	cosine := complex(cos*(1-missing), -sin*missing)
	if across > 0 && math.Abs(real(sine))+math.Abs(imag(sine)) < nearResonance && turn > 1 || sine == 0 {
		sine = nearResonance
	}
	inverse := invert(sine)
	mode.ratio = cosine * inverse * mode.inverse
	mode.slope = scale(inverse*inverse, 1-2*missing)
	return mode
}

// invert returns 1/z for numbers whose square is neither too large nor too small.
func invert(z complex128) complex128 {
	re, im := real(z), imag(z)
	size := 1 / (re*re + im*im)
	return complex(re*size, -im*size)
}

// first returns W_00 of wellMatrix alone.
func (s *modeShapes) first(widthM float64, k2 complex128, well Well) complex128 {
	size, first := tailBegins(widthM, k2, well)
	var w complex128
	for mode := 0; mode < first; mode += 2 { // the mean velocity is even
		across := float64(mode) * math.Pi / widthM
		mean := s.mean[mode][0]
		w += scale(newWellMode(k2-complex(across*across, 0), across, well).ratio, widthM*modeNorm(mode)*mean*mean)
	}
	power, step := complex(-widthM*widthM, 0), scale(k2, widthM*widthM)
	lowest := float64(first) * math.Pi
	ratio, left := size*size/(lowest*lowest), 1.0
	for _, row := range s.tail[first] {
		w += scale(power, row[0])
		power *= step
		if left *= ratio; left < 1e-14 {
			break
		}
	}
	return w
}
