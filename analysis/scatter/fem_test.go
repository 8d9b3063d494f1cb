package scatter

import (
	"encoding/json"
	"fmt"
	"math/cmplx"
	"os"
	"testing"
)

// femReference is what this package needs of testdata/fem/fem.json (see the README beside it).
type femReference struct {
	Cases []struct {
		Name  string
		Panel struct {
			DepthsM       []float64 `json:"depths_m"`
			WellWidthM    float64   `json:"well_width_m"`
			FinThicknessM float64   `json:"fin_thickness_m"`
			OuterDepthM   float64   `json:"outer_depth_m"`
		}
		SourceM   [2]float64 `json:"source_m"`
		Receivers []struct {
			Name      string
			PositionM [2]float64 `json:"position_m"`
		}
	}
	Results []struct {
		Case        string
		FrequencyHz float64 `json:"frequency_hz"`
		KPerM       float64 `json:"k_per_m"`
		Scattered   []struct {
			Name string
			PS   [2]float64 `json:"p_s"`
		}
		MaxAbsPS      float64 `json:"max_abs_p_s"`
		EstimatedPart float64 `json:"estimated_error_re_max"`
	}
}

func readFEM(t *testing.T) (f femReference) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/fem/fem.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(err)
	}
	if len(f.Cases) == 0 || len(f.Results) == 0 {
		t.Fatal("no cases or results in fem.json")
	}
	return f
}

// Whole panels against finite elements: FreeFEM and SciPy from the wave equation alone, testdata/fem.
func TestWholePanelsAgainstFiniteElements(t *testing.T) {
	f := readFEM(t)
	fine := Mesh{PerWavelength: 2 * DefaultMesh.PerWavelength, Functions: 2 * DefaultMesh.Functions}
	for _, c := range f.Cases {
		section := PanelSection(len(c.Panel.DepthsM), c.Panel.WellWidthM, c.Panel.FinThicknessM, c.Panel.OuterDepthM, 0, 0)
		source := Place{Point: Point{c.SourceM[0], c.SourceM[1]}}
		var receivers []Place
		for _, r := range c.Receivers {
			receivers = append(receivers, Place{Point: Point{r.PositionM[0], r.PositionM[1]}})
		}
		found := 0
		for _, r := range f.Results {
			if r.Case != c.Name {
				continue
			}
			found++
			want := make([]complex128, len(receivers))
			for i, s := range r.Scattered {
				if s.Name != c.Receivers[i].Name {
					t.Fatalf("%s, %g Hz: receiver %d is %s, not %s", c.Name, r.FrequencyHz, i, s.Name, c.Receivers[i].Name)
				}
				want[i] = complex(s.PS[0], s.PS[1])
				if cmplx.Abs(want[i]) > r.MaxAbsPS*(1+1e-9) {
					t.Fatalf("%s, %g Hz: %s exceeds max_abs_p_s", c.Name, r.FrequencyHz, s.Name)
				}
			}
			errorWith := func(m Mesh) float64 {
				e := exteriorOf(t, r.KPerM, section, source, receivers, m)
				return worstPart(panelOf(t, e, wellsOf(c.Panel.DepthsM...), Losses{}), want)
			}
			got, gotFine := errorWith(DefaultMesh), errorWith(fine)
			below(t, fmt.Sprintf("%s, %g Hz: error re the largest |p_s|", c.Name, r.FrequencyHz), got, 0.01, "what DefaultMesh promises")
			below(t, fmt.Sprintf("%s, %g Hz: error with a finer mesh", c.Name, r.FrequencyHz), gotFine-r.EstimatedPart, max(0.6*got, 1e-3),
				"twice the functions and elements halve an error of the first order at least; the reference's own error is taken off, and below 0.1 % nobody asks")
			t.Logf("%s, %g Hz: error %.3f %% of the largest, finer mesh %.3f %%, finite elements themselves %.3f %%",
				c.Name, r.FrequencyHz, 100*got, 100*gotFine, 100*r.EstimatedPart)
		}
		if found == 0 {
			t.Errorf("%s: no results", c.Name)
		}
	}
}
