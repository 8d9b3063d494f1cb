package analysis

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Bounds on what one survey may ask for, far beyond any real one, so that no file leads to a huge allocation.
const (
	maxSurveyBytes = 2 << 20
	maxPositions   = 10000
	maxPeriods     = 64
	maxTakes       = 1000
	maxChannel     = 64
)

const (
	defaultToleranceM = 0.003
	// roundingM is how far a surface measured with a tape may seem to cut into the panel that stands against it.
	roundingM = 0.01
)

// Survey is one survey file, read and checked. Lengths in metres, times in seconds, frequencies in hertz, temperatures
// in degrees Celsius. The origin is the middle of the panel's front face; x runs to the right along the front as drawn from
// above, y out of the panel, z up.
type Survey struct {
	Path       string // as given
	Title      string // the file's name where the survey has none
	ToleranceM float64
	Air        AirInput
	Panel      Panel
	SourceM    [3]float64
	Room       []Surface // in the order floor, ceiling, left, right, behind; only those given
	Sweep      *Sweep    // nil where the recordings are impulse responses
	Gate       GateInput
	Channel    int // 1-based: where the WAV files hold the microphone, unless a position has its own
	Positions  []SurveyPosition
	Row        *SurveyRow // nil where the survey has no [row]
	Seats      []SurveySeat
	Warnings   []Warning

	files []namedFile
}

// Panel is the panel as designed.
type Panel struct {
	Sequence          string // "quadratic residue", "primitive root" or "explicit depths"
	Prime             int    // 0 for explicit depths without a sequence
	Periods           int
	DesignFrequencyHz Num
	DepthsM           []float64 // well by well over all periods, from the lowest x
	WellWidthM        float64
	FinThicknessM     float64
	HeightM           float64 // outer
	CapM              float64 // thickness of the closed top and bottom of the wells
	BackM             float64 // what stands behind the deepest well
}

// WidthM returns the outer width in metres: the wells, a fin between each two and one at either end.
func (p *Panel) WidthM() float64 {
	n := float64(len(p.DepthsM))
	return n*p.WellWidthM + (n+1)*p.FinThicknessM
}

// OuterDepthM returns the deepest well and the back behind it, in metres.
func (p *Panel) OuterDepthM() float64 {
	deepest := 0.0
	for _, d := range p.DepthsM {
		deepest = max(deepest, d)
	}
	return deepest + p.BackM
}

// WellCentreM returns the x, in metres, of the middle of well i, counted from 0 at the lowest x.
func (p *Panel) WellCentreM(i int) float64 {
	return -p.WidthM()/2 + p.FinThicknessM + p.WellWidthM/2 + float64(i)*(p.WellWidthM+p.FinThicknessM)
}

// Sweep is the exponential sweep that was played, or the file that holds it.
type Sweep struct {
	LowHz, HighHz, Seconds float64 // 0 where File is given
	File                   string  // resolved path; empty where the three are given
	LoopbackChannel        int     // 1-based channel of the recordings that holds the played signal; 0 for none
	PeriodS                float64 // from the start of one sweep to the next, where it was repeated; 0 where not known
	Pilot                  bool    // a pilot sounds before every sweep, as the command sweep makes it
}

// GateInput is the optional [gate] table: start_s and end_s set the gate by hand, in seconds after the emission of the sound.
// Either may stand alone; Unknown where not given.
type GateInput struct {
	StartS, EndS Num
}

// SurveyPosition is one microphone place and its recordings.
type SurveyPosition struct {
	Name    string
	MicM    [3]float64
	Empty   []string // resolved paths, one per take
	Flat    []string
	Panel   []string // never empty
	Channel int      // 1-based
	Line    int      // of its [[position]] in the survey file
}

// SurveyError is one fault of a survey file, and what to do about it.
type SurveyError struct {
	File         string
	Line, Column int    // 1-based, the column in characters; 0 where the fault has no place in the file
	Key          string // such as "panel.prime" or "position[3].mic_m", positions counted from 1; empty where no key is at fault
	Found        string
	Expected     string
	Do           string
}

// Error says it in one line: file:line:column: key: found, expected; do.
func (e *SurveyError) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	if e.Key != "" {
		b.WriteString(": " + e.Key)
	}
	b.WriteString(": found " + e.Found)
	if e.Expected != "" {
		b.WriteString(", expected " + e.Expected)
	}
	if e.Do != "" {
		b.WriteString("; " + e.Do)
	}
	return b.String()
}

