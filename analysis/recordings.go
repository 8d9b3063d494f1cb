package analysis

import (
	"context"
	"fmt"
	"math"

	"github.com/leadline/leadline/dsp"
)

// readTakes reads and aligns every file.
func (r *run) readTakes(ctx context.Context) error {
	scale := map[string]float64{}
	for _, state := range []string{"empty", "flat", "panel"} {
		air, err := r.survey.Air.Resolve(state)
		if err != nil {
			return err
		}
		scale[state] = air.SpeedOfSoundMS / r.air.SpeedOfSoundMS
	}
	progress := r.options.report("reading")
	r.positions = make([]*measuredPosition, len(r.survey.Positions))
	warnings := make([][]Warning, len(r.positions))
	errs := make([]error, len(r.positions))
	parallel(0, len(r.positions), func(i int) {
		if errs[i] = ctx.Err(); errs[i] != nil {
			return
		}
		p := &r.survey.Positions[i]
		takes, w, err := readPosition(p)
		warnings[i] = w
		if err == nil {
			r.positions[i], err = alignPosition(r.survey, p, takes, r.air.SpeedOfSoundMS, scale)
		}
		errs[i] = err
		progress(float64(i+1) / float64(len(r.positions)))
	})
	for _, w := range warnings {
		r.warn(w...)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err // the first in the survey's order
		}
	}
	r.doubtAlignment()
	return nil
}

// readPosition reads all takes of a position. All must have one sample rate.
func readPosition(p *SurveyPosition) (map[string][]response, []Warning, error) {
	takes := map[string][]response{}
	var warnings []Warning
	var first response
	for _, state := range []struct {
		name  string
		files []string
	}{{"empty", p.Empty}, {"flat", p.Flat}, {"panel", p.Panel}} {
		for _, file := range state.files {
			audio, err := dsp.ReadWAVChannel(file, p.Channel)
			if err != nil {
				return nil, warnings, err
			}
			for _, note := range audio.Notes {
				warnings = append(warnings, Warning{"file", p.Name, note})
			}
			x := audio.Channels[0]
			rate := float64(audio.SampleRateHz)
			if first.sampleRateHz == 0 {
				first = response{file: file, sampleRateHz: rate}
			}
			if rate != first.sampleRateHz {
				return nil, warnings, fmt.Errorf("%s: sample rate %.0f Hz, but %s has %.0f Hz: all files of a position must have one rate; export them again at one rate",
					file, rate, first.file, first.sampleRateHz)
			}
			if !audio.Float {
				for _, fault := range dsp.FindClipping(x, rate) {
					warnings = append(warnings, Warning{"clipped", p.Name, fmt.Sprintf("%s: %s %s", file, fault.Text, fault.Cure)})
				}
			}
			takes[state.name] = append(takes[state.name], response{file, x, rate})
		}
	}
	return takes, warnings, nil
}

// doubtAlignment warns of takes that had to be changed much, or still don't agree, and of positions without an empty room.
func (r *run) doubtAlignment() {
	const (
		levelStep = 1.0 // dB: more than a session's drift
		poor      = -30 // dB: residual of the direct sound
	)
	for _, m := range r.positions {
		if m.empty == nil {
			r.warn(Warning{"no empty room", m.survey.Name, "no take without the panel: the direct sound can't be subtracted, so only what comes after it counts; measure the empty room too"})
		}
		for _, a := range m.alignment {
			if math.Abs(float64(a.GainDB)) > levelStep {
				r.warn(Warning{"level", m.survey.Name, fmt.Sprintf("%s was %.1f dB %s than the reference take; this is put right from the direct sound, but check that no gain was touched", a.File, math.Abs(float64(a.GainDB)), louder(a.GainDB))})
			}
			if a.ResidualAfter > poor {
				r.warn(Warning{"alignment", m.survey.Name, fmt.Sprintf("%s: the direct sound differs from the reference take's by %.0f dB even when aligned; microphone or loudspeaker moved, or the files don't belong together", a.File, float64(a.ResidualAfter))})
			}
		}
	}
}

func louder(gain Num) string {
	if gain > 0 {
		return "louder"
	}
	return "quieter"
}
