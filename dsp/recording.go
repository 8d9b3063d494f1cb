package dsp

import (
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
)

// FrameReader reads a recording block by block: dst has one entry per channel, all of one length but for nil ones, which skip
// their channel. It returns how many frames it read, and io.EOF (with or without the last of them) at the end. WAVStream is one.
type FrameReader interface {
	ReadFrames(dst [][]float64) (int, error)
}

// RecordingSpec says what was recorded and what is wanted of it.
type RecordingSpec struct {
	// Open begins to read the recording from its first frame. It is called several times, one after another; what it returns is
	// closed if it is an io.Closer.
	Open         func() (FrameReader, error)
	Channels     int
	SampleRateHz float64

	// Sweep is what was played. If it is nil, Excitation is; if both are given, Excitation counts.
	Sweep      *Sweep
	Excitation *Excitation

	LoopbackChannel int     // counted from 1: the channel that holds the played signal; 0 where there is none
	PeriodS         float64 // from the start of one sweep to the start of the next as played; 0 where unknown
	BeforeS         float64 // of each response, before its zero
	ResponseS       float64 // of each response, after the direct sound
	Bands           []Band  // in which noise and distortion are told
	MaxBytes        int64   // memory that may be used; 0 for 4 GiB
}

// Response is the impulse response of one channel for one sweep.
type Response struct {
	Channel      int // counted from 1
	SampleRateHz float64
	Samples      []float64 // gain from the played to the recorded samples, under PassBand
	// StartS is the time of the first sample. With a loopback channel (ZeroKnown) time zero is the moment the sweep was played,
	// without it is the direct sound.
	StartS    float64
	ZeroKnown bool
	DirectS   float64 // time of the direct sound's peak; 0 where ZeroKnown is false
	Direct    float64 // the response there; its sign is the polarity

	FlatLowHz, FlatHighHz float64 // band in which the pass band is 1

	Noise     *Noise          // nil where no silence was recorded
	SNRdB     []float64       // per band, of all of Samples; NaN where unknown
	Harmonics []HarmonicLevel // orders 2 to 5 in each band; nil where the signal or its length doesn't tell them apart
}

// Take is one sweep of a recording.
type Take struct {
	StartS    float64 // where the sweep begins in the recording, in seconds: where the direct sound, or the loopback, has it begin
	Clock     ClockEstimate
	Corrected bool       // whether the clock was put right by resampling
	Responses []Response // one per channel but the loopback, in order
}

// MeasuredRecording is what a recording holds.
type MeasuredRecording struct {
	Takes  []Take
	Faults []Fault
	// Excitation is what the sweeps turned out to be: the one asked for, or its plain or synchronised twin.
	Excitation *Excitation
}

const (
	defaultMaxBytes = 4 << 30
	readFrames      = 1 << 15 // frames read at a time
	marginS         = 0.05    // of a segment before the sweep's start, so that the response has positive lags
	silenceS        = 1.0     // of silence before it from which the noise is taken
	flightS         = 0.15    // by which the sound may come later than the loopback: 50 m
	foundDB         = 20      // compactness above which a sweep is there: noise reaches 14 dB
	fittingDB       = 26      // and above which it is the right one
	loudspeakerS    = 1e-3    // by which a loudspeaker's own delay may differ over its range: less is not taken for a clock
	maxClockPPM     = 300     // crystals keep within 100; beyond, it isn't the clock
	rateSearchS     = 120     // how much of a recording is searched for sweeps at wrong rates
)

// MeasureRecording finds every sweep in a recording and turns it into impulse responses, one per channel, with their noise,
// distortion and faults. The recording is read in blocks, so memory depends on the sweep, the responses and the number of
// channels, not on the recording's length.
//
// The clock is taken from the loopback channel, else from the pilot, else from repeats a known time apart, and put right by
// resampling. Else it is read off the direct sound, which includes the loudspeaker's own delay (see
// Deconvolution.ClockFromDirectSound), and believed only where it spreads the sweep by more than 1 ms in all, which no loudspeaker does; a smaller
// difference between recordings is for RelativeClock to find. Beyond 300 ppm nothing is corrected: then samples were lost, or the speed was changed,
// and a fault says so.
//
// A recording without the sweep, at a wrong rate, or with dead channels gives faults and no takes, and no error. Errors: a spec
// that makes no sense, a file that can't be read, and a job that doesn't fit MaxBytes, with the size and what to change.
func MeasureRecording(spec RecordingSpec) (*MeasuredRecording, error) {
	m, err := newMeasurer(spec)
	if err != nil {
		return nil, err
	}
	starts, err := m.identify()
	if err != nil {
		return nil, err
	}
	if err := m.measure(starts); err != nil {
		return nil, err
	}
	slices.SortStableFunc(m.result.Faults, func(a, b Fault) int {
		switch {
		case a.TimeS < b.TimeS:
			return -1
		case a.TimeS > b.TimeS:
			return 1
		}
		return a.Channel - b.Channel
	})
	return m.result, nil
}

