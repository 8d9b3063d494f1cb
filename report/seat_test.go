package report

import (
	"math"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
)

// inventedSeats is two seats made up for the tests: one with recordings and built depths, one the best place of an area, of which nothing can be drawn.
func inventedSeats() *analysis.Seating {
	g := &analysis.Seating{
		Panels: 1,
		Criterion: analysis.SeatCriterion{LimitDB: -10, AdvisoryDB: -15, WithinS: 0.015, LowHz: 1000, HighHz: 8000, JudgedLowHz: 891, JudgedHighHz: 5623,
			Text: "Reflections at least 10 dB under the direct sound.", Source: "ITU-R BS.1116"},
		Rules:   []analysis.DistanceRule{{Text: "three wavelengths of the design frequency", DistanceM: 1.03, Source: "common practice, no source"}, {Text: "three times the build depth", DistanceM: 0.49, Source: "common practice, no source"}},
		Doubts:  []string{"The loudspeaker counts as a point."},
		DoesNot: []string{"It spreads sound in one plane only."},
	}
	for k := range 14 {
		g.BandHz = append(g.BandHz, 1000*math.Pow(10, float64(k-6)/10))
		g.Judged = append(g.Judged, k >= 6)
	}
	for n, name := range []string{"mixing chair", "sofa"} {
		s := analysis.Seat{Name: name, PlaceM: [3]float64{0, 1 + 0.3*float64(n), 0}, DirectS: 0.0029, ReflectionS: 0.0058, Nothing: 0.1}
		for f := 250.0; f < 5600; f += 25 {
			s.FrequencyHz = append(s.FrequencyHz, f)
		}
		figures := func(level float64) analysis.SeatFigures {
			f := analysis.SeatFigures{WorstDB: analysis.Num(level + 2), WorstHz: 2000, MeanCombDB: analysis.Num(3 + level/5), MeanUnevenness: 0.3, CentreS: 0.0066, SpreadS: 0.0013}
			for k := range g.BandHz {
				f.ReflectionDB, f.CombDB, f.UnevennessDB = append(f.ReflectionDB, analysis.Num(level+2*math.Sin(float64(k)))), append(f.CombDB, analysis.Num(3+level/5+math.Sin(float64(2*k)))), append(f.UnevennessDB, 0.3)
			}
			for _, hz := range s.FrequencyHz {
				f.HeardDB = append(f.HeardDB, analysis.Num(20*math.Pow(10, level/20)*math.Cos(2*math.Pi*hz*0.0058)*math.Exp(-hz/3000)))
			}
			return f
		}
		s.Design, s.Flat, s.Lying, s.Another = figures(-11), figures(-5), figures(-11), figures(-8)
		if n == 0 {
			built := figures(-12)
			s.Built = &built
			unknown := figures(-5)
			unknown.ReflectionDB[0] = analysis.Unknown()
			s.Measured = &analysis.SeatMeasured{Gate: analysis.Gate{StartS: 0.008, EndS: 0.012, EndedBy: "floor"}, Panel: figures(-11.5), Flat: unknown, Predicted: figures(-12), PredictedFlat: figures(-5.1),
				WithFlatDB: figures(-12.1).ReflectionDB, LevelRMSDB: 0.6, WithFlatRMSDB: 0.5, CombRMSDB: 0.1}
		} else {
			s.Area = &analysis.SeatArea{NearestM: 0.8, FarthestM: 1.6, AsideM: 0.3}
		}
		for k := range 27 {
			s.Sweep.FrequencyHz = append(s.Sweep.FrequencyHz, 250*math.Pow(10, float64(k)/20))
		}
		for d := 0.3; d < 1.72; d += 0.1 {
			point := func(level float64) analysis.SeatPoint {
				return analysis.SeatPoint{WorstDB: analysis.Num(level - 12*d), MeanCombDB: analysis.Num(4 / (d + 0.5)), MeanUnevenness: analysis.Num(0.3 / d), CentreS: 0.006, SpreadS: 0.0012}
			}
			s.Sweep.DistanceM = append(s.Sweep.DistanceM, d)
			s.Sweep.Design, s.Sweep.Flat = append(s.Sweep.Design, point(3)), append(s.Sweep.Flat, point(7))
			if n == 0 {
				s.Sweep.Built = append(s.Sweep.Built, point(2))
			}
			var row []analysis.Num
			for k := range s.Sweep.FrequencyHz {
				row = append(row, analysis.Num(6/(d+0.3)*math.Exp(-float64(k)/9)))
			}
			s.Sweep.PanelCombDB, s.Sweep.FlatCombDB = append(s.Sweep.PanelCombDB, row), append(s.Sweep.FlatCombDB, row)
		}
		s.Tuning = analysis.SeatTuning{PanelXM: []float64{-0.25, 0, 0.25}, DistanceM: []float64{0.5, 1, 1.5}, BestPanelXM: 0.25, BestDistanceM: 1, Text: "Best with the panel 0.25 m further towards +x."}
		for range 3 {
			s.Tuning.Points = append(s.Tuning.Points, []analysis.SeatPoint{{WorstDB: -4, MeanCombDB: 4}, {WorstDB: -10, MeanCombDB: 1.5}, {WorstDB: -14, MeanCombDB: 0.6}})
		}
		s.Advice = analysis.SeatAdvice{AtLeastM: 1.03, FlatAtLeastM: 1.42, AdvisoryM: 1.4, Holds: n == 1, Text: "Sit at least 1.03 m in front of the panel.",
			Reasons: []string{"At the seat the strongest third octave lies 9.4 dB under the direct sound.", "A flat board in its place would ask for 1.42 m."}}
		if n == 1 { // of which nothing can be drawn
			s.Sweep, s.Tuning, s.FrequencyHz = analysis.SeatSweep{}, analysis.SeatTuning{}, nil
			for _, f := range []*analysis.SeatFigures{&s.Design, &s.Flat, &s.Lying, &s.Another} {
				f.HeardDB = nil
			}
		}
		g.Seats = append(g.Seats, s)
	}
	return g
}

