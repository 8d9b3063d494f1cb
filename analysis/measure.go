package analysis

import (
	"context"
	"fmt"
	"slices"
	"sync/atomic"

	"github.com/leadline/leadline/dsp"
)

// measurement leads from the files of all positions to aligned responses with their gates. What the positions have in common (drift of the temperature,
// loudspeaker, the room's first echo) is told from some of them, the witnesses, which are kept whole. The others are read, aligned and gated one by one after that, and
// of each only what stands in its gate is kept, so that memory hardly grows with their number.
type measurement struct {
	run      *run
	survey   *Survey                 // with the recorded seats as positions behind the others
	recorded []map[string][]response // where the files are recordings, which are all read before; else nil
	files    int
	read     atomic.Int64 // positions
	rateHz   float64      // to which all are brought

	alignment   *alignment
	loudspeaker *loudspeaker // nil where it isn't divided out
	echoS       float64      // from the panel's reflection to the room's first echo

	gates    []gate
	warnings []positionWarnings
}

// positionWarnings are those of one position's stages.
type positionWarnings struct{ file, rate, take, gate []Warning }

// measure reads and aligns every file and sets the gates.
func (r *run) measure(ctx context.Context) error {
	m, err := r.newMeasurement(ctx)
	if err != nil {
		return err
	}
	if err := m.hearWitnesses(ctx); err != nil {
		return err
	}
	if err := m.gateAll(ctx); err != nil {
		return err
	}
	r.positions, r.gates, r.result.Drift, r.result.LoudspeakerDivided = m.alignment.positions, m.gates, m.alignment.drift, m.loudspeaker != nil
	m.warn()
	n := len(r.survey.Positions)
	r.seatPositions, r.seatGates = r.positions[n:], r.gates[n:]
	r.positions, r.gates = r.positions[:n], r.gates[:n]
	return nil
}

func (r *run) newMeasurement(ctx context.Context) (*measurement, error) {
	s := r.survey.withSeats()
	n := len(s.Positions)
	m := &measurement{run: r, survey: s, gates: make([]gate, n), warnings: make([]positionWarnings, n)}
	m.alignment = &alignment{survey: s, air: r.air, takes: make([]map[string][]response, n), scale: map[string]float64{}}
	for _, state := range []string{"empty", "flat", "panel"} {
		air, err := s.Air.Resolve(state)
		if err != nil {
			return nil, err
		}
		m.alignment.scale[state] = air.SpeedOfSoundMS / r.air.SpeedOfSoundMS
	}
	for i := range s.Positions {
		for _, state := range s.Positions[i].states() {
			m.files += len(state.files)
		}
	}
	if s.Sweep != nil {
		recorded, err := ReadRecordings(ctx, s, ResponseS, r.options.report("reading"))
		if err != nil {
			return nil, err
		}
		r.result.Recordings = &recorded.Recordings
		r.warn(recorded.Warnings()...)
		m.recorded = recorded.takes(s)
	}
	return m, nil
}

// witnesses are the positions that are kept whole: those which tell of all, and those of which the result shows more than what stands in the gate. All, unless there
// are very many.
func (m *measurement) witnesses() []int {
	own, all := m.run.survey, m.survey
	n := len(own.Positions)
	numbers := spreadEvenly(len(all.Positions), len(all.Positions))
	if n <= keptPositions {
		return numbers
	}
	return union(driftPositions(len(numbers)), company(n), company(len(numbers)), onAxis(own), onAxis(all), own.nearestNormal(), numbers[n:])
}

// hearWitnesses reads and aligns the witnesses and finds out what all positions have in common.
func (m *measurement) hearWitnesses(ctx context.Context) error {
	a, witnesses := m.alignment, m.witnesses()
	if err := eachOf(ctx, witnesses, func(i int) (err error) {
		a.takes[i], err = m.takes(i)
		return err
	}); err != nil {
		return err
	}
	if err := m.findRate(ctx); err != nil {
		return err
	}
	if err := eachOf(ctx, witnesses, func(i int) error { return m.toOneRate(i, a.takes[i]) }); err != nil {
		return err
	}
	if err := a.run(ctx, witnesses); err != nil {
		return err
	}
	for _, i := range witnesses {
		m.warnings[i].take = doubtTakes(m.survey, a.positions[i], a.air.SpeedOfSoundMS)
	}
	m.loudspeaker = newLoudspeaker(directSounds(m.survey, a.positions, a.air.SpeedOfSoundMS), a.positions, a.air.SpeedOfSoundMS)
	if m.loudspeaker != nil {
		parallel(0, len(witnesses), func(n int) { m.loudspeaker.divide(a.positions[witnesses[n]]) })
	}
	m.echoS = panelEcho(m.survey, a.positions, a.air.SpeedOfSoundMS)
	return nil
}

