package analysis

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// Directions of the orders of a prime-7 panel, wells of 50 mm without fins, at 2 kHz and 343 m/s (grating equation: Schroeder, J. Acoust. Soc. Am. 65 (1979) 958; computed).
func TestDirectionsOfOrders(t *testing.T) {
	for incidence, want := range map[float64][]float64{
		0:  {-78.522, -29.341, 0, 29.341, 78.522},
		30: {-81.89, -30, -0.573, 28.685, 75.93},
	} {
		var got []float64
		for _, l := range lobes(343.0/2000, 0.35, incidence*math.Pi/180) {
			got = append(got, l.AngleDeg)
		}
		slices.Sort(got)
		if len(got) != len(want) {
			t.Fatalf("from %g°: %v, want %v", incidence, got, want)
		}
		for i := range want {
			near(t, fmt.Sprintf("from %g°, order %d", incidence, i), got[i], want[i], 0.0052, "the table has two or three decimals")
		}
	}
	// the first order leaves at grazing where a period is a wavelength: 980 Hz
	if n := len(lobes(343.0/979.9, 0.35, 0)); n != 1 {
		t.Errorf("%d orders below 980 Hz", n)
	}
	if n := len(lobes(343.0/980.1, 0.35, 0)); n != 3 {
		t.Errorf("%d orders above 980 Hz", n)
	}
}

// Common practice, no source: the nearest seat is about three wavelengths of the design frequency away, 94 cm for a panel on prime 11 that is 13 cm deep with a 3 mm back; by the shorthand of three
// times the depth 39 cm. A panel on prime 43, 40 cm deep, reaches down to 442 Hz with its deepest well of 37 cm.
func TestBuildersRules(t *testing.T) {
	deepest := func(prime int, hz float64) float64 {
		seq, err := QuadraticResidue(prime)
		if err != nil {
			t.Fatal(err)
		}
		return slices.Max(SequenceDepths(seq, prime, hz, DesignSpeedOfSoundMS))
	}
	near(t, "deepest well on prime 43 at 442 Hz, m", deepest(43, 442), 0.37, 0.005, "the rule is given in whole centimetres")
	designHz := 1000 * deepest(11, 1000) / (0.13 - 0.003)
	near(t, "three wavelengths, m", 3*DesignSpeedOfSoundMS/designHz, 0.94, 0.01, "whole centimetres, depths in whole millimetres")
	near(t, "three depths, m", 3*0.13, 0.39, 1e-12, "exact")
}

// Limiting frequencies of a reflector of 0.6 × 1.2 m, per dimension (Rindel, NAM 1986, from memory; computed), beside that of its area in TestDistances.
func TestReflectorLimitPerDimension(t *testing.T) {
	near(t, "1.2 m, Hz", reflectorLimitHz(343, 1.2*1.2, 3, 3), 357.29, 0.005, "the table's last digit")
	near(t, "0.6 m, Hz", reflectorLimitHz(343, 0.6*0.6, 3, 3), 1429.17, 0.005, "the table's last digit")
}

// Residual of a misaligned subtraction, 20 lg(2 |sin πfΔt|) (computed): every row, on FractionalDelay; and what makes 1.49 µs: 0.1 K over 3 m.
func TestResidualOfEveryMisalignment(t *testing.T) {
	const rate = 192000.0
	for us, row := range map[float64][3]float64{1: {-44.0, -32.0, -26.0}, 5: {-30.1, -18.0, -12.0}, 10: {-24.0, -12.0, -6.1}} {
		for i, hz := range []float64{1000, 4000, 8000} {
			a := make([]float64, 9600)
			for n := range a {
				a[n] = math.Sin(2 * math.Pi * hz * float64(n) / rate)
			}
			b := dsp.FractionalDelay(a, us*1e-6*rate)
			var left, whole float64
			for n := 1920; n < 1920+5760; n++ { // whole periods, away from the ends
				left, whole = left+(a[n]-b[n])*(a[n]-b[n]), whole+a[n]*a[n]
			}
			near(t, fmt.Sprintf("%g µs at %g Hz, dB", us, hz), 10*math.Log10(left/whole), row[i], 0.06, "the table has one decimal")
		}
	}
	near(t, "0.1 K over 3 m, µs", 1e6*(3/SpeedOfSoundISO9613(20)-3/SpeedOfSoundISO9613(20.1)), 1.49, 0.005, "the table's last digit")
}
