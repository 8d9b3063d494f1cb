package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
	"github.com/leadline/leadline/report"
	"github.com/spf13/cobra"
)

// automatic stands for a fade or silence that suits the sweep.
const automatic = -1

func sweepCommand() *cobra.Command {
	var spec dsp.SweepSpec
	var rateHz, bits int
	var float bool
	cmd := &cobra.Command{
		Use:   "sweep FILE.wav",
		Short: "Write the sweep to play, with how to play it",
		Long: `Sweep writes an exponential sweep as a WAV file to be played through the loudspeaker, and says what belongs in the survey and how to find the level.
The sample rate is that of the recording, and has no default. - as FILE writes the WAV to standard output.`,
		Annotations: exitsOfDoing, ValidArgsFunction: filesOf("wav", 1),
		Example: `  leadline sweep sweep.wav --rate-hz 48000
  leadline sweep sweep.wav --rate-hz 96000 --seconds 5 --repeats 3 --pilot`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("rate-hz") {
				return errors.New("sweep: no sample rate: add --rate-hz with the rate at which you play and record, such as --rate-hz 48000")
			}
			spec.SampleRateHz = float64(rateHz)
			suggested := dsp.SuggestSweep(spec.LowHz, spec.HighHz, spec.Seconds, spec.SampleRateHz)
			for _, v := range []struct {
				given     *float64
				suggested float64
			}{{&spec.FadeInS, suggested.FadeInS}, {&spec.FadeOutS, suggested.FadeOutS}} {
				if *v.given == automatic {
					*v.given = v.suggested
				}
			}
			format := dsp.WAVFormat{SampleRateHz: rateHz, BitsPerSample: bits, Float: float}
			if float && !cmd.Flags().Changed("bits") {
				format.BitsPerSample = 32
			}
			return writeSweep(cmd, args[0], spec, format)
		},
	}
	f := cmd.Flags()
	f.IntVar(&rateHz, "rate-hz", 0, "sample rate of file and recording, in Hz; has to be given")
	f.Float64Var(&spec.LowHz, "low-hz", 50, "first frequency, in Hz")
	f.Float64Var(&spec.HighHz, "high-hz", 20000, "last frequency, in Hz")
	f.Float64Var(&spec.Seconds, "seconds", 2, "length of one sweep, in seconds")
	f.Float64Var(&spec.LevelDBFS, "level-dbfs", -20, "peak level, in dB re full scale")
	f.IntVar(&spec.Repeats, "repeats", 1, "how many sweeps the file holds")
	f.Float64Var(&spec.SilenceBeforeS, "before-s", 1, "silence before every sweep, in seconds")
	f.Float64Var(&spec.SilenceAfterS, "after-s", 1.5, "silence after every sweep, in seconds")
	f.Float64Var(&spec.FadeInS, "fade-in-s", automatic, "fade at the beginning, in seconds; left out: a sixth of an octave")
	f.Float64Var(&spec.FadeOutS, "fade-out-s", automatic, "fade at the end, in seconds; left out: a 24th of an octave")
	f.IntVar(&bits, "bits", 24, "bits per sample: 16, 24 or 32, or 32 or 64 with --float")
	f.BoolVar(&float, "float", false, "write floats instead of integers")
	f.BoolVar(&spec.Pilot, "pilot", false, "a short chirp before every sweep, which tells the clocks of player and recorder apart")
	f.BoolVar(&spec.Plain, "plain", false, "exactly the length asked for, not synchronised")
	for _, flag := range []string{"fade-in-s", "fade-out-s"} {
		f.Lookup(flag).DefValue = "automatic"
	}
	return cmd
}

func writeSweep(cmd *cobra.Command, path string, spec dsp.SweepSpec, format dsp.WAVFormat) error {
	sweep, err := dsp.NewSweep(spec)
	if err != nil {
		return err
	}
	samples := sweep.Playback()
	if !format.Float && format.BitsPerSample >= 2 && format.BitsPerSample <= 32 {
		// an integer has no +1: at 0 dBFS the peaks give way by less than one step
		most := 1 - math.Ldexp(1, 1-format.BitsPerSample)
		for i := range samples {
			samples[i] = min(samples[i], most)
		}
	}
	var wav bytes.Buffer
	if err := dsp.WriteWAV(&wav, &dsp.Audio{SampleRateHz: format.SampleRateHz, Channels: [][]float64{samples}}, format); err != nil {
		return err
	}
	console := consoleOf(cmd)
	if err := console.write([]rendered{{path, wav.Bytes()}}); err != nil {
		return err
	}
	to := console.summary()
	if path == "-" && !console.quiet {
		to = console.stderr
	}
	if err := report.SweepText(to, analysis.NewSweepSheet(path, sweep, format)); err != nil {
		return fmt.Errorf("the file is written, but: %w", err)
	}
	return nil
}
