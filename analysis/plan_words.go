package analysis

import (
	"fmt"
	"math"
	"strings"
)

// words puts the plan into sentences: outcome, steps, level procedure, cautions and where the rules come from.
func (p *Plan) words() {
	ends := "ends"
	if len(p.EndedBy) > 1 {
		ends = "end"
	}
	surfaces := "the " + strings.ReplaceAll(joinAnd(p.EndedBy), " and ", " and the ")
	if math.IsNaN(p.LowestBandHz) {
		p.Headline = fmt.Sprintf("The longest clean gate is only %.1f\u00a0ms, so that no band can count; %s %s it.", p.GateS*1000, surfaces, ends)
	} else {
		p.Headline = fmt.Sprintf("The longest clean gate is %.1f\u00a0ms, so third octaves from %s\u00a0Hz up can count; %s %s it.", p.GateS*1000, nominalHertz(p.LowestBandHz), surfaces, ends)
	}
	p.SetUp = p.setUpSteps()
	p.Level = levelSteps
	p.Caution = planCautions
	p.Notes = p.ruleNotes()
}

func (p *Plan) setUpSteps() []string {
	side := "length"
	if p.Faces == "width" {
		side = "width"
	}
	corner := (p.MarkM - p.Panel.WidthM/2) * 1000
	steps := []string{
		fmt.Sprintf("Stand or hang the panel so that its front looks along the room's %s. Left and right are those of someone who stands at the panel and looks into the room: the middle of its front is %.3f\u00a0m from the left wall and %.3f\u00a0m from the right one, its front %.3f\u00a0m from the wall behind it. Its lower edge is %.3f\u00a0m over the floor, its middle %.3f\u00a0m. Secure it so that it can't tip.",
			side, p.FromLeftM, p.FromRightM, p.FromBehindM, p.LowerEdgeM, p.AboveFloorM),
		fmt.Sprintf("Stretch a string along the floor under the panel's front. Mark A on it %.3f\u00a0m to the left of the panel's middle and B as far to the right (%.0f\u00a0mm beyond the panel's edges). Check: from A to B %.3f\u00a0m.", p.MarkM, corner, 2*p.MarkM),
		fmt.Sprintf("Hook one tape at A and one at B (a nail in a heavy block will do). Where %.3f\u00a0m from A meets %.3f\u00a0m from B, mark S. The middle of the loudspeaker's front goes over S, %.3f\u00a0m over the floor, turned to the panel's middle.",
			p.SourceFromAM, p.SourceFromBM, p.SourceHeightM),
		fmt.Sprintf("Mark each microphone's place in the same way from the table, all of them before the first take. Hang a plumb line from the microphone: its tip goes over the mark, the capsule %.3f\u00a0m over the floor. Check some of them by the distance to S.", p.MicHeightM),
		fmt.Sprintf("Record each place three times: empty (no panel), flat (a board of the panel's outer size in its place) and panel. That is %d takes. Mark where the panel's feet stand; between the states move nothing but the panel and the board.", 3*len(p.Microphones)),
		"Clear away tables, boxes and yourself: what stands nearer to the panel than the walls sends its echo sooner, and this plan does not know of it. Note the temperature before and after.",
	}
	if p.AbsorberM > 0 {
		z := p.AbsorberZone
		steps = append(steps, fmt.Sprintf("Lay the absorber, %.0f\u00a0mm thick, over the floor at least from %.2f to %.2f\u00a0m in front of the panel and from %.2f\u00a0m left to %.2f\u00a0m right of its middle: there the echoes bounce.",
			p.AbsorberM*1000, max(0, z[2]), z[3], -z[0], z[1]))
	}
	return steps
}

const levelStepPlayer = 2 // the step of levelSteps that sets the player

// levelSteps is common practice, no source, except for the directive's figure, which is from memory.
var levelSteps = []string{
	"Turn the loudspeaker's or amplifier's volume all the way down and mute it while you plug in cables or switch phantom power on.",
	"Keep nobody, and no pets, within 2\u00a0m of the loudspeaker. Have hearing protection at hand and wear it from here on.",
	"Set the player to −20\u00a0dB below full scale and leave it there. Play one sweep with the volume still down, then raise the volume by at most 3\u00a0dB between sweeps.",
	"Listen for rattling, buzzing or a harsh rise, and smell: at the first sign go back by 6\u00a0dB. A sweep leaves all its power in the tweeter for a second or two, and a tweeter bears far less than the woofer: never loop a sweep, and don't raise the treble.",
	"Set the microphone's gain so that the sweep's peak in the recording is between −12 and −6\u00a0dB below full scale, never at full scale.",
	"Stop as soon as the recording's silence lies 45\u00a0dB or more under the sweep, or when you would have to raise your voice to be heard at 1\u00a0m (about 80\u00a0dB(A)). Several quiet takes averaged are better than one loud one.",
	"From now on touch no volume, gain or tone control until all three states are recorded. Leave the room, or stand still behind the loudspeaker, during takes.",
}

