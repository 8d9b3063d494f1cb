package analysis

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/leadline/leadline/dsp"
)

// Recordings is what the sweep recordings of a survey hold.
type Recordings struct {
	BandCentreHz []float64      `json:"band_centre_hz"` // third octaves in which noise and distortion are told
	Files        []RecordedFile `json:"files"`          // in the survey's order
}

// RecordedFile is one sweep recording.
type RecordedFile struct {
	Position     string          `json:"position"`
	State        string          `json:"state"` // empty, flat or panel
	File         string          `json:"file"`
	SampleRateHz float64         `json:"sample_rate_hz"`
	Sweep        string          `json:"sweep"` // what it turned out to be, in words
	Sweeps       []RecordedSweep `json:"sweeps"`
	Faults       []Warning       `json:"faults"`
}

// RecordedSweep is one sweep in a recording and the response it gave.
type RecordedSweep struct {
	StartS         Num               `json:"start_s"`    // where the sweep begins in the file
	ClockPPM       Num               `json:"clock_ppm"`  // recorder fast against player, parts per million
	ClockFrom      string            `json:"clock_from"` // loopback, pilot, repeats or direct sound; empty where unknown
	ClockCorrected bool              `json:"clock_ok"`   // put right by resampling
	SNRDB          []Num             `json:"snr_db"`     // per band, of the response as cut
	SNRMedianDB    Num               `json:"snr_median_db"`
	SNRLowestDB    Num               `json:"snr_lowest_db"`
	SNRLowestHz    Num               `json:"snr_lowest_hz"` // mid-band where it is lowest
	Distortion     []DistortionOrder `json:"distortion"`    // orders 2 to 5
	Left           bool              `json:"left_out"`      // damaged, while the file holds others
	BeforeS        Num               `json:"before_s"`      // of the response before the direct sound
	ZeroKnown      bool              `json:"zero_known"`    // the loopback tells when the sweep was played
}

// MeasuredRecordings is what the sweep recordings of a survey hold, with the responses.
type MeasuredRecordings struct {
	Recordings
	responses [][]response // by file and sweep
}

// Response returns the impulse response of a sweep of a file, both counted from 0: the gain from the played to the recorded samples, from BeforeS
// before the direct sound on, faded in over 1 ms and out over 5 ms where it was cut. In a band-limited sense: the sweep's own band.
func (m *MeasuredRecordings) Response(file, sweep int) (samples []float64, sampleRateHz float64) {
	r := &m.responses[file][sweep]
	return r.samples, r.sampleRateHz
}

// DistortionOrder is the level of one distortion order per band of the played frequency, in dB re the linear response; unknown where the noise
// hides it or the sweep doesn't reach.
type DistortionOrder struct {
	Order    int   `json:"order"`
	LevelDB  []Num `json:"level_db"`
	MedianDB Num   `json:"median_db"` // over the bands in which it is known
}

// RecordingError is a recording that can't be used.
type RecordingError struct {
	File     string
	TimeS    float64 // in the file; negative where it concerns the whole of it
	Found    string
	Expected string
	Do       string
}

// Error says it in one line: file: time: found, expected; do.
func (e *RecordingError) Error() string {
	at := ""
	if e.TimeS >= 0 {
		at = fmt.Sprintf(" at %.2f s:", e.TimeS)
	}
	return fmt.Sprintf("%s:%s found: %s; expected: %s; %s", e.File, at, e.Found, e.Expected, e.Do)
}

const (
	responseBeforeS = 0.005 // kept before the direct sound (before the emission, with a loopback)
	// ResponseS is how much of a response is kept after the direct sound where a check reads recordings: more than any gate in a room needs.
	ResponseS = 0.060
)

