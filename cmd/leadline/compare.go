package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/report"
	"github.com/spf13/cobra"
)

func compareCommand(code *int) *cobra.Command {
	var html, data, tables string
	cmd := &cobra.Command{
		Use:   "compare FIRST.json NEXT.json...",
		Short: "Compare surveys of one panel: what changed, and whether that is more than chance",
		Long: `Compare reads two or more result files of leadline check --data, in the order of time, and says what changed from the first to the last, and from each to the next: depths of
wells, diffusion coefficients of bands, verdicts, warnings. Each change has a 95 % interval of its own and counts as significant where it is more than chance among so
many figures explains; the report says how and what that rests on. Surveys of another panel or of another schema are refused. Fields that a newer version has added to a
result are skipped, with a warning. --tables writes depths.csv, coefficients.csv, depth-changes.csv and coefficient-changes.csv, as check writes its tables.`,
		Annotations:       exitsOfCompare,
		ValidArgsFunction: filesOf("json", -1),
		Example: `  leadline compare before.json after.json --report comparison.html
  leadline compare march.json april.json may.json --data comparison.json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return errors.New("compare: fewer than two files: expected two or more results, the earliest first; see leadline compare --help")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			console := consoleOf(cmd)
			var surveys []analysis.NamedResult
			for _, path := range args {
				console.say("reading %s", path)
				result, unknown, err := analysis.LoadResult(path)
				if err != nil {
					return fmt.Errorf("compare: %w", err)
				}
				surveys = append(surveys, analysis.NamedResult{File: path, Result: result, Unknown: unknown})
			}
			c, err := analysis.Compare(surveys)
			if err != nil {
				return fmt.Errorf("compare: %w", err)
			}
			files := tableFiles(tables, report.ComparisonCSV(c))
			if err := spareInputs("compare", args, append(pathsOf(files), html, data)...); err != nil {
				return err
			}
			if err := makeFolders(files); err != nil {
				return err
			}
			for _, f := range []struct {
				path   string
				render func(io.Writer, *analysis.Comparison) error
			}{{html, report.ComparisonHTML}, {data, report.ComparisonJSON}} {
				if f.path == "" {
					continue
				}
				var b bytes.Buffer
				if err := f.render(&b, c); err != nil {
					return err
				}
				files = append(files, rendered{f.path, b.Bytes()})
			}
			if err := console.write(files); err != nil {
				return err
			}
			for _, s := range surveys {
				if len(s.Unknown) > 0 {
					console.warn(analysis.Warning{Where: s.File, Text: "it holds fields that this version doesn't know and skips: " + strings.Join(s.Unknown, ", ")})
				}
			}
			if data != "-" && html != "-" {
				if err := report.ComparisonText(console.summary(), c); err != nil {
					return fmt.Errorf("standard output: %w", cause(err))
				}
			}
			*code = map[analysis.Outcome]int{analysis.Unchanged: exitAsDesigned, analysis.Changed: exitDiffers, analysis.CannotTell: exitUndecided}[c.Outcome]
			return nil
		},
	}
	cmd.Flags().StringVar(&html, "report", "", "write the comparison as one HTML `file`")
	cmd.Flags().StringVar(&data, "data", "", "write the comparison as JSON to this `file`; - for standard output")
	cmd.Flags().StringVar(&tables, "tables", "", "write the numbers behind every picture as CSV files into this `folder`")
	return cmd
}
