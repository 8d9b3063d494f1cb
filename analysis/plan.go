package analysis

import (
	"fmt"
	"math"
	"slices"

	"github.com/leadline/leadline/dsp"
)

// Plan is where to put panel, source and microphones, and what to expect of it. Lengths in metres, times in seconds, frequencies in hertz,
// angles in degrees; places in the survey's axes (see Survey). A report renders it and computes nothing.
type Plan struct {
	Title      string
	File       string // the plan file, as given
	Headline   string // the outcome in one plain sentence
	Air        Air
	Panel      PanelResult
	ToleranceM float64

	Faces                      string  // "length" or "width": the side of the room that the panel's front looks along
	AcrossM, AlongM, UpM       float64 // the room as the panel sees it
	FromLeftM, FromRightM      float64 // the panel's middle from the walls at the left and right of someone who stands at the panel and looks into the room
	FromBehindM                float64 // the panel's front from the wall behind it
	FromOppositeM              float64 // and from the one in front of it
	AboveFloorM, LowerEdgeM    float64 // the panel's middle and lower edge over the floor
	RadiusM                    float64 // microphones from the middle of the panel's front, on the floor plan
	SourceM                    [3]float64
	SourceDistanceM            float64 // on the floor plan
	SourceHeightM, MicHeightM  float64 // over the floor
	SourceAngleDeg, StepDeg    float64
	Surfaces                   []Surface // all six: floor, ceiling, left, right, behind (behind the panel), behind (behind the source)
	MarkM                      float64   // marks A and B on the floor lie so far to the left and right of the panel's middle, on the line of its front
	SourceFromAM, SourceFromBM float64   // along the floor to the source's mark
	CrossingDeg                float64   // the least angle at which the tapes from A and B cross at a microphone
	TapeErrorM                 float64   // how far a microphone is off at most where each tape is off by TapeReadingM
	Microphones                []PlannedMicrophone

	GateS          float64       // the shortest clean gate over all microphones
	LowestHz       float64       // two periods fit into it
	LowestBandHz   float64       // the first third octave that counts
	EndedBy        []string      // the surfaces whose echoes end it, in words
	Echoes         []PlannedEcho // per surface, the first one that arrives first
	AbsorberM      float64       // thickness of what lies on the floor to absorb; 0 for nothing
	AbsorberFromHz float64       // above it the absorber is taken to work; 0 without
	AbsorberZone   [4]float64    // least and greatest x, least and greatest y of the floor where echoes bounce
	Distances      PlannedDistances
	Changes        []PlannedChange // what changes if; the plan itself first
	Radii          []PlannedChange // larger arcs, each at its own best place
	SetUp          []string        // steps for one person
	Level          []string        // level procedure
	Caution        []string
	Notes          []Note
	Warnings       []Warning

	rig    *Rig
	chosen spot
}

// TapeReadingM is the error of one tape measurement that the sheet reckons with: common practice, no source.
const TapeReadingM = 0.003

// PlannedMicrophone is one microphone place with the distances to set it up and what it will hear when, after the emission.
type PlannedMicrophone struct {
	Name             string
	AngleDeg         float64
	MicM             [3]float64
	FromAM, FromBM   float64 // along the floor from the marks A and B to the mark under the microphone
	FromSourceMarkM  float64 // along the floor, as a check
	DirectS          float64 // the sound straight from the source
	ReflectionS      float64 // the first sound off the panel
	EndS             float64 // the first echo, where the gate ends
	GateS            float64 // the gate's length
	EndedBy          string  // the surface, in words
	OutsideMirrorArc bool    // a flat board would not mirror the source to here
}

// PlannedEcho is a surface's first disturbing echo: the sound that meets the panel and the surface, in either order.
type PlannedEcho struct {
	Surface    string // in words
	Microphone string // where it comes soonest after the first sound off the panel
	Order      string // "source, floor, panel, microphone" or "source, panel, floor, microphone"
	ArrivalS   float64
	LagS       float64 // after the first sound off the panel
	GateS      float64
	PathM      [4][3]float64
	Counts     bool // false for a floor whose absorber is taken to quiet it
}

