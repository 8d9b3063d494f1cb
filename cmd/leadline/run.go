package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/report"
	"github.com/spf13/cobra"
)

// run executes the command line and returns the exit code. Only results go to stdout.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	code := exitAsDesigned
	root := newRoot(&code, stdout, stderr)
	root.SetArgs(args)
	root.SetContext(ctx)
	if err := root.Execute(); err != nil {
		if errors.Is(err, context.Canceled) {
			err = errors.New("interrupted; nothing was written")
		}
		fmt.Fprintln(stderr, highlight(stderr, "leadline:"), oneLine(err.Error()))
		return exitUsage
	}
	return code
}

// outputs is what check and predict can write.
type outputs struct {
	report, data      string
	tables, responses string // folders
	bands             int
}

func (o *outputs) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.report, "report", "", "write the report as one HTML `file`")
	cmd.Flags().StringVar(&o.data, "data", "", "write the result as JSON to this `file`; - for standard output")
	cmd.Flags().StringVar(&o.tables, "tables", "", "write the numbers behind every picture as CSV files into this `folder`")
	cmd.Flags().IntVar(&o.bands, "bands", 3, "bands per octave, `3 or 12`")
}

// job turns a survey into a result.
type job func(context.Context, *analysis.Survey, analysis.Options) (*analysis.Result, error)

func (o *outputs) do(cmd *cobra.Command, path string, work job, code *int) error {
	survey, err := analysis.LoadSurvey(path)
	if err != nil {
		return err
	}
	if err := spareInputs(cmd.Name(), append(survey.Files(), path), o.report, o.data); err != nil {
		return err
	}
	console := consoleOf(cmd)
	console.say("survey %s: %d positions, %d wells", path, len(survey.Positions), len(survey.Panel.DepthsM))
	progress := console.progress()
	result, err := work(cmd.Context(), survey, analysis.Options{BandsPerOctave: o.bands, Progress: progress.update})
	progress.done()
	if err != nil {
		return err
	}
	// everything is rendered before anything is written, so that an error leaves nothing half-done
	var files []rendered
	for _, f := range []struct {
		path   string
		render func(io.Writer, *analysis.Result) error
	}{{o.report, report.HTML}, {o.data, report.JSON}} {
		if f.path == "" {
			continue
		}
		var b bytes.Buffer
		if err := f.render(&b, result); err != nil {
			return err
		}
		files = append(files, rendered{f.path, b.Bytes()})
	}
	exports := tableFiles(o.tables, report.CSV(result))
	if o.responses != "" {
		responses, err := alignedFiles(o.responses, result)
		if err != nil {
			return err
		}
		exports = append(exports, responses...)
	}
	if err := spareInputs(cmd.Name(), append(survey.Files(), path), pathsOf(exports)...); err != nil {
		return err
	}
	if err := makeFolders(exports); err != nil {
		return err
	}
	files = append(files, exports...)
	if err := console.write(files); err != nil {
		return err
	}
	console.warn(result.Warnings...)
	if o.data != "-" && o.report != "-" {
		if err := report.Text(console.summary(), result); err != nil {
			return fmt.Errorf("standard output: %w", cause(err))
		}
	}
	if result.Kind == "check" {
		*code = map[analysis.Verdict]int{analysis.AsDesigned: exitAsDesigned, analysis.Differs: exitDiffers}[result.Verdict]
		if result.Verdict == analysis.Undecided {
			*code = exitUndecided
		}
	}
	return nil
}

func checkCommand(code *int) *cobra.Command {
	var o outputs
	var example bool
	cmd := &cobra.Command{
		Use:   "check SURVEY.toml",
		Short: "Check a measured panel against its design",
		Long: `Check aligns, subtracts, gates and compares the measurements that a survey file names, and recovers the built depths.

--tables writes one CSV file (RFC 4180) for the numbers of each picture of the report, such as wells.csv, bands.csv and levels.csv: unrounded, units in the header, an
unknown number is an empty field, and text that a spreadsheet would run as a formula has an apostrophe before it. --responses writes
the impulse responses around the gate as WAV files of 32-bit floats, aligned in time and level (folder aligned), and with the empty room subtracted and the gate applied
(folder gated); responses.csv says when each begins. Both folders are made if needed; files of the same names are replaced. There is no AES69 (SOFA) file: it is a
netCDF-4 file, and the Go module proxy serves no library that writes one without C.`,
		Annotations:       exitsOfCheck,
		ValidArgsFunction: filesOf("toml", 1),
		Example: `  leadline check survey.toml --report report.html --data result.json
  leadline check survey.toml --tables tables --responses responses
  leadline check --example --report report.html`,
		Args: func(cmd *cobra.Command, args []string) error {
			if want := map[bool]int{true: 0, false: 1}[example]; len(args) != want {
				return fmt.Errorf("check: %d arguments: expected one survey file, or --example alone; see leadline check --help", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if !example {
				return o.do(cmd, args[0], analysis.Check, code)
			}
			dir, err := os.MkdirTemp("", "leadline-example-")
			if err != nil {
				return err
			}
			defer os.RemoveAll(dir)
			if err := writeExample(dir); err != nil {
				return err
			}
			return o.do(cmd, filepath.Join(dir, exampleSurvey), analysis.Check, code)
		},
	}
	o.flags(cmd)
	cmd.Flags().StringVar(&o.responses, "responses", "", "write the aligned and the gated impulse responses as WAV files into this `folder`")
	cmd.Flags().BoolVar(&example, "example", false, "check the built-in example")
	return cmd
}

func predictCommand(code *int) *cobra.Command {
	var o outputs
	cmd := &cobra.Command{
		Use:         "predict SURVEY.toml",
		Short:       "Predict what a design does, without any measurement",
		Long:        "Predict computes the design's scattering at the survey's positions and in the standard's arrangement; the files that the survey names need not exist.",
		Annotations: exitsOfDoing, ValidArgsFunction: filesOf("toml", 1),
		Example: "  leadline predict survey.toml --report prediction.html",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.do(cmd, args[0], analysis.Predict, code)
		},
	}
	o.flags(cmd)
	return cmd
}

func exampleCommand() *cobra.Command {
	return &cobra.Command{
		Use:         "example DIR",
		Short:       "Write the built-in example: a survey and its WAV files",
		Long:        "Example writes a survey file and its WAV files into DIR, which is made if needed; files of the same names are replaced.",
		Annotations: exitsOfDoing,
		Example:     "  leadline example demo\n  leadline check demo/survey.toml --report demo/report.html",
		Args:        cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := writeExample(args[0]); err != nil {
				return err
			}
			fmt.Fprintf(consoleOf(cmd).summary(), "%s\n", filepath.Join(args[0], exampleSurvey))
			return nil
		},
	}
}
