package dsp

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Average gives the mean of repeated takes, sample by sample (or band by band), and its standard error s/√n, s² being the experimental
// variance Σ(x − mean)²/(n − 1) (JCGM 100:2008, GUM, 4.2.2 and 4.2.3). The takes must be aligned; of takes of different lengths the
// common beginning counts. The standard error of one take is NaN, since one take doesn't tell it; no takes give empty slices.
// A 95 % interval is the mean ± StudentT95(n) standard errors.
func Average(takes [][]float64) (mean, standardError []float64) {
	if len(takes) == 0 {
		return nil, nil
	}
	length := len(takes[0])
	for _, take := range takes {
		length = min(length, len(take))
	}
	n := float64(len(takes))
	mean, standardError = make([]float64, length), make([]float64, length)
	for i := range mean {
		for _, take := range takes {
			mean[i] += take[i] / n
		}
		squares := 0.0
		for _, take := range takes {
			squares += (take[i] - mean[i]) * (take[i] - mean[i])
		}
		standardError[i] = math.Sqrt(squares / (n - 1) / n) // 0/0 for one take
	}
	return mean, standardError
}

// StudentT95 is the factor by which the standard error of the mean of n repeats is multiplied for a 95 % interval: the 97.5 % point
// of Student's distribution with n − 1 degrees of freedom (JCGM 100:2008, GUM, annex G, table G.2). NaN for n below 2.
func StudentT95(n int) float64 {
	if n < 2 {
		return math.NaN()
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975)
}