// PlannedDistances says how near the near field is.
type PlannedDistances struct {
	FarField        []PlannedFarField
	ArcFarBelowHz   float64 // the arc lies in the far field below this frequency
	MirrorFromHz    float64 // above it a flat board of this size, at these distances, reflects like a large one
	OutsideMirror   int     // microphones outside the angles to which a flat board mirrors the source
	NearestSeatM    float64 // three wavelengths of the design frequency; 0 where the panel has none
	DirectLeadS     float64 // the least time between direct sound and the panel's first sound
	DirectLeadWhere string
}

// PlannedFarField is how far the far field is from the panel at one frequency: 2W²/λ.
type PlannedFarField struct {
	FrequencyHz float64
	Why         string
	DistanceM   float64
}

// PlannedChange is what the gate becomes if something changes.
type PlannedChange struct {
	What         string
	Possible     bool // whether the rig fits there
	GateS        float64
	LowestHz     float64
	LowestBandHz float64
	EndedBy      string
	RadiusM      float64
	FarBelowHz   float64 // the arc lies in the far field below this frequency
}

// lowestHz is the lowest frequency that counts in a gate of so many seconds: two periods must fit in.
func lowestHz(gateS float64) float64 { return 2 / gateS }

// lowestThirdOctave is the mid-band frequency of the first third octave of the standard's range that counts in a gate; NaN where none does.
func lowestThirdOctave(gateS float64) float64 {
	bands, _ := dsp.FractionalOctaves(3, lowestBandHz, predictionEndHz)
	for _, b := range bands {
		if b.CentreHz >= lowestHz(gateS) {
			return b.CentreHz
		}
	}
	return math.NaN()
}

// PlanRig searches the free placements for the longest clean gate and describes the best: places to the centimetre, microphones to the millimetre.
// The gate of a microphone begins before the first sound off the panel's front and ends with the first echo that meets both the panel and one of
// the room's six flat, hard surfaces, by mirror images, as in a check; sounds that never touch the panel drop out with the empty room's take.
// Errors: a *SurveyError where panel, source and microphones do not fit into the room.
func PlanRig(g *Rig) (*Plan, error) {
	if n := len(g.anglesDeg()); n > mostMicrophones {
		return nil, &SurveyError{File: g.Path, Key: "rig.step_deg", Found: fmt.Sprintf("%d microphone places", n), Expected: fmt.Sprintf("at most %d", mostMicrophones), Do: "give a larger step_deg"}
	}
	best, found := g.search()
	if !found {
		return nil, g.noRoom()
	}
	p := g.describe(best)
	p.changes()
	p.radii()
	p.words()
	survey, err := ParseSurvey(p.SurveyFile(), g.Path)
	if err != nil {
		return nil, fmt.Errorf("plan: the survey does not pass its own check: %w", err)
	}
	p.Warnings = survey.Warnings
	return p, nil
}

// noRoom says which side of the room is too short for the smallest arrangement.
func (g *Rig) noRoom() error {
	e := &SurveyError{File: g.Path, Key: "rig", Found: "no place where panel, source and microphones fit", Expected: "some room around them"}
	source := g.sourceBounds(g.radius.low).low
	a := g.arrange(g.radius.low, source, g.aboveFloor.low)
	left, right := a.extent(0)
	_, far := a.extent(1)
	half := g.survey.Panel.WidthM() / 2
	across := max(half, g.clearanceM-left) + max(half, right+g.clearanceM)
	along := g.survey.Panel.OuterDepthM() + far + g.clearanceM
	e.Do = fmt.Sprintf("with the smallest arc and the nearest source the rig needs %.2f metres across and %.2f metres along, %.2g metres to the walls included: lower radius_m, source_distance_m, largest_deg or clearance_m, or free its place", across, along, g.clearanceM)
	return e
}