type measurer struct {
	RecordingSpec
	inverse *Inverse
	result  *MeasuredRecording
	total   int       // frames in the recording, known after the first pass
	mean    []float64 // per channel, likewise
	power   []float64
}

func newMeasurer(spec RecordingSpec) (*measurer, error) {
	if spec.Excitation == nil && spec.Sweep != nil {
		spec.Excitation = spec.Sweep.Excitation()
	}
	if spec.MaxBytes == 0 {
		spec.MaxBytes = defaultMaxBytes
	}
	switch {
	case spec.Open == nil || spec.Channels < 1:
		return nil, fmt.Errorf("recording: %d channels: at least 1 is needed", spec.Channels)
	case spec.Excitation == nil:
		return nil, errors.New("recording: what was played is not known: give the sweep's low and high frequency and seconds, or its file")
	case spec.Excitation.SampleRateHz != spec.SampleRateHz:
		return nil, fmt.Errorf("recording: the recording has a sample rate of %g Hz, the played signal of %g Hz: export both at one rate, or resample one", spec.SampleRateHz, spec.Excitation.SampleRateHz)
	case spec.LoopbackChannel < 0 || spec.LoopbackChannel > spec.Channels:
		return nil, fmt.Errorf("recording: loopback channel %d of %d: give a number from 1 to %d, or none", spec.LoopbackChannel, spec.Channels, spec.Channels)
	case spec.LoopbackChannel > 0 && spec.Channels == 1:
		return nil, errors.New("recording: the only channel is the loopback: record the microphone too")
	case !(spec.ResponseS > 0) || !(spec.BeforeS >= 0) || math.IsInf(spec.ResponseS, 0) || math.IsInf(spec.BeforeS, 0):
		return nil, fmt.Errorf("recording: responses from %g s before to %g s after: the second must be above 0", spec.BeforeS, spec.ResponseS)
	}
	m := &measurer{RecordingSpec: spec, result: &MeasuredRecording{}}
	if err := m.use(spec.Excitation); err != nil {
		return nil, err
	}
	return m, m.checkMemory()
}

// use prepares for an excitation.
func (m *measurer) use(e *Excitation) (err error) {
	m.inverse, err = NewInverse(e, marginS+flightS+m.BeforeS+m.ResponseS)
	m.result.Excitation = e
	return err
}

// workers is how many channels are worked on at once.
func (m *measurer) workers() int { return min(m.Channels, runtime.GOMAXPROCS(0)) }

// checkMemory refuses what won't fit: the segment of all channels, the inverse, and what each worker needs, some six arrays of the
// segment's length; the search before that, some eight of twice the sweep's. Three times that, since the collector lets garbage
// stand: eight channels at 192 kHz with a sweep of 10 s were seen to take 1.2 GB.
func (m *measurer) checkMemory() error {
	segment := float64(m.inverse.Size()) + silenceS*m.SampleRateHz
	sweep := float64(len(m.inverse.excitation.Samples))
	bytes := 3 * 8 * max(segment*(float64(m.Channels)+2+6*float64(m.workers())), 16*sweep)
	if bytes > float64(m.MaxBytes) {
		return fmt.Errorf("recording: %d channels of a sweep of %.3g s at %g Hz need %.2g GB, %.2g GB are allowed: record fewer channels at a time, use a shorter sweep or a lower sample rate",
			m.Channels, sweep/m.SampleRateHz, m.SampleRateHz, bytes/1e9, float64(m.MaxBytes)/1e9)
	}
	return nil
}

// eachBlock reads the whole recording, or its first frames where limit is above 0, and hands out its blocks, valid during the call.
func (m *measurer) eachBlock(limit int, do func(channels [][]float64)) error {
	reader, err := m.Open()
	if err != nil {
		return err
	}
	defer closeReader(reader)
	dst := make([][]float64, m.Channels)
	for c := range dst {
		dst[c] = make([]float64, readFrames)
	}
	part := make([][]float64, m.Channels)
	for done := 0; limit <= 0 || done < limit; {
		n, err := reader.ReadFrames(dst)
		if err != nil && err != io.EOF {
			return err
		}
		for c := range part {
			part[c] = dst[c][:n]
		}
		if n > 0 {
			do(part)
		}
		if done += n; err == io.EOF || n == 0 {
			return nil
		}
	}
	return nil
}