// LoadSurvey reads and checks a survey file; see ParseSurvey. It does not look at the files the survey names: see CheckFiles.
func LoadSurvey(path string) (*Survey, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, surveyFileError(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxSurveyBytes+1))
	if err != nil {
		return nil, surveyFileError(path, err)
	}
	return ParseSurvey(data, path)
}

func surveyFileError(path string, err error) error {
	var pathError *os.PathError
	if errors.As(err, &pathError) {
		err = pathError.Err // the message has the path already
	}
	return &SurveyError{File: path, Found: err.Error(), Expected: "a survey file", Do: "check the path"}
}

// ParseSurvey reads and checks a survey held in memory, in TOML, and touches no file. path serves the messages, and relative
// paths in the survey count from its folder. The error is a *SurveyError, the first fault in reading order.
//
// Beyond the documented keys it takes: channel at the top and in a [[position]] (1 where not given), the tables [gate] and [row] (row_survey.go), and [[seat]] (seat_survey.go).
// Explicit depths win over a sequence; a sequence becomes depths at DesignSpeedOfSoundMS. cap_m and back_m, where left out,
// are taken as thick as the fins, with a warning.
func ParseSurvey(data []byte, path string) (*Survey, error) {
	r := readTables(data, path, &surveyGrammar)
	s := &Survey{Path: path}
	for _, step := range []func(*Survey){
		r.readTop, r.readAir, r.readPanel, r.readSource, r.readRoom, r.readSweep, r.readGate, r.readPositions, r.readRow, r.readSeats, r.doubts,
	} {
		if r.err != nil {
			return nil, r.err
		}
		step(s)
	}
	if r.err != nil {
		return nil, r.err
	}
	s.files = r.files
	return s, nil
}

// surveyGrammar is what a survey may hold.
var surveyGrammar = grammar{
	file: "survey", short: "a survey file, a few kilobytes of text", tables: []tableKeys{
		{name: "", keys: []string{"title", "tolerance_m", "channel"}},
		{name: "air", keys: airKeys},
		{name: "panel", keys: panelKeys},
		{name: "source", keys: []string{"position_m"}},
		{name: "room", keys: []string{"floor_m", "ceiling_m", "left_m", "right_m", "behind_m"}},
		{name: "sweep", keys: []string{"low_hz", "high_hz", "seconds", "file", "loopback_channel", "period_s", "pilot"}},
		{name: "gate", keys: []string{"start_s", "end_s"}},
		{name: "row", keys: rowKeys},
		{name: "position", keys: []string{"name", "mic_m", "angle_deg", "distance_m", "channel", "empty", "flat", "panel"}, each: "microphone position", most: maxPositions},
		{name: "seat", keys: seatKeys, each: "seat", most: maxSeats},
	},
}

var (
	toleranceLimit   = limit{0, 0.05, true, "metres", 0.0005, 0.02}
	temperatureLimit = limit{-20, 50, false, "degrees Celsius", 5, 40}
	humidityLimit    = limit{0, 100, false, "percent", 0, 0}
	speedLimit       = limit{300, 380, false, "metres per second", 0, 0}
	designLimit      = limit{20, 20000, false, "hertz", 100, 5000}
	depthLimit       = limit{0, 2, false, "metres", 0.005, 1}
	wellWidthLimit   = limit{0, 0.5, true, "metres", 0.01, 0.2}
	finLimit         = limit{0, 0.1, false, "metres", 0.001, 0.05}
	heightLimit      = limit{0, 5, true, "metres", 0.1, 3}
	boardLimit       = limit{0, 0.5, false, "metres", 0.002, 0.06}
	placeLimit       = limit{-20, 20, false, "metres", 0.2, 10}
	distanceLimit    = limit{0, 20, true, "metres", 0.2, 10}
	angleLimit       = limit{-90, 90, false, "degrees", 0, 0}
	roomLimit        = limit{-50, 50, false, "metres", 0.2, 15}
	sweepHzLimit     = limit{1, 100000, false, "hertz", 0, 0}
	sweepLimit       = limit{0, 600, true, "seconds", 0, 0}
	gateLimit        = limit{0, 1, false, "seconds", 0.0005, 0.5}
)

