package scatter

import (
	"fmt"
	"math/cmplx"
	"testing"
)

// Several scenes solved at once give each what it gets alone: sideways places that mirror each other, a source elsewhere, places above and below, and one scene with none to hear it.
func TestScenesAtOnce(t *testing.T) {
	section := PanelSection(3, 0.05, 0.005, 0.15, 0.4, 0.01)
	at := func(x, y, z float64) Place { return Place{Point: Point{x, y}, Z: z} }
	scenes := []Scene{
		{at(0, 2, 0), []Place{at(0, 1, 0), at(0.3, 0.6, 0), at(-0.3, 0.6, 0)}},
		{at(0.25, 2, 0), []Place{at(0.25, 1, 0), at(0.3, 0.6, 0)}},
		{at(0, 2, -0.1), []Place{at(0, 1, 0.3), at(0, 1, -0.3)}},
		{Source: at(0.1, 1.5, 0)},
	}
	wells := []Well{{DepthM: 0.02}, {DepthM: 0.12}, {DepthM: 0.07}}
	for _, k := range []float64{3, 20, 70} {
		all, err := (&Outside{Section: &section, Scenes: scenes, Mesh: DefaultMesh}).At(k)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range scenes {
			alone, err := SolveExterior(k, &section, s.Source, s.Receivers, DefaultMesh)
			if err != nil {
				t.Fatal(err)
			}
			want, err := alone.Panel(wells, Losses{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			got, err := all[i].Panel(wells, Losses{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			for r := range s.Receivers {
				name := fmt.Sprintf("k = %g, scene %d, receiver %d", k, i, r)
				below(t, name+": panel", cmplx.Abs(got[r]-want[r]), 1e-10*cmplx.Abs(want[r]), "rounding")
				below(t, name+": flat board", cmplx.Abs(all[i].Flat(r)-alone.Flat(r)), 1e-10*cmplx.Abs(alone.Flat(r)), "rounding")
			}
		}
	}
	if none, err := (&Outside{Section: &section, Mesh: DefaultMesh}).At(20); err != nil || len(none) != 0 {
		t.Errorf("no scene: %d exteriors, %v", len(none), err)
	}
}

// Where many receivers share a height their edge factors are interpolated: as exact as where each has its own.
func TestEdgeFactorsBetween(t *testing.T) {
	section := PanelSection(2, 0.05, 0.005, 0.15, 0.6, 0.01)
	for _, z := range []float64{0, 0.25} {
		scene := Scene{Source: Place{Point: Point{0, 2}}}
		for i := range 120 { // on whole steps of 5 mm, so that nothing is rounded where a place stands alone
			scene.Receivers = append(scene.Receivers, Place{Point: Point{0, 0.3 + 0.015*float64(i)}, Z: z})
		}
		for _, k := range []float64{3, 20, 104} {
			many, err := (&Outside{Section: &section, Scenes: []Scene{scene}, Mesh: DefaultMesh}).edgeFactors(k)
			if err != nil {
				t.Fatal(err)
			}
			for i := 0; i < len(scene.Receivers); i += 17 {
				one, err := (&Outside{Section: &section, Scenes: []Scene{{scene.Source, scene.Receivers[i : i+1]}}, Mesh: DefaultMesh}).edgeFactors(k)
				if err != nil {
					t.Fatal(err)
				}
				below(t, fmt.Sprintf("k = %g, z = %g m, y = %.3f m", k, z, scene.Receivers[i].Y), cmplx.Abs(many[0][i]-one[0][0]), 2e-4*cmplx.Abs(one[0][0]), "five digits, and fewer where Kirchhoff's field is weak")
			}
		}
	}
}
