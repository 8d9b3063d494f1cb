package main

import (
	"bytes"
	"fmt"
	"path/filepath"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/report"
	"github.com/spf13/cobra"
)

func responsesCommand() *cobra.Command {
	var seconds float64
	var data string
	cmd := &cobra.Command{
		Use:   "responses SURVEY.toml DIR",
		Short: "Turn the sweep recordings of a survey into impulse responses",
		Long: `Responses divides the sweep out of every recording that a survey names and writes the impulse responses into DIR, as WAV files of 32-bit floats, with a
copy of the survey that names them. It prints noise, distortion and clock of every sweep; faults go to standard error, with the cure. A check does the
same by itself, and more: it compares the takes' clocks, and it knows the noise from the silence. This command is for looking at the responses, or for
using them elsewhere. DIR is made if needed; files of the same names are replaced,
but never the survey or the recordings themselves.`,
		Annotations: exitsOfDoing, ValidArgsFunction: filesOf("toml", 1),
		Example: `  leadline responses survey.toml responses
  leadline check responses/survey.toml --report report.html`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(seconds > 0 && seconds <= 10) {
				return fmt.Errorf("responses: --seconds %g: expected more than 0 and at most 10 seconds", seconds)
			}
			survey, err := analysis.LoadSurvey(args[0])
			if err != nil {
				return err
			}
			if err := survey.CheckFiles(); err != nil {
				return err
			}
			progress := consoleOf(cmd).progress()
			recordings, err := analysis.ReadRecordings(cmd.Context(), survey, seconds, func(share float64) { progress.update("reading", share) })
			progress.done()
			if err != nil {
				return err
			}
			return writeResponses(cmd, survey, recordings, args[1], data)
		},
	}
	cmd.Flags().Float64Var(&seconds, "seconds", analysis.ResponseS, "how much of each response to keep after the direct sound")
	cmd.Flags().StringVar(&data, "data", "", "write noise, distortion and clock, band by band, as JSON; - for standard output")
	return cmd
}

func writeResponses(cmd *cobra.Command, survey *analysis.Survey, recordings *analysis.MeasuredRecordings, dir, data string) error {
	list := recordings.ResponseFiles()
	files := []rendered{{filepath.Join(dir, "survey.toml"), recordings.SurveyFile(survey, list)}}
	for _, f := range list {
		x, rate := recordings.Response(f.File, f.Sweep)
		wav, err := wavFile(filepath.Join(dir, filepath.FromSlash(f.Path)), x, rate)
		if err != nil {
			return err
		}
		files = append(files, wav)
	}
	if data != "" {
		var b bytes.Buffer
		if err := report.RecordingsJSON(&b, &recordings.Recordings); err != nil {
			return err
		}
		files = append(files, rendered{data, b.Bytes()})
	}
	if err := spareInputs("responses", append(survey.Files(), survey.Path), pathsOf(files)...); err != nil {
		return err
	}
	if err := makeFolders(files[:1+len(list)]); err != nil {
		return err
	}
	console := consoleOf(cmd)
	if err := console.write(files); err != nil {
		return err
	}
	console.warn(survey.OutsideFolder()...)
	for _, f := range recordings.Files {
		console.warn(f.Faults...)
	}
	if data == "-" {
		return nil
	}
	if err := report.RecordingsText(console.summary(), &recordings.Recordings); err != nil {
		return err
	}
	_, err := fmt.Fprintf(console.summary(), "%d responses and their survey: %s\n", len(list), files[0].path)
	return err
}