// Tables that survey and plan file share.
var (
	airKeys   = []string{"temperature_c", "humidity_percent", "speed_of_sound_m_s", "empty_c", "flat_c", "panel_c"}
	panelKeys = []string{"sequence", "prime", "periods", "design_frequency_hz", "depths_m", "well_width_m", "fin_thickness_m", "height_m", "cap_m", "back_m"}
)

func (r *surveyReader) readTop(s *Survey) {
	s.Title = r.text("title")
	if s.Title == "" {
		s.Title = strings.TrimSuffix(filepath.Base(r.file), filepath.Ext(r.file))
	}
	s.ToleranceM = defaultToleranceM
	if t := r.number("tolerance_m", toleranceLimit); t.Known() {
		s.ToleranceM = float64(t)
	}
	s.Channel = r.whole("channel", 1, maxChannel, 1)
}

func (r *surveyReader) readAir(s *Survey) {
	s.Air = AirInput{
		TemperatureC:    r.number("air.temperature_c", temperatureLimit),
		HumidityPercent: r.number("air.humidity_percent", humidityLimit),
		SpeedOfSoundMS:  r.number("air.speed_of_sound_m_s", speedLimit),
		EmptyC:          r.number("air.empty_c", temperatureLimit),
		FlatC:           r.number("air.flat_c", temperatureLimit),
		PanelC:          r.number("air.panel_c", temperatureLimit),
	}
}

func (r *surveyReader) readPanel(s *Survey) {
	p := &s.Panel
	p.Sequence = r.text("panel.sequence")
	if r.has("panel.sequence") && p.Sequence != "quadratic residue" && p.Sequence != "primitive root" {
		r.fail("panel.sequence", r.raw("panel.sequence"), `"quadratic residue" or "primitive root"`, "leave it out and give depths_m for any other panel")
	}
	p.Prime = r.whole("panel.prime", 3, maxWells, 0)
	if p.Prime != 0 && !isPrime(p.Prime) {
		r.fail("panel.prime", r.raw("panel.prime"), "an odd prime number", nearestPrimes(p.Prime))
	}
	p.Periods = r.whole("panel.periods", 1, maxPeriods, 1)
	p.DesignFrequencyHz = r.number("panel.design_frequency_hz", designLimit)
	if r.has("panel.depths_m") {
		p.DepthsM = r.numbers("panel.depths_m", "well", depthLimit)
		if r.err == nil && (len(p.DepthsM) == 0 || len(p.DepthsM) > maxWells) {
			r.fail("panel.depths_m", fmt.Sprintf("%d depths", len(p.DepthsM)), fmt.Sprintf("1 to %d", maxWells), "list every well's depth")
		}
	}
	p.WellWidthM = r.required("panel.well_width_m", wellWidthLimit)
	p.FinThicknessM = r.required("panel.fin_thickness_m", finLimit)
	p.HeightM = r.required("panel.height_m", heightLimit)
	p.CapM = r.board(s, "panel.cap_m")
	p.BackM = r.board(s, "panel.back_m")
	if r.err == nil {
		r.resolveDepths(p)
	}
	if r.err != nil {
		return
	}
	if 2*p.CapM >= p.HeightM {
		found := r.raw("panel.cap_m")
		if !r.has("panel.cap_m") {
			found = fmt.Sprintf("nothing, so %g as the fins have", p.CapM)
		}
		r.fail("panel.cap_m", found, fmt.Sprintf("less than half of height_m, %g metres", p.HeightM/2), "check both: the wells need some height")
	}
	if w := p.WidthM(); w > placeLimit.high {
		r.fail("panel.well_width_m", fmt.Sprintf("%s, which makes a panel %.4g metres wide", r.raw("panel.well_width_m"), w),
			"at most 20 metres", "check well_width_m, fin_thickness_m and periods")
	}
}

// board is the thickness of a board, as that of the fins where the survey leaves it out.
func (r *surveyReader) board(s *Survey, path string) float64 {
	if t := r.number(path, boardLimit); t.Known() {
		return float64(t)
	}
	s.Warnings = append(s.Warnings, Warning{Code: "panel", Where: path,
		Text: fmt.Sprintf("%s is not given: taken as thick as the fins, %g m. Add it to [panel].", path, s.Panel.FinThicknessM)})
	return s.Panel.FinThicknessM
}