// ReadRecordings turns the recordings of a survey with [sweep] into impulse responses, responseS seconds long after the direct sound. Progress
// may be nil. Faults that leave a recording usable are in the files' Faults; an error names the first file that can't be used.
func ReadRecordings(ctx context.Context, s *Survey, responseS float64, progress func(share float64)) (*MeasuredRecordings, error) {
	if s.Sweep == nil {
		return nil, &SurveyError{File: s.Path, Found: "no [sweep]", Expected: "[sweep] with what was played", Do: "add it, or leave the files as they are: they count as impulse responses"}
	}
	played, err := readPlayed(s.Sweep)
	if err != nil {
		return nil, err
	}
	bands, err := dsp.FractionalOctaves(3, lowestBandHz, predictionEndHz)
	if err != nil {
		return nil, err
	}
	job := &recordingJob{survey: s, played: played, bands: bands, responseS: responseS}
	out := &MeasuredRecordings{}
	for _, b := range bands {
		out.BandCentreHz = append(out.BandCentreHz, b.CentreHz)
	}
	var positions []*SurveyPosition // of the files
	for i := range s.Positions {
		p := &s.Positions[i]
		for _, state := range p.states() {
			for _, file := range state.files {
				out.Files = append(out.Files, RecordedFile{Position: p.Name, State: state.name, File: file})
				positions = append(positions, p)
			}
		}
	}
	out.responses = make([][]response, len(positions))
	errs := make([]error, len(positions))
	var done atomic.Int64
	parallel(0, len(positions), func(i int) {
		if errs[i] = ctx.Err(); errs[i] != nil {
			return
		}
		out.responses[i], errs[i] = job.measure(&out.Files[i], positions[i])
		if progress != nil {
			progress(float64(done.Add(1)) / float64(len(positions)))
		}
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := cmp.Or(errs...); err != nil { // the first in the survey's order
		return nil, err
	}
	out.putPolarityRight()
	return out, nil
}

type stateFiles struct {
	name  string
	files []string
}

func (p *SurveyPosition) states() []stateFiles {
	return []stateFiles{{"empty", p.Empty}, {"flat", p.Flat}, {"panel", p.Panel}}
}

// playedSignal is what was played, at any sample rate.
type playedSignal struct {
	sweep   *Sweep
	periodS float64

	file *dsp.Excitation // where the survey names a file

	mutex  sync.Mutex
	sweeps map[float64]*dsp.Sweep
	byRate map[float64]*dsp.Excitation
}

func readPlayed(s *Sweep) (*playedSignal, error) {
	p := &playedSignal{sweep: s, periodS: s.PeriodS, sweeps: map[float64]*dsp.Sweep{}, byRate: map[float64]*dsp.Excitation{}}
	if s.File == "" {
		return p, nil
	}
	stream, err := openTake(s.File)
	if err != nil {
		return nil, err
	}
	stream.Close() // only its header was read
	audio, err := dsp.ReadWAVChannel(s.File, 1)
	if err != nil {
		return nil, err
	}
	x, rate := audio.Channels[0], float64(audio.SampleRateHz)
	if p.file, _, err = dsp.ExcitationFromSamples(x, rate); err != nil {
		return nil, fmt.Errorf("%s: %w", s.File, err)
	}
	// Where the file holds repeats, they are a known time apart.
	m, err := dsp.MeasureRecording(dsp.RecordingSpec{
		Open:     func() (dsp.FrameReader, error) { return &sampleReader{x}, nil },
		Channels: 1, SampleRateHz: rate, Excitation: p.file, ResponseS: 0.01,
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.File, err)
	}
	if n := len(m.Takes); n > 1 {
		p.periodS = (m.Takes[n-1].StartS - m.Takes[0].StartS) / float64(n-1)
		for i := 1; i < n; i++ {
			if apart := m.Takes[i].StartS - m.Takes[i-1].StartS; math.Abs(apart-p.periodS)*rate > 0.5 {
				p.periodS = 0
				break
			}
		}
	}
	return p, nil
}

// sampleReader reads one channel from memory.
type sampleReader struct{ left []float64 }

func (r *sampleReader) ReadFrames(dst [][]float64) (int, error) {
	n := copy(dst[0], r.left)
	r.left = r.left[n:]
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// at gives the played signal as a recording at a sample rate needs it: one of both.
func (p *playedSignal) at(rate float64) (*dsp.Sweep, *dsp.Excitation, error) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.file != nil {
		if e := p.byRate[rate]; e != nil {
			return nil, e, nil
		}
		e, err := p.file.AtRate(rate)
		if err != nil {
			return nil, nil, err
		}
		p.byRate[rate] = e
		return nil, e, nil
	}
	if s := p.sweeps[rate]; s != nil {
		return s, nil, nil
	}
	spec := dsp.SuggestSweep(p.sweep.LowHz, p.sweep.HighHz, p.sweep.Seconds, rate)
	spec.Pilot = p.sweep.Pilot
	s, err := dsp.NewSweep(spec)
	if err != nil {
		spec.Plain = true // too short to be synchronised: then it is not
		if s, err = dsp.NewSweep(spec); err != nil {
			return nil, nil, err
		}
	}
	p.sweeps[rate] = s
	return s, nil, nil
}

func (p *playedSignal) words() string {
	if p.file != nil {
		return "the signal in " + filepath.Base(p.sweep.File)
	}
	return fmt.Sprintf("a sweep from %g to %g Hz in %g s", p.sweep.LowHz, p.sweep.HighHz, p.sweep.Seconds)
}

// recordingJob is what all recordings of a survey have in common.
type recordingJob struct {
	survey    *Survey
	played    *playedSignal
	bands     []dsp.Band
	responseS float64
}

// pickedChannels reads some channels of a file.
type pickedChannels struct {
	*dsp.WAVStream
	pick []int // from 0
	dst  [][]float64
}

func (p *pickedChannels) ReadFrames(dst [][]float64) (int, error) {
	for i, c := range p.pick {
		p.dst[c] = dst[i]
	}
	return p.WAVStream.ReadFrames(p.dst)
}

// measure fills in what a file holds, and returns its responses.
func (j *recordingJob) measure(out *RecordedFile, p *SurveyPosition) ([]response, error) {
	file, loopback := out.File, j.survey.Sweep.LoopbackChannel
	stream, err := openTake(file)
	if err != nil {
		return nil, err
	}
	info := stream.Info()
	for _, note := range stream.Notes() {
		out.Faults = append(out.Faults, Warning{"file", p.Name, note})
	}
	if err := stream.Close(); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	rate := float64(info.SampleRateHz)
	out.SampleRateHz = rate
	wants := []int{p.Channel}
	if loopback > 0 {
		wants = append(wants, loopback)
	}
	if most := slices.Max(wants); most > info.Channels {
		return nil, &RecordingError{file, -1, fmt.Sprintf("%d channels", info.Channels), fmt.Sprintf("a channel %d", most),
			"give the microphone's channel and sweep.loopback_channel as they are in the files, or export all channels"}
	}
	if err := checkHoldsSweep(file, info, j.survey.Sweep); err != nil {
		return nil, err
	}
	sweep, excitation, err := j.played.at(rate)
	if err != nil {
		return nil, fmt.Errorf("%s (sample rate %g Hz): %w", file, rate, err)
	}
	spec := dsp.RecordingSpec{
		Open: func() (dsp.FrameReader, error) {
			stream, err := dsp.OpenWAV(file)
			if err != nil {
				return nil, err
			}
			picked := &pickedChannels{WAVStream: stream, dst: make([][]float64, info.Channels)}
			for _, c := range wants {
				picked.pick = append(picked.pick, c-1)
			}
			return picked, nil
		},
		Channels: len(wants), SampleRateHz: rate, Sweep: sweep, Excitation: excitation,
		PeriodS: j.played.periodS, BeforeS: responseBeforeS, ResponseS: j.responseS, Bands: j.bands,
	}
	if loopback > 0 {
		spec.LoopbackChannel = 2
	}
	m, err := dsp.MeasureRecording(spec)
	if err != nil {
		var wav *dsp.WAVError
		if errors.As(err, &wav) {
			return nil, err
		}
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	t := &recordedTakes{recordingJob: j, RecordedFile: out, m: m, seconds: float64(info.Frames) / rate, channels: wants}
	return t.responses, t.fill(p)
}

// recordedTakes sorts what one recording gave.
type recordedTakes struct {
	*recordingJob
	*RecordedFile
	m        *dsp.MeasuredRecording
	seconds  float64 // of the file
	channels []int   // of the file, by channel of m, both from 1

	responses []response
}

// fatal are the faults after which nothing in a recording can be trusted.
func (t *recordedTakes) fatal(f dsp.Fault) bool {
	switch f.Kind {
	case dsp.FaultWrongSweep, dsp.FaultSampleRate:
		return true
	case dsp.FaultDead:
		return f.Channel == 1 || len(t.m.Takes) == 0
	case dsp.FaultChannels:
		return f.Channel == 1 // the loopback alone missing leaves the microphone's
	}
	return false
}

func (t *recordedTakes) fill(p *SurveyPosition) error {
	for _, f := range t.m.Faults {
		if t.fatal(f) {
			return t.refuse(f)
		}
	}
	e := t.m.Excitation
	t.Sweep = fmt.Sprintf("%.0f to %.0f Hz in %.3g s", e.LowHz, e.HighHz, float64(len(e.Samples))/e.SampleRateHz)
	whole := 0
	for i := range t.m.Takes {
		if t.damage(i) == "" {
			whole++
		}
	}
	for i := range t.m.Takes {
		take := &t.m.Takes[i]
		if len(take.Responses) == 0 {
			continue // a dead channel in this take alone is told among the faults
		}
		damage := t.damage(i)
		low, high := t.bandOf(take)
		if damage == dsp.FaultTruncated && whole == 0 && (e.RateS == 0 || high < predictionEndHz || low > 500) {
			for _, f := range t.m.Faults {
				if f.Kind == dsp.FaultTruncated {
					return t.refuse(f)
				}
			}
		}
		t.add(take, low, high, damage != "" && whole > 0)
	}
	if len(t.Sweeps) == 0 {
		return t.refuse(dsp.Fault{TimeS: -1, Text: "no sweep that could be used", Cure: "record again"})
	}
	for _, f := range t.m.Faults {
		t.Faults = append(t.Faults, Warning{f.Kind, p.Name, t.text(f, whole)})
	}
	if isLoopback(&t.responses[0]) {
		t.Faults = append(t.Faults, Warning{dsp.FaultChannels, p.Name, fmt.Sprintf("%s: channel %d holds the sweep without any room: it looks like a loopback. Give the microphone's channel.", t.File, t.channels[0])})
	}
	return nil
}

// isLoopback says that a response is nothing but a pulse: even a dead room sends something back. The lowest frequencies of the sweep's band ring, so
// second differences are looked at.
func isLoopback(r *response) bool {
	bend := func(i int) float64 { return r.samples[i-1] - 2*r.samples[i] + r.samples[i+1] }
	peak, highest := 0, 0.0
	for i := 1; i < len(r.samples)-1; i++ {
		if v := math.Abs(bend(i)); v > highest {
			peak, highest = i, v
		}
	}
	near, rest := int(0.001*r.sampleRateHz), 0.0
	for i := 1; i < len(r.samples)-1; i++ {
		if i < peak-near || i > peak+near {
			rest = max(rest, math.Abs(bend(i)))
		}
	}
	return rest < 0.003*highest // −50 dB
}

// damage names the fault that spoils a take, if one does.
func (t *recordedTakes) damage(i int) string {
	take := &t.m.Takes[i]
	e := t.m.Excitation
	from, to := take.StartS-0.002, take.StartS+float64(len(e.Samples))/e.SampleRateHz+t.responseS
	for _, f := range t.m.Faults {
		switch f.Kind {
		case dsp.FaultDropout, dsp.FaultClick, dsp.FaultClock:
			if f.TimeS >= from && f.TimeS < to {
				return f.Kind
			}
		case dsp.FaultTruncated:
			if from < -0.001 && i == 0 || to-t.responseS > t.seconds && i == len(t.m.Takes)-1 {
				return f.Kind
			}
		}
	}
	return ""
}

// bandOf is where a take's response is whole, in hertz: where the sweep has its full level and was recorded.
func (t *recordedTakes) bandOf(take *dsp.Take) (lowHz, highHz float64) {
	const margin = 1.122 // a sixth of an octave, as the pass band's own edges
	r := &take.Responses[0]
	lowHz, highHz = r.FlatLowHz, r.FlatHighHz
	e := t.m.Excitation
	if e.RateS == 0 {
		return lowHz, highHz
	}
	if take.StartS < -0.001 {
		lowHz = max(lowHz, margin*e.LowHz*math.Exp(-take.StartS/e.RateS))
	}
	if left := t.seconds - take.StartS; left < float64(len(e.Samples))/e.SampleRateHz-0.001 {
		highHz = min(highHz, e.LowHz*math.Exp(left/e.RateS)/margin)
	}
	return lowHz, highHz
}

func (t *recordedTakes) add(take *dsp.Take, lowHz, highHz float64, leftOut bool) {
	r := &take.Responses[0]
	out := RecordedSweep{StartS: Num(take.StartS), SNRMedianDB: Unknown(), SNRLowestDB: Unknown(), SNRLowestHz: Unknown(), ClockPPM: Unknown(), ClockFrom: take.Clock.Source, ClockCorrected: take.Corrected, Left: leftOut,
		BeforeS: Num(r.DirectS - r.StartS), ZeroKnown: r.ZeroKnown}
	if out.ClockFrom != "" {
		out.ClockPPM = Num(take.Clock.PPM)
	}
	var known []float64
	for i, v := range r.SNRdB {
		if out.SNRDB = append(out.SNRDB, Num(v)); Num(v).Known() && t.bands[i].LowHz >= lowHz && t.bands[i].HighHz <= highHz {
			if known = append(known, v); len(known) == 1 || Num(v) < out.SNRLowestDB {
				out.SNRLowestDB, out.SNRLowestHz = Num(v), Num(t.bands[i].CentreHz)
			}
		}
	}
	if known != nil {
		out.SNRMedianDB = Num(median(known))
	}
	for order := 2; order <= dsp.HarmonicOrders; order++ {
		d := DistortionOrder{Order: order, MedianDB: Unknown()}
		var known []float64
		for _, h := range r.Harmonics {
			if h.Order == order {
				if d.LevelDB = append(d.LevelDB, Num(h.LevelDB)); Num(h.LevelDB).Known() {
					known = append(known, h.LevelDB)
				}
			}
		}
		if known != nil {
			d.MedianDB = Num(median(known))
		}
		if d.LevelDB != nil {
			out.Distortion = append(out.Distortion, d)
		}
	}
	cut := response{file: t.File, samples: faded(r.Samples, r.SampleRateHz), sampleRateHz: r.SampleRateHz, noise: r.Noise, lowHz: lowHz, highHz: highHz}
	if take.Clock.Source == "direct sound" || take.Clock.Source == "" {
		cut.sweepRateS = t.m.Excitation.RateS
	}
	t.Sweeps, t.responses = append(t.Sweeps, out), append(t.responses, cut)
}

// faded takes the edges off where a response was cut.
func faded(x []float64, rate float64) []float64 {
	y := slices.Clone(x)
	rise, fall := min(len(y)/4, int(0.001*rate)), min(len(y)/4, int(0.005*rate))
	for i := range rise {
		y[i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(rise))
	}
	for i := range fall {
		y[len(y)-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(fall))
	}
	return y
}

func (t *recordedTakes) refuse(f dsp.Fault) error {
	what := f.Text
	if f.Channel > 0 {
		what = fmt.Sprintf("channel %d: %s", t.channels[f.Channel-1], f.Text)
	}
	return &RecordingError{t.File, f.TimeS, what, t.played.words() + ", whole, in every recording", f.Cure}
}

// text is a fault in words, with file, place, cure and consequence.
func (t *recordedTakes) text(f dsp.Fault, whole int) string {
	at := t.File
	if f.TimeS >= 0 {
		at += fmt.Sprintf(", at %.2f s", f.TimeS)
	}
	if f.Channel > 0 && len(t.channels) > 1 {
		at += fmt.Sprintf(", channel %d", t.channels[f.Channel-1])
	}
	left := ""
	for i := range t.m.Takes {
		if whole > 0 && f.TimeS >= 0 && t.damage(i) == f.Kind {
			left = " That sweep is left out; the others of the file count."
		}
	}
	return fmt.Sprintf("%s: %s.%s Cure: %s.", at, f.Text, left, f.Cure)
}

// putPolarityRight turns reversed recordings round where others are not reversed: the sign of how a direct sound correlates with an upright one
// tells, since a loudspeaker's own pulse may point both ways.
func (m *MeasuredRecordings) putPolarityRight() {
	var upright *response
	var suspects []int
	for i := range m.Files {
		if slices.ContainsFunc(m.Files[i].Faults, func(w Warning) bool { return w.Code == dsp.FaultPolarity }) {
			suspects = append(suspects, i)
		} else if upright == nil {
			upright = &m.responses[i][0]
		}
	}
	if upright == nil {
		return
	}
	for _, i := range suspects {
		turned := false
		for k := range m.responses[i] {
			if r := &m.responses[i][k]; opposite(upright, r) {
				turned = true
				for n := range r.samples {
					r.samples[n] = -r.samples[n]
				}
			}
		}
		for w := range m.Files[i].Faults {
			if f := &m.Files[i].Faults[w]; turned && f.Code == dsp.FaultPolarity {
				f.Text += " Others are not reversed, so this one was turned round."
				break
			}
		}
	}
}

// opposite says that the direct sounds of two responses are most alike with one of them turned upside down.
func opposite(a, b *response) bool {
	if a.sampleRateHz != b.sampleRateHz {
		return false
	}
	near := int(0.0005 * a.sampleRateHz)
	i, j := int(onset(a.samples, a.sampleRateHz)), int(onset(b.samples, b.sampleRateHz))
	best := 0.0
	for lag := -near; lag <= near; lag++ {
		sum := 0.0
		for n := -near; n <= near; n++ {
			if k, l := i+n, j+n+lag; k >= 0 && k < len(a.samples) && l >= 0 && l < len(b.samples) {
				sum += a.samples[k] * b.samples[l]
			}
		}
		if math.Abs(sum) > math.Abs(best) {
			best = sum
		}
	}
	return best < 0
}

// takes groups what the recordings gave by position and state.
func (m *MeasuredRecordings) takes(s *Survey) []map[string][]response {
	index := map[string]int{}
	out := make([]map[string][]response, len(s.Positions))
	for i := range s.Positions {
		index[s.Positions[i].Name], out[i] = i, map[string][]response{}
	}
	for i, f := range m.Files {
		for k, w := range f.Sweeps {
			if !w.Left {
				takes := out[index[f.Position]]
				takes[f.State] = append(takes[f.State], m.responses[i][k])
			}
		}
	}
	return out
}

// Warnings returns the faults of all files. Where many files have the same, the first are told and the rest counted.
func (all *Recordings) Warnings() []Warning {
	const most = 4
	var out []Warning
	count := map[string]int{}
	for _, f := range all.Files {
		for _, w := range f.Faults {
			if count[w.Code]++; count[w.Code] <= most {
				out = append(out, w)
			}
		}
	}
	var codes []string
	for code, n := range count {
		if n > most {
			codes = append(codes, code)
		}
	}
	slices.Sort(codes)
	for _, code := range codes {
		out = append(out, Warning{code, "", fmt.Sprintf("The same (%s) in %d more places of the recordings; the command responses lists them all.", code, count[code]-most)})
	}
	return out
}

// doubtAlignment tells what was put right, and warns of takes that still don't agree and of positions without an empty room.
func (r *run) doubtAlignment() {
	const (
		levelStep = 1.0 // dB: more than a session's drift
		poor      = -30 // dB: residual of the direct sound
	)
	for _, d := range r.result.Drift {
		if d.Text != "" {
			r.warn(Warning{"temperature", d.State, d.Text})
		}
	}
	steps := map[string]float64{}
	for _, state := range []string{"flat", "panel"} {
		step, ok := r.medianAlignment(state, func(a *Alignment) Num { return a.GainDB })
		if ok && math.Abs(step) > levelStep {
			steps[state] = step
			r.warn(Warning{"level", state, fmt.Sprintf("the takes were %.1f dB %s than the reference state's, in the median; this is put right from the direct sound, but check that no gain was touched", math.Abs(step), louder(Num(step)))})
		}
	}
	var without []string
	for _, m := range r.positions {
		if m.empty == nil {
			without = append(without, m.survey.Name)
		}
		for _, a := range m.alignment {
			if step := a.GainDB - Num(steps[a.State]); math.Abs(float64(step)) > levelStep {
				r.warn(Warning{"level", m.survey.Name, fmt.Sprintf("%s was %.1f dB %s than the reference take; this is put right from the direct sound, but check that no gain was touched", a.File, math.Abs(float64(a.GainDB)), louder(a.GainDB))})
			}
			if a.ResidualAfter > poor {
				r.warn(Warning{"alignment", m.survey.Name, fmt.Sprintf("%s: the direct sound differs from the reference take's by %.0f dB even when aligned (%.0f dB before); microphone or loudspeaker moved, or the files don't belong together", a.File, float64(a.ResidualAfter), float64(a.ResidualBefore))})
			}
		}
	}
	if len(without) > 0 {
		where := fmt.Sprintf("%d positions", len(without))
		if len(without) == 1 {
			where = without[0]
		}
		r.warn(Warning{"no empty room", where, "no take without the panel: the direct sound and its echoes can't be subtracted, so only what comes between them counts, often nothing; measure the empty room too"})
	}
}

// medianAlignment is the median of a value over the aligned takes of a state; false without any.
func (r *run) medianAlignment(state string, value func(*Alignment) Num) (float64, bool) {
	var values []float64
	for _, m := range r.positions {
		for i := range m.alignment {
			if a := &m.alignment[i]; a.State == state && a.ResidualAfter.Known() {
				values = append(values, float64(value(a)))
			}
		}
	}
	if values == nil {
		return 0, false
	}
	return median(values), true
}

// median sorts values, of which there must be one, and returns the middle one, the upper of two.
func median(values []float64) float64 {
	slices.Sort(values)
	return values[len(values)/2]
}

// alignmentText tells what aligning the takes did to the residual of the direct sound; nothing where there was nothing to do.
func (r *run) alignmentText() []string {
	var parts []string
	for _, state := range []string{"flat", "panel"} {
		before, ok := r.medianAlignment(state, func(a *Alignment) Num { return a.ResidualBefore })
		after, _ := r.medianAlignment(state, func(a *Alignment) Num { return a.ResidualAfter })
		if ok && before-after > 1 {
			parts = append(parts, fmt.Sprintf("%s from %.0f to %.0f\u00a0dB", stateWords[state], before, after))
		}
	}
	if parts == nil {
		return nil
	}
	return []string{"Putting delay, level and clock right lowered what the direct sound leaves in the subtraction: with " + joinAnd(parts) + " (medians)."}
}

var stateWords = map[string]string{"empty": "the empty room", "flat": "the flat board", "panel": "the panel"}

func louder(gain Num) string {
	if gain > 0 {
		return "louder"
	}
	return "quieter"
}

// handlingNotes is the method of what was done to the takes before gating, where something was.
func handlingNotes(res *Result) []Note {
	var notes []Note
	if res.Recordings != nil {
		notes = append(notes, Note{"Recordings", "The sweep is divided out of every recording in the frequency domain, with regularisation outside its band, which leaves distortion ahead of the response. The clock is put right from the loopback, the pilot or the repeats; clocks that differ between takes are compared by how the direct sound spreads over time.",
			"Farina, AES preprint 5093 (2000); Novak, Lotton and Simon, JAES 63 (2015) 786"})
	}
	if res.LoudspeakerDivided {
		notes = append(notes, Note{"Loudspeaker", "The loudspeaker's colour and ringing, as its direct sound shows them, are divided out of all responses before gating, since a gate would cut off a part of the ringing that differs from place to place.", ""})
	}
	for _, d := range res.Drift {
		if d.Corrected {
			notes = append(notes, Note{"Temperature drift", "How much faster sound was than in the empty room is fitted to the room's echoes before the panel's first reflection and long after it, one factor for all positions of a state, never to the panel's reflection; it is used where every second position's estimate lowers what the subtraction leaves at the others.", ""})
			break
		}
	}
	for i := range res.Positions {
		for _, a := range res.Positions[i].Alignment {
			if a.ShapedDB != 0 {
				return append(notes, Note{"Frequency-dependent gain", "Where the direct sound shows that a take's gain depends on frequency, a filter of five taps puts it right; it must lower the residual by more than its parameters would in noise (F test).", ""})
			}
		}
	}
	return notes
}