// gateAll sets the gates of all positions; those that are no witnesses come and go.
func (m *measurement) gateAll(ctx context.Context) error {
	positions := m.alignment.positions
	return eachOf(ctx, spreadEvenly(len(positions), len(positions)), func(i int) (err error) {
		p := positions[i]
		if p == nil {
			if p, err = m.position(i); err != nil {
				return err
			}
		}
		m.gates[i], m.warnings[i].gate = chooseGate(m.survey, p, m.alignment.air.SpeedOfSoundMS, m.echoS)
		if positions[i] == nil {
			p.keepGated(m.gates[i].window)
			positions[i] = p
		}
		return nil
	})
}

// position reads and aligns a position that is no witness.
func (m *measurement) position(i int) (*measuredPosition, error) {
	takes, err := m.takes(i)
	if err != nil {
		return nil, err
	}
	if err := m.toOneRate(i, takes); err != nil {
		return nil, err
	}
	p, err := m.alignment.position(i, takes, true)
	if err != nil {
		return nil, err
	}
	m.warnings[i].take = doubtTakes(m.survey, p, m.alignment.air.SpeedOfSoundMS)
	if m.loudspeaker != nil {
		m.loudspeaker.divide(p)
	}
	return p, nil
}

// takes hands over the takes of a position, all of one sample rate: read, or from what was recorded.
func (m *measurement) takes(i int) (takes map[string][]response, err error) {
	p := &m.survey.Positions[i]
	if m.recorded != nil {
		takes, m.recorded[i] = m.recorded[i], nil
		return takes, oneRate(p, takes)
	}
	takes, m.warnings[i].file, err = readPosition(p, m.files)
	m.run.options.report("reading")(float64(m.read.Add(1)) / float64(len(m.warnings)))
	return takes, err
}

// findRate finds the highest sample rate: in takes that are there, and in the headers of files that have yet to be read.
func (m *measurement) findRate(ctx context.Context) error {
	rates := make([]float64, len(m.warnings))
	err := eachOf(ctx, spreadEvenly(len(rates), len(rates)), func(i int) error {
		takes := m.alignment.takes[i]
		if takes == nil && m.recorded != nil {
			takes = m.recorded[i]
		}
		for _, state := range takes {
			for _, take := range state {
				rates[i] = max(rates[i], take.sampleRateHz)
			}
		}
		if takes != nil {
			return nil
		}
		for _, state := range m.survey.Positions[i].states() {
			for _, file := range state.files {
				stream, err := openTake(file)
				if err != nil {
					return err
				}
				stream.Close() // only its header was read
				rates[i] = max(rates[i], float64(stream.Info().SampleRateHz))
			}
		}
		return nil
	})
	m.rateHz = slices.Max(rates)
	return err
}

// toOneRate brings a position's takes to the rate of all and says so: positions are compared with one another.
func (m *measurement) toOneRate(i int, takes map[string][]response) error {
	rate := m.rateHz
	for _, state := range takes {
		for n := range state {
			take := &state[n]
			if take.sampleRateHz == m.rateHz {
				continue
			}
			rate = take.sampleRateHz
			samples, err := dsp.Resample(take.samples, m.rateHz/rate)
			if err != nil {
				return fmt.Errorf("%s: from %.0f to %.0f Hz: %w", take.file, rate, m.rateHz, err)
			}
			take.samples, take.sampleRateHz = samples, m.rateHz
		}
	}
	if rate != m.rateHz {
		m.warnings[i].rate = []Warning{{"sample rate", m.survey.Positions[i].Name, fmt.Sprintf("recorded at %.0f\u00a0Hz, other positions at %.0f\u00a0Hz: resampled; record all positions at one rate", rate, m.rateHz)}}
	}
	return nil
}

// warn tells the warnings of one stage after the other, of each all positions'.
func (m *measurement) warn() {
	r := m.run
	stage := func(tell func(...Warning), of func(*positionWarnings) []Warning) {
		for i := range m.warnings {
			tell(of(&m.warnings[i])...)
		}
	}
	stage(r.warn, func(w *positionWarnings) []Warning { return w.file })
	stage(r.warn, func(w *positionWarnings) []Warning { return w.rate })
	r.doubtAlignment()
	stage(r.contradict, func(w *positionWarnings) []Warning { return w.take })
	stage(r.warn, func(w *positionWarnings) []Warning { return w.gate })
}