// A map's cells lie where their frequency and distance are, one shade for each step of depth, the seat's line at its distance.
func TestSeatMap(t *testing.T) {
	r := invented()
	doc := parse(t, render(t, r))
	svgs := doc.inside("seat-1-map")
	if len(svgs) != 1 {
		t.Fatalf("%d maps", len(svgs))
	}
	s := &r.Seating.Seats[0]
	cells := 0.0
	for shade := range len(combEdges) + 1 {
		for _, p := range svgs[0].classed("heat" + string(rune('0'+shade))) {
			v := numbers(t, p.attr["d"])
			for i := 0; i+5 <= len(v); i += 5 { // M x y H x V y H x
				cells += (v[i+2] - v[i]) * (v[i+1] - v[i+3])
			}
		}
	}
	frame := svgs[0].classed("frame")[0]
	area := numbers(t, frame.attr["width"])[0] * numbers(t, frame.attr["height"])[0]
	if math.Abs(cells/area-1) > 0.01 {
		t.Errorf("the cells cover %.3f of the frame", cells/area)
	}
	line := numbers(t, svgs[0].classed("seatline")[0].attr["d"])
	top, height := numbers(t, frame.attr["y"])[0], numbers(t, frame.attr["height"])[0]
	d := s.Sweep.DistanceM
	low, high := d[0]-0.05, d[len(d)-1]+0.05
	want := top + height*(1-(s.PlaceM[1]-low)/(high-low))
	if math.Abs(line[1]-want) > 0.2 {
		t.Errorf("the seat's line at %g, want %g", line[1], want)
	}
	for depth, want := range map[float64]int{0: 0, 0.49: 0, 0.5: 1, 1.5: 2, 8.9: 6, 9: 7, 40: 7} {
		if got, ok := shadeOf(depth); got != want || !ok {
			t.Errorf("%g dB: shade %d, want %d", depth, got, want)
		}
	}
}

// The section "Where to sit" gives the advice, its reasons and what such a panel doesn't do; without seats there is neither it nor a picture.
func TestSeatSection(t *testing.T) {
	r := invented()
	page := render(t, r)
	for _, want := range []string{"Where to sit", "Sit at least 1.03 m", "ask for 1.42 m", "one plane only", "ITU-R BS.1116", "mixing chair"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is missing", want)
		}
	}
	r.Seating = nil
	if page := render(t, r); strings.Contains(page, "Where to sit") || strings.Contains(page, "seat-1") {
		t.Error("seats without seats")
	}
}
