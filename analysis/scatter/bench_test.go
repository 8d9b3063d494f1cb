package scatter

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
)

// bench is the panel of the virtual bench with its source and 33 receivers.
func bench() (section Section, wells []Well, source Place, receivers []Place) {
	for _, d := range []float64{0, 0.0125, 0.0525, 0.12, 0.04, 0.1575, 0.1325, 0.1325, 0.1575, 0.04, 0.12, 0.0525, 0.0125} {
		wells = append(wells, Well{DepthM: d})
	}
	section = PanelSection(len(wells), 0.040, 0.005, 0.1625, 0.60, 0.010)
	for a := -80; a <= 80; a += 5 {
		receivers = append(receivers, polar(1, float64(a)))
	}
	return section, wells, polar(2, 0), receivers
}

const benchSpeed = 343.2 // m/s

func BenchmarkExterior(b *testing.B) {
	section, _, source, receivers := bench()
	for _, frequency := range []float64{2000, 5000} {
		b.Run(fmt.Sprintf("%g Hz", frequency), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := SolveExterior(2*math.Pi*frequency/benchSpeed, &section, source, receivers, DefaultMesh); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkExteriors solves the outside of the virtual bench's panel at 117 frequencies, on two threads: of unlimited height, which is what testdata/bench/exterior.py does, and as high as
// it is. With LEADLINE_BENCH set it leaves the meshes and what the closed box scatters there.
func BenchmarkExteriors(b *testing.B) {
	b.Run("unlimited", func(b *testing.B) { benchmarkExteriors(b, false) })
	b.Run("finite", func(b *testing.B) { benchmarkExteriors(b, true) })
}

func benchmarkExteriors(b *testing.B, finite bool) {
	section, _, source, receivers := bench()
	if !finite {
		section.HeightM = 0
	}
	k := make([]float64, 117)
	for i := range k {
		k[i] = 2 * math.Pi * (200 + 50*float64(i)) / benchSpeed
	}
	if dir := os.Getenv("LEADLINE_BENCH"); dir != "" && !finite {
		if err := leaveMeshes(dir, k, section, source, receivers); err != nil {
			b.Fatal(err)
		}
	}
	began := processorSeconds()
	for b.Loop() {
		outside := Outside{Section: &section, Scenes: []Scene{{source, receivers}}, Mesh: DefaultMesh}
		var next atomic.Int64
		var wait sync.WaitGroup
		for range 2 {
			wait.Go(func() {
				for i := int(next.Add(1)) - 1; i < len(k); i = int(next.Add(1)) - 1 {
					if _, err := outside.At(k[i]); err != nil {
						b.Error(err)
					}
				}
			})
		}
		wait.Wait()
	}
	b.ReportMetric((processorSeconds()-began)/float64(b.N), "cpu-s/op")
}

func leaveMeshes(dir string, ks []float64, section Section, source Place, receivers []Place) error {
	type mesh struct {
		K         float64      `json:"k"`
		A         [][2]float64 `json:"a"`
		Step      [][2]float64 `json:"step"`
		Coupled   []bool       `json:"coupled"`
		Functions [][]float64  `json:"functions"` // their means on the elements
		Places    [][2]float64 `json:"places"`
	}
	var meshes []mesh
	var flat [][][2]float64
	for _, k := range ks {
		size := min(2*math.Pi/k/DefaultMesh.PerWavelength, section.Mouths[0].WidthM()/float64(DefaultMesh.Functions+1))
		m := mesh{K: k}
		elements := section.meshOfOutline(size)
		for _, e := range elements {
			m.A, m.Step, m.Coupled = append(m.A, [2]float64{e.a.X, e.a.Y}), append(m.Step, [2]float64{e.b.X - e.a.X, e.b.Y - e.a.Y}), append(m.Coupled, e.coupled)
		}
		for _, mouth := range section.Mouths {
			rule := ruleOf(200)
			means := make([][]float64, DefaultMesh.Functions)
			for f := range means {
				means[f] = make([]float64, len(elements))
			}
			for q, xi := range rule.node {
				x := mouth.MidM() + xi*mouth.WidthM()/2
				value := rule.values(q)[:DefaultMesh.Functions]
				for i, e := range elements {
					if low, high := min(e.a.X, e.b.X), max(e.a.X, e.b.X); e.mid.Y == 0 && low <= x && x < high {
						for f := range value {
							means[f][i] += value[f] * mouth.WidthM() / e.length
						}
					}
				}
			}
			m.Functions = append(m.Functions, means...)
		}
		for _, p := range append([]Place{source}, receivers...) {
			m.Places = append(m.Places, [2]float64{p.X, p.Y})
		}
		meshes = append(meshes, m)
		e, err := SolveExterior(k, &section, source, receivers, DefaultMesh)
		if err != nil {
			return err
		}
		var row [][2]float64
		for r := range receivers {
			row = append(row, [2]float64{real(e.Flat(r)), imag(e.Flat(r))})
		}
		flat = append(flat, row)
	}
	for name, v := range map[string]any{"meshes.json": meshes, "flat.json": flat} {
		b, err := json.Marshal(v)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o666); err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkExteriorGrowth shows how the work grows with the panel, in processor time on one thread.
func BenchmarkExteriorGrowth(b *testing.B) {
	_, _, source, receivers := bench()
	for _, frequency := range []float64{1000, 2000, 4000, 8000} {
		for _, wells := range []int{10, 20, 40, 86} {
			section := PanelSection(wells, 0.040, 0.005, 0.1625, 0.60, 0.010)
			b.Run(fmt.Sprintf("%gHz/%dwells", frequency, wells), func(b *testing.B) {
				k := 2 * math.Pi * frequency / benchSpeed
				if _, err := SolveExterior(k, &section, source, receivers, DefaultMesh); err != nil { // tables and memory that serve again
					b.Fatal(err)
				}
				began := processorSeconds()
				for b.Loop() {
					if _, err := SolveExterior(k, &section, source, receivers, DefaultMesh); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric((processorSeconds()-began)/float64(b.N), "cpu-s/op")
			})
		}
	}
}

func BenchmarkPanel(b *testing.B)       { benchmarkPanel(b, false) }
func BenchmarkSensitivity(b *testing.B) { benchmarkPanel(b, true) }

func benchmarkPanel(b *testing.B, sensitivity bool) {
	section, wells, source, receivers := bench()
	for _, frequency := range []float64{2000, 5000} {
		k := 2 * math.Pi * frequency / benchSpeed
		exterior, err := SolveExterior(k, &section, source, receivers, DefaultMesh)
		if err != nil {
			b.Fatal(err)
		}
		var s []Sensitivity
		if sensitivity {
			s = make([]Sensitivity, len(receivers))
		}
		b.Run(fmt.Sprintf("%g Hz", frequency), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := exterior.Panel(wells, AirLosses(2*math.Pi*frequency), s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
