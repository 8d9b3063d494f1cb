package analysis

import (
	"fmt"
	"slices"
	"strings"

	"github.com/leadline/leadline/dsp"
)

// SweepSheet says in words what a file of sweeps is and how to play it.
type SweepSheet struct {
	Title  string
	Facts  []string // what the file holds
	Survey []string // the lines of [sweep] that belong to it
	Level  []string // how to find the level, step by step
	Record []string // what to mind when recording
}

// NewSweepSheet describes a sweep written to a file with so many bits.
func NewSweepSheet(file string, s *dsp.Sweep, format dsp.WAVFormat) *SweepSheet {
	starts := s.StartsSamples()
	totalS := float64(len(s.Playback())) / s.SampleRateHz
	kind := fmt.Sprintf("%d-bit integers", format.BitsPerSample)
	if format.Float {
		kind = fmt.Sprintf("%d-bit floats", format.BitsPerSample)
	}
	sheet := &SweepSheet{
		Title: fmt.Sprintf("%s: %g Hz, %s, one channel, %.4g s", file, s.SampleRateHz, kind, totalS),
		Level: slices.Clone(levelSteps),
	}
	sheet.Level[levelStepPlayer] = fmt.Sprintf("The file's peak is at %g\u00a0dBFS: leave the player's own volume at 0\u00a0dB. Play one sweep with the amplifier's volume still down, then raise the volume by at most 3\u00a0dB between sweeps.", s.LevelDBFS)
	fact := func(format string, args ...any) { sheet.Facts = append(sheet.Facts, fmt.Sprintf(format, args...)) }
	times := "One exponential sweep"
	if s.Repeats > 1 {
		times = fmt.Sprintf("%d exponential sweeps, %.6g s from start to start,", s.Repeats, float64(starts[1]-starts[0])/s.SampleRateHz)
	}
	fact("%s from %g to %g Hz in %.6g s, peak %g dBFS, faded in over %.3g ms and out over %.3g ms, with %g s of silence before and %g s after.",
		times, s.LowHz, s.HighHz, s.DurationS, s.LevelDBFS, 1000*s.FadeInS, 1000*s.FadeOutS, s.SilenceBeforeS, s.SilenceAfterS)
	if s.Plain {
		fact("Plain: the sweep has exactly the length asked for; distortion can be told by its level but not by its phase.")
	} else {
		fact("Synchronised: the length is rounded so that each distortion order is the sweep itself played earlier; its response then has the right phase too, at no cost. (--plain leaves the length as asked for.)")
	}
	var leads []string
	for order := 2; order <= dsp.HarmonicOrders; order++ {
		leads = append(leads, fmt.Sprintf("%.3g", s.HarmonicLeadS(order)))
	}
	fact("Distortion of orders 2 to %d comes out %s s before the response, so it can be cut off.", dsp.HarmonicOrders, strings.Join(leads, ", "))
	if s.Pilot {
		fact("A pilot chirp of a tenth of a second sounds %g s before every sweep: it tells the clocks of player and recorder apart, whatever the loudspeaker.", dsp.PilotLeadS)
	}

	sheet.Survey = []string{"[sweep]", fmt.Sprintf("low_hz = %g", s.LowHz), fmt.Sprintf("high_hz = %g", s.HighHz), fmt.Sprintf("seconds = %g", s.Seconds)}
	if s.Repeats > 1 {
		sheet.Survey = append(sheet.Survey, fmt.Sprintf("period_s = %.9g", float64(starts[1]-starts[0])/s.SampleRateHz))
	}
	if s.Pilot {
		sheet.Survey = append(sheet.Survey, "pilot = true")
	}
	sheet.Record = []string{
		"Start the recorder a second or more before the player, in silence, and stop it when the room is silent again: the noise is read from the silence, and the highest frequencies ring on after the sweep.",
		"Play and record at the file's sample rate, without effects, without conversion, best with one interface for both. A spare input that records the played signal (loopback_channel) gives the time reference.",
		"Record 24 bits, never at full scale. Repeat takes rather than play louder.",
	}
	return sheet
}
