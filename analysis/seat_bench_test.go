package analysis

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// benchSeats is a survey of the virtual bench with the panel as it really is: positions on the arc, measured seats on the axis and 35 cm off it.
func benchSeats(t *testing.T, room, panel string) *Survey {
	t.Helper()
	const root = "../fixtures/virtual-bench"
	raw, err := os.ReadFile(filepath.Join(root, "geometry.json"))
	if err != nil {
		t.Fatal(err)
	}
	var bench struct {
		Mic   map[string][3]float64 `json:"mic_m"`
		Built map[string][]float64  `json:"built_depths_m"`
	}
	if err := json.Unmarshal(raw, &bench); err != nil {
		t.Fatal(err)
	}
	s := &Survey{Title: "bench", ToleranceM: 0.003, Channel: 1, SourceM: [3]float64{0, 2, 0},
		Air:  AirInput{SpeedOfSoundMS: 343.2, TemperatureC: Unknown(), HumidityPercent: Unknown(), EmptyC: Unknown(), FlatC: Unknown(), PanelC: Unknown()},
		Gate: GateInput{Unknown(), Unknown()},
		Panel: Panel{Sequence: "explicit depths", Periods: 1, DesignFrequencyHz: 1000, DepthsM: bench.Built[room+"/"+panel], WellWidthM: 0.04, FinThicknessM: 0.005,
			HeightM: 0.6, CapM: 0.01, BackM: 0.005},
	}
	if room == "room-b" {
		s.Room = []Surface{{"floor", -0.9}}
	}
	take := func(name string) SurveyPosition {
		at := func(state string) []string { return []string{filepath.Join(root, room, state, name+".wav")} }
		return SurveyPosition{Name: name, MicM: bench.Mic[name], Empty: at("empty"), Flat: at("flat"), Panel: at(panel), Channel: 1}
	}
	for a := -60; a <= 60; a += 5 {
		s.Positions = append(s.Positions, take(fmt.Sprintf("arc%+03d", a)))
	}
	for _, line := range []string{"axis", "off"} {
		for cm := 30; cm <= 190; cm += 5 {
			name := fmt.Sprintf("%s%03d", line, cm)
			if _, ok := bench.Mic[name]; ok {
				p := take(name)
				s.Seats = append(s.Seats, SurveySeat{Name: name, PlaceM: p.MicM, Take: &p})
			}
		}
	}
	return s
}

// compareBench runs what a check does with measured seats, without the depth fit.
func compareBench(t *testing.T, s *Survey) (seats []*SeatMeasured, view seatView) {
	t.Helper()
	ctx := context.Background()
	r, err := newRun(s, Options{BandsPerOctave: 3}, "check")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.measure(ctx); err != nil {
		t.Fatal(err)
	}
	r.chooseRange()
	w, err := r.newSeatRun(seatCriterion())
	if err != nil {
		t.Fatal(err)
	}
	var places [][3]float64
	for i := range s.Seats {
		places = append(places, s.Seats[i].PlaceM)
	}
	g := w.measuredGrid()
	fields, err := scatteredFields(ctx, &w.section, []scene{sceneOf(s.SourceM, places, w.sets, g)}, r.air.SpeedOfSoundMS, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	source := w.seatSource(g)
	for i, m := range r.seatPositions {
		seats = append(seats, w.compare(m, r.seatGates[i], g, source, [2][]complex128{fields[0][0][i], fields[0][1][i]}))
	}
	return seats, w.view
}

// seatErrors are the errors of one cell of the table.
type seatErrors struct{ level, flatLevel, withFlat, comb, flatComb rms }

func (e *seatErrors) add(m *SeatMeasured, band int) {
	e.level.add(m.Predicted.ReflectionDB[band] - m.Panel.ReflectionDB[band])
	e.flatLevel.add(m.PredictedFlat.ReflectionDB[band] - m.Flat.ReflectionDB[band])
	e.withFlat.add(m.WithFlatDB[band] - m.Panel.ReflectionDB[band])
	e.comb.add(m.Predicted.CombDB[band] - m.Panel.CombDB[band])
	e.flatComb.add(m.PredictedFlat.CombDB[band] - m.Flat.CombDB[band])
}

func (e *seatErrors) String() string {
	return fmt.Sprintf("| %.2f | %.2f | %.2f | %.2f | %.2f |", e.level.value(), e.flatLevel.value(), e.withFlat.value(), e.comb.value(), e.flatComb.value())
}

// The virtual bench measures the field in front of the panel from outside: on its axis and 35 cm off it, from 0.3 m on, third octaves from 0.8 to 4 kHz, two rooms, the panel as
// designed and as built wrong. Errors in dB rms: reflected re direct level without any help from the flat board's measurement (panel and flat board), the panel's with it, and the
// comb's depth smoothed to equivalent rectangular bandwidths, of the panel and of the flat board. The aims hold at every distance of either line, and in every band over both lines.
func TestSeatVirtualBench(t *testing.T) {
	byDistance, byBand, byLine := map[string]*seatErrors{}, map[string]*seatErrors{}, map[string]*seatErrors{}
	var all seatErrors
	var distances, bands, lines []string
	cell := func(m map[string]*seatErrors, order *[]string, key string) *seatErrors {
		if m[key] == nil {
			m[key] = &seatErrors{}
			*order = append(*order, key)
		}
		return m[key]
	}
	for _, c := range []struct{ room, panel string }{{"room-a", "panel-as-designed"}, {"room-a", "panel-built-2"}, {"room-b", "panel-as-designed"}, {"room-b", "panel-built-1"}} {
		s := benchSeats(t, c.room, c.panel)
		seats, view := compareBench(t, s)
		for i, m := range seats {
			line := strings.TrimRight(s.Seats[i].Name, "0123456789")
			for b, band := range view.bands {
				if band.CentreHz < 790 || band.CentreHz > 4000 {
					continue
				}
				if !m.Panel.ReflectionDB[b].Known() || !m.Panel.CombDB[b].Known() {
					t.Errorf("%s %s: unknown at %.0f Hz", c.room, s.Seats[i].Name, band.CentreHz)
				}
				all.add(m, b)
				cell(byDistance, &distances, fmt.Sprintf("%-4s %.2f m", line, s.Seats[i].PlaceM[1])).add(m, b)
				cell(byBand, &bands, fmt.Sprintf("%4.0f Hz", band.CentreHz)).add(m, b)
				cell(byLine, &lines, fmt.Sprintf("%-4s %4.0f Hz", line, band.CentreHz)).add(m, b)
			}
		}
	}
	var table strings.Builder
	table.WriteString("| dB rms | panel's level | flat board's | panel's, with the flat board | comb, panel | comb, flat board |\n")
	check := func(name string, e *seatErrors) {
		fmt.Fprintf(&table, "| %s %s\n", name, e)
		for _, c := range []struct {
			what  string
			error Num
			aim   float64
		}{
			{"panel's level", e.level.value(), 1.5}, {"flat board's level", e.flatLevel.value(), 1.5}, {"panel's level with the flat board", e.withFlat.value(), 1},
			{"panel's comb", e.comb.value(), 1.5}, {"flat board's comb", e.flatComb.value(), 1.5},
		} {
			atMost(t, name+": "+c.what+", dB rms", float64(c.error), c.aim, "the aim set for it")
		}
	}
	for _, d := range distances {
		check(d, byDistance[d])
	}
	for _, b := range bands {
		check(b, byBand[b])
	}
	for _, l := range lines { // for information
		fmt.Fprintf(&table, "| %s %s\n", l, byLine[l])
	}
	check("all", &all)
	t.Log("\n" + table.String())
}
