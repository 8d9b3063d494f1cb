package analysis

import (
	"fmt"
	"io"
	"math"
	"os"
)

// Rig is what a plan file says: the panel, the room, where things may stand, and what the user owns. Lengths in metres.
type Rig struct {
	Path string

	survey                     Survey // title, tolerance, air and panel
	air                        Air
	depthsFollow               bool // from the sequence: the plan file gives no depths
	widthM, lengthM, heightM   float64
	faces                      []string // "length", "width": along which the panel may face
	fromLeft, fromBehind       bounds   // the panel's middle from the wall at its left; its front from the wall behind it
	aboveFloor                 bounds   // the panel's middle
	radius                     bounds   // microphones from the middle of the panel's front, on the floor plan
	sourceDistance             bounds   // likewise the source; twice the radius where low is 0
	sourceAngleDeg             float64
	sourceHeight, microHeight  bounds
	stepDeg, largestDeg        float64
	clearanceM, floorAbsorberM float64
}

// bounds is what is allowed, both ends included; fixed where they are equal.
type bounds struct{ low, high float64 }

func (b bounds) clamp(v float64) float64 { return max(b.low, min(b.high, v)) }

// Defaults of a plan file.
const (
	standardRatio   = standardSourceM / standardReceiverM // source to microphones, both from the panel
	shortestArcM    = 1.0                                 // common practice, no source
	longestArcM     = 3.0
	defaultStepDeg  = standardStepDeg
	defaultLargest  = 80.0 // at 90° a microphone stands in the plane of the panel's front
	defaultClearM   = 0.3
	lowestItemM     = 0.1 // the least height over the floor, and under the ceiling, of a source or microphone
	outsideArcM     = 0.3 // what a loudspeaker needs outside the arc
	mostMicrophones = 181
)

var (
	roomSizeLimit  = limit{1, 50, false, "metres", 1.5, 20}
	standLimit     = limit{0, 20, false, "metres", 0.1, 5}
	stepLimit      = limit{1, 45, false, "degrees", 0, 0}
	largestLimit   = limit{0, 90, false, "degrees", 0, 0}
	incidenceLimit = limit{-80, 80, false, "degrees", 0, 0}
	clearLimit     = limit{0, 5, false, "metres", 0.1, 1}
	absorberLimit  = limit{0, 1, false, "metres", 0.02, 0.5}
)

// rigGrammar is what a plan file may hold; [air] and [panel] are the survey's.
var rigGrammar = grammar{
	file: "plan file", short: "a plan file, a few lines of text", hint: "; the microphones are what the plan works out", tables: []tableKeys{
		{name: "", keys: []string{"title", "tolerance_m"}},
		{name: "air", keys: airKeys},
		{name: "panel", keys: panelKeys},
		{name: "room", keys: []string{"width_m", "length_m", "height_m"}},
		{name: "rig", keys: []string{"faces", "middle_from_left_m", "front_from_behind_m", "middle_above_floor_m", "radius_m", "source_distance_m", "source_angle_deg",
			"source_above_floor_m", "microphone_above_floor_m", "step_deg", "largest_deg", "clearance_m", "floor_absorber_m"}},
	},
}

// LoadRig reads and checks a plan file; see ParseRig.
func LoadRig(path string) (*Rig, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, planFileError(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxSurveyBytes+1))
	if err != nil {
		return nil, planFileError(path, err)
	}
	return ParseRig(data, path)
}

func planFileError(path string, err error) error {
	e := surveyFileError(path, err).(*SurveyError)
	e.Expected = "a plan file"
	return e
}

// ParseRig reads and checks a plan file held in memory, in TOML; path serves the messages. [air] and [panel] are as in a survey; [room] holds
// width_m, length_m and height_m of a rectangular room; [rig], all of whose keys may be left out, says what is fixed and what is free: a key
// that takes limits is one number, or [lowest, highest]. The error is a *SurveyError, the first fault in reading order.
func ParseRig(data []byte, path string) (*Rig, error) {
	r := readTables(data, path, &rigGrammar)
	g := &Rig{Path: path}
	for _, step := range []func(){
		func() { r.readTop(&g.survey) }, func() { r.readAir(&g.survey) }, func() { r.readPanel(&g.survey) }, func() { g.readRoom(r) }, func() { g.readRig(r) },
	} {
		if r.err != nil {
			return nil, r.err
		}
		step()
	}
	if r.err != nil {
		return nil, r.err
	}
	air, err := g.survey.Air.Resolve("")
	if err != nil {
		return nil, err
	}
	g.air = air
	return g, nil
}