// planCautions defer to local rules and licensed practice.
var planCautions = []string{
	"Hearing: 80\u00a0dB(A) over a working day is where protection has to be offered in the European Union (Directive 2003/10/EC, from memory). Long runs add up: leave the room or wear protection.",
	"Stands tip: spread the legs fully, put one leg under the load's overhang, weigh the feet down, keep heavy loudspeakers low, and strap or screw a standing panel to something solid. Lift panel and loudspeaker with two people.",
	"Cables: keep mains and signal cables off the paths you walk, tape them down, leave slack at every stand. Use mains sockets behind a residual-current device.",
	"Strings, marks and blocks on the floor trip people: take them up when done, and mind them in the dark.",
	"Hanging a panel needs fixings rated for several times its weight in the structure itself; overhead mounting belongs to a licensed professional. Local codes decide.",
}

func (p *Plan) ruleNotes() []Note {
	notes := []Note{
		{"First echo", "Mirror images of source and microphone in each of the six surfaces; the shortest way by the panel's front and one surface, in either order. The walls are taken as flat and hard; furniture, doors left open and beams are not known. Echoes that never touch the panel drop out with the take of the empty room.", "mirror-image method: any textbook of room acoustics"},
		{"Lowest frequency", "Two periods must fit into the gate, which opens 0.25 ms before the first sound off the panel; the same rule as in a check.", "common practice, no source; a gate of T resolves about 1/T"},
		{"Far field", fmt.Sprintf("It begins about 2W²/λ from a panel of width W, here %.3f m: there the way to the panel's edge differs from that to its middle by a sixteenth of a wavelength.", p.Panel.WidthM), "U.S. Federal Standard 1037C, far-field region (for antennas)"},
		{"Mirror frequency", "Above c·a*/(2S), a* = 2a₁a₂/(a₁+a₂), a flat board of area S reflects on its normal like a large wall, a₁ and a₂ from source and microphone; below, it only scatters.", "Rindel 1986 (from memory)"},
		{"Angles", "The standard puts a receiver every 5° on the half circle, source and receivers 10 m and 5 m away, and about 80 % of the receivers outside the angles to which a flat board mirrors the source.", "ISO 17497-2:2012 (from memory)"},
		{"Radius and source", "Where the plan file says nothing: the microphones at 1 m or three times the panel's depth, whichever is more, the source twice as far, as in the standard.", "builders' rule for the nearest seat: common practice, no source"},
		{"Tapes", fmt.Sprintf("Every microphone on the arc sees A and B at a right angle as long as they lie at its ends (Thales); here the tapes cross at %.0f° at least. Tapes good to %.0f mm each then leave at most %.0f mm.", p.CrossingDeg, TapeReadingM*1000, p.TapeErrorM*1000), "geometry; the tape's figure is common practice, no source"},
		{"Absorber on the floor", "A porous layer is taken to quiet the floor's echo enough, by 10 dB or more, from the frequency at which it is a quarter of a wavelength thick; below, the floor counts as bare.", "common practice, no source"},
	}
	return notes
}

// PlaceText says in one sentence where the rig stands.
func (p *Plan) PlaceText() string {
	return fmt.Sprintf("The panel looks along the room's %s, its front %.2f\u00a0m from the wall behind it, its middle %.2f\u00a0m from the left wall and %.2f\u00a0m over the floor; source at %.2f\u00a0m, microphones at %.2f\u00a0m.",
		p.Faces, p.FromBehindM, p.FromLeftM, p.AboveFloorM, p.SourceDistanceM, p.RadiusM)
}

// nominalHertz is the usual name of a third octave given by its exact mid-band frequency (IEC 61260-1, nominal mid-band frequencies).
func nominalHertz(centreHz float64) string {
	names := [10]float64{1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8}
	k := int(math.Round(10 * math.Log10(centreHz)))
	return fmt.Sprintf("%g", names[k%10]*math.Pow10(k/10))
}