// describe works out everything about one placement; microphones stand at whole millimetres.
func (g *Rig) describe(s spot) *Plan {
	panel := &g.survey.Panel
	p := &Plan{
		Title: g.survey.Title, File: g.Path, Air: g.air, ToleranceM: g.survey.ToleranceM,
		Panel: PanelResult{
			Sequence: panel.Sequence, Prime: panel.Prime, Periods: panel.Periods, DesignFrequency: panel.DesignFrequencyHz,
			WidthM: panel.WidthM(), HeightM: panel.HeightM, DepthM: panel.OuterDepthM(), WellWidthM: panel.WellWidthM, FinThicknessM: panel.FinThicknessM, DesignDepthM: panel.DepthsM,
		},
		Faces: s.faces, AcrossM: s.acrossM, AlongM: s.alongM, UpM: s.upM,
		FromLeftM: s.leftM, FromRightM: s.acrossM - s.leftM, FromBehindM: s.behindM, FromOppositeM: s.alongM - s.behindM,
		AboveFloorM: s.aboveM, LowerEdgeM: s.aboveM - panel.HeightM/2, RadiusM: s.radiusM, SourceDistanceM: s.sourceM,
		SourceAngleDeg: g.sourceAngleDeg, StepDeg: g.stepDeg, Surfaces: s.surfaces(), AbsorberM: g.floorAbsorberM, rig: g, chosen: s,
	}
	for i := range panel.DepthsM {
		p.Panel.WellCentreM = append(p.Panel.WellCentreM, panel.WellCentreM(i))
	}
	a := g.arrange(s.radiusM, s.sourceM, s.aboveM)
	a.source = toMillimetres(a.source)
	for i := range a.mics {
		a.mics[i] = toMillimetres(a.mics[i])
	}
	a.measure(panel)
	p.SourceM = a.source
	p.SourceHeightM, p.MicHeightM = s.aboveM+a.source[2], s.aboveM+a.mics[0][2]
	if g.floorAbsorberM > 0 {
		p.AbsorberFromHz = g.air.SpeedOfSoundMS / (4 * g.floorAbsorberM)
	}
	p.AbsorberZone = bounceZone(panel, &a, p.Surfaces[0])
	p.marks(&a)
	p.microphones(&a)
	p.echoes(&a)
	p.distances(&a)
	return p
}

func toMillimetres(p [3]float64) [3]float64 {
	for i := range p {
		p[i] = math.Round(p[i]*1000)/1000 + 0 // no minus zero
	}
	return p
}

// marks sets A and B on the line of the panel's front. At the arc's own radius every microphone sees the two at a right angle (Thales), which is
// where two tapes fix a place best; walls may force them nearer.
func (p *Plan) marks(a *arrangement) {
	const toWallM = 0.05
	p.MarkM = min(p.RadiusM, math.Floor(100*(min(p.FromLeftM, p.FromRightM)-toWallM))/100)
	p.MarkM = max(p.MarkM, p.Panel.WidthM/2)
	p.SourceFromAM, p.SourceFromBM = p.fromMarks(a.source)
	p.CrossingDeg = 90
	for _, m := range a.mics {
		da, db := p.fromMarks(m)
		if min(da, db) < TapeReadingM { // the microphone's mark is A or B
			continue
		}
		angle := math.Acos(bounds{-1, 1}.clamp((da*da+db*db-4*p.MarkM*p.MarkM)/(2*da*db))) * 180 / math.Pi
		p.CrossingDeg = min(p.CrossingDeg, angle, 180-angle)
	}
	// Two strips of tape reading cross in a rhombus; its longer half diagonal is the greatest error.
	p.TapeErrorM = TapeReadingM / math.Sin(p.CrossingDeg/2*math.Pi/180)
}

// fromMarks returns the distances along the floor from the marks to the point under at.
func (p *Plan) fromMarks(at [3]float64) (fromA, fromB float64) {
	return math.Hypot(at[0]+p.MarkM, at[1]), math.Hypot(at[0]-p.MarkM, at[1])
}

func (p *Plan) microphones(a *arrangement) {
	speed, panel := p.Air.SpeedOfSoundMS, &p.rig.survey.Panel
	p.GateS = math.Inf(1)
	for i, deg := range p.rig.anglesDeg() {
		mic := a.mics[i]
		m := PlannedMicrophone{
			Name: microphoneName(deg, p.StepDeg), AngleDeg: deg, MicM: mic, FromSourceMarkM: math.Hypot(mic[0]-a.source[0], mic[1]-a.source[1]),
			DirectS: distance(a.source, mic) / speed, ReflectionS: newPaths(panel, a.source, mic).earliest / speed, EndS: math.Inf(1),
		}
		m.FromAM, m.FromBM = p.fromMarks(mic)
		for _, s := range p.Surfaces {
			end := echoPath(panel, a.source, mic, s) / speed
			if s.Name == "floor" {
				end = max(end, m.ReflectionS-preringS+absorberGateS(p.AbsorberM, speed))
			}
			if end < m.EndS {
				m.EndS, m.EndedBy = end, s.Words()
			}
		}
		m.GateS = newGate(m.ReflectionS, m.EndS, m.EndedBy).lengthS
		p.GateS = min(p.GateS, m.GateS)
		mirror := a.source[0] + (mic[0]-a.source[0])*a.source[1]/(a.source[1]+mic[1])
		m.OutsideMirrorArc = math.Abs(mirror) > p.Panel.WidthM/2
		p.Microphones = append(p.Microphones, m)
	}
	p.LowestHz, p.LowestBandHz = lowestHz(p.GateS), lowestThirdOctave(p.GateS)
}