func closeReader(r FrameReader) {
	if c, ok := r.(io.Closer); ok {
		c.Close() // read to the end or given up: nothing is lost
	}
}

// found is a sweep in the recording.
type found struct {
	at    int // sample of the recording where its response peaks
	value float64
}

// search finds the sweeps of an excitation in all channels together, by division in overlapping blocks: each block of the
// circle's size gives the lags at which a whole sweep can begin in it.
func (m *measurer) search(e *Excitation, limit int) ([]found, error) {
	v, err := NewInverse(e, float64(len(e.Samples))/e.SampleRateHz)
	if err != nil {
		return nil, err
	}
	sweep, size := len(e.Samples), v.Size()
	hop := size - sweep
	block := make([]float64, size)
	filled, origin := sweep, -sweep // as if silence came before: the recorder may have been started late
	var all []found
	work := func() error {
		d, err := v.Deconvolve(block[:filled])
		if err != nil {
			return err
		}
		all = append(all, d.sweepsWithin(hop, sweep, origin)...)
		copy(block, block[hop:])
		clear(block[sweep:])
		filled, origin = sweep, origin+hop
		return nil
	}
	total := 0
	power, mean := make([]float64, m.Channels), make([]float64, m.Channels)
	var failure error
	err = m.eachBlock(limit, func(channels [][]float64) {
		n := len(channels[0])
		total += n
		for c, x := range channels {
			for _, s := range x {
				mean[c] += s
				power[c] += s * s
			}
		}
		for i := 0; i < n && failure == nil; {
			take := min(n-i, size-filled)
			for k := range take {
				block[filled+k] = mixed(channels, i+k)
			}
			filled, i = filled+take, i+take
			if filled == size {
				failure = work()
			}
		}
	})
	if err = errors.Join(err, failure); err != nil {
		return nil, err
	}
	for origin < total {
		if err := work(); err != nil {
			return nil, err
		}
	}
	if limit <= 0 {
		m.total, m.mean, m.power = total, mean, power
		for c := range mean {
			mean[c] /= float64(total)
			power[c] /= float64(total)
		}
	}
	return strongest(all, sweep*9/10), nil
}

// mixed is one sample of all channels together, unevenly, so that a reversed one doesn't cancel its neighbour.
func mixed(channels [][]float64, i int) float64 {
	sum := 0.0
	for c, x := range channels {
		sum += x[i] / (1 + 0.25*float64(c))
	}
	return sum
}

// sweepsWithin lists the peaks among the first hop lags that stand out as a sweep does, at least most of a sweep apart.
// It uses these lags up.
func (d *Deconvolution) sweepsWithin(hop, sweep, origin int) []found {
	square := 0.0
	for _, v := range d.lags {
		square += v * v
	}
	threshold := math.Sqrt(square / float64(len(d.lags)) * math.Pow(10, foundDB/10.0))
	var list []found
	lags := d.lags[:hop]
	for {
		i := argMaxAbs(lags)
		if math.Abs(lags[i]) <= threshold || square == 0 {
			return list
		}
		list = append(list, found{origin + i, lags[i]})
		clear(lags[max(0, i-sweep*9/10):min(hop, i+sweep*9/10)])
	}
}

// strongest keeps, of peaks closer than apart, the higher, and drops what is 20 dB below the highest; in order of time.
func strongest(all []found, apart int) []found {
	slices.SortFunc(all, func(a, b found) int {
		if math.Abs(a.value) > math.Abs(b.value) {
			return -1
		}
		return 1
	})
	var kept []found
	for _, f := range all {
		if math.Abs(f.value) < 0.1*math.Abs(all[0].value) {
			break
		}
		if !slices.ContainsFunc(kept, func(k found) bool { return max(k.at-f.at, f.at-k.at) < apart }) {
			kept = append(kept, f)
		}
	}
	slices.SortFunc(kept, func(a, b found) int { return a.at - b.at })
	return kept
}

