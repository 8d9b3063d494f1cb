package scatter

import (
	"fmt"
	"math"
)

// Mouth is the open front of one well: the piece from X0M to X1M of the plane y = 0.
type Mouth struct{ X0M, X1M float64 }

// WidthM is the width of the well.
func (m Mouth) WidthM() float64 { return m.X1M - m.X0M }

// MidM is the x of the well's middle.
func (m Mouth) MidM() float64 { return (m.X0M + m.X1M) / 2 }

// Box is a rigid box whose front lies in y = 0, from X0M to X1M, and whose back lies in y = −DepthM.
type Box struct{ X0M, X1M, DepthM float64 }

// Section is the cross-section of a structure without the depths of its wells: one or more boxes side by side with the mouths
// of wells in their fronts, all of one height. Depths come later: the outside does not depend on them.
type Section struct {
	Boxes   []Box
	Mouths  []Mouth // from low to high x, each inside the front of one box
	HeightM float64 // outer height; 0 stands for infinite height and line sources
	CapM    float64 // thickness of the closed top and bottom of the wells
}

// PanelSection returns the section of one panel of equal wells, its middle at x = 0: a fin on either side of each well,
// depthM the outer depth (deepest well plus what stands behind it).
func PanelSection(wells int, wellWidthM, finM, depthM, heightM, capM float64) Section {
	width := float64(wells)*(wellWidthM+finM) + finM
	s := Section{
		Boxes:   []Box{{-width / 2, width / 2, depthM}},
		HeightM: heightM, CapM: capM,
	}
	for i := range wells {
		x0 := -width/2 + finM + float64(i)*(wellWidthM+finM)
		s.Mouths = append(s.Mouths, Mouth{x0, x0 + wellWidthM})
	}
	return s
}

// Validate reports the first thing that makes the section impossible to solve.
func (s *Section) Validate() error {
	if len(s.Boxes) == 0 {
		return fmt.Errorf("the section has no box")
	}
	for i, b := range s.Boxes {
		if !(b.X1M > b.X0M) || !(b.DepthM > 0) || math.IsInf(b.X1M-b.X0M+b.DepthM, 0) {
			return fmt.Errorf("box %d: from x = %g m to %g m, %g m deep: expected a positive width and depth", i+1, b.X0M, b.X1M, b.DepthM)
		}
		if i > 0 && b.X0M <= s.Boxes[i-1].X1M {
			return fmt.Errorf("box %d begins at x = %g m, before box %d ends at %g m", i+1, b.X0M, i, s.Boxes[i-1].X1M)
		}
	}
	for i, m := range s.Mouths {
		if !(m.WidthM() > 0) {
			return fmt.Errorf("well %d: from x = %g m to %g m: expected a positive width", i+1, m.X0M, m.X1M)
		}
		if i > 0 && m.X0M <= s.Mouths[i-1].X1M {
			return fmt.Errorf("well %d begins at x = %g m, before well %d ends at %g m", i+1, m.X0M, i, s.Mouths[i-1].X1M)
		}
		if s.boxOf(m) < 0 {
			return fmt.Errorf("well %d: from x = %g m to %g m lies in the front of no box", i+1, m.X0M, m.X1M)
		}
	}
	if !(s.HeightM >= 0) || !(s.CapM >= 0) || math.IsInf(s.HeightM, 0) || (s.HeightM > 0 && s.HeightM <= 2*s.CapM) {
		return fmt.Errorf("height %g m with closed ends of %g m leaves no well", s.HeightM, s.CapM)
	}
	return nil
}

func (s *Section) boxOf(m Mouth) int {
	for i, b := range s.Boxes {
		if m.X0M >= b.X0M && m.X1M <= b.X1M {
			return i
		}
	}
	return -1
}
