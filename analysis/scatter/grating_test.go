package scatter

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// periodsOfPrime7 returns several periods of the prime-7 panel of prime7 with fins of the given thickness.
func periodsOfPrime7(periods int, finM float64) (wells []Well, s Section) {
	for range periods {
		one, _ := prime7(0, 0)
		wells = append(wells, one...)
	}
	return wells, PanelSection(7*periods, 0.05, finM, 0.201, 0, 0)
}

// Eight periods send lobes where sin θ = mλ/period − sin θ_i (grating equation: Schroeder, J. Acoust. Soc. Am. 65 (1979) 958; the angles are
// computed). With fins of no thickness the period is 350 mm, with fins of 5 mm 385 mm; 2 kHz at 343 m/s; panel and places 10 km apart.
func TestGratingLobes(t *testing.T) {
	const c, hz, far, periods = 343.0, 2000.0, 1e4, 8
	for _, row := range []struct {
		finM, incidence float64
		lobes           []float64
	}{
		{1e-6, 0, []float64{-78.522, -29.341, 29.341, 78.522}},
		{1e-6, 30, []float64{-30, -0.573, 28.685}},
		{0.005, 0, []float64{-62.988, -26.452, 26.452, 62.988}},
		{0.005, 30, []float64{-70.989, -30, -3.127, 23.011}},
	} {
		wells, section := periodsOfPrime7(periods, row.finM)
		const steps = 80 // from 4° below the lobe to 4° above
		angle := func(lobe float64, i int) float64 { return lobe + 8*(float64(i)/steps-0.5) }
		var receivers []Place
		for _, lobe := range row.lobes {
			for i := range steps + 1 {
				receivers = append(receivers, polar(far, angle(lobe, i)))
			}
		}
		e := exteriorOf(t, 2*math.Pi*hz/c, section, polar(far, row.incidence), receivers, Mesh{PerWavelength: 8, Functions: 2})
		field := panelOf(t, e, wells, Losses{})
		for l, lobe := range row.lobes {
			loudest, at := 0.0, 0
			for i, p := range field[l*(steps+1) : (l+1)*(steps+1)] {
				if a := cmplx.Abs(p); a > loudest {
					loudest, at = a, i
				}
			}
			what := fmt.Sprintf("fins of %g mm, from %g°", 1e3*row.finM, row.incidence)
			got := angle(lobe, at)
			if at == 0 || at == steps {
				t.Errorf("%s: no lobe within 4° of %g°", what, lobe)
			} else if math.Abs(lobe) < 75 {
				within(t, what+": angle of the lobe", got, lobe, 1, "the neighbouring lobes and the single period's own pattern shift the top of a lobe that is 3.5° to 11° wide by a tenth of that")
			} else {
				// near grazing the lobe is 30° wide, but in sin θ it is as narrow as the others
				sin := func(degrees float64) float64 { return math.Sin(degrees * math.Pi / 180) }
				within(t, what+": sine of the lobe's angle", sin(got), sin(lobe), c/hz/(periods*0.35)/3, "a third of the lobe's half width λ/W in sin θ: the single period's pattern falls off steeply here")
			}
			t.Logf("%s: lobe at %.1f°, expected %.3f°", what, got, lobe)
		}
	}
}

// At 7·f0 every depth is a number of half waves and the panel acts as a flat board (published for this panel: Dadiotis, Angus and Cox
// 2008, from memory). At 4 and 6·f0 it does not.
func TestFlatFailureOfPrime7(t *testing.T) {
	const far = 1e4
	wells, section := periodsOfPrime7(2, 0.0025)
	var receivers []Place
	for a := -80.0; a <= 80; a += 2 {
		receivers = append(receivers, polar(far, a))
	}
	middle := len(receivers) / 2
	for _, row := range []struct {
		multiple  float64
		functions int
	}{{4, 4}, {6, 4}, {7, 1}, {7, 4}} {
		k := 2 * math.Pi * 500 * row.multiple / 343
		e := exteriorOf(t, k, section, polar(far, 0), receivers, Mesh{PerWavelength: 8, Functions: row.functions})
		panel, flat := panelOf(t, e, wells, Losses{}), flatOf(e)
		specular := 20 * math.Log10(cmplx.Abs(panel[middle]/flat[middle]))
		var product complex128
		var pp, ff float64
		for i, p := range panel {
			product += p * cmplx.Conj(flat[i])
			pp += real(p * cmplx.Conj(p))
			ff += real(flat[i] * cmplx.Conj(flat[i]))
		}
		// correlation scattering coefficient (Mommertz, Applied Acoustics 60 (2000) 201)
		scattering := 1 - real(product*cmplx.Conj(product))/(pp*ff)
		what := fmt.Sprintf("%g·f0, %d functions", row.multiple, row.functions)
		switch {
		case row.multiple != 7:
			if !(specular < -5 && scattering > 0.7) {
				t.Errorf("%s: specular %.2f dB re flat, scattering coefficient %.3f: the panel should scatter here", what, specular, scattering)
			}
		case row.functions == 1:
			below(t, what+": panel against flat board", worstPart(panel, flat), 1e-10, "tan(nπ) = 0: to the plane mode the wells are closed")
		default:
			below(t, what+": panel against flat board", worstPart(panel, flat), 0.03, "the fields at the fins' edges, which the plane mode doesn't know, are a few per cent in a flat-acting panel")
			within(t, what+": specular level re flat, dB", specular, 0, 0.1, "as above: 1 % of the pressure are 0.09 dB")
			below(t, what+": scattering coefficient", scattering, 0.01, "the square of the deviation, a few times as the flat board's lobe is narrow")
		}
		t.Logf("%s: specular %+.2f dB re flat, largest difference %.2g of the specular, scattering coefficient %.4f", what, specular, worstPart(panel, flat), scattering)
	}
}
