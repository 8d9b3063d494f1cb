package dsp

import (
	"math"
	"testing"
)

// JCGM 100:2008 (GUM), table G.2, to the digits printed.
func TestStudentT95(t *testing.T) {
	for n, want := range map[int]float64{2: 12.706, 3: 4.303, 4: 3.182, 5: 2.776, 6: 2.571} {
		near(t, "t", StudentT95(n), want, 5e-4)
	}
	if !math.IsNaN(StudentT95(1)) {
		t.Error("one take has no interval")
	}
}

func TestAverage(t *testing.T) {
	mean, se := Average([][]float64{{1, 10, 5}, {2, 10, 6}, {6, 10}})
	if len(mean) != 2 || len(se) != 2 {
		t.Fatalf("%v, %v", mean, se)
	}
	near(t, "mean", mean[0], 3, 1e-15)
	near(t, "standard error", se[0], math.Sqrt(14.0/2/3), 1e-15) // deviations −2, −1, 3
	near(t, "mean of equals", mean[1], 10, 1e-14)
	near(t, "standard error of equals", se[1], 0, 1e-14)
	if _, se := Average([][]float64{{1}}); !math.IsNaN(se[0]) {
		t.Errorf("one take: %v", se)
	}
	if mean, se := Average(nil); len(mean) != 0 || len(se) != 0 {
		t.Error("no takes")
	}
}
