package scatter

import (
	"math"
	"slices"
	"sync"
)

// At the edge of a mouth the air turns round a corner of 270°, and the velocity grows as r^{−1/3} there. Cosines would take dozens to follow this. The
// mouths' velocities are therefore sums of the functions
//
//	φ_f(ξ) = 2/√h0 · w(ξ) p_f(ξ),  w = (1 − ξ²)^{−1/3},  ξ = 2(x − X0)/width − 1,
//
// with p_f the polynomials that are orthonormal under the weight w, Gegenbauer's with λ = 1/6, and h0 = ∫w. The mean of φ_0 is 1, that of the others 0.

// weightIntegral is h0 = ∫ (1 − ξ²)^{−1/3} dξ = √π Γ(2/3)/Γ(7/6).
var weightIntegral = math.Sqrt(math.Pi) * math.Gamma(2./3) / math.Gamma(7./6)

// orthonormals sets dst to p_0, p_1 … at ξ.
func orthonormals(dst []float64, xi float64) {
	before, p, b := 0.0, 1/math.Sqrt(weightIntegral), 0.0
	for n := range dst {
		dst[n] = p
		next := recurrence(n + 1)
		before, p, b = p, (xi*p-b*before)/next, next
	}
}

// polynomial returns p_n and its derivative at ξ.
func polynomial(n int, xi float64) (p, slope float64) {
	var before, slopeBefore, b float64
	p = 1 / math.Sqrt(weightIntegral)
	for m := range n {
		next := recurrence(m + 1)
		before, p, slopeBefore, slope = p, (xi*p-b*before)/next, slope, (p+xi*slope-b*slopeBefore)/next
		b = next
	}
	return p, slope
}

// recurrence returns b_n of ξ p_{n−1} = b_n p_n + b_{n−1} p_{n−2}: b_n² = n (n + 2λ − 1)/(4 (n + λ)(n + λ − 1)), λ = 1/6 (Abramowitz and Stegun 22.2, 22.7, normalised).
func recurrence(n int) float64 {
	x := float64(n)
	return math.Sqrt(x * (x - 2./3) / (4 * (x + 1./6) * (x - 5./6)))
}

// rule is Gauss's quadrature over a mouth with the weight of the velocities, exact for polynomials up to degree 2n − 1.
type rule struct {
	node        []float64   // ξ
	weight      []float64   // Σ weight·g(node) = ∫ w g dξ
	polynomials [][]float64 // per node: p_0 … p_{n−1}
	mean        []float64   // per node and function, see values
	logarithm   func() []float64
}

var rules sync.Map // by number of nodes

// ruleOf returns the rule of n nodes.
func ruleOf(n int) *rule {
	if r, known := rules.Load(n); known {
		return r.(*rule)
	}
	r, _ := rules.LoadOrStore(n, newRule(n))
	return r.(*rule)
}

func newRule(n int) *rule {
	r := &rule{}
	p := make([]float64, n)
	for i := range n {
		// Newton's method from the nodes of the asymptotic form
		x := -math.Cos(math.Pi * (float64(i) + 7./12) / (float64(n) + 1./6))
		for range 10 {
			value, slope := polynomial(n, x)
			x -= value / slope
		}
		orthonormals(p, x)
		sum := 0.0
		for _, v := range p {
			sum += v * v
		}
		r.node = append(r.node, x)
		r.weight = append(r.weight, 1/sum)
		r.polynomials = append(r.polynomials, slices.Clone(p))
		for _, v := range p {
			r.mean = append(r.mean, v/sum/math.Sqrt(weightIntegral))
		}
	}
	r.logarithm = sync.OnceValue(r.newLogarithm)
	return r
}

// values returns what the mean over the mouth of φ_f g takes of g at node q, for each f.
func (r *rule) values(q int) []float64 { return r.mean[q*len(r.node):][:len(r.node)] }

// newLogarithm returns the weights, node by node, that make Σ_qp Λ_qp g(ξ_q, ξ_p) = ∬ w w ln|ξ−t| g for polynomials g.
func (r *rule) newLogarithm() []float64 {
	n := len(r.node)
	coefficients := make([]float64, n*n)
	for i := range n {
		for j := i % 2; j < n; j += 2 {
			coefficients[i*n+j] = logCoefficient(i, j)
		}
	}
	half, out := make([]float64, n*n), make([]float64, n*n)
	for i := range n {
		for p := range n {
			for j := range n {
				half[i*n+p] += coefficients[i*n+j] * r.weight[p] * r.polynomials[p][j]
			}
		}
	}
	for q := range n {
		for p := range n {
			for i := range n {
				out[q*n+p] += r.weight[q] * r.polynomials[q][i] * half[i*n+p]
			}
		}
	}
	return out
}

