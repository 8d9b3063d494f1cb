package scatter

import (
	"fmt"
	"math"
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

// BenchmarkExteriorGrowth shows how the work grows with the panel.
func BenchmarkExteriorGrowth(b *testing.B) {
	_, _, source, receivers := bench()
	for _, wells := range []int{10, 20, 40, 86} {
		section := PanelSection(wells, 0.040, 0.005, 0.1625, 0.60, 0.010)
		b.Run(fmt.Sprintf("%d wells", wells), func(b *testing.B) {
			for b.Loop() {
				if _, err := SolveExterior(2*math.Pi*2000/benchSpeed, &section, source, receivers, DefaultMesh); err != nil {
					b.Fatal(err)
				}
			}
		})
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