// resolveDepths turns the sequence into depths, or checks the given depths against it.
func (r *surveyReader) resolveDepths(p *Panel) {
	given := len(p.DepthsM)
	if p.Sequence == "" {
		if given == 0 {
			r.missing("panel.sequence", `"quadratic residue" or "primitive root"`)
			return
		}
		p.Sequence, p.Prime = "explicit depths", 0
		if !repeats(p.DepthsM, p.Periods) {
			r.fail("panel.periods", fmt.Sprintf("%d periods, but %d depths that do not repeat so often", p.Periods, given),
				"depths_m to list every well of every period", "list them all, or leave periods out")
		}
		return
	}
	if p.Prime == 0 {
		r.missing("panel.prime", "an odd prime number")
		return
	}
	var seq []int
	var err error
	if p.Sequence == "primitive root" {
		seq, _, err = PrimitiveRoot(p.Prime)
	} else {
		seq, err = QuadraticResidue(p.Prime)
	}
	if err != nil { // the prime was checked before
		r.fail("panel.prime", r.raw("panel.prime"), "an odd prime number", err.Error())
		return
	}
	wells := len(seq) * p.Periods
	if wells > maxWells {
		r.fail("panel.periods", fmt.Sprintf("%d periods of %d wells", p.Periods, len(seq)), fmt.Sprintf("at most %d wells", maxWells), "check prime and periods")
		return
	}
	if given > 0 {
		expected := fmt.Sprintf("%d: %d periods of %d wells", wells, p.Periods, len(seq))
		if p.Periods == 1 {
			expected = fmt.Sprintf("%d wells for prime %d", wells, p.Prime)
		}
		closing := p.Sequence == "quadratic residue" // which some drawings end with the next period's first well
		if closing {
			expected += ", or one more with the closing zero"
		}
		if given != wells && !(closing && given == wells+1) {
			r.fail("panel.depths_m", fmt.Sprintf("%d depths", given), expected, "list every well of every period, or leave sequence and prime out")
		}
		return
	}
	f0 := r.required("panel.design_frequency_hz", designLimit)
	if r.err != nil {
		return
	}
	period := SequenceDepths(seq, p.Prime, f0, DesignSpeedOfSoundMS)
	for range p.Periods {
		p.DepthsM = append(p.DepthsM, period...)
	}
	if deepest := slices.Max(period); !depthLimit.holds(deepest) {
		r.fail("panel.design_frequency_hz", fmt.Sprintf("%g, which makes a well %.3g metres deep", f0, deepest), "wells of at most 2 metres", designLimit.cure(f0))
	}
}

// repeats reports whether the list is the same part so many times over, to a micrometre.
func repeats(list []float64, times int) bool {
	if len(list)%times != 0 {
		return false
	}
	part := len(list) / times
	for i := part; i < len(list); i++ {
		if math.Abs(list[i]-list[i-part]) > 1e-6 {
			return false
		}
	}
	return true
}

func (r *surveyReader) readSource(s *Survey) {
	const path = "source.position_m"
	if !r.has(path) {
		r.missing(path, "the loudspeaker's place [x, y, z] in metres")
		return
	}
	s.SourceM = r.point(path)
	if y := s.SourceM[1]; r.err == nil && y <= 0 {
		r.fail(path, r.raw(path)+", which is "+behindOrInside(&s.Panel, s.SourceM), "a place in front of it, y more than 0", "y points out of the panel, away from the wall: check its sign")
	}
}

func behindOrInside(p *Panel, at [3]float64) string {
	within := math.Abs(at[0]) <= p.WidthM()/2 && math.Abs(at[2]) <= p.HeightM/2
	switch {
	case within && at[1] == 0:
		return "on the panel's front face"
	case within && at[1] >= -p.OuterDepthM():
		return "inside the panel"
	}
	return "not in front of the panel"
}

// walls are the room's surfaces: the axis each stands across, the side it lies on, and what it must leave room for.
var walls = []struct {
	name string
	axis int
	sign float64
	edge string
}{
	{"floor", 2, -1, "the panel's lower edge"},
	{"ceiling", 2, 1, "the panel's upper edge"},
	{"left", 0, -1, "the panel's left edge"},
	{"right", 0, 1, "the panel's right edge"},
	{"behind", 1, -1, "the panel's back"},
}

