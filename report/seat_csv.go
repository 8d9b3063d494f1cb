package report

import (
	"github.com/leadline/leadline/analysis"
)

// seatsOf lists the seats of r.
func seatsOf(r *analysis.Result) []analysis.Seat {
	if r.Seating == nil {
		return nil
	}
	return r.Seating.Seats
}

// seatState is one state of what stands before a seat.
type seatState struct {
	name    string
	figures *analysis.SeatFigures // nil where there is none
}

func seatStates(s *analysis.Seat) []seatState {
	out := []seatState{{"designed", &s.Design}, {"built", s.Built}, {"flat", &s.Flat}, {"lying", &s.Lying}, {"one more panel", &s.Another}}
	if q := s.Measured; q != nil {
		out = append(out, seatState{"measured panel", &q.Panel}, seatState{"measured flat", &q.Flat}, seatState{"predicted panel, gated", &q.Predicted}, seatState{"predicted flat, gated", &q.PredictedFlat})
	}
	return out
}

func seatBandsCSV(r *analysis.Result) *csvTable {
	t := newCSV("seat state centre_hz scattered_re_direct_db comb_db unevenness_db")
	for i := range seatsOf(r) {
		s := &r.Seating.Seats[i]
		for _, st := range seatStates(s) {
			if st.figures == nil {
				continue
			}
			for b, hz := range r.Seating.BandHz {
				t.row(s.Name, st.name, hz, at(st.figures.ReflectionDB, b), at(st.figures.CombDB, b), at(st.figures.UnevennessDB, b))
			}
		}
	}
	return t
}

func seatDistancesCSV(r *analysis.Result) *csvTable {
	t := newCSV("seat state distance_m strongest_third_octave_db mean_comb_db mean_unevenness_db centre_s spread_s")
	for _, s := range seatsOf(r) {
		for _, st := range []struct {
			name   string
			points []analysis.SeatPoint
		}{{"designed", s.Sweep.Design}, {"built", s.Sweep.Built}, {"flat", s.Sweep.Flat}} {
			for i := range min(len(st.points), len(s.Sweep.DistanceM)) {
				p := st.points[i]
				t.row(s.Name, st.name, s.Sweep.DistanceM[i], p.WorstDB, p.MeanCombDB, p.MeanUnevenness, p.CentreS, p.SpreadS)
			}
		}
	}
	return t
}

func seatMapsCSV(r *analysis.Result) *csvTable {
	t := newCSV("seat distance_m frequency_hz panel_comb_db flat_comb_db")
	for _, s := range seatsOf(r) {
		for d, distance := range s.Sweep.DistanceM {
			for i, hz := range s.Sweep.FrequencyHz {
				row := func(m [][]analysis.Num) analysis.Num {
					if d >= len(m) {
						return analysis.Unknown()
					}
					return analysis.Num(at(m[d], i))
				}
				t.row(s.Name, distance, hz, row(s.Sweep.PanelCombDB), row(s.Sweep.FlatCombDB))
			}
		}
	}
	return t
}

func seatCurvesCSV(r *analysis.Result) *csvTable {
	t := newCSV("seat frequency_hz designed_re_direct_db built_re_direct_db flat_re_direct_db")
	for _, s := range seatsOf(r) {
		for i, hz := range s.FrequencyHz {
			built := analysis.Unknown()
			if s.Built != nil {
				built = analysis.Num(at(s.Built.HeardDB, i))
			}
			t.row(s.Name, hz, at(s.Design.HeardDB, i), built, at(s.Flat.HeardDB, i))
		}
	}
	return t
}

func seatTuningCSV(r *analysis.Result) *csvTable {
	t := newCSV("seat panel_x_m distance_m strongest_third_octave_db mean_comb_db mean_unevenness_db")
	for _, s := range seatsOf(r) {
		for p, x := range s.Tuning.PanelXM {
			if p >= len(s.Tuning.Points) {
				break
			}
			for d := range min(len(s.Tuning.Points[p]), len(s.Tuning.DistanceM)) {
				q := s.Tuning.Points[p][d]
				t.row(s.Name, x, s.Tuning.DistanceM[d], q.WorstDB, q.MeanCombDB, q.MeanUnevenness)
			}
		}
	}
	return t
}
