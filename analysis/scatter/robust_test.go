package scatter

import (
	"flag"
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"
)

// Each of these is impossible and must be refused by name, not answered with a number or a panic.
func TestRefusals(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	place := Place{Point: Point{0, 1}}
	for what, change := range map[string]func(k *float64, s *Section, source, receiver *Place, m *Mesh){
		"wavenumber 0":         func(k *float64, s *Section, source, receiver *Place, m *Mesh) { *k = 0 },
		"wavenumber NaN":       func(k *float64, s *Section, source, receiver *Place, m *Mesh) { *k = nan },
		"no box":               func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes = nil },
		"box of no width":      func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes[0].X1M = s.Boxes[0].X0M },
		"depth NaN":            func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes[0].DepthM = nan },
		"infinite width":       func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes[0].X1M = inf },
		"boxes in each other":  func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes = append(s.Boxes, s.Boxes[0]) },
		"mouths in each other": func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Mouths[1] = s.Mouths[0] },
		"mouth beside the box": func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Mouths[6].X1M += 0.1 },
		"mouth NaN":            func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Mouths[3].X1M = nan },
		"height −1":            func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.HeightM = -1 },
		"height NaN":           func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.HeightM = nan },
		"height infinite":      func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.HeightM = inf },
		"ends −1 mm":           func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.CapM = -0.001 },
		"ends NaN":             func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.CapM = nan },
		"ends fill the height": func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.CapM = 0.3 },
		"source in the box":    func(k *float64, s *Section, source, receiver *Place, m *Mesh) { source.Y = -0.1 },
		"source on the front":  func(k *float64, s *Section, source, receiver *Place, m *Mesh) { source.Y = 0 },
		"receiver in the box":  func(k *float64, s *Section, source, receiver *Place, m *Mesh) { receiver.Y = -0.1 },
		"source x NaN":         func(k *float64, s *Section, source, receiver *Place, m *Mesh) { source.X = nan },
		"source y infinite":    func(k *float64, s *Section, source, receiver *Place, m *Mesh) { source.Y = inf },
		"receiver y NaN":       func(k *float64, s *Section, source, receiver *Place, m *Mesh) { receiver.Y = nan },
		"receiver z NaN":       func(k *float64, s *Section, source, receiver *Place, m *Mesh) { receiver.Z = nan },
		"no functions":         func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.Functions = 0 },
		"functions −1":         func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.Functions = -1 },
		"100 functions":        func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.Functions = 100 },
		"1 MHz":                func(k *float64, s *Section, source, receiver *Place, m *Mesh) { *k = 2 * math.Pi * 1e6 / 343 },
		"10 wavelengths wide": func(k *float64, s *Section, source, receiver *Place, m *Mesh) {
			s.Mouths, s.Boxes[0], *k = []Mouth{{-1, 1}}, Box{-2, 2, 1}, 60
		},
		"a kilometre": func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Boxes[0].X1M = 1000 },
		"a well of 1 µm": func(k *float64, s *Section, source, receiver *Place, m *Mesh) {
			s.Mouths[2].X1M = s.Mouths[2].X0M + 1e-6
		},
		"a well of 1e-300 m":    func(k *float64, s *Section, source, receiver *Place, m *Mesh) { s.Mouths = []Mouth{{0, 1e-300}} },
		"elements 1e300":        func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.PerWavelength = 1e300 },
		"elements 0":            func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.PerWavelength = 0 },
		"elements −8":           func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.PerWavelength = -8 },
		"elements not a number": func(k *float64, s *Section, source, receiver *Place, m *Mesh) { m.PerWavelength = nan },
	} {
		t.Run(what, func(t *testing.T) {
			defer func() {
				if r := recover(); r != nil {
					t.Errorf("panic: %v", r)
				}
			}()
			k, source, receiver, mesh := 10.0, place, place, DefaultMesh
			_, section := prime7(0.6, 0.01)
			change(&k, &section, &source, &receiver, &mesh)
			if _, err := SolveExterior(k, &section, source, []Place{receiver}, mesh); err == nil {
				t.Error("no error")
			}
		})
	}
	wells, section := prime7(0, 0)
	e := exteriorOf(t, 10, section, place, []Place{place}, DefaultMesh)
	for what, wrong := range map[string][]Well{
		"two wells fewer": wells[2:],
		"none":            nil,
		"one more":        append(wells[:7:7], Well{}),
		"negative depth":  append(wells[:6:6], Well{DepthM: -0.01}),
		"depth NaN":       append(wells[:6:6], Well{DepthM: nan}),
		"depth infinite":  append(wells[:6:6], Well{DepthM: inf}),
		"negative loss":   append(wells[:6:6], Well{Loss: -0.01}),
		"loss NaN":        append(wells[:6:6], Well{Loss: nan}),
	} {
		if _, err := e.Panel(wrong, Losses{}, nil); err == nil {
			t.Errorf("Panel, %s: no error", what)
		}
		if _, err := e.Vary(wrong, Losses{}); err == nil {
			t.Errorf("Vary, %s: no error", what)
		}
	}
}