// logCoefficient returns ∬ w p_n w p_m ln|ξ−t| dξ dt, n + m even. In the domain of τ the transforms of w p_n are κ_n iⁿ τ^{−λ} J_{n+λ}(τ) and that of the
// logarithm is −π/|τ|, which leaves Weber and Schafheitlin's integral (Abramowitz and Stegun 11.4.33 with equal arguments); n = m = 0 is the derivative of
// Selberg's integral with respect to the exponent of |ξ−t|.
func logCoefficient(n, m int) float64 {
	if n+m == 0 {
		digamma := func(sign, more float64) float64 { // of 2/3 and 4/3
			return -eulerGamma + sign*math.Pi/(2*math.Sqrt(3)) - 1.5*math.Log(3) + more
		}
		return weightIntegral * (digamma(1, 0) - 1.5*digamma(-1, 3) - 0.5*eulerGamma + math.Ln2)
	}
	sum, difference := float64(n+m), float64(n-m)
	sign := 1 - 2*float64((n-m)/2&1)
	integral := math.Gamma(4./3) * math.Exp(logGamma(sum/2)-logGamma(sum/2+4./3)) / math.Pow(2, 4./3)
	integral /= math.Gamma(7./6+difference/2) * math.Gamma(7./6-difference/2)
	return -transform(n) * transform(m) * sign * integral
}

func logGamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}

// transform returns κ_n: ∫ w p_n e^{iτξ} dξ = κ_n iⁿ τ^{−λ} J_{n+λ}(τ) (Gegenbauer's integral, Abramowitz and Stegun 9.1.20 for n = 0, normalised).
func transform(n int) float64 {
	const l = 1. / 6
	x := float64(n)
	return math.Sqrt(2*math.Pi*(x+l)) * math.Exp(0.5*(logGamma(x+2*l)-logGamma(x+1)))
}

// nodes returns how many nodes a quadrature needs for so many functions times one that is singular at z, in the complex plane where the mouth lies from −1 to 1, and turns by
// phase (rad) over half the mouth: the error is about 1e-6, and 0 says that no rule does it.
func nodes(functions int, z complex128, phase float64) int {
	re, square := real(z), imag(z)*imag(z)
	sum := (math.Sqrt((re+1)*(re+1)+square) + math.Sqrt((re-1)*(re-1)+square)) / 2 // the half axes of the ellipse through z with foci ±1 are this and
	rate := math.Log(sum + math.Sqrt(max(0, sum*sum-1)))                           // this root; their sum gives the rate of convergence
	need := max(8, 5+phase, 7/max(rate, 1e-3)+phase/2) + float64(max(0, functions-4))
	for n := 8; n <= mostNodes; n += max(4, n/8*4) {
		if need <= float64(n) {
			return n
		}
	}
	return 0
}

// mostNodes is where it is cheaper to grade the points.
const mostNodes = 64

// mouthPoints lays points of quadratures over mouths.
type mouthPoints struct {
	x      []float64 // the latest places in y = 0
	floats arena[float64]
}

// laid is what the functions of a mouth are at the points of a quadrature: the integral over the mouth of φ_f g is Σ widthM · value[q·stride + f] · g(x_q).
type laid struct {
	count, stride int
	value         []float64
	lasts         bool // beyond the next reset of the memory
}

// mostPoints is how many points one integral takes at most.
const mostPoints = max(mostNodes, 2*gradedPieces*len(gauss8))

// integrals sets dst to Σ value·g for each function.
func (l *laid) integrals(dst, g []complex128) {
	g = g[:l.count]
	first := 0
	if hasVectors {
		for ; first+4 <= len(dst); first += 4 {
			value := l.value[first:][:(l.count-1)*l.stride+4]
			integralsVectors(&dst[first], &g[0], l.count, &value[0], l.stride)
		}
	}
	l.integralsPlain(dst, g, first)
}

// integralsPlain is integrals from function first on.
func (l *laid) integralsPlain(dst, g []complex128, first int) {
	for f := first; f < len(dst); f++ {
		var sum complex128
		at := f
		for _, z := range g {
			sum += scale(z, l.value[at])
			at += l.stride
		}
		dst[f] = sum
	}
}

