package analysis

import (
	"math"
	"slices"

	"github.com/leadline/leadline/dsp"
)

// gate is the window on one position's reflection and what ended it.
type gate struct {
	window  dsp.GateWindow
	endedBy string
	// lengthS is from the earliest arrival to the end: what limits the lowest frequency.
	lengthS float64
	// limitS is what the length would be if the gate did not end when the reflection dies out: a decayed response loses nothing.
	limitS float64
}

func (g gate) result() Gate {
	return Gate{StartS: Num(g.window.OpenS), EndS: Num(g.window.ClosedS), EndedBy: g.endedBy}
}

// newGate shapes the gate that opens before the earliest arrival from the panel and closes at endS.
func newGate(earliestS, endS float64, endedBy string) gate {
	full := earliestS - preringS
	length := endS - full
	return gate{
		window:  dsp.GateWindow{OpenS: full - riseS, FullS: full, FallS: endS - fallShare*length, ClosedS: endS},
		endedBy: endedBy, lengthS: length,
	}
}

// echoPath returns the shortest way, in metres, of sound that meets the panel's front and one surface of the room, in either order: source,
// surface, panel, microphone or source, panel, surface, microphone, by the image of the source or of the microphone.
func echoPath(panel *Panel, source, mic [3]float64, surface Surface) float64 {
	first := newPaths(panel, mirrored(source, surface), mic).earliest
	second := newPaths(panel, source, mirrored(mic, surface)).earliest
	return min(first, second)
}

// firstEchoes returns, per position, by how much the first echo of the room comes after the direct sound in the empty room, in
// seconds; NaN where none stands out or there is no empty room. The loudspeaker's own decay is common to all positions:
// the median of the responses, aligned and scaled to the direct sound, is taken off first.
func firstEchoes(positions []*measuredPosition) []float64 {
	const (
		spanS     = 0.020
		threshold = 0.032 // −30 dB re the direct sound's peak: below it an echo changes a reflected level at −10 dB by less than 1 dB
		atLeast   = 5     // positions for a median that is the loudspeaker's
	)
	out := make([]float64, len(positions))
	var aligned [][]float64
	var owner []int
	var limits []float64
	rate := 0.0
	for i, m := range positions {
		out[i] = math.NaN()
		if m == nil || m.empty == nil || (rate != 0 && m.sampleRateHz != rate) {
			continue
		}
		rate = m.sampleRateHz
		x := dsp.FractionalDelay(m.empty, -(m.directS-m.startS)*rate)
		x = x[:min(len(x), int(spanS*rate))]
		peak := 0.0
		for _, v := range x[:min(len(x), int(0.001*rate)+1)] {
			peak = max(peak, math.Abs(v))
		}
		if peak == 0 {
			continue
		}
		for n := range x {
			x[n] /= peak
		}
		aligned, owner = append(aligned, x), append(owner, i)
		limit := threshold // noise reaches five standard deviations once in a million samples
		if !math.IsNaN(m.noise) {
			limit = max(limit, 5*math.Sqrt(m.noise)/peak)
		}
		limits = append(limits, limit)
	}
	if len(aligned) < atLeast {
		return out
	}
	median := make([]float64, len(aligned[0]))
	column := make([]float64, 0, len(aligned))
	for n := range median {
		column = column[:0]
		for _, x := range aligned {
			if n < len(x) {
				column = append(column, x[n])
			}
		}
		slices.Sort(column)
		median[n] = column[len(column)/2]
	}
	for a, x := range aligned {
		for n := int(0.0005 * rate); n < min(len(x), len(median)); n++ {
			if math.Abs(x[n]-median[n]) > limits[a] {
				out[owner[a]] = float64(n) / rate
				break
			}
		}
	}
	return out
}

