package report

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/leadline/leadline/analysis"
)

var errNoRecordings = errors.New("report: no recordings")

const anyLines = math.MaxInt

// SweepText writes what a file of sweeps is and how to play it, for a terminal; lines of at most 96 characters. It errs where s is nil or w errs.
func SweepText(w io.Writer, s *analysis.SweepSheet) error {
	if s == nil {
		return errors.New("report: no sweep")
	}
	t := &text{}
	t.wrapUpTo(anyLines, "", s.Title)
	for _, f := range s.Facts {
		t.wrapUpTo(anyLines, "  - ", f)
	}
	t.WriteString("\nFor the survey\n")
	for _, line := range s.Survey {
		t.WriteString("  " + clean(line) + "\n")
	}
	t.WriteString("\nBefore you play it loud: start quiet\n")
	for i, step := range s.Level {
		t.wrapUpTo(anyLines, fmt.Sprintf("  %d. ", i+1), step)
	}
	t.WriteString("\nRecording\n")
	for _, line := range s.Record {
		t.wrapUpTo(anyLines, "  - ", line)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// RecordingsText writes one line for each sweep of each recording: signal-to-noise ratio (median over the bands and lowest), the level of the distortion orders 2
// to 5 (median), the clock, and how many faults the file has. It errs where r is nil or w errs.
func RecordingsText(w io.Writer, r *analysis.Recordings) error {
	if r == nil {
		return errNoRecordings
	}
	t := &text{}
	const line = "%-12s %-5s %-4s %7s %6s %15s  %5s %5s %5s %5s  %7s %-8s %s"
	row := func(cells ...any) { t.WriteString(strings.TrimRight(fmt.Sprintf(line, cells...), " ") + "\n") }
	row("place", "state", "take", "starts", "SNR", "lowest", "2nd", "3rd", "4th", "5th", "clock", "from", "faults")
	row("", "", "", "s", "dB", "dB", "dB", "dB", "dB", "dB", "ppm", "", "")
	for _, f := range r.Files {
		for i, s := range f.Sweeps {
			take := fmt.Sprint(i + 1)
			if s.Left {
				take += " out"
			}
			median, lowest := "–", "–"
			if s.SNRMedianDB.Known() {
				median = fmt.Sprintf("%.0f", s.SNRMedianDB)
				lowest = fmt.Sprintf("%.0f at %s", s.SNRLowestDB, strings.ReplaceAll(hertz(float64(s.SNRLowestHz)), nbsp, " "))
			}
			levels := [4]string{"–", "–", "–", "–"}
			for _, d := range s.Distortion {
				if k := d.Order - 2; k >= 0 && k < len(levels) && d.MedianDB.Known() {
					levels[k] = fmt.Sprintf("%.0f", d.MedianDB)
				}
			}
			clock, from := "–", ""
			if s.ClockPPM.Known() {
				clock, from = fmt.Sprintf("%+.1f", s.ClockPPM), s.ClockFrom
				if s.ClockFrom == "direct sound" {
					from = "(sound)"
				}
			}
			faults := ""
			if n := len(f.Faults); n > 0 && i == 0 {
				faults = fmt.Sprint(n)
			}
			row(shorten(clean(f.Position), 12), f.State, take, fmt.Sprintf("%.2f", s.StartS), median, lowest, levels[0], levels[1], levels[2], levels[3], clock, from, faults)
		}
	}
	t.WriteString("\n")
	t.wrapUpTo(anyLines, "", "SNR: response re noise, median over the third octaves and the lowest of them. Distortion: each order re the response, median over the third octaves in which the noise doesn't hide it. "+
		"Clock: recorder fast against player; in brackets it includes the loudspeaker's own delay and only differences between takes count.")
	_, err := io.WriteString(w, t.String())
	return err
}