// identify finds the sweeps, and which of its twins the sweep is. Where it finds none it says why.
func (m *measurer) identify() ([]found, error) {
	asked := m.Excitation
	starts, err := m.search(asked, 0)
	if err != nil {
		return nil, err
	}
	dead := m.findDead()
	if dead == m.Channels {
		return nil, nil
	}
	bestDB := math.Inf(-1)
	if len(starts) > 0 {
		if bestDB, err = m.compactness(asked, starts, 0); err != nil {
			return nil, err
		}
	}
	if twin := m.twin(); twin != nil {
		twinDB, twinStarts := math.Inf(-1), starts
		if len(starts) == 0 {
			if twinStarts, err = m.search(twin, 0); err != nil {
				return nil, err
			}
		}
		if len(twinStarts) > 0 {
			slack := max(len(twin.Samples)-len(asked.Samples), len(asked.Samples)-len(twin.Samples))
			if twinDB, err = m.compactness(twin, twinStarts, slack); err != nil {
				return nil, err
			}
		}
		fits := twinDB > bestDB+3 && twinDB >= fittingDB
		if fits {
			if fits, err = m.sharp(twin, twinStarts, twinDB); err != nil {
				return nil, err
			}
		}
		if fits {
			if err := m.use(twin); err != nil {
				return nil, err
			}
			return m.search(twin, 0)
		}
	}
	if bestDB >= fittingDB {
		sharp, err := m.sharp(asked, starts, bestDB)
		if sharp || err != nil {
			return starts, err
		}
	}
	fault, err := m.wrongSweep(bestDB)
	m.result.Faults = append(m.result.Faults, fault)
	return nil, err
}

// twin is the plain sweep where the synchronised one was asked for, and the other way round: three numbers in a survey don't tell
// which was played.
func (m *measurer) twin() *Excitation {
	if m.Sweep == nil || m.Excitation.RateS != m.Sweep.RateS {
		return nil
	}
	spec := m.Sweep.SweepSpec
	spec.Plain = !spec.Plain
	s, err := NewSweep(spec)
	if err != nil { // too short for the other kind, so it wasn't that one
		return nil
	}
	return s.Excitation()
}

// alive says that a channel holds anything but a constant.
func (m *measurer) alive(c int) bool { return m.power[c]-m.mean[c]*m.mean[c] > 1e-14 }

// findDead reports channels without signal and says how many there are.
func (m *measurer) findDead() int {
	dead := 0
	for c := range m.power {
		if m.alive(c) {
			continue
		}
		dead++
		m.result.Faults = append(m.result.Faults, Fault{Kind: FaultDead, TimeS: wholeRecording, Channel: c + 1,
			Text: "no signal in this channel", Cure: "check cable, phantom power and the track's input, then record again"})
	}
	return dead
}