// microphoneName is the angle with its sign, to the decimals that the step needs.
func microphoneName(deg, step float64) string {
	if step == math.Trunc(step) {
		return fmt.Sprintf("arc%+03.0f", deg)
	}
	return fmt.Sprintf("arc%+05.1f", deg)
}

// Words names the surface for a reader and tells the two walls along y apart.
func (s Surface) Words() string {
	switch {
	case s.Name == "behind" && s.PlaceM > 0:
		return "wall behind the source"
	case s.Name == "behind":
		return "wall behind the panel"
	case s.Name == "left" || s.Name == "right":
		return s.Name + " wall"
	}
	return s.Name
}

func (p *Plan) echoes(a *arrangement) {
	speed, panel := p.Air.SpeedOfSoundMS, &p.rig.survey.Panel
	for _, s := range p.Surfaces {
		e := PlannedEcho{Surface: s.Words(), LagS: math.Inf(1), Counts: true}
		for i := range a.mics {
			m := &p.Microphones[i]
			arrival := echoPath(panel, a.source, m.MicM, s) / speed
			if arrival-m.ReflectionS >= e.LagS {
				continue
			}
			e.Microphone, e.ArrivalS, e.LagS = m.Name, arrival, arrival-m.ReflectionS
			e.Order, e.PathM = echoWay(panel, a.source, m.MicM, s)
		}
		e.GateS = e.LagS + preringS
		if s.Name == "floor" && absorberGateS(p.AbsorberM, speed) > e.GateS {
			e.Counts = false
		}
		p.Echoes = append(p.Echoes, e)
	}
	slices.SortStableFunc(p.Echoes, func(a, b PlannedEcho) int {
		if a.LagS < b.LagS {
			return -1
		}
		return 1
	})
	const levelS = 5e-5 // echoes so close together end the gate alike
	for _, e := range p.Echoes {
		if e.Counts && e.GateS < p.GateS+levelS {
			p.EndedBy = append(p.EndedBy, e.Surface)
		}
	}
	if p.EndedBy == nil {
		p.EndedBy = []string{"floor"} // by way of its absorber
	}
}

// echoWay returns the shortest echo's order in words and its points: source, two bounces, microphone.
func echoWay(panel *Panel, source, mic [3]float64, s Surface) (order string, way [4][3]float64) {
	before, front := overFront(panel, mirrored(source, s), mic)
	after, frontAfter := overFront(panel, source, mirrored(mic, s))
	name := s.Words()
	if before <= after {
		return "source, " + name + ", panel, microphone", [4][3]float64{source, crossing(mirrored(source, s), front, s), front, mic}
	}
	return "source, panel, " + name + ", microphone", [4][3]float64{source, frontAfter, crossing(frontAfter, mirrored(mic, s), s), mic}
}

// crossing returns where the line from a to b meets the surface.
func crossing(a, b [3]float64, s Surface) (at [3]float64) {
	axis := axisOf(s)
	t := 0.5
	if d := b[axis] - a[axis]; d != 0 {
		t = (s.PlaceM - a[axis]) / d
	}
	for i := range at {
		at[i] = a[i] + (b[i]-a[i])*t
	}
	return at
}

