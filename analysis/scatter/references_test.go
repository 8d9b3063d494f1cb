package scatter

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"testing"
)

// Sommerfeld's solution and the knife edge rest on one Fresnel integral: here against SciPy's, testdata/scipy.
func TestFresnelAgainstSciPy(t *testing.T) {
	data, err := os.ReadFile("../../testdata/scipy/references.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Fresnel struct{ X, C, S []float64 }
	}
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Fresnel.X) == 0 {
		t.Fatal("no values")
	}
	for i, x := range ref.Fresnel.X {
		// C + jS = ∫₀^x e^{jπu²/2} du
		got := (fresnel(0) - fresnel(x*math.Sqrt(math.Pi/2))) * complex(math.Sqrt(2/math.Pi), 0)
		within(t, fmt.Sprintf("C(%g)", x), real(got), ref.Fresnel.C[i], 1e-8, "both claim more digits than that")
		within(t, fmt.Sprintf("S(%g)", x), imag(got), ref.Fresnel.S[i], 1e-8, "both claim more digits than that")
	}
}

// Knife edge by Fresnel's integral, re the free field (computed in high precision): v is positive on the lit side.
func TestKnifeEdge(t *testing.T) {
	level := func(v float64) float64 {
		return 20 * math.Log10(cmplx.Abs(fresnel(-v*math.Sqrt(math.Pi/2)))/math.Sqrt(math.Pi))
	}
	for _, row := range [][2]float64{{0, -6.0206}, {-1, -13.864}, {-2, -19.091}, {1.21720, 1.369}, {1.87252, -1.089}} {
		within(t, fmt.Sprintf("v = %g, dB", row[0]), level(row[0]), row[1], 6e-4, "the table's last digit")
	}
	for _, v := range []float64{1.21720, 1.87252} { // extrema: the level is even about them
		within(t, fmt.Sprintf("slope at v = %g, dB", v), level(v+0.001)-level(v-0.001), 0, 1e-5, "the place has five decimals")
	}
}