// readRoom reads the surfaces. behind_m lies behind the panel where it is negative, behind the loudspeaker where positive.
func (r *surveyReader) readRoom(s *Survey) {
	half := [3]float64{s.Panel.WidthM() / 2, s.Panel.OuterDepthM(), s.Panel.HeightM / 2}
	for _, w := range walls {
		path := "room." + w.name + "_m"
		v := r.number(path, roomLimit)
		if !v.Known() {
			continue
		}
		opposite := w.name == "behind" && v > 0
		if !opposite && float64(v)*w.sign < half[w.axis]-roundingM {
			bound := "at most"
			if w.sign > 0 {
				bound = "at least"
			}
			r.fail(path, r.raw(path), fmt.Sprintf("%s %.4g metres, %s", bound, w.sign*half[w.axis], w.edge),
				"count from the middle of the panel's front face, and check the sign")
		}
		s.Room = append(s.Room, Surface{Name: w.name, PlaceM: float64(v)})
	}
	if s.Room != nil {
		r.inRoom(s, "source.position_m", s.SourceM)
	}
}

// inRoom checks that the place given by the key at path is on the panel's side of every surface.
func (r *surveyReader) inRoom(s *Survey, path string, at [3]float64) {
	for _, surface := range s.Room {
		for _, w := range walls {
			sign := w.sign
			if w.name == "behind" {
				sign = math.Copysign(1, surface.PlaceM)
			}
			if w.name == surface.Name && sign*at[w.axis] >= sign*surface.PlaceM {
				r.fail(path, fmt.Sprintf("%s = %.4g, not inside room.%s_m = %g", "xyz"[w.axis:w.axis+1], at[w.axis], w.name, surface.PlaceM),
					"a place on the panel's side of that surface", "check both")
			}
		}
	}
}

func (r *surveyReader) readSweep(s *Survey) {
	if _, ok := r.places["sweep"]; !ok {
		return
	}
	sweep := &Sweep{LoopbackChannel: r.whole("sweep.loopback_channel", 1, maxChannel, 0), Pilot: r.yes("sweep.pilot")}
	if period := r.number("sweep.period_s", sweepLimit); period.Known() {
		sweep.PeriodS = float64(period)
	}
	s.Sweep = sweep
	if r.has("sweep.file") {
		for _, key := range []string{"low_hz", "high_hz", "seconds", "pilot", "period_s"} {
			if r.has("sweep." + key) {
				r.fail("sweep."+key, key+" beside file", "low_hz, high_hz and seconds, or file", "keep one of the two")
			}
		}
		if _, ok := r.values["sweep.file"].(string); !ok {
			r.fail("sweep.file", r.raw("sweep.file"), "the path of one WAV file in quotes", "write it between double quotes")
		}
		if files := r.takes("sweep.file"); r.err == nil {
			sweep.File = files[0]
		}
		return
	}
	sweep.LowHz = r.required("sweep.low_hz", sweepHzLimit)
	sweep.HighHz = r.required("sweep.high_hz", sweepHzLimit)
	sweep.Seconds = r.required("sweep.seconds", sweepLimit)
	if r.err == nil && sweep.LowHz >= sweep.HighHz {
		r.fail("sweep.high_hz", r.raw("sweep.high_hz"), "more than low_hz, "+r.raw("sweep.low_hz"), "exchange them, or check both")
	}
}

func (r *surveyReader) readGate(s *Survey) {
	s.Gate = GateInput{StartS: r.number("gate.start_s", gateLimit), EndS: r.number("gate.end_s", gateLimit)}
	if s.Gate.StartS >= s.Gate.EndS { // false where either is unknown
		r.fail("gate.end_s", r.raw("gate.end_s"), "more than start_s, "+r.raw("gate.start_s"), "count both from the emission of the sound")
	}
}

func (r *surveyReader) readPositions(s *Survey) {
	if r.count["position"] == 0 {
		r.fail("position", "no [[position]]", "one for each microphone position", "add them at the end of the survey")
		return
	}
	firstOf := make(map[string]int, r.count["position"])
	s.Positions = make([]SurveyPosition, r.count["position"])
	for i := range s.Positions {
		path := fmt.Sprintf("position[%d].", i+1)
		p := &s.Positions[i]
		p.Line = r.places[path[:len(path)-1]].line
		r.readPosition(s, p, path)
		if first, twice := firstOf[p.Name]; twice {
			r.fail(path+"name", r.raw(path+"name"), "a name of its own", fmt.Sprintf("the position in line %d has this name already", s.Positions[first].Line))
		}
		if r.err != nil {
			return
		}
		firstOf[p.Name] = i
	}
}