// compactness of the strongest of the sweeps found, in all channels together; the sweep may begin slack samples before or after
// the place found.
func (m *measurer) compactness(e *Excitation, starts []found, slack int) (float64, error) {
	v, err := NewInverse(e, marginS+flightS+float64(2*slack)/m.SampleRateHz)
	if err != nil {
		return 0, err
	}
	best := starts[0]
	for _, s := range starts {
		if math.Abs(s.value) > math.Abs(best.value) {
			best = s
		}
	}
	from := best.at - slack - int(marginS*m.SampleRateHz)
	sum := make([]float64, v.Size())
	err = m.segments([]span{{from, from + v.Size()}}, func(_ int, channels [][]float64) error {
		for i := range sum {
			sum[i] = mixed(channels, i)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	d, err := v.Deconvolve(sum)
	if err != nil {
		return 0, err
	}
	return d.CompactnessDB(), nil
}

// sharp says that a sweep fits better than one that is a little faster or slower: of a sweep some per cent off in length or speed, much is
// still gathered.
func (m *measurer) sharp(e *Excitation, starts []found, compactnessDB float64) (bool, error) {
	const (
		surelyDB = 36 // a sweep half a per cent off reaches 34
		least    = 0.003
		spreadS  = 0.01 // by which the other spreads the direct sound: more than what arrives first
		fallsDB  = 1.5  // the right one falls by 7 dB and more
	)
	if compactnessDB >= surelyDB {
		return true, nil
	}
	aside := max(least, spreadS*e.SampleRateHz/float64(len(e.Samples)))
	for _, factor := range []float64{1 + aside, 1 - aside} {
		other, err := e.faster(factor)
		if err != nil {
			return false, err
		}
		slack := int(2 * aside * float64(len(e.Samples)))
		db, err := m.compactness(other, starts, slack)
		if err != nil {
			return false, err
		}
		if db > compactnessDB-fallsDB {
			return false, nil
		}
	}
	return true, nil
}

// wrongSweep says what is wrong where the sweep asked for is not in the recording: perhaps it is there at another rate.
func (m *measurer) wrongSweep(compactnessDB float64) (Fault, error) {
	const cure = "give the low and high frequency and the seconds of the sweep that was played, or its file; and see that it was played once through, at its own speed"
	best, bestDB := Fault{}, max(fittingDB, compactnessDB+3)
	for _, rates := range [][2]float64{{44100, 48000}, {48000, 44100}, {48000, 96000}, {96000, 48000}, {44100, 96000}, {96000, 44100}} {
		fast := rates[1] / rates[0]
		e, err := m.Excitation.faster(fast)
		if err != nil {
			continue // the faster sweep would end beyond half the rate: it can't be in the recording
		}
		starts, err := m.search(e, int((rateSearchS+float64(len(e.Samples))/m.SampleRateHz)*m.SampleRateHz))
		if err != nil {
			return Fault{}, err
		}
		if len(starts) == 0 {
			continue
		}
		db, err := m.compactness(e, starts, 0)
		if err != nil {
			return Fault{}, err
		}
		if db < bestDB {
			continue
		}
		sharp, err := m.sharp(e, starts, db)
		if err != nil {
			return Fault{}, err
		}
		if sharp {
			bestDB = db
			best = Fault{Kind: FaultSampleRate, TimeS: float64(max(0, starts[0].at)) / m.SampleRateHz,
				Text: fmt.Sprintf("the sweep runs %.4g times as fast as it was made, as if a file of %g Hz was taken for one of %g Hz", fast, rates[0], rates[1]),
				Cure: "set player and recorder to one sample rate, let the project convert the sweep's file to it, and record again; or, where another sweep was played, say which"}
		}
	}
	if best.Kind != "" {
		return best, nil
	}
	text := "the sweep is not in the recording"
	if compactnessDB >= foundDB {
		text = fmt.Sprintf("the recording holds a sweep, but not this one: divided out, its energy stays spread (peak %.0f dB above the mean)", compactnessDB)
	}
	return Fault{Kind: FaultWrongSweep, TimeS: wholeRecording, Text: text, Cure: cure}, nil
}

// faster is the excitation as it sounds when played too fast by a factor.
func (e *Excitation) faster(factor float64) (*Excitation, error) {
	if e.LowHz*factor*2 > e.SampleRateHz/2 {
		return nil, errors.New("beyond half the sample rate")
	}
	x, err := Resample(e.Samples, 1/factor)
	if err != nil {
		return nil, err
	}
	return &Excitation{Samples: x, SampleRateHz: e.SampleRateHz, LowHz: e.LowHz * factor,
		HighHz: min(e.HighHz*factor, ResamplePassBand*e.SampleRateHz/2), RateS: e.RateS / factor}, nil
}

// span is a stretch of frames, from … to−1.
type span struct{ from, to int }

// segments reads spans of the recording, in order of their beginnings, in one pass, and hands out each as soon as it is complete;
// frames before the first and after the last are 0.
func (m *measurer) segments(spans []span, do func(i int, channels [][]float64) error) error {
	type open struct {
		index int
		x     [][]float64
	}
	var active []open
	next, at := 0, 0
	begin := func(until int) {
		for ; next < len(spans) && spans[next].from < until; next++ {
			x := make([][]float64, m.Channels)
			for c := range x {
				x[c] = make([]float64, spans[next].to-spans[next].from)
			}
			active = append(active, open{next, x})
		}
	}
	var failure error
	finish := func(until int) {
		active = slices.DeleteFunc(active, func(o open) bool {
			done := spans[o.index].to <= until
			if done && failure == nil {
				failure = do(o.index, o.x)
			}
			return done
		})
	}
	limit := 1
	for _, s := range spans {
		limit = max(limit, s.to)
	}
	err := m.eachBlock(limit, func(channels [][]float64) {
		n := len(channels[0])
		begin(at + n)
		for _, o := range active {
			s := spans[o.index]
			from, to := max(s.from, at), min(s.to, at+n)
			for c := range channels {
				if from < to {
					copy(o.x[c][from-s.from:], channels[c][from-at:to-at])
				}
			}
		}
		at += n
		finish(at)
	})
	if err != nil {
		return err
	}
	begin(math.MaxInt)
	finish(math.MaxInt)
	return failure
}
