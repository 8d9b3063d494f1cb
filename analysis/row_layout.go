package analysis

import (
	"math"
	"slices"

	"github.com/leadline/leadline/analysis/scatter"
)

// rowLayout is a row of panels as it hangs: where its panels, boxes and wells are. Its middle is at x = 0.
type rowLayout struct {
	panel   *Panel
	row     *SurveyRow
	order   string
	panels  []RowPanel
	boxes   []RowBox
	centreM []float64 // of every well, from the lowest x
	depthsM []float64 // of every well
}

// newRowLayout lays the panels of an order (letters of rowKinds, at least one) side by side.
func newRowLayout(p *Panel, row *SurveyRow, order string) *rowLayout {
	l := &rowLayout{panel: p, row: row, order: order}
	parts := row.Parts
	if parts == nil {
		parts = []int{len(p.DepthsM)}
	}
	x := 0.0
	for i := range len(order) {
		if i > 0 {
			x += row.GapM
		}
		depths := kindDepthsM(p, order[i])
		from, well := x, 0
		for b, wells := range parts {
			left, right := p.FinThicknessM, p.FinThicknessM
			if b > 0 || row.HalfFins && i > 0 {
				left /= 2
			}
			if b < len(parts)-1 || row.HalfFins && i < len(order)-1 {
				right /= 2
			}
			box := RowBox{Panel: i + 1, FirstWell: well + 1, Wells: wells, LeftFinM: left, RightFinM: right, X0M: x}
			x += left
			for j := range wells {
				if j > 0 {
					x += p.FinThicknessM
				}
				l.centreM = append(l.centreM, x+p.WellWidthM/2)
				l.depthsM = append(l.depthsM, depths[well])
				x += p.WellWidthM
				well++
			}
			x += right
			box.X1M = x
			l.boxes = append(l.boxes, box)
		}
		l.panels = append(l.panels, RowPanel{Kind: order[i : i+1], X0M: from, X1M: x})
	}
	for i := range l.panels {
		l.panels[i].X0M -= x / 2
		l.panels[i].X1M -= x / 2
	}
	for i := range l.boxes {
		l.boxes[i].X0M -= x / 2
		l.boxes[i].X1M -= x / 2
	}
	for i := range l.centreM {
		l.centreM[i] -= x / 2
	}
	return l
}

// kindDepthsM returns the depths of a panel of one kind, in metres, from the lowest x. Inverted: the wave comes back early where it came late. A well of
// s steps of a sequence becomes one of prime − s steps, and one of no step stays as it is; without a sequence the deepest well less the
// depth. Mirrored: the wells in reverse order, which is the same panel turned upside down.
func kindDepthsM(p *Panel, kind byte) []float64 {
	depths := slices.Clone(p.DepthsM)
	if kind == 'I' || kind == 'B' {
		whole, least := wholeTurnM(p)
		for i, d := range depths {
			if d > least {
				depths[i] = whole - d
			} else if least < 0 {
				depths[i] = whole
			}
		}
	}
	if kind == 'M' || kind == 'B' {
		slices.Reverse(depths)
	}
	return depths
}

// wholeTurnM returns the depth from which an inverted panel's depths count down, in metres: half a wavelength of the design frequency, prime steps,
// where the depths are a sequence's; least is half a step, up to which a well counts as one of no step. Else it is the deepest well, and least is −1.
func wholeTurnM(p *Panel) (whole, least float64) {
	deepest := slices.Max(p.DepthsM)
	if p.Prime > 0 && p.DesignFrequencyHz.Known() {
		whole = DesignSpeedOfSoundMS / (2 * float64(p.DesignFrequencyHz))
		if deepest <= whole {
			return whole, whole / float64(2*p.Prime)
		}
	}
	return deepest, -1
}

// widthM returns the outer width.
func (l *rowLayout) widthM() float64 { return l.panels[len(l.panels)-1].X1M - l.panels[0].X0M }

// outerDepthM returns the depth of all boxes, in metres: the deepest well of the order, or of the kinds among which orders are searched, and the back behind
// it. All boxes are as deep, so that they hang flush.
func (l *rowLayout) outerDepthM() float64 {
	kinds, deepest := l.order, 0.0
	if l.row.Panels > 0 {
		kinds += l.row.Kinds
	}
	for i := range len(kinds) {
		deepest = max(deepest, slices.Max(kindDepthsM(l.panel, kinds[i])))
	}
	return deepest + l.panel.BackM
}

// section returns the cross-section: one box for panels that touch, else one box per panel. heightM is 0 for unlimited height.
func (l *rowLayout) section(heightM float64) scatter.Section {
	s := scatter.Section{HeightM: heightM, CapM: l.panel.CapM}
	for i, p := range l.panels {
		if i > 0 && l.row.GapM == 0 {
			s.Boxes[len(s.Boxes)-1].X1M = p.X1M
			continue
		}
		s.Boxes = append(s.Boxes, scatter.Box{X0M: p.X0M, X1M: p.X1M, DepthM: l.outerDepthM()})
	}
	for _, x := range l.centreM {
		s.Mouths = append(s.Mouths, scatter.Mouth{X0M: x - l.panel.WellWidthM/2, X1M: x + l.panel.WellWidthM/2})
	}
	return s
}

// wells returns what stands behind the mouths of the section.
func (l *rowLayout) wells() []scatter.Well { return wellsOf(l.depthsM) }

// pitchM returns by how much equal panels repeat: from one panel to the next, in metres.
func (l *rowLayout) pitchM() float64 {
	if n := len(l.panel.DepthsM); len(l.panels) > 1 {
		return l.centreM[n] - l.centreM[0]
	}
	return l.widthM()
}

// period returns the length in metres after which the row repeats itself, and how often it does; once where it does not.
func (l *rowLayout) period() (lengthM float64, times int) {
	return repetition(l.centreM, l.depthsM, l.panel.WellWidthM)
}

// repetition returns the shortest length after which wells, given by their middles and depths, repeat themselves, and how often.
func repetition(centreM, depthsM []float64, wellWidthM float64) (lengthM float64, times int) {
	const slackM = 1e-6
	n := len(depthsM)
	for part := 1; part <= n/2; part++ {
		if n%part != 0 {
			continue
		}
		length, all := centreM[part]-centreM[0], true
		for i := part; i < n && all; i++ {
			all = math.Abs(depthsM[i]-depthsM[i-part]) < slackM && math.Abs(centreM[i]-centreM[i-part]-length) < slackM
		}
		if all {
			return length, n / part
		}
	}
	return centreM[n-1] - centreM[0] + wellWidthM, 1
}
