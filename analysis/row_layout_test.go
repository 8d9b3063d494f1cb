package analysis

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// rowPanelOf is a panel of one period of a quadratic-residue sequence, wells 50 mm wide and fins 6 mm thick.
func rowPanelOf(prime int, designHz float64) *Panel {
	seq, err := QuadraticResidue(prime)
	if err != nil {
		panic(err)
	}
	return &Panel{Sequence: "quadratic residue", Prime: prime, Periods: 1, DesignFrequencyHz: Num(designHz), DepthsM: SequenceDepths(seq, prime, designHz, DesignSpeedOfSoundMS),
		WellWidthM: 0.05, FinThicknessM: 0.006, HeightM: 0.6, CapM: 0.01, BackM: 0.005}
}

// The inverse N − s permutes a quadratic-residue sequence only for N ≡ 1 mod 4: then −1 is a square (Euler's criterion).
func TestInvertedPanelPermutes(t *testing.T) {
	for _, prime := range []int{5, 7, 11, 13, 17, 19, 23, 29, 41, 43} {
		p := rowPanelOf(prime, 500)
		design, inverted := slices.Sorted(slices.Values(p.DepthsM)), slices.Sorted(slices.Values(kindDepthsM(p, 'I')))
		worst := 0.0
		for i := range design {
			worst = max(worst, math.Abs(design[i]-inverted[i]))
		}
		step := DesignSpeedOfSoundMS / (2 * 500 * float64(prime))
		if permutes := worst < 1e-9; permutes != (prime%4 == 1) {
			t.Errorf("prime %d: the inverted panel has the design's depths: %t", prime, permutes)
		} else if !permutes && worst < step/2 {
			t.Errorf("prime %d: depths differ by %g m, less than half a step", prime, worst)
		}
	}
}

// Inverting twice or mirroring twice gives the design; an inverted well turns the wave of the design frequency by as much as the design's, the other way.
func TestKinds(t *testing.T) {
	explicit := &Panel{DepthsM: []float64{0, 0.03, 0.1, 0.05}, DesignFrequencyHz: Unknown()}
	if got := kindDepthsM(explicit, 'I'); !slices.EqualFunc(got, []float64{0.1, 0.07, 0, 0.05}, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) {
		t.Errorf("explicit depths inverted: %v", got)
	}
	for _, p := range []*Panel{rowPanelOf(7, 500), rowPanelOf(13, 800), explicit} {
		for _, kind := range []byte("IMB") {
			twice := *p
			twice.DepthsM = kindDepthsM(p, kind)
			for i, d := range kindDepthsM(&twice, kind) {
				near(t, fmt.Sprintf("kind %c twice, well %d", kind, i+1), d, p.DepthsM[i], 1e-12, "rounding")
			}
		}
		if p.Prime > 0 {
			whole := DesignSpeedOfSoundMS / (2 * float64(p.DesignFrequencyHz))
			for i, d := range kindDepthsM(p, 'I') {
				sum := math.Mod(d+p.DepthsM[i]+whole/2, whole) - whole/2
				near(t, fmt.Sprintf("well %d: both phases together", i+1), sum, 0, 1e-12, "half a wavelength in and out is a whole turn")
			}
		}
	}
}

// Where two parts of one sequence meet, two halves make one fin, so a panel in parts is the panel in one piece (half-thickness fins: common practice, no source).
func TestHalfFins(t *testing.T) {
	p := rowPanelOf(43, 442)
	whole := newRowLayout(p, &SurveyRow{}, "D")
	split := newRowLayout(p, &SurveyRow{Parts: []int{7, 7, 7, 7, 7, 8}}, "D")
	near(t, "width", split.widthM(), p.WidthM(), 1e-12, "rounding")
	for i := range p.DepthsM {
		near(t, "one piece: well", whole.centreM[i], p.WellCentreM(i), 1e-12, "a row of one panel is the panel")
		near(t, "six parts: well", split.centreM[i], p.WellCentreM(i), 1e-12, "half fins keep the wells where they were")
	}
	if len(split.boxes) != 6 || len(split.section(0).Boxes) != 1 {
		t.Fatalf("%d boxes, %d outlines", len(split.boxes), len(split.section(0).Boxes))
	}
	wells := 0
	for i, b := range split.boxes {
		left, right := p.FinThicknessM/2, p.FinThicknessM/2
		if i == 0 {
			left = p.FinThicknessM
		} else {
			near(t, "boxes touch", b.X0M, split.boxes[i-1].X1M, 1e-12, "no gap between parts")
		}
		if i == 5 {
			right = p.FinThicknessM
		}
		near(t, "left fin", b.LeftFinM, left, 1e-12, "half inside, whole at the ends")
		near(t, "right fin", b.RightFinM, right, 1e-12, "half inside, whole at the ends")
		near(t, "width of a box", b.X1M-b.X0M, float64(b.Wells)*p.WellWidthM+float64(b.Wells-1)*p.FinThicknessM+left+right, 1e-12, "its wells and fins")
		if b.FirstWell != wells+1 {
			t.Errorf("box %d begins with well %d, want %d", i+1, b.FirstWell, wells+1)
		}
		wells += b.Wells
	}
	near(t, "outer depth", split.outerDepthM(), 41./43*DesignSpeedOfSoundMS/(2*442)+p.BackM, 1e-12, "41 of 43 steps is the deepest: check-values.md")
}

func TestRowLayout(t *testing.T) {
	p := rowPanelOf(7, 500)
	width := p.WidthM()
	for _, c := range []struct {
		row             SurveyRow
		order           string
		width, pitch    float64
		period          float64
		times, outlines int
	}{
		{SurveyRow{}, "DDDD", 4 * width, width, width, 4, 1},
		{SurveyRow{GapM: 0.02}, "DDDD", 4*width + 0.06, width + 0.02, width + 0.02, 4, 4},
		{SurveyRow{HalfFins: true}, "DDDD", 28*0.056 + 0.006, 7 * 0.056, 7 * 0.056, 4, 1},
		{SurveyRow{GapM: 0.02}, "DIDI", 4*width + 0.06, width + 0.02, 2*width + 0.04, 2, 4},
		{SurveyRow{}, "DDDI", 4 * width, width, 4*width - 2*p.FinThicknessM, 1, 1},
	} {
		l := newRowLayout(p, &c.row, c.order)
		length, times := l.period()
		near(t, c.order+": width", l.widthM(), c.width, 1e-12, "panels and gaps")
		near(t, c.order+": pitch", l.pitchM(), c.pitch, 1e-12, "a panel and a gap")
		near(t, c.order+": period", length, c.period, 1e-12, "as the order repeats")
		s := l.section(0.6)
		if err := s.Validate(); err != nil || times != c.times || len(s.Boxes) != c.outlines || len(s.Mouths) != 7*len(c.order) || len(l.wells()) != len(s.Mouths) {
			t.Errorf("%s: %d times, %d outlines, %d mouths, %v", c.order, times, len(s.Boxes), len(s.Mouths), err)
		}
		near(t, c.order+": middle", s.Boxes[0].X0M+s.Boxes[len(s.Boxes)-1].X1M, 0, 1e-12, "the row's middle is at x = 0")
	}
}
