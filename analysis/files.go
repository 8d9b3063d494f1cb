package analysis

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"sync"

	"github.com/leadline/leadline/dsp"
)

// What a file may declare. Times become numbers of samples by the sample rate, which is but a number in a header: without bounds a file of a
// hundred bytes could ask for gigabytes.
const (
	lowestRateHz  = 8000     // of telephones; half of it is the top of the range that counts
	highestRateHz = 768_000  // more than any recorder has
	longestS      = 30.0     // of an impulse response: rooms have died away by then
	shortestShare = 1.0 / 16 // of the sweep that a recording must hold at least, to be looked at
)

// openTake opens a recording or impulse response and refuses what is no such thing, by its header alone.
func openTake(file string) (*dsp.WAVStream, error) {
	stream, err := dsp.OpenWAV(file)
	if err != nil {
		return nil, err
	}
	if rate := stream.Info().SampleRateHz; rate < lowestRateHz || rate > highestRateHz {
		stream.Close()
		return nil, &RecordingError{file, -1, fmt.Sprintf("a sample rate of %d Hz", rate), fmt.Sprintf("%d to %d Hz", lowestRateHz, highestRateHz),
			"find out the true sample rate and export it again"}
	}
	return stream, nil
}

// readResponse reads one channel, counted from 1, of an impulse response, into the memory of into where that is enough.
func readResponse(file string, channel int, into []float64) (*dsp.Audio, error) {
	stream, err := openTake(file)
	if err != nil {
		return nil, err
	}
	defer stream.Close()
	info := stream.Info()
	if seconds := float64(info.Frames) / float64(info.SampleRateHz); seconds > longestS {
		return nil, &RecordingError{file, -1, fmt.Sprintf("an impulse response of %.0f s", seconds), fmt.Sprintf("at most %g s", longestS),
			"if this is a recording of a sweep, add [sweep] to the survey; else cut it"}
	}
	return stream.ReadChannel(channel, into)
}

// checkHoldsSweep refuses a recording much shorter than what was played, before the sweep is made at its sample rate.
func checkHoldsSweep(file string, info dsp.WAVInfo, sweep *Sweep) error {
	if seconds := float64(info.Frames) / float64(info.SampleRateHz); seconds < shortestShare*sweep.Seconds {
		return &RecordingError{file, -1, fmt.Sprintf("%.2g s", seconds), fmt.Sprintf("the whole sweep of %g s", sweep.Seconds),
			"see that this is the recording, and that sweep.seconds is right"}
	}
	return nil
}

// Files lists every file that the survey names, resolved, in its order: the takes, and the sweep where that is a file.
func (s *Survey) Files() []string {
	var files []string
	for _, f := range s.files {
		files = append(files, f.path)
	}
	return files
}

// OutsideFolder warns of named files that lie outside the survey's folder, by their path or at the end of a link. They may: nothing is ever written there.
func (s *Survey) OutsideFolder() []Warning {
	folder := realPath(filepath.Dir(s.Path))
	first, count := "", 0
	for _, f := range s.files {
		within, err := filepath.Rel(folder, realPath(f.path))
		if err == nil && filepath.IsLocal(within) {
			continue
		}
		if count++; count == 1 {
			first = f.written
		}
	}
	switch count {
	case 0:
		return nil
	case 1:
		return []Warning{{"outside", "files", fmt.Sprintf("%q lies outside the survey's folder. It is read, never written; a copy of the folder will lack it.", first)}}
	}
	return []Warning{{"outside", "files", fmt.Sprintf("%q and %d more files lie outside the survey's folder. They are read, never written; a copy of the folder will lack them.", first, count-1)}}
}

// realPath is absolute and without links, as far as it can be found out.
func realPath(path string) string {
	if absolute, err := filepath.Abs(path); err == nil {
		path = absolute
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real
	}
	return path
}

// wholeFiles holds memory for the samples of a file, which is large and soon free again: *[]float64.
var wholeFiles = sync.Pool{New: func() any { return new([]float64) }}

// readPosition reads all impulse responses of a position, of so many files in all. All must have one sample rate.
func readPosition(p *SurveyPosition, files int) (map[string][]response, []Warning, error) {
	whole := wholeFiles.Get().(*[]float64)
	defer wholeFiles.Put(whole)
	takes := map[string][]response{}
	var warnings []Warning
	for _, state := range p.states() {
		for _, file := range state.files {
			audio, err := readResponse(file, p.Channel, *whole)
			if err != nil {
				return nil, warnings, err
			}
			for _, note := range audio.Notes {
				warnings = append(warnings, Warning{"file", p.Name, note})
			}
			x := audio.Channels[0]
			*whole = x
			rate := float64(audio.SampleRateHz)
			offset, peak := takeOffset(x, dsp.Peak(x))
			if offset != "" {
				warnings = append(warnings, Warning{"dc", p.Name, file + ": " + offset})
			}
			if !audio.Float {
				for _, fault := range dsp.FindClipping(x, rate) {
					warnings = append(warnings, Warning{"clipped", p.Name, fmt.Sprintf("%s: %s %s", file, fault.Text, fault.Cure)})
				}
			}
			takes[state.name] = append(takes[state.name], response{file: file, samples: aroundDirect(x, peak, rate, files), sampleRateHz: rate})
		}
	}
	return takes, warnings, oneRate(p, takes)
}

// aroundDirect copies of a response with the given peak what alignment and gates can use: from before its first strong sound to ResponseS after it, or less where there are so
// many files that the work on them would grow, faded out at its end. The panel's lowest band needs 22 ms.
func aroundDirect(x []float64, peak, rate float64, files int) []float64 {
	const (
		beforeS = 0.010 // the noise is told from it
		leastS  = 0.040
		fadeS   = 0.003
		memory  = 1 << 23 // samples of all files
	)
	afterS := min(ResponseS, max(leastS, memory/rate/float64(files)-beforeS))
	at := onsetAt(x, peak, rate)
	if math.IsNaN(at) {
		return slices.Clone(x) // silent, which the alignment says
	}
	from, to := max(0, int(at-beforeS*rate)), min(len(x), int(at+afterS*rate))
	kept := slices.Clone(x[from:to])
	if to < len(x) {
		fade := int(fadeS * rate)
		for i := range fade {
			kept[len(kept)-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(fade))
		}
	}
	return kept
}

// oneRate refuses a position whose files have several sample rates.
func oneRate(p *SurveyPosition, takes map[string][]response) error {
	var first *response
	for _, state := range p.states() {
		for i := range takes[state.name] {
			take := &takes[state.name][i]
			if first == nil {
				first = take
			}
			if take.sampleRateHz != first.sampleRateHz {
				return fmt.Errorf("%s: sample rate %.0f Hz, but %s has %.0f Hz: all files of a position must have one rate; export them again at one rate",
					take.file, take.sampleRateHz, first.file, first.sampleRateHz)
			}
		}
	}
	return nil
}
