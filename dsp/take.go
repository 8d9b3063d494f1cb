package dsp

import (
	"cmp"
	"fmt"
	"math"
	"sync"
)

// measure turns the sweeps found into takes.
func (m *measurer) measure(starts []found) error {
	if len(starts) == 0 {
		return nil
	}
	margin := int(marginS * m.SampleRateHz)
	spans := make([]span, len(starts))
	silences := make([]int, len(starts))
	for i, s := range starts {
		from := s.at - margin
		free := from // frames in which this recording holds neither this sweep nor the one before
		if i > 0 {
			free -= starts[i-1].at - margin + m.inverse.Size()
		}
		silences[i] = max(0, min(free, m.silenceFrames()))
		spans[i] = span{from - silences[i], from + m.inverse.Size()}
	}
	repeats, err := m.clockFromRepeats(starts)
	if err != nil {
		return err
	}
	return m.segments(spans, func(i int, channels [][]float64) error {
		t := &takeJob{measurer: m, frames: channels, silence: silences[i], segmentAt: starts[i].at - margin, repeats: repeats}
		return t.run()
	})
}

// silenceFrames is how much is read before a segment; where a pilot sounds, the silence is in front of it.
func (m *measurer) silenceFrames() int {
	seconds := silenceS
	if m.hasPilot() {
		seconds += PilotLeadS
	}
	return int(seconds * m.SampleRateHz)
}

// hasPilot says that the sweep in the recording is the one asked for, with its pilot.
func (m *measurer) hasPilot() bool {
	return m.Sweep != nil && m.Sweep.Pilot && m.inverse.excitation.RateS == m.Sweep.RateS
}