// oddNumber draws an ordinary length in metres, or now and then something odd. A section takes some twenty of them, so that half the sections hold nothing odd.
func oddNumber(low, high float64) *rapid.Generator[float64] {
	return rapid.Custom(func(t *rapid.T) float64 {
		// small numbers come more often than their share
		if rapid.IntRange(0, 1000).Draw(t, "odd") > 970 {
			return rapid.SampledFrom([]float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e-300, -1e-300, 1e-9}).Draw(t, "value")
		}
		return rapid.Float64Range(low, high).Draw(t, "value")
	})
}

// elementsOf estimates how many elements SolveExterior makes of a section, in either direction.
func elementsOf(k float64, s Section, m Mesh) float64 {
	size := 2 * math.Pi / k / m.PerWavelength
	for _, w := range s.Mouths {
		size = min(size, w.WidthM()/float64(max(1, m.Functions)+1))
	}
	return math.Abs(s.elements(size) + 2*s.HeightM/size)
}

// Whatever a section, the places and the wells look like: a clear error or a finite field, no panic.
func TestOddSections(t *testing.T) {
	// a failing draw is in the log; files left in testdata would be mistaken for references
	if err := flag.Set("rapid.nofailfile", "true"); err != nil {
		t.Fatal(err)
	}
	solved := 0
	rapid.Check(t, func(t *rapid.T) {
		length := oddNumber(-0.6, 0.6)
		var s Section
		x := -0.5
		for range rapid.IntRange(1, 2).Draw(t, "boxes") - rapid.SampledFrom([]int{0, 0, 0, 0, 0, 0, 0, 0, 0, 1}).Draw(t, "boxes less") {
			width := oddNumber(0.37, 0.6).Draw(t, "width") // room for three mouths
			s.Boxes = append(s.Boxes, Box{x, x + width, oddNumber(0.01, 0.3).Draw(t, "depth")})
			at := x
			for range rapid.IntRange(0, 3).Draw(t, "mouths") {
				at += oddNumber(0.001, 0.02).Draw(t, "fin")
				mouth := oddNumber(0.01, 0.1).Draw(t, "mouth")
				s.Mouths = append(s.Mouths, Mouth{at, at + mouth})
				at += mouth
			}
			x += width + oddNumber(0.01, 0.2).Draw(t, "gap")
		}
		if rapid.Bool().Draw(t, "finite height") {
			s.HeightM, s.CapM = oddNumber(0.1, 0.6).Draw(t, "height"), oddNumber(0, 0.06).Draw(t, "cap")
		}
		place := func(name string) Place {
			return Place{Point{length.Draw(t, name+" x"), oddNumber(0.01, 1).Draw(t, name+" y")}, length.Draw(t, name+" z")}
		}
		var receivers []Place
		for range rapid.IntRange(0, 2).Draw(t, "receivers") {
			receivers = append(receivers, place("receiver"))
		}
		mesh := Mesh{PerWavelength: rapid.SampledFrom([]float64{8, 8, 8, 8, 8, 8, 8, 8, 4, 4, 4, 1, 1, 0, -8, math.NaN()}).Draw(t, "per wavelength"), Functions: rapid.SampledFrom([]int{1, 2, 2, 2, 2, 2, 3, 4, 5, 0, -1}).Draw(t, "modes")}
		k := rapid.OneOf(rapid.Float64Range(2, 30), rapid.SampledFrom([]float64{10, 10, 10, 10, 10, 10, 10, 10, 1e-3, 0, -1, math.NaN(), math.Inf(1)})).Draw(t, "k")
		if elementsOf(k, s, mesh) > 500 {
			t.Skip("a matter of patience and memory")
		}
		e, err := SolveExterior(k, &s, place("source"), receivers, mesh)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error that says nothing")
			}
			return
		}
		finite := func(what string, z complex128) {
			if cmplx.IsNaN(z) || cmplx.IsInf(z) {
				t.Fatalf("%s: %v and no error", what, z)
			}
		}
		for r := range e.Receivers() {
			finite("flat", e.Flat(r))
		}
		var wells []Well
		for range len(s.Mouths) + rapid.SampledFrom([]int{0, 0, 0, 0, 0, 0, 0, 0, 0, 1}).Draw(t, "wells more") {
			wells = append(wells, Well{oddNumber(0, 0.3).Draw(t, "well depth"), oddNumber(0, 1).Draw(t, "loss")})
		}
		sensitivity := make([]Sensitivity, len(receivers))
		p, err := e.Panel(wells, AirLosses(6000), sensitivity)
		if err != nil {
			return
		}
		if len(wells) != len(s.Mouths) {
			t.Fatalf("%d wells for %d mouths and no error", len(wells), len(s.Mouths))
		}
		solved++
		for r := range p {
			finite("panel", p[r])
			for j := range wells {
				finite("sensitivity to depth", sensitivity[r].Depth[j])
				finite("sensitivity to loss", sensitivity[r].Loss[j])
			}
		}
		if v, err := e.Vary(wells, AirLosses(6000)); err == nil {
			for j := range wells {
				finite("change", v.Change(j, Well{DepthM: 0.1}))
			}
		}
	})
	t.Logf("%d of the draws were solved", solved)
	least := 10
	if testing.Short() {
		least = 2 // of a fifth of the draws
	}
	if solved < least {
		t.Errorf("only %d of the draws were solved: the draws test nothing", solved)
	}
}