func (r *surveyReader) readPosition(s *Survey, p *SurveyPosition, path string) {
	p.Name = r.text(path + "name")
	if p.Name == "" {
		r.missing(path+"name", "a name of its own")
	}
	r.readChannel(s, p, path)
	r.readMicrophone(s, p, path)
	r.readStates(p, path)
	if r.err == nil && len(p.Panel) == 0 {
		r.missing(path+"panel", "the recording with the panel")
	}
}

func (r *surveyReader) readChannel(s *Survey, p *SurveyPosition, path string) {
	p.Channel = r.whole(path+"channel", 1, maxChannel, s.Channel)
	if s.Sweep != nil && p.Channel == s.Sweep.LoopbackChannel {
		r.fail(path+"channel", fmt.Sprintf("the microphone in channel %d", p.Channel), "another channel than sweep.loopback_channel", "give each its own")
	}
}

// readStates reads the files of a position.
func (r *surveyReader) readStates(p *SurveyPosition, path string) {
	firstIn := map[string]string{}
	for _, state := range []struct {
		key   string
		takes *[]string
	}{{"empty", &p.Empty}, {"flat", &p.Flat}, {"panel", &p.Panel}} {
		*state.takes = r.takes(path + state.key)
		for _, file := range *state.takes {
			if other, twice := firstIn[file]; twice {
				r.fail(path+state.key, fmt.Sprintf("%q, which is a take of %s already", filepath.Base(file), other), "every take to be a recording of its own", "name the right file, or leave it out")
			}
			firstIn[file] = state.key
		}
	}
}

// readMicrophone reads mic_m, or angle_deg and distance_m at z = 0.
func (r *surveyReader) readMicrophone(s *Survey, p *SurveyPosition, path string) {
	at := path + "mic_m"
	switch {
	case r.has(at):
		for _, key := range []string{"angle_deg", "distance_m"} {
			if r.has(path + key) {
				r.fail(path+key, key+" beside mic_m", "mic_m, or angle_deg and distance_m", "keep one of the two")
			}
		}
		p.MicM = r.point(at)
	case r.has(path+"angle_deg") || r.has(path+"distance_m"):
		angle := r.required(path+"angle_deg", angleLimit)
		at = path + "distance_m"
		distance := r.required(at, distanceLimit)
		sin, cos := math.Sincos(angle * math.Pi / 180)
		if math.Abs(angle) == 90 {
			cos = 0
		}
		p.MicM = [3]float64{distance * sin, distance * cos, 0}
	default:
		r.missing(at, "mic_m, or angle_deg and distance_m")
	}
	if r.err != nil {
		return
	}
	// The standard's half circle ends at ±90°, beside the panel in the plane of its front.
	beside := math.Abs(p.MicM[0]) > s.Panel.WidthM()/2 || math.Abs(p.MicM[2]) > s.Panel.HeightM/2
	if p.MicM[1] < 0 || p.MicM[1] == 0 && !beside {
		r.fail(at, r.raw(at)+", which is "+behindOrInside(&s.Panel, p.MicM), "a place in front of it, y more than 0", "y points out of the panel, away from the wall: check its sign")
	}
	if distance3(p.MicM, s.SourceM) < 0.01 {
		r.fail(at, r.raw(at)+", the loudspeaker's own place", "a place away from source.position_m", "check both")
	}
	r.inRoom(s, at, p.MicM)
}

func distance3(a, b [3]float64) float64 {
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}

