package scatter

import "math"

// hankel returns H0⁽¹⁾(x) and H1⁽¹⁾(x), the Hankel functions of the first kind for real x > 0
// (outgoing waves for e^{-iωt}; Abramowitz and Stegun 9.1.3). Below maxHankelX the error is less than 3e-14 of the modulus;
// above, and for anything that is no positive number, the standard library answers, at several times the cost.
//
// Up to x = 1 it sums the power series. Beyond, H = e^{ix} √u g(u) with u = 1/x, where g has no oscillation left
// (the asymptotic series 9.2.7 is its expansion at u = 0), so that a short polynomial serves for each stretch of u.
func hankel(x float64) (h0, h1 complex128) {
	switch {
	case x > 0 && x <= 1:
		return hankelSeries(x)
	case x > 1 && x < maxHankelX:
		return hankelEnvelope(x)
	}
	return complex(math.J0(x), math.Y0(x)), complex(math.J1(x), math.Y1(x))
}

// A quad holds one coefficient of each of four real polynomials. Where they are summed they are written out,
// because in a loop the compiler would keep the four sums in memory.
type quad [4]float64

// hankelSeries is hankel for 0 < x ≤ 1.
func hankelSeries(x float64) (h0, h1 complex128) {
	z, c := x*x, &series
	p0 := c[0][0] + z*(c[1][0]+z*(c[2][0]+z*(c[3][0]+z*(c[4][0]+z*(c[5][0]+z*(c[6][0]+z*c[7][0]))))))
	p1 := c[0][1] + z*(c[1][1]+z*(c[2][1]+z*(c[3][1]+z*(c[4][1]+z*(c[5][1]+z*(c[6][1]+z*c[7][1]))))))
	p2 := c[0][2] + z*(c[1][2]+z*(c[2][2]+z*(c[3][2]+z*(c[4][2]+z*(c[5][2]+z*(c[6][2]+z*c[7][2]))))))
	p3 := c[0][3] + z*(c[1][3]+z*(c[2][3]+z*(c[3][3]+z*(c[4][3]+z*(c[5][3]+z*(c[6][3]+z*c[7][3]))))))
	l := 2/math.Pi*math.Log(x) + 2/math.Pi*(eulerGamma-math.Ln2)
	j1 := x * p2
	return complex(p0, l*p0+p1), complex(j1, l*j1+x*p3-2/math.Pi/x)
}

// series holds the coefficients in x² of J0, Y0 − l J0, J1/x and (Y1 − l J1 + 2/πx)/x, with l = 2/π (ln(x/2) + γ)
// (Abramowitz and Stegun 9.1.10, 9.1.11, 9.1.13). At x = 1 the first term left out is 2e-14, in Y0.
var series = func() (s [8]quad) {
	term, harmonic := 1.0, 0.0 // term = (−1/4)^k / (k!)², harmonic = 1 + 1/2 + … + 1/k
	for k := range s {
		next := float64(k + 1)
		s[k] = quad{term, -2 / math.Pi * harmonic * term, term / (2 * next), -(2*harmonic + 1/next) / (2 * math.Pi) * term / next}
		term /= -4 * next * next
		harmonic += 1 / next
	}
	return s
}()

const (
	maxHankelX       = 1 << 15 // keeps the count of circle steps below 2^20
	envelopeSegments = 64
	circleSteps      = 128
)

// hankelEnvelope is hankel for 1 < x < maxHankelX.
func hankelEnvelope(x float64) (h0, h1 complex128) {
	u := 1 / x
	place := u * envelopeSegments
	segment := int(place)
	t := place - float64(segment) - 0.5
	c := &envelopes[segment&(envelopeSegments-1)] // the mask only spares the bounds check
	p0 := c[0][0] + t*(c[1][0]+t*(c[2][0]+t*(c[3][0]+t*(c[4][0]+t*c[5][0]))))
	p1 := c[0][1] + t*(c[1][1]+t*(c[2][1]+t*(c[3][1]+t*(c[4][1]+t*c[5][1]))))
	p2 := c[0][2] + t*(c[1][2]+t*(c[2][2]+t*(c[3][2]+t*(c[4][2]+t*c[5][2]))))
	p3 := c[0][3] + t*(c[1][3]+t*(c[2][3]+t*(c[3][3]+t*(c[4][3]+t*c[5][3]))))

	// e^{ix}: the nearest step around the circle, turned by the small rest y. The step is split in two (Cody and Waite):
	// its high part has 33 bits, so that the product with the count is exact.
	const (
		step     = 2 * math.Pi / circleSteps
		stepHigh = 0x1.921fb544p-5
		stepLow  = step - stepHigh
	)
	count := int(x*(1/step) + 0.5)
	y := x - float64(count)*stepHigh - float64(count)*stepLow
	root, q := math.Sqrt(u), y*y
	cosY := root * (1 + q*(-1./2+q*(1./24-q*(1./720))))
	sinY := root * y * (1 + q*(-1./6+q*(1./120)))
	at := &circlePoints[count&(circleSteps-1)]
	cos, sin := at[0]*cosY-at[1]*sinY, at[0]*sinY+at[1]*cosY
	return complex(p0*cos-p1*sin, p0*sin+p1*cos), complex(p2*cos-p3*sin, p2*sin+p3*cos)
}

// circlePoints holds cos and sin of each step around the circle.
var circlePoints = func() (points [circleSteps][2]float64) {
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / circleSteps)
		points[i] = [2]float64{cos, sin}
	}
	return points
}()

// envelopes holds, for equal segments of 0 ≤ u < 1, the real and imaginary parts of H0 √x e^{-ix} and H1 √x e^{-ix} as
// polynomials in the distance from the segment's middle, counted in segments. They go through the standard library's values
// at the Chebyshev nodes and leave an error below 1e-14, the most in the segment at u = 0.
var envelopes = func() (all [envelopeSegments][6]quad) {
	for s := range all {
		c := &all[s]
		var nodes [len(c)]float64
		var values [len(c)]quad
		for i := range nodes {
			nodes[i] = math.Cos(math.Pi*(float64(i)+0.5)/float64(len(c))) / 2
			x := envelopeSegments / (float64(s) + 0.5 + nodes[i])
			j0, y0, j1, y1 := math.J0(x), math.Y0(x), math.J1(x), math.Y1(x)
			sin, cos := math.Sincos(x)
			cos, sin = cos*math.Sqrt(x), sin*math.Sqrt(x)
			values[i] = quad{j0*cos + y0*sin, y0*cos - j0*sin, j1*cos + y1*sin, y1*cos - j1*sin}
		}
		for part := range 4 {
			// Newton's divided differences, and then his polynomial multiplied out from the innermost bracket.
			for order := 1; order < len(c); order++ {
				for i := len(c) - 1; i >= order; i-- {
					values[i][part] = (values[i][part] - values[i-1][part]) / (nodes[i] - nodes[i-order])
				}
			}
			for i := len(c) - 1; i >= 0; i-- {
				for k := len(c) - 1; k > 0; k-- {
					c[k][part] = c[k-1][part] - nodes[i]*c[k][part]
				}
				c[0][part] = values[i][part] - nodes[i]*c[0][part]
			}
		}
	}
	return all
}()

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
