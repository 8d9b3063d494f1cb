package dsp

import (
	"fmt"
	"math"
	"slices"
)

// Fault is something wrong with a recording, for the person who made it.
type Fault struct {
	Kind    string  // one of the Fault… names
	TimeS   float64 // where it is, in seconds from the beginning of the file; −1 where it concerns the whole recording
	Channel int     // counted from 1; 0 where it concerns all
	Text    string  // what was found, without file, time and channel
	Cure    string  // what to do about it
}

// The kinds of faults.
const (
	FaultClipping   = "clipping"
	FaultHum        = "hum"
	FaultDropout    = "dropout"
	FaultClick      = "click"
	FaultWrongSweep = "wrong sweep"
	FaultSampleRate = "sample rate"
	FaultTruncated  = "truncated"
	FaultPolarity   = "polarity"
	FaultDead       = "dead channel"
	FaultChannels   = "channels"
	FaultClock      = "clock"
	FaultNoSilence  = "no silence"
)

const wholeRecording = -1

// dB of an amplitude ratio.
func dB(ratio float64) float64 { return 20 * math.Log10(ratio) }

// quantum is the smallest step between neighbouring samples: that of the converter, or of a later gain, or of the noise in
// floating-point samples.
func quantum(x []float64) float64 {
	q := math.Inf(1)
	for i := 1; i < len(x); i++ {
		if d := math.Abs(x[i] - x[i-1]); d > 0 && d < q {
			q = d
		}
	}
	return q
}

// run is a stretch of equal samples, from … to−1.
type run struct{ from, to int }

// equalRuns lists the stretches of at least length equal samples that have a neighbour on both sides.
func equalRuns(x []float64, length int) []run {
	var runs []run
	for from := 1; from < len(x)-1; {
		to := from + 1
		for to < len(x) && x[to] == x[from] {
			to++
		}
		if to-from >= length && to < len(x) && x[from-1] != x[from] {
			runs = append(runs, run{from, to})
		}
		from = to
	}
	return runs
}

// FindClipping looks for what a hard limit leaves, at full scale (±1) or below it, since a gain changed after the overload moves the
// tops but leaves them flat: flat tops, which are three or more equal samples with a sharp corner on both sides, and, for short
// overloads, the highest or lowest value of all being taken far more often than the values next to it. A slow sine through a
// coarse converter also has equal samples at its crests, but no corners and no such crowd. x is one channel; the fault's time is that
// of the first clipped sample, in seconds after the first sample. At most one fault.
func FindClipping(x []float64, sampleRateHz float64) []Fault {
	const fewest = 6 // samples at one value; chance makes three or four
	if len(x) == 0 {
		return nil
	}
	step := quantum(x)
	// A sine's crest that is flat over n ≥ 3 samples within one step has fallen by less than 5 steps at the next.
	corner := 8 * step
	highest, lowest := slices.Max(x), slices.Min(x)
	type limit struct{ samples, first int }
	limits := map[float64]limit{}
	for _, r := range equalRuns(x, 3) {
		v := x[r.from]
		sign := math.Copysign(1, v)
		if math.Abs(v) < 0.1*max(highest, -lowest) || (v-x[r.from-1])*sign < corner || (v-x[r.to])*sign < corner {
			continue
		}
		l, seen := limits[v]
		if !seen {
			l.first = r.from
		}
		limits[v] = limit{l.samples + r.to - r.from, l.first}
	}
	for _, v := range []float64{highest, lowest} {
		l, next := limit{first: -1}, 0 // next: within ten steps
		for i, s := range x {
			switch d := math.Abs(s - v); {
			case d == 0:
				if l.samples++; l.first < 0 {
					l.first = i
				}
			case d < 10.5*step:
				next++
			}
		}
		// A sine takes its highest step 2.4 times as often as the next, and less than once as often as the next ten.
		if l.samples > next {
			limits[v] = l
		}
	}
	samples, first, level := 0, len(x), 0.0
	for v, l := range limits {
		if l.samples >= fewest && v != 0 {
			samples, first, level = samples+l.samples, min(first, l.first), max(level, math.Abs(v))
		}
	}
	if samples == 0 {
		return nil
	}
	where, cure := fmt.Sprintf("at %.1f dB re full scale, so the overload came before a gain that lowered it", dB(level)),
		"find the stage that is overloaded (microphone preamplifier, converter, loudspeaker amplifier's input), lower the gain before it by 6 dB or more, and record again"
	if level > 0.997 {
		where, cure = "at full scale", "lower the input gain by 6 dB or more and record again"
	}
	return []Fault{{Kind: FaultClipping, TimeS: float64(first) / sampleRateHz,
		Text: fmt.Sprintf("clipped: %d samples stand exactly %s", samples, where), Cure: cure}}
}

