package scatter

import "math"

// hankel returns H0⁽¹⁾(x) and H1⁽¹⁾(x), the Hankel functions of the first kind for real x > 0
// (outgoing waves for e^{-iωt}; Abramowitz and Stegun 9.1.3).
func hankel(x float64) (h0, h1 complex128) {
	return complex(math.J0(x), math.Y0(x)), complex(math.J1(x), math.Y1(x))
}

// integralH0 returns ∫₀ˣ H0⁽¹⁾(t) dt from the power series of J0 and Y0 (Abramowitz and Stegun 9.1.12, 9.1.13),
// integrated term by term. It is meant for the half length of one boundary element, x below about 3.
func integralH0(x float64) complex128 {
	if x == 0 {
		return 0
	}
	q := -x * x / 4
	logTerm := math.Log(x/2) + eulerGamma
	term, harmonic := 1.0, 0.0 // term = (-x²/4)^n / (n!)², harmonic = 1 + 1/2 + … + 1/n
	var j, y float64
	for n := 0; n < 60; n++ {
		if n > 0 {
			term *= q / float64(n*n)
			harmonic += 1 / float64(n)
		}
		odd := float64(2*n + 1)
		j += term / odd
		// ∫ t^{2n} (ln(t/2) + γ − H_n) dt = x^{2n+1}/(2n+1) · (ln(x/2) + γ − H_n − 1/(2n+1))
		step := term / odd * (logTerm - harmonic - 1/odd)
		y += step
		if math.Abs(term) < 1e-18 {
			break
		}
	}
	return complex(x*j, x*2/math.Pi*y)
}

const eulerGamma = 0.57721566490153286060651209008240243