// lay chooses points for integrals of so many functions times one that is singular where y = x, such as Green's, and turns by phase (rad) over half the mouth. The places serve until the next call.
func (p *mouthPoints) lay(m Mouth, x Point, functions int, phase float64) ([]float64, laid) {
	p.x = p.x[:0]
	half := m.WidthM() / 2
	z := complex((x.X-m.MidM())/half, x.Y/half)
	if n := nodes(functions, z, phase); n > 0 {
		r := ruleOf(n)
		for _, xi := range r.node {
			p.x = append(p.x, m.MidM()+half*xi)
		}
		return p.x, laid{n, n, r.mean, true}
	}
	// two pieces that meet beside x, each fine towards both of its ends, where either the velocity or Green's function is singular
	out := laid{stride: functions, value: p.floats.take(2 * gradedPieces * len(gauss8) * functions)[:0]}
	middle := min(max(real(z), -1), 1)
	for _, ends := range [2][2]float64{{-1, middle}, {middle, 1}} {
		if ends[1]-ends[0] > 1e-9 {
			p.graded(&out, m, ends[0], ends[1])
		}
	}
	out.count = len(p.x)
	return p.x, out
}

const gradedPieces = 3

func (p *mouthPoints) graded(out *laid, m Mouth, from, to float64) {
	polynomials := make([]float64, out.stride)
	for piece := range gradedPieces {
		for _, g := range gauss8 {
			u := (float64(piece) + g[0]) / gradedPieces
			// 10u³ − 15u⁴ + 6u⁵ from either end, so that nothing cancels there
			smooth := func(u float64) float64 { return u * u * u * (10 - 15*u + 6*u*u) }
			left, right := from+1+(to-from)*smooth(u), 1-to+(to-from)*smooth(1-u) // 1 + ξ and 1 − ξ
			weight := g[1] / gradedPieces * 30 * u * u * (1 - u) * (1 - u) * (to - from) / 2
			weight *= 2 / math.Sqrt(weightIntegral) / math.Cbrt(left*right)
			orthonormals(polynomials, (left-right)/2)
			p.x = append(p.x, m.X0M+m.WidthM()*left/2)
			for _, v := range polynomials {
				out.value = append(out.value, weight*v)
			}
		}
	}
}

// mutual returns ∬ φ_i(x) G φ_j(x′) dx dx′ for functions i of mouth a and j of mouth b, row by row.
func mutual(k float64, a, b Mouth, functions int, s *rays) []complex128 {
	out := make([]complex128, functions*functions)
	phase := k * max(a.WidthM(), b.WidthM()) / 2
	same := finely(a.X0M-b.X0M) == 0
	var r *rule
	if same {
		r = ruleOf(12 + 4*int(phase/8+float64(functions)/4))
	} else {
		half := b.WidthM() / 2
		near := min(math.Abs(a.X0M-b.MidM()), math.Abs(a.X1M-b.MidM()))
		n := nodes(functions, complex(near/half, 0), phase)
		if n == 0 {
			n = mostNodes
		}
		r = ruleOf(n)
	}
	n := len(r.node)
	var logs []float64
	if same {
		logs = r.logarithm()
	}
	area := a.WidthM() * b.WidthM()
	inner := make([]complex128, functions)
	s.list = s.list[:0]
	for q, xi := range r.node {
		s.x = Point{a.MidM() - b.MidM() + a.WidthM()*xi/2, 0}
		for p, t := range r.node {
			if same && p == q {
				t -= 1 // this one is not asked for
			}
			s.from(Point{b.WidthM() * t / 2, 0}, Point{})
		}
	}
	s.fours = s.measure(s.fours[:0])
	traced := s.trace(k, s.fours)
	for q, xi := range r.node {
		clear(inner)
		for p, t := range r.node {
			h0 := traced[q*n+p][0]
			green := scaleI(h0, 0.25) // with the weights of p where these are separate
			if same {
				// G = −J0(kr) ln|ξ−t|/2π and a rest without singularity
				u := math.Abs(xi - t)
				ratio := logs[q*n+p] / (r.weight[q] * r.weight[p])
				if u == 0 {
					green = complex(-(math.Log(k*a.WidthM()/4)+eulerGamma+ratio)/(2*math.Pi), 0.25)
				} else {
					green += complex(real(h0)*(math.Log(u)-ratio)/(2*math.Pi), 0)
				}
			}
			for f, v := range r.values(p)[:functions] {
				inner[f] += scale(green, v)
			}
		}
		for i := range functions {
			for j, v := range inner {
				out[i*functions+j] += scale(v, area*r.values(q)[i])
			}
		}
	}
	return out
}
