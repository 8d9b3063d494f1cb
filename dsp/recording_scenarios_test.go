package dsp

import (
	"errors"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
)

// plainRig is a good recording in a room, to be spoilt.
func plainRig(s *Sweep) testRig {
	return testRig{sweep: s, room: smallRoom(s.SampleRateHz, 0.0029, 1), speaker: true, thirdDB: -50, snrDB: 50, startS: 0.5, endS: 0.3, hiss: 9, bits: 24}
}

// Each fault, put into a good recording, is named, placed and given a cure; nothing else is said.
func TestFaultsOfRecordings(t *testing.T) {
	const rate = 48000
	s := mustSweep(t, SuggestSweep(50, 20000, 1.5, rate))
	mic, loopback := plainRig(s).record()
	start := int(1.5 * rate) // silence of the rig and of the playback
	end := start + len(s.Samples())
	spoil := func(change func(x []float64) []float64) []float64 { return change(append([]float64(nil), mic...)) }
	wrong, err := NewSweep(SuggestSweep(50, 16000, 2.2, rate))
	if err != nil {
		t.Fatal(err)
	}
	other, _ := plainRig(wrong).record()

	for name, c := range map[string]struct {
		channels [][]float64
		loopback int
		want     map[string]int
		kind     string
		atS      float64
		channel  int
		text     string
		takes    int
	}{
		"good":           {channels: [][]float64{mic}, takes: 1},
		"good, loopback": {channels: [][]float64{loopback, mic}, loopback: 1, takes: 1},
		"clipped, gain": {channels: [][]float64{mic, spoil(func(x []float64) []float64 {
			return quantise(clip(x, 0.9*peakOf(x), 0.5), 24)
		})}, kind: FaultClipping, channel: 2, atS: -2, text: "clipped", takes: 1},
		"hum": {channels: [][]float64{spoil(func(x []float64) []float64 {
			for i := range x {
				x[i] += 3e-3 * math.Sin(2*math.Pi*50*float64(i)/rate)
			}
			return x
		})}, kind: FaultHum, channel: 1, atS: -1, text: "50 Hz", takes: 1},
		"zeros": {channels: [][]float64{spoil(func(x []float64) []float64 {
			clear(x[start+50000 : start+50128])
			return x
		})}, kind: FaultDropout, channel: 1, atS: float64(start+50000) / rate, text: "zeros", takes: 1},
		"click": {channels: [][]float64{spoil(func(x []float64) []float64 {
			x[start+30000] += 0.1
			return x
		})}, kind: FaultClick, channel: 1, atS: float64(start+30000) / rate, text: "click", takes: 1},
		"lost samples": {channels: [][]float64{spoil(func(x []float64) []float64 {
			return append(x[:start+40000], x[start+40064:]...)
		})}, kind: FaultClick, channel: 1, atS: float64(start+40000) / rate, text: "lost samples", takes: 1},
		"another sweep": {channels: [][]float64{other}, kind: FaultWrongSweep, atS: -1, text: "not", takes: 0},
		"no sweep":      {channels: [][]float64{randomSamples(1, 4*rate)}, kind: FaultWrongSweep, atS: -1, text: "not in the recording", takes: 0},
		"stopped early": {channels: [][]float64{mic[:end-rate/10]}, kind: FaultTruncated, atS: float64(end)/rate - 0.1, text: "before the sweep ends: everything above", takes: 1},
		"no tail":       {channels: [][]float64{mic[:end+480]}, kind: FaultTruncated, atS: float64(end+480) / rate, text: "after the sweep", takes: 1},
		"started late":  {channels: [][]float64{mic[start+4800:]}, kind: FaultTruncated, atS: 0, text: "starts 0.09", takes: 1},
		"no silence":    {channels: [][]float64{mic[start-240:]}, kind: FaultNoSilence, channel: 1, atS: 0, text: "silence", takes: 1},
		"reversed": {channels: [][]float64{mic, spoil(func(x []float64) []float64 {
			for i := range x {
				x[i] = -x[i]
			}
			return x
		})}, kind: FaultPolarity, channel: 2, atS: -1, text: "polarity", takes: 1},
		"dead":              {channels: [][]float64{make([]float64, len(mic)), mic}, kind: FaultDead, channel: 1, atS: -1, text: "no signal", takes: 1},
		"all dead":          {channels: [][]float64{make([]float64, len(mic))}, kind: FaultDead, channel: 1, atS: -1, text: "no signal", takes: 0},
		"noise only":        {channels: [][]float64{mic, spoil(func(x []float64) []float64 { return noiseLike(x, 1e-3) })}, kind: FaultDead, channel: 2, atS: -2, text: "not in this channel", takes: 1},
		"exchanged":         {channels: [][]float64{mic, loopback}, loopback: 1, kind: FaultChannels, channel: 2, atS: -2, text: "exchanged", takes: 1},
		"loopback is noise": {channels: [][]float64{mic, noiseLike(mic, 1e-3)}, loopback: 2, kind: FaultChannels, channel: 2, atS: -2, text: "should be the loopback", takes: 1},
	} {
		t.Run(name, func(t *testing.T) {
			spec := recordingOf(s, c.channels...)
			spec.LoopbackChannel = c.loopback
			m := mustMeasure(t, spec)
			if len(m.Takes) != c.takes {
				t.Errorf("%d takes, want %d", len(m.Takes), c.takes)
			}
			found := false
			for _, f := range m.Faults {
				match := f.Kind == c.kind && f.Channel == c.channel && strings.Contains(f.Text, c.text) && (c.atS == -2 || math.Abs(f.TimeS-c.atS) < 0.01)
				found = found || match
				if f.Cure == "" {
					t.Errorf("no cure: %+v", f)
				}
				// A lost stretch leaves more than one trace; other faults leave their own only.
				if !match && f.Kind != FaultClick && (f.Kind != FaultClock || c.text != "lost samples") && f.Kind != FaultNoSilence && f.Kind != FaultDead {
					t.Errorf("and this: %+v", f)
				}
			}
			if found != (c.kind != "") {
				t.Errorf("want %q at %v s in channel %d with %q, got %+v", c.kind, c.atS, c.channel, c.text, m.Faults)
			}
			if strings.HasPrefix(name, "good") && len(m.Faults) > 0 {
				t.Errorf("a good recording: %+v", m.Faults)
			}
		})
	}
}

