package analysis

import (
	"fmt"
	"math"
)

// SurveySeat is where somebody listens: a place, or an area in which the best place is looked for. Beside the panel's axes: the listener's ears.
type SurveySeat struct {
	Name   string
	PlaceM [3]float64      // of a seat without Area
	Area   *SeatArea       // nil for a place
	Take   *SurveyPosition // its recordings; nil for a seat that is only predicted
}

// SeatArea limits where a listener may sit: ears between two distances from the plane of the panel's front, so far to either side of its middle, all at one height.
type SeatArea struct {
	NearestM  float64 `json:"nearest_m"`
	FarthestM float64 `json:"farthest_m"`
	AsideM    float64 `json:"aside_m"`
	HeightM   float64 `json:"height_m"` // z
}

const (
	maxSeats     = 40
	nearestSeatM = 0.1 // m: how near a seat may come to panel and loudspeaker
)

var (
	seatKeys    = []string{"name", "place_m", "nearest_m", "farthest_m", "aside_m", "height_m", "channel", "empty", "flat", "panel"}
	seatLimit   = limit{nearestSeatM, 20, false, "metres", 0.2, 10}
	asideLimit  = limit{0, 2, false, "metres", 0.1, 2}
	areaKeys    = []string{"nearest_m", "farthest_m", "aside_m", "height_m"}
	longestArea = 10.0 // m
)

// readSeats reads the [[seat]] tables.
func (r *surveyReader) readSeats(s *Survey) {
	taken := map[string]int{} // line by name: recordings tell places by their names
	for _, p := range s.Positions {
		taken[p.Name] = p.Line
	}
	for i := range r.count["seat"] {
		path := fmt.Sprintf("seat[%d].", i+1)
		seat := SurveySeat{Name: r.text(path + "name")}
		if seat.Name == "" {
			r.missing(path+"name", "a name of its own")
		}
		line := r.places[path[:len(path)-1]].line
		if first, twice := taken[seat.Name]; twice {
			r.fail(path+"name", r.raw(path+"name"), "a name of its own", fmt.Sprintf("the position or seat in line %d has this name already", first))
		}
		taken[seat.Name] = line
		if r.has(path + "place_m") {
			r.readSeatPlace(s, &seat, path)
		} else {
			r.readSeatArea(s, &seat, path)
		}
		r.readSeatTakes(s, &seat, path, line)
		if r.err != nil {
			return
		}
		s.Seats = append(s.Seats, seat)
	}
}

func (r *surveyReader) readSeatPlace(s *Survey, seat *SurveySeat, path string) {
	for _, key := range areaKeys {
		if r.has(path + key) {
			r.fail(path+key, key+" beside place_m", "place_m, or an area: nearest_m, farthest_m, aside_m, height_m", "keep one of the two")
		}
	}
	at := path + "place_m"
	seat.PlaceM = r.point(at)
	if r.err == nil && seat.PlaceM[1] < nearestSeatM {
		r.fail(at, r.raw(at), fmt.Sprintf("a place in front of the panel, y at least %g metres", nearestSeatM), "y points out of the panel, away from the wall: check its sign")
	}
	r.seatFree(s, at, seat.PlaceM)
}

// seatFree checks that a seat stands in the room and off the loudspeaker.
func (r *surveyReader) seatFree(s *Survey, path string, at [3]float64) {
	if r.err == nil && distance3(at, s.SourceM) < nearestSeatM {
		r.fail(path, r.raw(path)+", the loudspeaker's own place", fmt.Sprintf("a place at least %g metres away from source.position_m", nearestSeatM), "check both")
	}
	if r.err == nil {
		r.inRoom(s, path, at)
	}
}

func (r *surveyReader) readSeatArea(s *Survey, seat *SurveySeat, path string) {
	if !r.has(path+"nearest_m") && !r.has(path+"farthest_m") {
		r.missing(path+"place_m", "place_m = [x, y, z], or an area: nearest_m and farthest_m")
		return
	}
	area := &SeatArea{NearestM: r.required(path+"nearest_m", seatLimit), FarthestM: r.required(path+"farthest_m", seatLimit)}
	if v := r.number(path+"aside_m", asideLimit); v.Known() {
		area.AsideM = float64(v)
	}
	if v := r.number(path+"height_m", placeLimit); v.Known() {
		area.HeightM = float64(v)
	}
	seat.Area = area
	switch {
	case r.err != nil:
		return
	case area.FarthestM <= area.NearestM:
		r.fail(path+"farthest_m", r.raw(path+"farthest_m"), "more than nearest_m, "+r.raw(path+"nearest_m"), "exchange them, or check both")
	case area.FarthestM-area.NearestM > longestArea:
		r.fail(path+"farthest_m", r.raw(path+"farthest_m"), fmt.Sprintf("at most %g metres more than nearest_m", longestArea), "give two seats, or check both")
	}
	for _, x := range []float64{-area.AsideM, area.AsideM} {
		for _, end := range []struct {
			key string
			y   float64
		}{{"nearest_m", area.NearestM}, {"farthest_m", area.FarthestM}} {
			if r.err == nil {
				r.inRoom(s, path+end.key, [3]float64{x, end.y, area.HeightM})
			}
		}
	}
}

func (r *surveyReader) readSeatTakes(s *Survey, seat *SurveySeat, path string, line int) {
	take := &SurveyPosition{Name: seat.Name, MicM: seat.PlaceM, Line: line}
	r.readChannel(s, take, path)
	r.readStates(take, path)
	if r.err != nil || len(take.Empty)+len(take.Flat)+len(take.Panel) == 0 {
		return
	}
	switch {
	case seat.Area != nil:
		r.fail(path+"nearest_m", "an area with recordings", "place_m with recordings", "say with place_m where the microphone stood")
	case len(take.Panel) == 0:
		r.missing(path+"panel", "the recording with the panel")
	}
	seat.Take = take
}

// withSeats returns the survey with the measured seats as further positions, behind the others.
func (s *Survey) withSeats() *Survey {
	all := *s
	all.Positions = append([]SurveyPosition(nil), s.Positions...)
	for _, seat := range s.Seats {
		if seat.Take != nil {
			all.Positions = append(all.Positions, *seat.Take)
		}
	}
	return &all
}

// candidatesM returns the places among which a seat is chosen: distances and sideways, in metres. Of a place, itself alone.
func (s *SurveySeat) candidatesM() (distances, aside []float64, height float64) {
	if s.Area == nil {
		return []float64{s.PlaceM[1]}, []float64{s.PlaceM[0]}, s.PlaceM[2]
	}
	span := s.Area.FarthestM - s.Area.NearestM
	steps := int(math.Ceil(span/seatStepM - 1e-9))
	for i := range steps + 1 {
		distances = append(distances, s.Area.NearestM+span*float64(i)/float64(steps))
	}
	side := int(s.Area.AsideM/acrossStepM + 1e-9)
	for i := -side; i <= side; i++ {
		aside = append(aside, float64(i)*acrossStepM)
	}
	return distances, aside, s.Area.HeightM
}
