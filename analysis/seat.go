package analysis

import (
	"context"
	"math"
	"slices"
	"sort"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// Seating is the sound field in front of the panel where people listen: at the survey's seats. Everything at a seat is re the direct sound there, that of a point source
// at the loudspeaker's place. Slices over bands follow BandHz.
type Seating struct {
	Panels    int            `json:"panels"` // side by side, solved as one structure
	BandHz    []float64      `json:"band_hz"`
	Judged    []bool         `json:"judged"` // bands that count for the criterion and for means over bands
	Criterion SeatCriterion  `json:"criterion"`
	Rules     []DistanceRule `json:"rules"`
	Seats     []Seat         `json:"seats"`
	Doubts    []string       `json:"doubts"`   // what weakens these figures
	DoesNot   []string       `json:"does_not"` // what a panel of this kind does not do, in plain sentences
}

// SeatCriterion is what a reflection must keep to.
type SeatCriterion struct {
	LimitDB      float64 `json:"limit_db"`       // re the direct sound
	AdvisoryDB   float64 `json:"advisory_db"`    // below it a single reflection is hardly audible
	WithinS      float64 `json:"within_s"`       // after the direct sound
	LowHz        float64 `json:"low_hz"`         // as published
	HighHz       float64 `json:"high_hz"`        // as published
	JudgedLowHz  float64 `json:"judged_low_hz"`  // as far as the prediction reaches
	JudgedHighHz float64 `json:"judged_high_hz"` // as far as the prediction reaches
	Text         string  `json:"text"`
	Source       string  `json:"source"`
}

// DistanceRule is a rule of thumb for the nearest seat.
type DistanceRule struct {
	Text      string `json:"text"`
	DistanceM Num    `json:"distance_m"` // unknown where the survey gives no design frequency
	Source    string `json:"source"`
}

// Seat is one listening place. Design is the panel as designed, Built with the depths that were recovered, Flat a flat board of the same outer size.
type Seat struct {
	Name        string        `json:"name"`
	PlaceM      [3]float64    `json:"place_m"` // of the ears' middle; of an area the best place in it
	Area        *SeatArea     `json:"area"`
	DirectS     Num           `json:"direct_s"`     // arrival of the direct sound
	ReflectionS Num           `json:"reflection_s"` // by how much sound over the middle of the front comes later
	Design      SeatFigures   `json:"design"`
	Built       *SeatFigures  `json:"built"` // nil where no depths were recovered
	Flat        SeatFigures   `json:"flat"`
	Nothing     Num           `json:"nothing_unevenness_db"` // of the direct sound alone
	FrequencyHz []float64     `json:"frequency_hz"`          // of the curves
	Sweep       SeatSweep     `json:"sweep"`
	Tuning      SeatTuning    `json:"tuning"`
	Lying       SeatFigures   `json:"lying"`   // with the panel turned by 90°, its wells lying
	Another     SeatFigures   `json:"another"` // with one more panel beside
	Advice      SeatAdvice    `json:"advice"`
	Measured    *SeatMeasured `json:"measured"` // nil without recordings
}

// SeatFigures describes what a listener hears at one place.
type SeatFigures struct {
	ReflectionDB   []Num `json:"reflection_db"`  // scattered re direct sound
	CombDB         []Num `json:"comb_db"`        // highest less lowest level of direct plus scattered sound, smoothed to equivalent rectangular bandwidths
	UnevennessDB   []Num `json:"unevenness_db"`  // standard deviation of that level across 0.6 m, rms over the band
	WorstDB        Num   `json:"worst_db"`       // highest of ReflectionDB among the judged bands
	WorstHz        Num   `json:"worst_hz"`       // its band
	MeanCombDB     Num   `json:"mean_comb_db"`   // over the judged bands
	MeanUnevenness Num   `json:"mean_uneven_db"` // likewise
	CentreS        Num   `json:"centre_s"`       // of the scattered energy in time, after the direct sound
	SpreadS        Num   `json:"spread_s"`       // rms, about the centre
	HeardDB        []Num `json:"heard_db"`       // direct plus scattered, smoothed, at Seat.FrequencyHz; empty where not drawn
}

// SeatSweep is what changes with the distance from the panel's plane, on the line through the seat. Built is empty where no depths were recovered.
type SeatSweep struct {
	DistanceM   []float64   `json:"distance_m"`
	Design      []SeatPoint `json:"design"`
	Built       []SeatPoint `json:"built"`
	Flat        []SeatPoint `json:"flat"`
	FrequencyHz []float64   `json:"frequency_hz"`  // of the maps: middles of third octaves, a sixth of an octave apart
	PanelCombDB [][]Num     `json:"panel_comb_db"` // [distance][frequency]; as built where known, else as designed
	FlatCombDB  [][]Num     `json:"flat_comb_db"`
}

// SeatPoint holds the figures of one distance, as SeatFigures names them.
type SeatPoint struct {
	WorstDB        Num `json:"worst_db"`
	MeanCombDB     Num `json:"mean_comb_db"`
	MeanUnevenness Num `json:"mean_uneven_db"`
	CentreS        Num `json:"centre_s"`
	SpreadS        Num `json:"spread_s"`
}

// SeatTuning is a map over the seat's distance and the panel's sideways place, for the panel as built where known.
type SeatTuning struct {
	PanelXM       []float64     `json:"panel_x_m"` // where the panel's middle would hang, re its place now
	DistanceM     []float64     `json:"distance_m"`
	Points        [][]SeatPoint `json:"points"` // [panel][distance]
	BestPanelXM   float64       `json:"best_panel_x_m"`
	BestDistanceM float64       `json:"best_distance_m"`
	Text          string        `json:"text"`
}

// SeatAdvice is how far to sit from the panel and why.
type SeatAdvice struct {
	AtLeastM     Num      `json:"at_least_m"`      // from here on, along the seat's line, the criterion holds; unknown where it never does for good
	FlatAtLeastM Num      `json:"flat_at_least_m"` // the same with a flat board
	AdvisoryM    Num      `json:"advisory_m"`      // from here on the scattered sound lies under the advisory level too
	Holds        bool     `json:"holds"`           // at the seat
	Text         string   `json:"text"`
	Reasons      []string `json:"reasons"`
}

// SeatMeasured sets the recordings at a seat beside the prediction, both through the same gate. A band shorter than one period in the gate is unknown.
type SeatMeasured struct {
	Gate          Gate        `json:"gate"`
	Panel         SeatFigures `json:"panel"`
	Flat          SeatFigures `json:"flat"`      // of unknowns without a flat board
	Predicted     SeatFigures `json:"predicted"` // as built where known, else as designed
	PredictedFlat SeatFigures `json:"predicted_flat"`
	WithFlatDB    []Num       `json:"predicted_with_flat_db"` // predicted re the predicted flat board, plus the measured flat board
	LevelRMSDB    Num         `json:"level_rms_db"`           // predicted less measured reflection, over the bands
	WithFlatRMSDB Num         `json:"with_flat_rms_db"`
	CombRMSDB     Num         `json:"comb_rms_db"`
}

const (
	seatStepM      = 0.1 // of candidate distances in an area, at most
	acrossStepM    = 0.1
	acrossHalf     = 3 // steps to either side: a listening area 0.6 m wide
	sweepFromM     = 0.3
	sweepToM       = 4.0
	offLoudspeaker = 0.3   // m: nearer to it the sweep makes no sense
	seatLowHz      = 220   // the first third octave that is told: 250 Hz
	seatResponseS  = 0.020 // how long a response may be, from shortly before its arrival
)

// figures tells what an ear hears: the middle one of several side by side, all on the same lines.
type seatView struct {
	bands  []dsp.Band
	judged []bool
	fromHz float64 // of heard
	toHz   float64
}

func newSeatView(c SeatCriterion) (seatView, error) {
	bands, err := dsp.FractionalOctaves(3, seatLowHz, predictionEndHz)
	v := seatView{bands: bands, fromHz: seatLowHz, toHz: predictionEndHz}
	for _, b := range bands {
		v.judged = append(v.judged, b.LowHz >= c.JudgedLowHz*(1-1e-6) && b.HighHz <= c.JudgedHighHz*(1+1e-6))
	}
	return v, err
}

// listened is one place's part of the figures, for one state of the panel.
type listened struct {
	stepHz         float64
	first          int       // line of heard[0]
	heard          []float64 // level of direct plus scattered re direct, smoothed
	directDB       float64   // of the direct sound, re that at 1 m
	reflection     []float64 // per band, dB
	worst          int       // judged band
	centre, spread float64   // s
}

func (v *seatView) listen(e ear, directM float64) listened {
	l := listened{stepHz: e.stepHz, first: int(math.Ceil(v.fromHz / e.stepHz)), heard: e.heard(v.fromHz, v.toHz), directDB: -20 * math.Log10(directM), worst: -1}
	low, high := math.Inf(1), 0.0
	for i, b := range v.bands {
		l.reflection = append(l.reflection, e.reflectionDB(b.LowHz, b.HighHz))
		if v.judged[i] {
			low, high = min(low, b.LowHz), max(high, b.HighHz)
			if l.worst < 0 || l.reflection[i] > l.reflection[l.worst] {
				l.worst = i
			}
		}
	}
	l.centre, l.spread = e.timesS(low, high)
	return l
}

// lines returns heard between two frequencies.
func (l *listened) lines(lowHz, highHz float64) []float64 {
	from := max(0, int(math.Ceil(lowHz/l.stepHz))-l.first)
	to := min(len(l.heard), int(highHz/l.stepHz)-l.first+1)
	if to <= from {
		return nil
	}
	return l.heard[from:to]
}

func depthOf(levels []float64) Num {
	if len(levels) == 0 {
		return Unknown()
	}
	return Num(slices.Max(levels) - slices.Min(levels))
}

// unevenness returns the standard deviation of the level across the places, rms over the lines between two frequencies.
func unevenness(across []*listened, lowHz, highHz float64) Num {
	var all [][]float64
	for _, l := range across {
		all = append(all, l.lines(lowHz, highHz))
	}
	sum := 0.0
	for n := range all[0] {
		var mean, squares float64
		for i, v := range all {
			level := v[n] + across[i].directDB
			mean += level / float64(len(all))
			squares += level * level / float64(len(all))
		}
		sum += max(0, squares-mean*mean) / float64(len(all[0]))
	}
	return Num(math.Sqrt(sum))
}

// figures puts together what the middle place of some side by side hears.
func (v *seatView) figures(across []*listened) SeatFigures {
	l := across[len(across)/2]
	f := SeatFigures{WorstDB: Num(l.reflection[l.worst]), WorstHz: Num(v.bands[l.worst].CentreHz), CentreS: Num(l.centre), SpreadS: Num(l.spread)}
	judged := 0
	for i, b := range v.bands {
		comb, uneven := depthOf(l.lines(b.LowHz, b.HighHz)), Unknown()
		if len(across) > 1 {
			uneven = unevenness(across, b.LowHz, b.HighHz)
		}
		f.ReflectionDB, f.CombDB, f.UnevennessDB = append(f.ReflectionDB, Num(l.reflection[i])), append(f.CombDB, comb), append(f.UnevennessDB, uneven)
		if v.judged[i] {
			f.MeanCombDB, f.MeanUnevenness = f.MeanCombDB+comb, f.MeanUnevenness+uneven
			judged++
		}
	}
	f.MeanCombDB, f.MeanUnevenness = f.MeanCombDB/Num(judged), f.MeanUnevenness/Num(judged)
	return f
}

func (f *SeatFigures) point() SeatPoint {
	return SeatPoint{f.WorstDB, f.MeanCombDB, f.MeanUnevenness, f.CentreS, f.SpreadS}
}

// seatLine is one seat's share of the places that are solved: a net of distances and columns side by side.
type seatLine struct {
	seat      *SurveySeat
	distances []float64
	columns   []float64 // x, acrossStepM apart, acrossHalf more on either side than there are candidates
	candidate []bool    // per distance
	z         float64
	first     int // index of its first place
}

func (l *seatLine) index(distance, column int) int {
	return l.first + distance*len(l.columns) + column
}

// newSeatLine lays out the net of a seat: its own distances and those of the sweep.
func newSeatLine(s *SurveySeat, source [3]float64) *seatLine {
	candidates, aside, z := s.candidatesM()
	l := &seatLine{seat: s, z: z}
	for i := -acrossHalf; i < len(aside)+acrossHalf; i++ {
		l.columns = append(l.columns, aside[0]+float64(i)*acrossStepM)
	}
	all := append([]float64(nil), candidates...)
	far := max(1.25*candidates[len(candidates)-1], min(source[1]-offLoudspeaker, sweepToM))
	for d := sweepFromM; d <= far+1e-9; {
		if at := sort.SearchFloat64s(candidates, d-0.02); at == len(candidates) || candidates[at] > d+0.02 {
			all = append(all, d)
		}
		if d += 0.05; d > 1.5 {
			d += 0.05
		}
		d = math.Round(d*1000) / 1000
	}
	slices.Sort(all)
	for _, d := range all {
		// the area around a place must keep off the loudspeaker
		clear := math.Inf(1)
		for _, x := range l.columns {
			clear = min(clear, distance([3]float64{x, d, z}, source))
		}
		is := slices.Contains(candidates, d)
		if is || clear >= offLoudspeaker {
			l.distances, l.candidate = append(l.distances, d), append(l.candidate, is)
		}
	}
	return l
}

// seatRun is the work on all seats.
type seatRun struct {
	*run
	view     seatView
	fine     grid
	coarse   grid // for what is compared only: half the lines, so that responses have half the time
	lines    []*seatLine
	sets     [][]scatter.Well // as designed, and as built where known
	section  scatter.Section
	layout   *rowLayout
	built    []scatter.Well // of one panel; nil where not known
	recorded *solved        // the recorded seats, where the structure is the single panel that was measured
	progress func(float64)
	done     float64 // solves finished, of
	of       float64
}

// seatScene is a source, and places at which the field is asked for, as they stand to the structure's middle.
type seatScene struct {
	grid   grid
	wells  [][]scatter.Well // states of the panel
	source [3]float64
	places [][3]float64
	raw    bool // the fields are enough
}

// solved is what a solve gives at each place of a scene: a state of the panel, the last being the flat board.
type solved struct {
	fields [][][]complex128 // [state][place][line]
	states [][]listened     // [state][place]
}

// solve predicts the fields of all scenes of one structure.
func (w *seatRun) solve(ctx context.Context, section *scatter.Section, scenes []seatScene) ([]*solved, error) {
	speed := w.air.SpeedOfSoundMS
	var asked []scene
	for _, s := range scenes {
		asked = append(asked, sceneOf(s.source, s.places, s.wells, s.grid))
	}
	all, err := scatteredFields(ctx, section, asked, speed, func(share float64) { w.progress((w.done + share) / w.of) })
	if err != nil {
		return nil, err
	}
	w.done++
	var out []*solved
	for n, fields := range all {
		s := &scenes[n]
		one := &solved{fields: fields, states: make([][]listened, len(fields))}
		for i := range fields {
			if s.raw {
				break
			}
			one.states[i] = make([]listened, len(s.places))
			parallel(0, len(s.places), func(p int) {
				direct := max(distance(s.source, s.places[p]), nearestSeatM) // a listening area may reach over the loudspeaker
				one.states[i][p] = w.view.listen(newEar(fields[i][p], s.grid, direct, earliestOver(*section, s.source, s.places[p])/speed, speed), direct)
			})
		}
		out = append(out, one)
	}
	return out, nil
}

// earliestOver returns the shortest way from the source over the structure's front to a place, in metres; the front is as high as its section says.
func earliestOver(section scatter.Section, source, place [3]float64) float64 {
	x0, x1 := section.Boxes[0].X0M, section.Boxes[len(section.Boxes)-1].X1M
	return shortestOver([2]float64{x0, x1}, section.HeightM, source, place)
}

// shortestOver returns the shortest way over a rectangle of the plane y = 0: from x[0] to x[1], of the given height about z = 0.
func shortestOver(x [2]float64, height float64, source, place [3]float64) float64 {
	// by the image of the source behind the plane, the point where the straight line meets it, moved into the rectangle one coordinate at a time
	sum := func(u, z float64) float64 {
		p := [3]float64{u, 0, z}
		return distance(source, p) + distance(p, place)
	}
	middle, half := (x[0]+x[1])/2, (x[1]-x[0])/2
	u, z := middle, 0.0
	for range 6 {
		u = middle + minimise(func(v float64) float64 { return sum(middle+v, z) }, half)
		z = minimise(func(v float64) float64 { return sum(u, v) }, height/2)
	}
	return sum(u, z)
}

// seats predicts the field at the survey's seats, for the design and for the built depths, and sets measured seats beside it.
func (r *run) seats(ctx context.Context) error {
	s := r.survey
	if len(s.Seats) == 0 {
		return nil
	}
	c := seatCriterion()
	w, err := r.newSeatRun(c)
	if err != nil {
		return err
	}
	out := &Seating{Panels: len(w.layout.panels), Judged: w.view.judged, Criterion: c, Rules: distanceRules(&s.Panel, r.air.SpeedOfSoundMS), DoesNot: onePlane}
	for _, b := range w.view.bands {
		out.BandHz = append(out.BandHz, b.CentreHz)
	}
	r.result.Seating = out
	if err := w.all(ctx); err != nil {
		return err
	}
	if err := w.measured(ctx); err != nil {
		return err
	}
	w.advise()
	return nil
}

func (r *run) newSeatRun(c SeatCriterion) (*seatRun, error) {
	view, err := newSeatView(c)
	if err != nil {
		return nil, err
	}
	l := r.layout()
	fine, coarse := newGrid(predictionEndHz, seatResponseS/4), newGrid(predictionEndHz, seatResponseS/4)
	coarse.stepHz, coarse.first, coarse.last = 2*fine.stepHz, 1, fine.last/2
	w := &seatRun{run: r, view: view, fine: fine, coarse: coarse, layout: l, section: l.section(r.survey.Panel.HeightM), sets: [][]scatter.Well{l.wells()}, built: r.builtWells(),
		progress: r.options.report("seats")}
	if w.built != nil {
		w.sets = append(w.sets, wellsAsBuilt(l, w.built))
	}
	return w, nil
}

// panelShiftsM are the sideways places of the panel that are tried beside its own.
var panelShiftsM = []float64{-0.5, -0.25, 0.25, 0.5}

// all solves whatever the seats need: the sweep, the panel moved sideways, turned, and with another beside. All but the last see the same structure from other places; where seats are
// areas, the places of the others are known from the sweep only.
func (w *seatRun) all(ctx context.Context) error {
	s := w.survey
	var places [][3]float64
	chosen := true
	for i := range s.Seats {
		l := newSeatLine(&s.Seats[i], s.SourceM)
		l.first = len(places)
		w.lines = append(w.lines, l)
		chosen = chosen && l.seat.Area == nil
		for _, d := range l.distances {
			for _, x := range l.columns {
				places = append(places, [3]float64{x, d, l.z})
			}
		}
	}
	scenes := []seatScene{{grid: w.fine, wells: w.sets, source: s.SourceM, places: places}}
	measured := w.measuredHere()
	if measured {
		scenes = append(scenes, w.measuredScene())
	}
	first := len(scenes) // of the variants
	var v *variants
	w.of = 3
	if chosen {
		w.of = 2
		var at [][3]float64
		for i := range s.Seats {
			at = append(at, s.Seats[i].PlaceM)
		}
		v = w.newVariants(at)
		scenes = append(scenes, v.scenes...)
	}
	got, err := w.solve(ctx, &w.section, scenes)
	if err != nil {
		return err
	}
	if measured {
		w.recorded = got[1]
	}
	var columns []int
	for _, l := range w.lines {
		seat, column := w.sweep(l, got[0])
		w.result.Seating.Seats, columns = append(w.result.Seating.Seats, seat), append(columns, column)
	}
	main := got[0]
	if got = got[first:]; !chosen {
		var at [][3]float64
		for _, seat := range w.result.Seating.Seats {
			at = append(at, seat.PlaceM)
		}
		v = w.newVariants(at)
		if got, err = w.solve(ctx, &w.section, v.scenes); err != nil {
			return err
		}
	}
	w.tune(v, got, columns, main)
	return w.another(ctx, v)
}

// now returns which of the sets is the panel as it is: built where known, else designed.
func (w *seatRun) now() int { return len(w.sets) - 1 }

// across picks the places side by side around one.
func (l *seatLine) across(state []listened, distance, column int) []*listened {
	var out []*listened
	for i := column - acrossHalf; i <= column+acrossHalf; i++ {
		out = append(out, &state[l.index(distance, i)])
	}
	return out
}

// disturbance is the root of the sum of squares of comb and unevenness.
func (p *SeatPoint) disturbance() float64 {
	return math.Hypot(float64(p.MeanCombDB), float64(p.MeanUnevenness))
}

// better tells whether a listener is better off with a than with b: the criterion first, then the disturbance.
func (w *seatRun) better(a, b SeatPoint) bool {
	limit := Num(w.result.Seating.Criterion.LimitDB)
	if okA, okB := a.WorstDB <= limit, b.WorstDB <= limit; okA != okB {
		return okA
	} else if !okA {
		return a.WorstDB < b.WorstDB
	}
	return a.disturbance() < b.disturbance()
}

// sweep fills a seat from the main solve and returns its column in the net.
func (w *seatRun) sweep(l *seatLine, main *solved) (Seat, int) {
	flat, now := len(w.sets), w.now()
	figures := func(state, d, column int) SeatFigures { return w.view.figures(l.across(main.states[state], d, column)) }
	bestD, bestColumn, best, bestOff, found := 0, 0, SeatPoint{}, false, false
	for d := range l.distances {
		if !l.candidate[d] {
			continue
		}
		for column := acrossHalf; column < len(l.columns)-acrossHalf; column++ {
			at := [3]float64{l.columns[column], l.distances[d], l.z}
			off := distance(at, w.survey.SourceM) >= nearestSeatM // nobody sits on the loudspeaker where there is another place
			f := figures(now, d, column)
			if p := f.point(); !found || off && !bestOff || off == bestOff && w.better(p, best) {
				bestD, bestColumn, best, bestOff, found = d, column, p, off, true
			}
		}
	}
	seat := Seat{Name: l.seat.Name, Area: l.seat.Area, PlaceM: [3]float64{l.columns[bestColumn], l.distances[bestD], l.z}}
	if l.seat.Area == nil {
		seat.PlaceM = l.seat.PlaceM
	}
	speed := w.air.SpeedOfSoundMS
	way := newPaths(&w.survey.Panel, w.survey.SourceM, seat.PlaceM)
	seat.DirectS, seat.ReflectionS = Num(way.direct/speed), Num((way.middle-way.direct)/speed)
	seat.Design, seat.Flat = figures(0, bestD, bestColumn), figures(flat, bestD, bestColumn)
	if now > 0 {
		built := figures(now, bestD, bestColumn)
		seat.Built = &built
	}
	// of the direct sound alone, at any frequency
	quiet := l.across(main.states[flat], bestD, bestColumn)
	var still []*listened
	for _, q := range quiet {
		still = append(still, &listened{stepHz: 1, heard: []float64{0}, directDB: q.directDB})
	}
	seat.Nothing = unevenness(still, 0, 0)

	for f := 250.0; f <= predictionEndHz-50; f += 12.5 {
		seat.FrequencyHz = append(seat.FrequencyHz, f)
		if f >= 1000 {
			f += 12.5
		}
	}
	curve := func(state int) []Num {
		at := &main.states[state][l.index(bestD, bestColumn)]
		var out []Num
		for _, f := range seat.FrequencyHz {
			out = append(out, Num(at.heard[min(len(at.heard)-1, int(f/at.stepHz+0.5)-at.first)]))
		}
		return out
	}
	seat.Design.HeardDB, seat.Flat.HeardDB = curve(0), curve(flat)
	if seat.Built != nil {
		seat.Built.HeardDB = curve(now)
	}

	sw := &seat.Sweep
	sw.DistanceM = l.distances
	for f := w.view.bands[0].CentreHz; f <= w.view.bands[len(w.view.bands)-1].CentreHz*1.001; f *= math.Pow(dsp.OctaveRatio, 1.0/6) {
		sw.FrequencyHz = append(sw.FrequencyHz, f)
	}
	half := math.Pow(dsp.OctaveRatio, 1.0/6)
	for d := range l.distances {
		point := func(state int) SeatPoint {
			f := figures(state, d, bestColumn)
			return f.point()
		}
		comb := func(state int) (row []Num) {
			at := &main.states[state][l.index(d, bestColumn)]
			for _, f := range sw.FrequencyHz {
				row = append(row, depthOf(at.lines(f/half, f*half)))
			}
			return row
		}
		sw.Design, sw.Flat = append(sw.Design, point(0)), append(sw.Flat, point(flat))
		if now > 0 {
			sw.Built = append(sw.Built, point(now))
		}
		sw.PanelCombDB, sw.FlatCombDB = append(sw.PanelCombDB, comb(now)), append(sw.FlatCombDB, comb(flat))
	}
	return seat, bestColumn
}

// variants are the places from which the panel is seen moved sideways and turned.
type variants struct {
	own       [][3]float64 // the seats' own areas, one after the other
	distances [][]float64  // of each seat's tuning
	first     []int        // of each seat's tuning, among the places of a moved panel
	scenes    []seatScene  // one for each of panelShiftsM, and the panel lying
}

// listeners is how many places side by side belong to one.
const listeners = 2*acrossHalf + 1

// newVariants needs where the seats are: each seat's own area, and a coarse sweep along its line.
func (w *seatRun) newVariants(at [][3]float64) *variants {
	s := w.survey
	v := &variants{}
	now := w.sets[w.now():]
	const most = 14
	around := func(x, d, z float64) (places [][3]float64) {
		for k := -acrossHalf; k <= acrossHalf; k++ {
			places = append(places, [3]float64{x + float64(k)*acrossStepM, d, z})
		}
		return places
	}
	var tuned [][3]float64
	for i, p := range at {
		v.own = append(v.own, around(p[0], p[1], p[2])...)
		v.first = append(v.first, len(tuned))
		v.distances = append(v.distances, tunedDistances(w.lines[i], p[1], most))
		for _, d := range v.distances[i] {
			tuned = append(tuned, around(p[0], d, p[2])...)
		}
	}
	seen := func(g grid, from func(p [3]float64) [3]float64, places [][3]float64) {
		scene := seatScene{grid: g, wells: now, source: from(s.SourceM)}
		for _, p := range places {
			scene.places = append(scene.places, from(p))
		}
		v.scenes = append(v.scenes, scene)
	}
	for _, shift := range panelShiftsM {
		seen(w.coarse, func(p [3]float64) [3]float64 { return [3]float64{p[0] - shift, p[1], p[2]} }, tuned)
	}
	seen(w.fine, func(p [3]float64) [3]float64 { return [3]float64{p[2], p[1], -p[0]} }, v.own)
	return v
}

// heardAt returns the figures of the place whose area begins at from.
func (w *seatRun) heardAt(got *solved, from int) SeatFigures {
	var across []*listened
	for k := range listeners {
		across = append(across, &got.states[0][from+k])
	}
	return w.view.figures(across)
}

// tune enters the panel moved and turned; chosen are the seats' columns in the main solve.
func (w *seatRun) tune(v *variants, got []*solved, chosen []int, main *solved) {
	seats := w.result.Seating.Seats
	for i := range seats {
		seats[i].Tuning.DistanceM = v.distances[i]
		seats[i].Lying = w.heardAt(got[len(panelShiftsM)], i*listeners)
	}
	for _, shift := range insertZero(panelShiftsM) {
		if shift == 0 {
			w.unmoved(chosen, main)
			continue
		}
		moved := got[slices.Index(panelShiftsM, shift)]
		for i := range seats {
			t := &seats[i].Tuning
			var row []SeatPoint
			for k := range t.DistanceM {
				f := w.heardAt(moved, v.first[i]+k*listeners)
				row = append(row, f.point())
			}
			t.PanelXM, t.Points = append(t.PanelXM, shift), append(t.Points, row)
		}
	}
	for i := range seats {
		w.chooseTuning(i)
	}
}

// another hangs one more panel beside: a structure of its own.
func (w *seatRun) another(ctx context.Context, v *variants) error {
	wider := oneMore(w.layout)
	section := wider.section(w.survey.Panel.HeightM)
	got, err := w.solve(ctx, &section, []seatScene{{grid: w.fine, wells: [][]scatter.Well{wellsAsBuilt(wider, w.built)}, source: w.survey.SourceM, places: v.own}})
	if err != nil {
		return err
	}
	for i := range w.result.Seating.Seats {
		w.result.Seating.Seats[i].Another = w.heardAt(got[0], i*listeners)
	}
	return nil
}

// unmoved enters the panel's own place into the tuning, from the main solve.
func (w *seatRun) unmoved(chosen []int, main *solved) {
	for i, l := range w.lines {
		t := &w.result.Seating.Seats[i].Tuning
		var row []SeatPoint
		for _, d := range t.DistanceM {
			f := w.view.figures(l.across(main.states[w.now()], slices.Index(l.distances, d), chosen[i]))
			row = append(row, f.point())
		}
		t.PanelXM, t.Points = append(t.PanelXM, 0), append(t.Points, row)
	}
}

func insertZero(shifts []float64) []float64 {
	at := sort.SearchFloat64s(shifts, 0)
	return slices.Insert(slices.Clone(shifts), at, 0)
}

// tunedDistances thins a seat's distances to about as many as wanted, the seat's own among them; of an area those within it.
func tunedDistances(l *seatLine, own float64, most int) []float64 {
	var all []float64
	for i, d := range l.distances {
		if l.seat.Area == nil || l.candidate[i] {
			all = append(all, d)
		}
	}
	step := float64(len(all)-1) / float64(most-1)
	var out []float64
	for i := 0.0; i < float64(most); i++ {
		k := int(math.Round(i * max(step, 1)))
		if k < len(all) {
			out = append(out, all[k])
		}
	}
	if !slices.Contains(out, own) {
		out = append(out, own)
		slices.Sort(out)
	}
	return out
}

// chooseTuning finds the best place of panel and seat within the user's limits: an area's own, or the seat where it is.
func (w *seatRun) chooseTuning(i int) {
	seat := &w.result.Seating.Seats[i]
	t := &seat.Tuning
	var best SeatPoint
	found := false
	// the panel's place now first, so that it wins where nothing is better
	order := []int{slices.Index(t.PanelXM, 0)}
	for p := range t.PanelXM {
		if p != order[0] {
			order = append(order, p)
		}
	}
	for _, p := range order {
		for d, distance := range t.DistanceM {
			if seat.Area == nil && distance != seat.PlaceM[1] {
				continue
			}
			if !found || w.better(t.Points[p][d], best) {
				best, found = t.Points[p][d], true
				t.BestPanelXM, t.BestDistanceM = t.PanelXM[p], distance
			}
		}
	}
}

// builtWells returns the wells as recovered; nil where they were not, or where the recovery explains too little.
func (r *run) builtWells() []scatter.Well {
	if r.result.Fit == nil || r.result.Fit.Misfit > 0.5 {
		return nil
	}
	const perUnit = 2 * 20 / math.Ln10
	var wells []scatter.Well
	for _, w := range r.result.Wells {
		if !w.BuiltM.Known() {
			return nil
		}
		well := scatter.Well{DepthM: float64(w.BuiltM)}
		if w.LossLow > 0 {
			well.Loss = float64(w.Loss) / perUnit
		}
		wells = append(wells, well)
	}
	return wells
}

// layout returns how the panels hang in front of the listener: the survey's row where it has one, in the order that was searched where it gives none, else the single panel.
func (r *run) layout() *rowLayout {
	p := &r.survey.Panel
	if row := r.survey.Row; row != nil {
		order := row.Order
		if order == "" && r.result.Row != nil {
			order = r.result.Row.Order
		}
		if order != "" {
			return newRowLayout(p, row, order)
		}
	}
	return singlePanel(p)
}

func singlePanel(p *Panel) *rowLayout { return newRowLayout(p, &SurveyRow{}, "D") }

// wellsAsBuilt puts the built wells in the place of the designed ones wherever a panel hangs as designed or mirrored: one panel was measured, and its copies are taken to be like it.
// Without built wells it returns the designed ones.
func wellsAsBuilt(l *rowLayout, built []scatter.Well) []scatter.Well {
	wells := l.wells()
	if built == nil {
		return wells
	}
	mirrored := slices.Clone(built)
	slices.Reverse(mirrored)
	for i, kind := range l.order {
		switch kind {
		case 'D':
			copy(wells[i*len(built):], built)
		case 'M':
			copy(wells[i*len(built):], mirrored)
		}
	}
	return wells
}

// oneMore hangs another panel as designed beside the others, the middle of all where it was.
func oneMore(l *rowLayout) *rowLayout { return newRowLayout(l.panel, l.row, l.order+"D") }