const (
	dropoutS     = 0.0005 // a stuck value as long as this is heard as a click and is no sine's crest
	repeatWindow = 48     // samples that must agree exactly before a repetition is believed
	repeatReach  = 32768  // how far back the same samples are looked for: the largest audio buffers
)

const dropoutCure = "close other programs, choose a larger audio buffer, and record again"

// FindDropouts looks for places where a recording of a sweep lost its signal: stretches of zeros or of a stuck value of half a
// millisecond and more amid louder signal, and buffers that came twice, sample for sample. x is one channel while the sweep
// sounds; times are in seconds after its first sample. One fault for each place, at most ten of each sort.
func FindDropouts(x []float64, sampleRateHz float64) []Fault {
	const most = 10
	var faults []Fault
	q := quantum(x)
	around := max(8, int(0.005*sampleRateHz))
	loud := func(from, to int) bool {
		part := x[max(0, from):min(len(x), to)]
		sum := 0.0
		for _, v := range part {
			sum += v * v
		}
		// Below that a coarse converter has stuck values of its own.
		return len(part) > 0 && math.Sqrt(sum/float64(len(part))) > 30*q
	}
	for _, r := range equalRuns(x, max(16, int(dropoutS*sampleRateHz))) {
		v := x[r.from]
		flatTop := v != 0 && (v-x[r.from-1])*v > 0 && (v-x[r.to])*v > 0 // clipping, reported as such
		if flatTop || !loud(r.from-around, r.from) || !loud(r.to, r.to+around) {
			continue
		}
		text := "no signal (zeros)"
		if v != 0 {
			text = "the same value"
		}
		faults = append(faults, Fault{Kind: FaultDropout, TimeS: float64(r.from) / sampleRateHz,
			Text: fmt.Sprintf("%s for %.3g ms within the sweep", text, float64(r.to-r.from)/sampleRateHz*1e3), Cure: dropoutCure})
		if len(faults) == most {
			break
		}
	}
	for _, r := range exactRepeats(x, most) {
		if !loud(r.from, r.to) {
			continue
		}
		faults = append(faults, Fault{Kind: FaultDropout, TimeS: float64(r.from) / sampleRateHz,
			Text: fmt.Sprintf("%.3g ms of the signal came twice, sample for sample", float64(r.to-r.from)/sampleRateHz*1e3), Cure: dropoutCure})
	}
	return faults
}

// exactRepeats finds stretches that equal earlier ones: a hash of every window is looked up among those of windows that begin
// at multiples of the window, so that every repetition of two windows or more is met.
func exactRepeats(x []float64, most int) []run {
	const base = 0x9E3779B97F4A7C15
	if len(x) < 2*repeatWindow {
		return nil
	}
	top := uint64(1)
	for range repeatWindow - 1 {
		top *= base
	}
	var found []run
	seen := make(map[uint64]int)
	hash := uint64(0)
	for end := range x {
		if end >= repeatWindow {
			hash -= top * math.Float64bits(x[end-repeatWindow])
		}
		hash = hash*base + math.Float64bits(x[end])
		start := end - repeatWindow + 1
		if start < 0 {
			continue
		}
		earlier, ok := seen[hash]
		if ok && start-earlier <= repeatReach && start > earlier && varied(x[start:end+1]) && slices.Equal(x[earlier:earlier+repeatWindow], x[start:end+1]) {
			to := end + 1
			for start > 0 && earlier > 0 && x[start-1] == x[earlier-1] {
				start, earlier = start-1, earlier-1
			}
			for to < len(x) && x[to] == x[earlier+to-start] {
				to++
			}
			if len(found) == 0 || start >= found[len(found)-1].to {
				if found = append(found, run{start, to}); len(found) == most {
					return found
				}
			}
		} else if start%repeatWindow == 0 {
			seen[hash] = start
		}
	}
	return found
}

// varied says that a window holds a signal rather than a converter's idle pattern.
func varied(x []float64) bool {
	if x[0] == x[1] && x[1] == x[len(x)/2] {
		return false // the usual case, a silence, at no cost
	}
	distinct := map[float64]bool{}
	for _, v := range x {
		distinct[v] = true
	}
	return len(distinct) > len(x)/2
}

