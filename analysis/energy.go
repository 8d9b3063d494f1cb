package analysis

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

func sortBy[T any](v []T, key func(T) float64) {
	slices.SortStableFunc(v, func(a, b T) int { return cmp.Compare(key(a), key(b)) })
}

// DiffusionCoefficient returns the directional diffusion coefficient of receivers' energies (linear, any common scale):
// d = [(ΣE)² − ΣE²] / [(n−1) ΣE²] (ISO 17497-2:2012, equation for receivers that stand for equal angles; formula from memory). 1 for equal energies, 0 for one alone.
// Unknown for fewer than two receivers, a negative or unknown energy, or no energy at all.
func DiffusionCoefficient(energies []float64) Num {
	var sum, squares float64
	for _, e := range energies {
		if !(e >= 0) {
			return Unknown()
		}
		sum += e
		squares += e * e
	}
	n := float64(len(energies))
	if n < 2 || squares == 0 || math.IsInf(squares, 0) {
		return Unknown()
	}
	return Num((sum*sum - squares) / ((n - 1) * squares))
}

// NormalisedDiffusion returns (d − d_flat)/(1 − d_flat): what the panel adds over a flat board of its size (ISO 17497-2:2012; formula from
// memory). It may be negative. Unknown where either is or where d_flat is 1.
func NormalisedDiffusion(panel, flat Num) Num {
	if !panel.Known() || !flat.Known() || flat == 1 {
		return Unknown()
	}
	return (panel - flat) / (1 - flat)
}

// diffusionInterval returns the 95 % interval of the diffusion coefficient from the energies' standard errors of takes each, to first order:
// ∂d/∂E_j = [2S/Q − 2S²E_j/Q²]/(n−1) with S = ΣE and Q = ΣE²; Student's t for the takes (JCGM 100:2008, 5.1.2 and annex G).
func diffusionInterval(energies, standardErrors []float64, takes int) *Interval {
	d := DiffusionCoefficient(energies)
	if takes < 2 || !d.Known() {
		return nil
	}
	var sum, squares, variance float64
	for _, e := range energies {
		sum += e
		squares += e * e
	}
	for j, e := range energies {
		slope := (2*sum/squares - 2*sum*sum*e/(squares*squares)) / float64(len(energies)-1)
		variance += slope * slope * standardErrors[j] * standardErrors[j]
	}
	// each energy is estimated from takes − 1 degrees of freedom of its own, and independent ones add up
	half := studentT95(len(energies)*(takes-1)) * math.Sqrt(variance)
	return &Interval{Num(max(0, float64(d)-half)), Num(min(1, float64(d)+half))}
}

// studentT95 returns the two-sided 95 % factor of Student's distribution for the degrees of freedom.
func studentT95(freedom int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(freedom)}.Quantile(0.975)
}

// CorrelationScattering returns s = 1 − |Σ p₁ p₀*|²/(Σ|p₁|² Σ|p₀|²) over receivers: how unlike the panel's pressures p₁ are the flat board's p₀
// (Mommertz, Applied Acoustics 60 (2000) 201). 0 for a scaled copy, 1 for an orthogonal one. Both must be of one length.
// Unknown where either is all zero, and for fewer than two receivers, where it would be 0 whatever they receive.
func CorrelationScattering(panel, flat []complex128) Num {
	var cross complex128
	var a, b float64
	for i, p := range panel {
		q := flat[i]
		cross += p * complex(real(q), -imag(q))
		a += real(p)*real(p) + imag(p)*imag(p)
		b += real(q)*real(q) + imag(q)*imag(q)
	}
	if a == 0 || b == 0 || len(panel) < 2 {
		return Unknown()
	}
	return Num(max(0, 1-(real(cross)*real(cross)+imag(cross)*imag(cross))/(a*b)))
}

// meanAndError returns the mean and the standard error of the mean; the error is NaN for a single value.
func meanAndError(v []float64) (mean, standardError float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		standardError += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(standardError / float64(len(v)-1) / float64(len(v)))
}