func noiseLike(x []float64, sigma float64) []float64 {
	y := randomSamples(77, len(x))
	for i := range y {
		y[i] *= sigma
	}
	return y
}

// Three numbers don't say whether the sweep was synchronised: whichever was played is found.
func TestTheTwinOfTheSweepIsRecognised(t *testing.T) {
	spec := SuggestSweep(50, 20000, 2, 48000)
	synchronised := mustSweep(t, spec)
	spec.Plain = true
	plain := mustSweep(t, spec)
	for _, c := range []struct{ played, asked *Sweep }{{plain, synchronised}, {synchronised, plain}} {
		mic, _ := plainRig(c.played).record()
		m := mustMeasure(t, recordingOf(c.asked, mic))
		if len(m.Takes) != 1 || len(m.Faults) != 0 {
			t.Fatalf("%d takes, faults %+v", len(m.Takes), m.Faults)
		}
		near(t, "L", m.Excitation.RateS, c.played.RateS, 1e-12)
		near(t, "start", m.Takes[0].StartS, 1.5+0.0029, 2e-4)
	}
}

// Fades that the player made otherwise than the survey's three numbers say do no harm, and are no fault.
func TestOtherFadesAreNoFault(t *testing.T) {
	spec := SuggestSweep(50, 20000, 2, 48000)
	asked := mustSweep(t, spec)
	spec.FadeInS, spec.FadeOutS = 0, 0
	mic, _ := plainRig(mustSweep(t, spec)).record()
	if m := mustMeasure(t, recordingOf(asked, mic)); len(m.Takes) != 1 || len(m.Faults) != 0 {
		t.Errorf("%d takes, faults %+v", len(m.Takes), m.Faults)
	}
}