// FindHum looks for the mains in a silence: lines at 50 or 60 Hz and their multiples up to the eighth that stand 15 dB above what
// lies between them (or three that stand 10 dB above), together above −60 dB re sweepRMS, the sweep's rms in the same channel. It
// needs 0.4 s to tell 50 from 60 Hz and finds nothing in less. The fault concerns the whole recording: time −1. At most one.
func FindHum(silence []float64, sampleRateHz, sweepRMS float64) []Fault {
	const harmonics = 8
	duration := float64(len(silence)) / sampleRateHz
	if !(duration >= 0.4) || !(sweepRMS > 0) {
		return nil
	}
	x := make([]float64, len(silence))
	for i, v := range silence {
		x[i] = v * hann(i, len(x))
	}
	n := SmoothLength(4 * len(x))
	X := RealSpectrum(x, n)
	step := sampleRateHz / float64(n)
	lobe := 2 / duration // half the width of a Hann line
	best, bestPower, bestLines := 0.0, 0.0, 0
	for _, mains := range []float64{50, 60} {
		sum, strong, weak := 0.0, 0, 0
		for h := 1.0; h <= harmonics; h++ {
			line, reach := h*mains, max(lobe/2, 0.01*h*mains/2) // mains keep within a per cent
			if line+mains/2 > sampleRateHz/2 {
				break
			}
			peak := 0.0
			var between []float64
			for k := int(math.Ceil((line - mains/2) / step)); float64(k)*step < line+mains/2; k++ {
				off := math.Abs(float64(k)*step - line)
				switch p := power(X[k]); {
				case off <= reach:
					peak = max(peak, p)
				case off > reach+lobe:
					between = append(between, p)
				}
			}
			if len(between) == 0 {
				continue
			}
			slices.Sort(between)
			ratio := peak / between[len(between)/2]
			if ratio > 10 {
				weak++
				// A sine of amplitude a has |X| = a·len/4 under a Hann window.
				amplitude := 4 * math.Sqrt(peak) / float64(len(x))
				sum += amplitude * amplitude / 2
			}
			if ratio > math.Pow(10, 1.5) {
				strong++
			}
		}
		if (strong > 0 || weak >= 3) && sum > bestPower {
			best, bestPower, bestLines = mains, sum, weak
		}
	}
	level := dB(math.Sqrt(bestPower) / sweepRMS)
	if best == 0 || level < -60 {
		return nil
	}
	return []Fault{{Kind: FaultHum, TimeS: wholeRecording,
		Text: fmt.Sprintf("hum of %g Hz mains in the silence: %d lines, together %.0f dB re the sweep", best, bestLines, level),
		Cure: "power everything from one outlet strip, use balanced cables, keep them away from power supplies; or play the sweep louder"}}
}

// ranked returns what would stand at k if x were sorted, and leaves x in another order (Hoare, CACM 4 (1961) 321).
func ranked(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot := x[(low+high)/2]
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// FindClicks looks for clicks, lost samples and bursts of noise in the residual of a deconvolution (Deconvolution.Residual): places
// nine times above the noise around them. signalRMS is the recording's rms: what stays below −60 dB of it harms nothing. Times are in
// seconds after the residual's first sample. One fault for each place, at most ten, the last naming how many there are in all.
func FindClicks(residual []float64, sampleRateHz, signalRMS float64) []Fault {
	const most = 10
	// The difference of neighbours brings a click out of rumble.
	r := make([]float64, max(0, len(residual)-1))
	for i := range r {
		r[i] = math.Abs(residual[i+1] - residual[i])
	}
	// The residual's level changes along the sweep, since the band that the response takes out of it moves with the sweep: so the
	// noise is taken from the blocks next to each, but from those further away where these are much quieter on both sides.
	block := max(16, int(0.01*sampleRateHz))
	gap := int(0.02 * sampleRateHz)
	var sigma, values []float64
	for from := 0; from < len(r); from += block {
		values = append(values[:0], r[max(0, min(from, len(r)-block)):min(len(r), from+block)]...)
		sigma = append(sigma, 1.4826*ranked(values, len(values)/2)) // median to standard deviation, for Gaussian noise
	}
	highest := func(from, to int) float64 {
		m := 0.0
		for _, v := range sigma[min(max(0, from), len(sigma)):max(0, min(len(sigma), to))] {
			m = max(m, v)
		}
		return m
	}
	var places []run
	for b := range sigma {
		noise := min(highest(b-1, b+2), 4*max(highest(b-8, b-2), highest(b+3, b+9)))
		threshold := max(9*noise, 1e-3*signalRMS)
		for i := b * block; i < min(len(r), (b+1)*block); i++ {
			if r[i] <= threshold {
				continue
			}
			if last := len(places) - 1; last >= 0 && i-places[last].to < gap {
				places[last].to = i + 1
			} else {
				places = append(places, run{i, i + 1})
			}
		}
	}
	var faults []Fault
	for _, p := range places {
		f := Fault{Kind: FaultClick, TimeS: float64(p.from) / sampleRateHz, Text: "a click, or lost samples, within the sweep", Cure: dropoutCure}
		if lasts := float64(p.to-p.from) / sampleRateHz; lasts > 0.01 {
			f.Text = fmt.Sprintf("a noise of %.1g s within the sweep that is no part of the response", lasts)
			f.Cure = "record again in a quiet moment; if it comes back at the same pitch, something rattles: find it and damp it"
		}
		faults = append(faults, f)
		if len(faults) == most && len(places) > most {
			faults[most-1].Text += fmt.Sprintf(" (%d such places in all)", len(places))
			break
		}
	}
	return faults
}