// doubts adds the warnings about what is allowed but unlikely.
func (r *surveyReader) doubts(s *Survey) {
	warn := func(code, where, text string) {
		s.Warnings = append(s.Warnings, Warning{Code: code, Where: where, Text: text})
	}
	air := s.Air
	if !air.SpeedOfSoundMS.Known() && !air.TemperatureC.Known() && !meanOfKnown(air.EmptyC, air.FlatC, air.PanelC).Known() {
		warn("air", "air", "The survey gives neither temperature nor speed of sound: 20 °C assumed. 5 °C more or less shift every arrival by almost 1 %. Add temperature_c to [air].")
	}
	if h := air.HumidityPercent; h.Known() && (h < 10 || h > 95) {
		text := fmt.Sprintf("A humidity of %g %% is unlikely indoors. Check humidity_percent.", float64(h))
		if h > 0 && h <= 1 {
			text = fmt.Sprintf("A humidity of %g %% is unlikely. If it is a fraction, write humidity_percent = %g.", float64(h), 100*float64(h))
		}
		warn("humidity", "air.humidity_percent", text)
	}
	var near, grazing []string
	for _, p := range s.Positions {
		if p.MicM[1] == 0 {
			grazing = append(grazing, p.Name)
		}
		dx := max(math.Abs(p.MicM[0])-s.Panel.WidthM()/2, 0)
		dz := max(math.Abs(p.MicM[2])-s.Panel.HeightM/2, 0)
		if math.Hypot(math.Hypot(dx, dz), p.MicM[1]) < 3*s.Panel.OuterDepthM() {
			near = append(near, p.Name)
		}
	}
	if near != nil {
		warn("near", several(near), fmt.Sprintf("The microphone stands nearer to the panel than three times its depth, %.2g m (builders' rule for the nearest seat): what it hears there is not what a seat hears.", 3*s.Panel.OuterDepthM()))
	}
	if grazing != nil {
		warn("grazing", several(grazing), "The microphone stands in the plane of the panel's front: the reflection there is weak, and a small error of place counts much.")
	}
	r.sharedFiles(s, warn)
}

// sharedFiles warns of recordings that stand for two microphone places.
func (r *surveyReader) sharedFiles(s *Survey, warn func(code, where, text string)) {
	type recording struct {
		file    string
		channel int
	}
	firstOf := map[recording]string{}
	var shared []string
	for _, p := range s.Positions {
		for _, file := range slices.Concat(p.Empty, p.Flat, p.Panel) {
			key := recording{file, p.Channel}
			if other, twice := firstOf[key]; twice {
				shared = append(shared, fmt.Sprintf("%s (as %s: %s)", p.Name, other, filepath.Base(file)))
				break
			}
			firstOf[key] = p.Name
		}
	}
	if shared != nil {
		warn("same-file", several(shared), "One recording is given for two microphone places. Check the file names.")
	}
}

// several names the first of some positions and counts the others.
func several(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return fmt.Sprintf("%s and %d more", names[0], len(names)-1)
}

// CheckFiles looks for every file the survey names. The error, a *SurveyError, points to the first that is missing or is not a
// regular file, and counts the others.
func (s *Survey) CheckFiles() error {
	var first *SurveyError
	others := 0
	for _, f := range s.files {
		found := fileFault(f)
		if found == "" {
			continue
		}
		if first != nil {
			others++
			continue
		}
		first = &SurveyError{File: s.Path, Line: f.at.line, Column: f.at.column, Key: f.key, Found: found,
			Expected: "a WAV file", Do: "check the name; paths count from the survey's folder"}
		if near := nearestFile(f.path); near != "" {
			first.Do = fmt.Sprintf("did you mean %q?", near)
		}
		if strings.Contains(f.written, `\`) && filepath.Separator == '/' {
			first.Do = "write / between folders"
		}
	}
	if first == nil {
		return nil
	}
	if others > 0 {
		first.Do += fmt.Sprintf(" (%d more of the named files can't be used either)", others)
	}
	return first
}

func fileFault(f namedFile) string {
	info, err := os.Stat(f.path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		if _, err := os.Stat(filepath.Dir(f.path)); err != nil {
			return fmt.Sprintf("no folder for %q", f.written)
		}
		return fmt.Sprintf("no file %q", f.written)
	case err != nil:
		return fmt.Sprintf("a file %q that can't be read", f.written)
	case info.IsDir():
		return fmt.Sprintf("the folder %q", f.written)
	case !info.Mode().IsRegular():
		return fmt.Sprintf("%q, which is not a regular file", f.written)
	}
	return ""
}

// nearestFile returns the name in the same folder that a missing file's name is a slip of, or "".
func nearestFile(path string) string {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return ""
	}
	name := filepath.Base(path)
	best, bestDistance := "", 3 // two slips at most
	for _, e := range entries {
		if e.IsDir() || max(len(name), len(e.Name())) >= min(len(name), len(e.Name()))+bestDistance {
			continue
		}
		if d := editDistance(strings.ToLower(name), strings.ToLower(e.Name())); d < bestDistance {
			best, bestDistance = e.Name(), d
		}
	}
	return best
}