// A file made for one rate and played at another.
func TestWrongSampleRateIsNamed(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 18000, 1.5, 48000))
	for _, c := range []struct {
		fast float64
		text string
	}{{48000.0 / 44100, "a file of 44100 Hz was taken for one of 48000 Hz"}, {44100.0 / 48000, "a file of 48000 Hz was taken for one of 44100 Hz"}, {0.5, "a file of 96000 Hz was taken for one of 48000 Hz"}} {
		mic, _ := plainRig(s).record()
		y, err := Resample(mic, 1/c.fast)
		if err != nil {
			t.Fatal(err)
		}
		m := mustMeasure(t, recordingOf(s, y))
		if len(m.Takes) != 0 || len(m.Faults) != 1 || m.Faults[0].Kind != FaultSampleRate || !strings.Contains(m.Faults[0].Text, c.text) {
			t.Errorf("%v times as fast: %d takes, %+v", c.fast, len(m.Takes), m.Faults)
		}
	}
}

// Repeats: each is found where it is; their known distance gives the clock; mean and standard error follow.
func TestRepeatsInOneRecording(t *testing.T) {
	spec := SuggestSweep(50, 20000, 1, 48000)
	spec.Repeats = 4
	s := mustSweep(t, spec)
	rig := plainRig(s)
	rig.clock = clock30ppm
	mic, _ := rig.record()
	r := recordingOf(s, mic)
	starts := s.StartsSamples()
	r.PeriodS = float64(starts[1]-starts[0]) / 48000
	m := mustMeasure(t, r)
	if len(m.Takes) != 4 || len(m.Faults) != 0 {
		t.Fatalf("%d takes, faults %+v", len(m.Takes), m.Faults)
	}
	var takes [][]float64
	for i, take := range m.Takes {
		near(t, "start, s", take.StartS, 0.5+float64(starts[i])/48000*(1+30.5e-6)+0.0029, 1e-4)
		near(t, "clock, ppm", take.Clock.PPM, ppmOf(clock30ppm), 0.005)
		if take.Clock.Source != "repeats" || !take.Corrected {
			t.Errorf("clock: %+v, corrected %v", take.Clock, take.Corrected)
		}
		x := take.Responses[0]
		// Direct sound to the sample grid of the first take.
		takes = append(takes, FractionalDelay(x.Samples, (x.StartS-m.Takes[0].Responses[0].StartS)*48000))
	}
	mean, standardError := Average(takes)
	// Noise of √density per sample, halved by four takes; alignment by the peak adds to it only where the response is large.
	noise := math.Sqrt(m.Takes[0].Responses[0].Noise.Density(Band{LowHz: 60, HighHz: 17000}) * 17000 / 24000)
	quiet := standardError[1800:2300]
	near(t, "standard error re the noise", rootMeanSquare(quiet)/(noise/2), 1, 0.3)
	if len(mean) != len(takes[0]) {
		t.Errorf("%d values of %d", len(mean), len(takes[0]))
	}
}

// silentStream is a long recording that is made while it is read: silence with a sweep now and then in each channel.
type silentStream struct {
	sweep    []float64
	every    int
	total    int
	at       int
	channels int
}