// clockFromRepeats compares the first and the last sweep, where they were played a known time apart, in the channel that tells
// most. Otherwise it returns nil.
func (m *measurer) clockFromRepeats(starts []found) (*ClockEstimate, error) {
	last := len(starts) - 1
	if last < 1 || !(m.PeriodS > 0) || m.LoopbackChannel > 0 || m.hasPilot() {
		return nil, nil
	}
	// A whole number of samples, so that nothing has to be read between samples.
	distance := float64(starts[last].at - starts[0].at)
	apart := math.Round(math.Round(distance/(m.PeriodS*m.SampleRateHz)) * m.PeriodS * m.SampleRateHz)
	// No clock is off by a per mille: then they were started by hand.
	if apart < 1 || math.Abs(distance-apart) > 1e-3*apart {
		return nil, nil
	}
	from := starts[0].at - int(marginS*m.SampleRateHz)
	later := from + int(apart)
	responses := make([][][]float64, 2)
	err := m.segments([]span{{from, from + m.inverse.Size()}, {later, later + m.inverse.Size()}}, func(i int, channels [][]float64) error {
		for _, x := range channels {
			h := make([]float64, int((marginS+flightS+m.ResponseS)*m.SampleRateHz))
			if err := m.inverse.Cut(h, x, 0); err != nil {
				return err
			}
			responses[i] = append(responses[i], h)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	low, high := clockFitBand(m.inverse)
	var best *ClockEstimate
	for c := range responses[0] {
		e, err := ClockFromRepeats(responses[0][c], responses[1][c], m.SampleRateHz, apart/m.SampleRateHz, low, high)
		if err == nil && (best == nil || e.StandardErrorPPM < best.StandardErrorPPM) {
			best = &e
		}
	}
	return best, nil
}

// takeJob is the work on one sweep.
type takeJob struct {
	*measurer
	frames    [][]float64 // per channel: the silence, then a segment of the inverse's size
	silence   int         // frames before the segment
	segmentAt int         // frame of the recording at which the segment begins
	repeats   *ClockEstimate
}

// channelWork is what one channel of a take gives; response stays nil where the sweep isn't in it.
type channelWork struct {
	d        *Deconvolution
	onset    float64 // lag of the direct sound
	direct   float64 // the response there
	clock    *ClockEstimate
	response *Response
	faults   []Fault
}

func (t *takeJob) run() error {
	work := make([]channelWork, t.Channels)
	if err := t.each(work, t.divide); err != nil {
		return err
	}
	take := Take{}
	if best := t.chooseClock(work); best != nil {
		take.Clock = *best
		take.Corrected = math.Abs(best.PPM) <= maxClockPPM && t.believable(best)
	}
	if take.Corrected {
		err := t.each(work, func(c int, w *channelWork) error { return t.divideCorrected(c, w, take.Clock.PPM) })
		if err != nil {
			return err
		}
	}
	zero, earliest := math.NaN(), math.Inf(1)
	if t.LoopbackChannel > 0 && work[t.LoopbackChannel-1].d != nil {
		zero = work[t.LoopbackChannel-1].onset
	}
	for _, w := range work {
		if w.d != nil {
			earliest = min(earliest, w.onset)
		}
	}
	if math.IsInf(earliest, 1) {
		earliest = marginS * t.SampleRateHz // no channel alone has it: where all together had it
	}
	err := t.each(work, func(c int, w *channelWork) error { return t.finish(c, w, zero) })
	if err != nil {
		return err
	}
	take.StartS = t.timeS(earliest)
	for _, w := range work {
		if w.response != nil {
			take.Responses = append(take.Responses, *w.response)
		}
		t.result.Faults = append(t.result.Faults, w.faults...)
	}
	t.result.Faults = append(t.result.Faults, t.wholeTakeFaults(take, work, earliest)...)
	t.result.Takes = append(t.result.Takes, take)
	return nil
}

// each works on the channels, a few at a time.
func (t *takeJob) each(work []channelWork, do func(c int, w *channelWork) error) error {
	errs := make([]error, len(work))
	slots := make(chan struct{}, t.workers())
	var wg sync.WaitGroup
	for c := range work {
		slots <- struct{}{}
		wg.Go(func() {
			errs[c] = do(c, &work[c])
			<-slots
		})
	}
	wg.Wait()
	return cmp.Or(errs...)
}

func (t *takeJob) timeS(lag float64) float64 { return (float64(t.segmentAt) + lag) / t.SampleRateHz }

// believable tells a clock from the loudspeaker's own delay.
func (t *takeJob) believable(e *ClockEstimate) bool {
	seconds := float64(len(t.inverse.excitation.Samples)) / t.SampleRateHz
	return e.Source != "direct sound" || math.Abs(e.PPM)*1e-6*seconds > loudspeakerS
}

// divide is the first division, as recorded, and what it says of the clock.
func (t *takeJob) divide(c int, w *channelWork) error {
	d, err := t.inverse.Deconvolve(t.frames[c][t.silence:])
	if err != nil {
		return err
	}
	if !(d.CompactnessDB() >= foundDB) {
		if t.alive(c) {
			w.faults = append(w.faults, Fault{Kind: FaultDead, TimeS: t.timeS(marginS * t.SampleRateHz), Channel: c + 1,
				Text: "the sweep is not in this channel, only noise or another signal", Cure: "check which input is connected where, and its gain, then record again"})
		}
		return nil
	}
	w.place(d, t)
	loopback := c+1 == t.LoopbackChannel
	lead := int(math.Round(PilotLeadS * t.SampleRateHz))
	var e ClockEstimate
	if t.hasPilot() && t.silence >= lead && !loopback {
		e, err = t.Sweep.ClockFromPilot(t.frames[c][t.silence-lead:t.silence], d)
	} else {
		e, err = d.ClockFromDirectSound(w.onset, directGateS)
	}
	if err == nil {
		if loopback {
			e.Source = "loopback"
		}
		w.clock = &e
	}
	return nil
}

const directGateS = 0.002 // of which the second half fades: reflections that early are rare, and the clock shows above 1 kHz

func (w *channelWork) place(d *Deconvolution, t *takeJob) {
	w.d = d
	w.onset, w.direct = d.Onset(0, int((marginS+flightS)*t.SampleRateHz))
}

func (t *takeJob) divideCorrected(c int, w *channelWork, ppm float64) error {
	if w.d == nil {
		return nil
	}
	x, err := Resample(t.frames[c][t.silence:], 1/(1+ppm*1e-6))
	if err != nil {
		return err
	}
	d, err := t.inverse.Deconvolve(x[:min(len(x), t.inverse.Size())])
	if err != nil {
		return err
	}
	w.place(d, t)
	return nil
}

// chooseClock takes the loopback's word, else the pilot's, else the repeats', else the direct sound's; of several channels the
// surest.
func (t *takeJob) chooseClock(work []channelWork) *ClockEstimate {
	if t.LoopbackChannel > 0 && work[t.LoopbackChannel-1].clock != nil {
		return work[t.LoopbackChannel-1].clock
	}
	if t.repeats != nil {
		return t.repeats
	}
	var best *ClockEstimate
	for _, w := range work {
		if w.clock != nil && (best == nil || w.clock.StandardErrorPPM < best.StandardErrorPPM) {
			best = w.clock
		}
	}
	return best
}

// finish cuts a channel's response and looks for its faults.
func (t *takeJob) finish(c int, w *channelWork, zero float64) error {
	if w.d == nil {
		return nil
	}
	rate := t.SampleRateHz
	loopback := c+1 == t.LoopbackChannel
	recorded := t.frames[c][:t.silence+min(t.inverse.Size(), t.total-t.segmentAt)] // up to the file's end
	from := min(len(recorded), t.silence+int(w.onset))
	to := min(len(recorded), from+len(t.inverse.excitation.Samples))
	sweepRMS := rootMeanSquare(recorded[from:to])
	silence := recorded[:t.silence]
	if t.hasPilot() {
		silence = silence[:max(0, t.silence-int(math.Round(PilotLeadS*rate)))]
	}

	add := func(faults []Fault, first int) {
		for _, f := range faults {
			f.Channel = c + 1
			if f.TimeS != wholeRecording {
				f.TimeS = max(0, f.TimeS+t.timeS(float64(first-t.silence)))
			}
			w.faults = append(w.faults, f)
		}
	}
	add(FindClipping(recorded, rate), 0)
	add(FindDropouts(recorded[from:to], rate), from)
	if loopback {
		return nil
	}
	add(FindHum(silence, rate, sweepRMS), 0)

	e := t.inverse.excitation
	keptS := 0.01 // before the direct sound, and the distortion
	if e.RateS > 0 {
		keptS += e.RateS * math.Log(HarmonicOrders)
	}
	residual := w.d.Residual(int(w.onset-keptS*rate), int(w.onset+max(0.3, t.ResponseS)*rate))
	// Its ends depend on the fades, which a player may have changed; the sweep says nothing of what comes after it.
	edge := int(0.03 * rate)
	first, last := int(w.onset)+edge, min(int(w.onset)+len(e.Samples), len(recorded)-t.silence)-edge
	if first < last {
		add(FindClicks(residual[first:last], rate, sweepRMS), t.silence+first)
	}

	r := &Response{Channel: c + 1, SampleRateHz: rate, ZeroKnown: !math.IsNaN(zero)}
	r.FlatLowHz, r.FlatHighHz = t.inverse.FlatBandHz()
	r.Direct = w.direct
	if r.ZeroKnown {
		r.DirectS = (w.onset - zero) / rate
		r.StartS = -t.BeforeS
		r.Samples = w.d.cutBetween(zero-t.BeforeS*rate, int((t.BeforeS+r.DirectS+t.ResponseS)*rate))
	} else {
		first := math.Round(w.onset - t.BeforeS*rate)
		r.StartS = (first - w.onset) / rate
		r.Samples = w.d.Cut(int(first), int((t.BeforeS+t.ResponseS)*rate))
	}
	r.SNRdB = make([]float64, len(t.Bands))
	noise, err := t.inverse.Noise(silence)
	if err != nil {
		add([]Fault{{Kind: FaultNoSilence, TimeS: 0, Text: "no silence before the sweep, so its noise isn't known", Cure: "start the recorder a second or more before the player"}}, t.silence)
	} else {
		r.Noise = noise
	}
	for i, band := range t.Bands {
		r.SNRdB[i] = math.NaN()
		if r.Noise != nil {
			r.SNRdB[i] = r.Noise.SNRdB(r.Samples, band)
		}
	}
	// An error means that orders can't be told apart, which is no fault of the recording.
	r.Harmonics, _ = w.d.HarmonicLevels(w.onset, min(0.005, t.ResponseS/4), t.ResponseS, t.Bands, r.Noise)
	w.response = r
	add(polarityFault(w.d, w.onset, w.direct), 0)
	return nil
}

// cutBetween cuts count values from a place between lags on.
func (d *Deconvolution) cutBetween(from float64, count int) []float64 {
	const guard = 256 // beyond it the interpolation of what is cut off is below 1e-3 of it, at lags of no interest
	whole := math.Floor(from)
	h := FractionalDelay(d.Cut(int(whole)-guard, count+2*guard), whole-from)
	return h[guard : guard+count]
}

// polarityFault speaks up where the direct sound clearly points downwards; a loudspeaker's own two-sided pulse doesn't count.
func polarityFault(d *Deconvolution, place, value float64) []Fault {
	near := int(0.001 * d.SampleRateHz())
	highest := 0.0
	for _, v := range d.Cut(int(place)-near, 2*near) {
		highest = max(highest, v)
	}
	if value >= 0 || highest > 0.8*-value {
		return nil
	}
	return []Fault{{Kind: FaultPolarity, TimeS: wholeRecording,
		Text: "the direct sound has reversed polarity",
		Cure: "harmless if every recording has it; if not, look for a cable with crossed wires or a pressed polarity switch"}}
}

// wholeTakeFaults finds what concerns all channels of a take.
func (t *takeJob) wholeTakeFaults(take Take, work []channelWork, earliest float64) []Fault {
	var faults []Fault
	rate := t.SampleRateHz
	e := t.inverse.excitation
	begins := float64(t.segmentAt) + earliest
	ends := begins + float64(len(e.Samples))
	total := float64(t.total)
	// Peaks are placed to a fraction of a millisecond; a sweep's first one is inaudible.
	if begins < -0.001*rate {
		faults = append(faults, Fault{Kind: FaultTruncated, TimeS: 0,
			Text: fmt.Sprintf("the recording starts %.3g s after the sweep%s", -begins/rate, e.missing(-begins/rate, "below")),
			Cure: "start the recorder first, then the player"})
	}
	switch {
	case ends > total+0.001*rate:
		faults = append(faults, Fault{Kind: FaultTruncated, TimeS: total / rate,
			Text: fmt.Sprintf("the recording stops %.3g s before the sweep ends%s", (ends-total)/rate, e.missing((total-begins)/rate, "above")),
			Cure: "let the recorder run until the room is silent again, and record again"})
	case ends+t.ResponseS*rate > total:
		faults = append(faults, Fault{Kind: FaultTruncated, TimeS: total / rate,
			Text: fmt.Sprintf("the recording stops %.3g s after the sweep, %.3g s are needed: the highest frequencies' response is cut short", (total-ends)/rate, t.ResponseS),
			Cure: "let the recorder run until the room is silent again, and record again"})
	}
	if math.Abs(take.Clock.PPM) > maxClockPPM && t.believable(&take.Clock) {
		faults = append(faults, Fault{Kind: FaultClock, TimeS: t.timeS(earliest),
			Text: fmt.Sprintf("the recording seems %.0f parts per million longer than the sweep, by the %s, more than clocks differ; not corrected", take.Clock.PPM, take.Clock.Source),
			Cure: "look for lost samples (a click at the same take), and see that nothing converts the sample rate or changes the speed between player and recorder"})
	}
	if t.LoopbackChannel == 0 {
		return faults
	}
	loopback := work[t.LoopbackChannel-1]
	if loopback.d == nil {
		return append(faults, Fault{Kind: FaultChannels, TimeS: t.timeS(earliest), Channel: t.LoopbackChannel,
			Text: "this should be the loopback, but the sweep is not in it", Cure: "give the right loopback channel, or leave it out"})
	}
	for c, w := range work {
		if w.d != nil && c+1 != t.LoopbackChannel && w.onset < loopback.onset-1 {
			return append(faults, Fault{Kind: FaultChannels, TimeS: t.timeS(earliest), Channel: c + 1,
				Text: fmt.Sprintf("the sound is here %.3g ms before it is in the loopback, channel %d: microphone and loopback look exchanged", (loopback.onset-w.onset)/rate*1e3, t.LoopbackChannel),
				Cure: "give the right loopback channel, or exchange the two cables"})
		}
	}
	return faults
}

// missing says which frequencies of an exponential sweep are lost with what stands before or after a time.
func (e *Excitation) missing(atS float64, side string) string {
	if e.RateS <= 0 {
		return ""
	}
	return fmt.Sprintf(": everything %s %.0f Hz is missing", side, e.LowHz*math.Exp(max(0, atS)/e.RateS))
}

func rootMeanSquare(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}