func (g *Rig) readRoom(r *surveyReader) {
	g.widthM = r.required("room.width_m", roomSizeLimit)
	g.lengthM = r.required("room.length_m", roomSizeLimit)
	g.heightM = r.required("room.height_m", roomSizeLimit)
	if r.err != nil {
		return
	}
	if p := &g.survey.Panel; p.HeightM > g.heightM {
		r.fail("room.height_m", r.raw("room.height_m"), fmt.Sprintf("at least the panel's height, %g metres", p.HeightM), "check both")
	}
}

func (g *Rig) readRig(r *surveyReader) {
	panel := &g.survey.Panel
	g.depthsFollow = !r.has("panel.depths_m")
	switch faces := r.text("rig.faces"); faces {
	case "length", "width":
		g.faces = []string{faces}
	case "", "either":
		g.faces = []string{"length", "width"}
	default:
		r.fail("rig.faces", r.raw("rig.faces"), `"length", "width" or "either"`, "say along which side of the room the panel's front looks")
	}
	longest := max(g.widthM, g.lengthM)
	g.fromLeft = readBounds(r, "rig.middle_from_left_m", roomLimitTo(longest), bounds{0, longest})
	g.fromBehind = readBounds(r, "rig.front_from_behind_m", roomLimitTo(longest), bounds{0, longest})
	for _, path := range []string{"rig.middle_from_left_m", "rig.front_from_behind_m"} {
		if r.has(path) && len(g.faces) > 1 {
			r.fail(path, r.raw(path)+` without faces = "length" or "width"`, "the side of the room that the panel faces", "add faces to [rig]")
		}
	}
	half := panel.HeightM / 2
	g.aboveFloor = readBounds(r, "rig.middle_above_floor_m", limit{half, g.heightM - half, false, "metres", half, g.heightM}, bounds{half, g.heightM - half})
	arc := max(shortestArcM, math.Ceil(300*panel.OuterDepthM())/100) // three times the depth, the builders' rule for the nearest seat
	g.radius = readBounds(r, "rig.radius_m", distanceLimit, bounds{arc, max(arc, longestArcM)})
	g.sourceDistance = readBounds(r, "rig.source_distance_m", distanceLimit, bounds{})
	if r.err == nil && g.sourceDistance.low > 0 && g.sourceDistance.high < g.radius.low+outsideArcM {
		r.fail("rig.source_distance_m", r.raw("rig.source_distance_m"), fmt.Sprintf("at least radius_m and %g more, %.4g metres, so that the loudspeaker stands outside the arc", outsideArcM, g.radius.low+outsideArcM),
			"move the source away or the microphones nearer")
	}
	g.sourceAngleDeg = readOr(r, "rig.source_angle_deg", incidenceLimit, 0)
	stands := bounds{lowestItemM, g.heightM - lowestItemM}
	g.sourceHeight = readBounds(r, "rig.source_above_floor_m", standLimit, stands)
	g.microHeight = readBounds(r, "rig.microphone_above_floor_m", standLimit, stands)
	for _, b := range []struct {
		path string
		*bounds
	}{{"rig.source_above_floor_m", &g.sourceHeight}, {"rig.microphone_above_floor_m", &g.microHeight}} {
		if b.low > stands.high {
			r.fail(b.path, r.raw(b.path), fmt.Sprintf("at most %.4g metres, under the ceiling", stands.high), "check it and room.height_m")
		}
		*b.bounds = bounds{stands.clamp(b.low), stands.clamp(b.high)}
	}
	g.stepDeg = readOr(r, "rig.step_deg", stepLimit, defaultStepDeg)
	g.largestDeg = readOr(r, "rig.largest_deg", largestLimit, defaultLargest)
	g.clearanceM = readOr(r, "rig.clearance_m", clearLimit, defaultClearM)
	g.floorAbsorberM = readOr(r, "rig.floor_absorber_m", absorberLimit, 0)
}

func roomLimitTo(longest float64) limit { return limit{0, longest, false, "metres", 0.1, longest} }

func readOr(r *surveyReader, path string, l limit, fallback float64) float64 {
	if v := r.number(path, l); v.Known() {
		return float64(v)
	}
	return fallback
}

// readBounds returns the number, or the pair [lowest, highest], at path.
func readBounds(r *surveyReader, path string, l limit, fallback bounds) bounds {
	value, ok := r.values[path]
	if !ok {
		return fallback
	}
	if _, pair := value.([]any); !pair {
		v := float64(r.number(path, l))
		return bounds{v, v}
	}
	list := r.numbers(path, "number", l)
	switch {
	case r.err != nil:
		return fallback
	case len(list) != 2 || list[0] > list[1]:
		r.fail(path, r.raw(path), "one number, or [lowest, highest]", "write the lesser first")
		return fallback
	}
	return bounds{list[0], list[1]}
}