func (r *silentStream) ReadFrames(dst [][]float64) (int, error) {
	n := 0
	for c := range dst {
		n = min(len(dst[c]), r.total-r.at)
		for i := range n {
			k := (r.at + i) % r.every
			v := 1e-5 * float64((r.at+i)*2654435761%1000-500) / 500
			if k -= 20000 + 10*c; k >= 0 && k < len(r.sweep) {
				v += r.sweep[k]
			}
			dst[c][i] = v
		}
	}
	r.at += n
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// Memory depends on the sweep and the channels, not on the length: a recording four times as long takes no more.
func TestMemoryDoesNotGrowWithTheRecording(t *testing.T) {
	s := mustSweep(t, SuggestSweep(100, 5000, 0.5, 16000))
	peakBytes := func(seconds int) uint64 {
		spec := RecordingSpec{Channels: 8, SampleRateHz: 16000, Sweep: s, ResponseS: 0.02,
			Open: func() (FrameReader, error) {
				return &silentStream{sweep: s.Samples(), every: 30 * 16000, total: seconds * 16000, channels: 8}, nil
			}}
		runtime.GC()
		runtime.GC() // pools are emptied by the second
		var before, m runtime.MemStats
		runtime.ReadMemStats(&before)
		most := uint64(0)
		open := spec.Open
		spec.Open = func() (FrameReader, error) {
			r, err := open()
			return readerFunc(func(dst [][]float64) (int, error) {
				runtime.GC()
				runtime.GC()
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapAlloc-min(m.HeapAlloc, before.HeapAlloc))
				return r.ReadFrames(dst)
			}), err
		}
		result := mustMeasure(t, spec)
		if want := (seconds + 29) / 30; len(result.Takes) != want || len(result.Takes[0].Responses) != 8 {
			t.Fatalf("%d s: %d takes, want %d", seconds, len(result.Takes), want)
		}
		return most
	}
	short, long := peakBytes(60), peakBytes(240)
	t.Logf("heap while reading: %d kB for 60 s, %d kB for 240 s", short/1000, long/1000)
	// What grows is the responses: six takes more of eight channels, each of some 15 kB with its noise, so 0.7 MB; the rest is for
	// the runtime's own. The recording itself would grow by 184 MB.
	if long > short+(2<<20) {
		t.Errorf("%d bytes for 60 s, %d for 240 s", short, long)
	}
}

type readerFunc func(dst [][]float64) (int, error)

func (f readerFunc) ReadFrames(dst [][]float64) (int, error) { return f(dst) }

func TestRecordingRefusals(t *testing.T) {
	s := mustSweep(t, SuggestSweep(50, 20000, 1, 96000))
	good := RecordingSpec{Open: func() (FrameReader, error) { return nil, errors.New("disk gone") }, Channels: 8, SampleRateHz: 96000, Sweep: s, ResponseS: 0.1}
	for name, c := range map[string]struct {
		change func(*RecordingSpec)
		want   string
	}{
		"unreadable":         {func(r *RecordingSpec) {}, "disk gone"},
		"too much memory":    {func(r *RecordingSpec) { r.MaxBytes = 10 << 20 }, "record fewer channels at a time"},
		"no channels":        {func(r *RecordingSpec) { r.Channels = 0 }, "at least 1"},
		"other rate":         {func(r *RecordingSpec) { r.SampleRateHz = 48000 }, "export both at one rate"},
		"no sweep":           {func(r *RecordingSpec) { r.Sweep = nil }, "what was played is not known"},
		"loopback beyond":    {func(r *RecordingSpec) { r.LoopbackChannel = 9 }, "number from 1 to 8"},
		"only loopback":      {func(r *RecordingSpec) { r.Channels, r.LoopbackChannel = 1, 1 }, "record the microphone too"},
		"no response wanted": {func(r *RecordingSpec) { r.ResponseS = 0 }, "above 0"},
		"endless response":   {func(r *RecordingSpec) { r.ResponseS = math.Inf(1) }, "above 0"},
	} {
		spec := good
		c.change(&spec)
		if _, err := MeasureRecording(spec); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	// The case fits: eight channels at 192 kHz with a sweep of 10 s.
	good.Sweep, good.SampleRateHz = mustSweep(t, SuggestSweep(50, 20000, 10, 192000)), 192000
	if _, err := newMeasurer(good); err != nil {
		t.Errorf("eight channels at 192 kHz: %v", err)
	}
}
