package analysis

import (
	"math"
	"testing"
)

func smallPanel() *Panel {
	return &Panel{DepthsM: []float64{0, 0.05, 0.1, 0.05}, WellWidthM: 0.045, FinThicknessM: 0.005, HeightM: 0.6, CapM: 0.01, BackM: 0.005}
}

// Mirror images (any textbook of room acoustics): with the panel shrunk to a point, the way over a floor is that of the image.
func TestEchoPathOfTheFloor(t *testing.T) {
	p := smallPanel()
	p.HeightM = 1e-9
	p.DepthsM = p.DepthsM[:1]
	p.WellWidthM, p.FinThicknessM = 1e-9, 0
	source, mic := [3]float64{0, 2, 0}, [3]float64{0, 1, 0}
	floor := Surface{Name: "floor", PlaceM: -0.9}
	want := math.Min(math.Hypot(2, 1.8)+1, 2+math.Hypot(1, 1.8))
	near(t, "echo path", echoPath(p, source, mic, floor), want, 1e-6, "a panel of a nanometre")
	side := Surface{Name: "right", PlaceM: 0.7}
	near(t, "side wall", echoPath(p, source, mic, side), math.Min(math.Hypot(2, 1.4)+1, 2+math.Hypot(1, 1.4)), 1e-6, "as above")
}

// The earliest way over the front: on the axis straight to the middle; from the side over the edge point that a fine grid finds too.
func TestPathsAgainstGrid(t *testing.T) {
	p := smallPanel()
	for _, mic := range [][3]float64{{0, 1, 0}, {0.8, 0.3, 0}, {-0.3, 0.5, 0.4}, {2, 0.1, -0.2}} {
		source := [3]float64{0.2, 2, 0.1}
		way := newPaths(p, source, mic)
		best := math.Inf(1)
		for ix := -200; ix <= 200; ix++ {
			for iz := -200; iz <= 200; iz++ {
				q := [3]float64{p.WidthM() / 2 * float64(ix) / 200, 0, p.HeightM / 2 * float64(iz) / 200}
				best = math.Min(best, distance(source, q)+distance(q, mic))
			}
		}
		near(t, "earliest", way.earliest, best, 2e-6, "the grid's cells are 1.5 mm and the sum is flat at its least")
		if way.earliest > way.middle {
			t.Errorf("earliest %g m is later than the middle %g m", way.earliest, way.middle)
		}
	}
}

func TestGateOpensBeforeTheFirstArrivalAndClosesBeforeTheEcho(t *testing.T) {
	r := benchResult(t, "room-b-panel-as-designed")
	s, err := LoadSurvey("../fixtures/virtual-bench/room-b-panel-as-designed.toml")
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range r.Positions {
		way := newPaths(&s.Panel, s.SourceM, s.Positions[i].MicM)
		speed := r.Air.SpeedOfSoundMS
		if float64(p.Gate.StartS) >= way.earliest/speed {
			t.Errorf("%s: the gate opens after the first arrival", p.Name)
		}
		if echo := echoPath(&s.Panel, s.SourceM, s.Positions[i].MicM, s.Room[0]) / speed; float64(p.Gate.EndS) > echo+1e-12 {
			t.Errorf("%s: the gate ends at %g s, after the floor's echo at %g s", p.Name, p.Gate.EndS, echo)
		}
	}
}