// decayEnd returns when the reflection has died out: the time after which less than −30 dB of its energy since fromS is left,
// allowing for noise (variance per sample). The whole recording where it never does.
func decayEnd(x []float64, startS, rate, fromS, noise float64) float64 {
	from := min(len(x), max(0, int((fromS-startS)*rate)))
	if math.IsNaN(noise) {
		noise = 0
	}
	total := 0.0
	for _, v := range x[from:] {
		total += max(0, v*v-2*noise) // the difference of two takes carries the noise of both
	}
	left := 0.0
	for n := len(x) - 1; n >= from; n-- {
		left += max(0, x[n]*x[n]-2*noise)
		if left > 1e-3*total {
			return startS + float64(n+1)/rate
		}
	}
	return startS + float64(len(x))/rate
}

// panelEcho estimates, in seconds, by how much the first echo of the room comes after the panel's reflection, from the echoes found
// in the empty room; infinite where none was. Which surface sends an echo is not known; one that runs along the line from the source to
// the microphone, at half the distance h from it, delays by √(r² + h²) − r, and so less over the longer way to the panel. The median over the positions
// stands for the room.
func panelEcho(s *Survey, positions []*measuredPosition, speed float64) float64 {
	var delays []float64
	toPanel := distance(s.SourceM, [3]float64{})
	some := make([]*measuredPosition, 0, fitAtMost)
	for _, i := range company(len(positions)) {
		some = append(some, positions[i])
	}
	for i, echo := range firstEchoes(some) {
		if math.IsNaN(echo) {
			continue
		}
		r := distance(s.SourceM, some[i].survey.MicM)
		hh := (r+echo*speed)*(r+echo*speed) - r*r
		delays = append(delays, (math.Sqrt(toPanel*toPanel+hh)-toPanel)/speed)
	}
	if len(delays) == 0 {
		return math.Inf(1)
	}
	slices.Sort(delays)
	return delays[len(delays)/2]
}

// chooseGate sets a position's gate. A gate that the survey gives wins; else the first of: an echo of a surface in [room] that the panel
// adds, an echo found in the empty room (echo, as panelEcho gives it), the end of the recording, the reflection's own decay.
func chooseGate(s *Survey, m *measuredPosition, speed, echo float64) (gate, []Warning) {
	way := newPaths(&s.Panel, s.SourceM, m.survey.MicM)
	earliest := way.earliest / speed
	surfaceS, surface := math.Inf(1), ""
	for _, r := range s.Room {
		if t := echoPath(&s.Panel, s.SourceM, m.survey.MicM, r) / speed; t < surfaceS {
			surfaceS, surface = t, r.Name
		}
	}
	end, by := m.startS+float64(len(m.panel[0]))/m.sampleRateHz, "recording"
	consider := func(t float64, name string) {
		if t < end {
			end, by = t, name
		}
	}
	consider(surfaceS, surface)
	if m.empty == nil {
		// nothing takes the direct sound's own echoes away
		for _, r := range s.Room {
			consider(distance(mirrored(s.SourceM, r), m.survey.MicM)/speed-preringS, "the direct sound's echo off the "+r.Name)
		}
	}
	consider(way.middle/speed+echo, "echo in the empty room")
	limit := end
	if m.empty != nil {
		consider(decayEnd(mean(m.panel), m.startS, m.sampleRateHz, earliest-preringS, m.noise), "decay")
	}
	var warnings []Warning
	if s.Gate.EndS.Known() {
		if set := float64(s.Gate.EndS); set > end && by != "decay" {
			warnings = append(warnings, Warning{"gate", m.survey.Name, "the survey's gate ends after " + by + " comes in: that sound counts as the panel's; end the gate earlier or move the rig away from that surface"})
		}
		end, by = float64(s.Gate.EndS), "survey"
		limit = end
	}
	// an echo that comes first leaves a gate too short for any band, which chooseRange then says
	end = max(end, earliest+0.0001)
	g := newGate(earliest, end, by)
	g.limitS = max(limit, end) - g.window.FullS
	if s.Gate.StartS.Known() {
		g.window.OpenS = float64(s.Gate.StartS)
		g.window.FullS = min(g.window.OpenS+riseS, g.window.FallS)
	}
	return g, warnings
}