// bounceZone returns the part of the floor off which sound gets from the source, and from any microphone, to the panel's corners.
func bounceZone(panel *Panel, a *arrangement, floor Surface) (zone [4]float64) {
	zone = [4]float64{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, from := range append([][3]float64{a.source}, a.mics...) {
		for _, sx := range []float64{-1, 1} {
			for _, sz := range []float64{-1, 1} {
				corner := [3]float64{sx * panel.WidthM() / 2, 0, sz * panel.HeightM / 2}
				at := crossing(mirrored(from, floor), corner, floor)
				zone = [4]float64{min(zone[0], at[0]), max(zone[1], at[0]), min(zone[2], at[1]), max(zone[3], at[1])}
			}
		}
	}
	return zone
}

func (p *Plan) distances(a *arrangement) {
	speed, w := p.Air.SpeedOfSoundMS, p.Panel.WidthM
	d := &p.Distances
	seen := map[float64]bool{}
	far := func(hz float64, why string) {
		if !(hz > 0) || seen[hz] {
			return
		}
		seen[hz] = true
		d.FarField = append(d.FarField, PlannedFarField{hz, why, farFieldM(w, hz, speed)})
	}
	far(p.LowestBandHz, "lowest band that counts")
	if f := p.Panel.DesignFrequency; f.Known() {
		far(float64(f), "design frequency")
		d.NearestSeatM = 3 * speed / float64(f)
	}
	far(5000, "highest band of the standard")
	slices.SortFunc(d.FarField, func(a, b PlannedFarField) int { return int(a.FrequencyHz - b.FrequencyHz) })
	d.ArcFarBelowHz = farBelowHz(w, p.RadiusM, speed)
	d.MirrorFromHz = reflectorLimitHz(speed, w*p.Panel.HeightM, p.SourceDistanceM, p.RadiusM)
	d.DirectLeadS = math.Inf(1)
	for _, m := range p.Microphones {
		if m.OutsideMirrorArc {
			d.OutsideMirror++
		}
		if lead := m.ReflectionS - m.DirectS; lead < d.DirectLeadS {
			d.DirectLeadS, d.DirectLeadWhere = lead, m.Name
		}
	}
}

// reflectorLimitHz is the frequency, in hertz, above which a flat reflector of an area in m² reflects on its normal like a large wall, with source and
// microphone at a₁ and a₂ metres: f = c·a*/(2S), a* = 2a₁a₂/(a₁+a₂) (Rindel 1986, from memory).
func reflectorLimitHz(speed, areaM2, a1M, a2M float64) float64 {
	return speed * (2 * a1M * a2M / (a1M + a2M)) / (2 * areaM2)
}

// farFieldM is how far, in metres, the far field of something so wide is at a frequency: 2W²/λ (U.S. Federal Standard 1037C, for antennas).
func farFieldM(widthM, hertz, speed float64) float64 { return 2 * widthM * widthM * hertz / speed }

// farBelowHz is the frequency below which a distance lies in the far field.
func farBelowHz(widthM, distanceM, speed float64) float64 {
	return speed * distanceM / (2 * widthM * widthM)
}

// change describes the gate at another placement.
func (g *Rig) change(what string, s spot, possible bool) PlannedChange {
	c := PlannedChange{What: what, Possible: possible}
	if !possible {
		return c
	}
	speed, panel := g.air.SpeedOfSoundMS, &g.survey.Panel
	a := g.arrange(s.radiusM, s.sourceM, s.aboveM)
	least := math.Inf(1)
	for _, w := range s.surfaces() {
		clear, words := a.clearM(panel, w), w.Words()
		if padded := g.floorClearM(&a, w); w.Name == "floor" && padded > clear {
			clear, words = padded, "floor, below where the absorber works"
		}
		if clear < least {
			least, c.EndedBy = clear, words
		}
	}
	c.GateS = least/speed + preringS
	c.LowestHz, c.LowestBandHz = lowestHz(c.GateS), lowestThirdOctave(c.GateS)
	c.RadiusM = s.radiusM
	c.FarBelowHz = farBelowHz(panel.WidthM(), s.radiusM, speed)
	return c
}

// moved puts the rig elsewhere in the same room, whatever the plan file allows, and tells whether it fits between the walls.
func (g *Rig) moved(s spot) (spot, bool) {
	free := *g
	half := g.survey.Panel.HeightM / 2
	free.fromLeft, free.fromBehind = bounds{0, math.Inf(1)}, bounds{0, math.Inf(1)}
	a := free.arrange(s.radiusM, s.sourceM, s.aboveM)
	s, possible := free.standing(s, &a)
	const slackM = 1e-9
	possible = possible && s.leftM >= s.acrossBounds.low-slackM && s.leftM <= s.acrossBounds.high+slackM &&
		s.behindM >= s.outBounds.low-slackM && s.behindM <= s.outBounds.high+slackM && s.aboveM >= half-slackM && s.aboveM <= s.upM-half+slackM
	return s, possible
}

// shiftM is by how much the plan tries the rig elsewhere.
const shiftM = 0.20

// changes works out what moving the rig, its middle of the room, absorbers and a missing take would do.
func (p *Plan) changes() {
	g := p.rig
	at := func(what string, change func(*spot)) {
		s := p.chosen
		change(&s)
		s, possible := g.moved(s)
		p.Changes = append(p.Changes, g.change(what, s, possible))
	}
	at("as planned", func(*spot) {})
	at("whole rig 20 cm to the left", func(s *spot) { s.leftM -= shiftM })
	at("whole rig 20 cm to the right", func(s *spot) { s.leftM += shiftM })
	at("whole rig 20 cm towards the wall behind the panel", func(s *spot) { s.behindM -= shiftM })
	at("whole rig 20 cm away from it", func(s *spot) { s.behindM += shiftM })
	at("whole rig 20 cm lower", func(s *spot) { s.aboveM -= shiftM })
	at("whole rig 20 cm higher", func(s *spot) { s.aboveM += shiftM })
	at("rig in the middle of the floor, same height", func(s *spot) {
		s.leftM, s.behindM = s.acrossM/2, (s.alongM-s.sourceM)/2
	})
	at("panel standing on the floor", func(s *spot) { s.aboveM = g.survey.Panel.HeightM / 2 })
	at("panel's back against the wall", func(s *spot) { s.behindM = g.survey.Panel.OuterDepthM() })
	if g.floorAbsorberM > 0 {
		bare := *g
		bare.floorAbsorberM = 0
		s, ok := bare.moved(p.chosen)
		p.Changes = append(p.Changes, bare.change("without the absorber on the floor", s, ok))
	}
	for _, thick := range []float64{0.10, 0.20, 0.30} {
		if thick <= g.floorAbsorberM {
			continue
		}
		padded := *g
		padded.floorAbsorberM = thick
		s, ok := padded.search()
		what := fmt.Sprintf("absorber %.0f cm thick on the floor, place searched anew", thick*100)
		if ok {
			what += fmt.Sprintf(" (panel's middle %.2f m over the floor)", s.aboveM)
		}
		p.Changes = append(p.Changes, padded.change(what, s, ok))
	}
	p.Changes = append(p.Changes, p.withoutEmpty())
}

// withoutEmpty is the gate where no empty room is subtracted: then sounds that never touch the panel end it too.
func (p *Plan) withoutEmpty() PlannedChange {
	c := p.Changes[0]
	c.What, c.Possible, c.GateS, c.EndedBy = "no take of the empty room to subtract", true, math.Inf(1), ""
	for _, m := range p.Microphones {
		for _, s := range p.Surfaces {
			plain := distance(mirrored(p.SourceM, s), m.MicM)/p.Air.SpeedOfSoundMS - m.ReflectionS // such an echo rings before it comes, too
			if gate := min(plain, m.GateS); gate < c.GateS {
				c.GateS, c.EndedBy = gate, s.Words()
				if m.GateS < plain {
					c.EndedBy = m.EndedBy
				}
			}
		}
	}
	c.LowestHz, c.LowestBandHz = lowestHz(c.GateS), lowestThirdOctave(c.GateS)
	if c.GateS <= 0 {
		c.LowestHz, c.LowestBandHz = math.NaN(), math.NaN()
	}
	return c
}

// radii tries larger arcs, each with its own search.
func (p *Plan) radii() {
	g := p.rig
	if g.radius.low == g.radius.high {
		return
	}
	for _, share := range []float64{0, 0.125, 0.25, 0.5, 1} {
		r := g.radius.nearest(g.radius.low + share*(g.radius.high-g.radius.low))
		fixed := *g
		fixed.radius = bounds{r, r}
		s, ok := fixed.search()
		c := fixed.change(fmt.Sprintf("microphones at %.2f m", r), s, ok)
		c.RadiusM = r
		c.FarBelowHz = farBelowHz(p.Panel.WidthM, r, p.Air.SpeedOfSoundMS)
		p.Radii = append(p.Radii, c)
	}
}
