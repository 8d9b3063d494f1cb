package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"github.com/leadline/leadline/analysis"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// console is where a command's words go, as --quiet and --verbose ask.
type console struct {
	stdout, stderr io.Writer
	quiet, verbose bool
	started        time.Time
}

func consoleFlags(root *cobra.Command) {
	root.PersistentFlags().BoolP("quiet", "q", false, "print nothing but errors and what - asks for")
	root.PersistentFlags().BoolP("verbose", "v", false, "say on standard error what is being done and what is written")
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if c := consoleOf(cmd); c.quiet && c.verbose {
			return fmt.Errorf("%s: --quiet and --verbose contradict each other: give one of them", cmd.Name())
		}
		return nil
	}
}

func consoleOf(cmd *cobra.Command) *console {
	quiet, _ := cmd.Flags().GetBool("quiet") // the root defines both
	verbose, _ := cmd.Flags().GetBool("verbose")
	return &console{cmd.OutOrStdout(), cmd.ErrOrStderr(), quiet, verbose, time.Now()}
}

// summary is where a result is told in words.
func (c *console) summary() io.Writer {
	if c.quiet {
		return io.Discard
	}
	return c.stdout
}

// warn writes doubts to standard error.
func (c *console) warn(warnings ...analysis.Warning) {
	if c.quiet {
		return
	}
	for _, w := range warnings {
		where := w.Where
		if where != "" {
			where += ": "
		}
		fmt.Fprintf(c.stderr, "%s %s\n", highlight(c.stderr, "warning:"), oneLine(where+w.Text))
	}
}

// say tells, with --verbose, what is going on and how many seconds after the start.
func (c *console) say(format string, args ...any) {
	if c.verbose {
		fmt.Fprintf(c.stderr, "%6.1f s  %s\n", time.Since(c.started).Seconds(), fmt.Sprintf(format, args...))
	}
}

// write writes finished outputs, all or none.
func (c *console) write(files []rendered) error {
	if err := writeAll(files, c.stdout); err != nil {
		return err
	}
	inFolder := map[string]int{}
	for _, f := range files {
		inFolder[filepath.Dir(f.path)]++
	}
	const few = 12
	for _, f := range files {
		switch dir := filepath.Dir(f.path); {
		case f.path == "-" || inFolder[dir] == 0:
		case inFolder[dir] > few:
			c.say("wrote %d files into %s", inFolder[dir], dir)
			inFolder[dir] = 0
		default:
			c.say("wrote %s, %d bytes", f.path, len(f.data))
		}
	}
	return nil
}

// oneLine keeps what a path or name holds from breaking a message's line, or the terminal.
func oneLine(text string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c == '\n' || c == '\t':
			return ' '
		case unicode.IsGraphic(c):
			return c
		}
		return '?'
	}, text)
}

// highlight sets s in bold where w is a terminal that may show it: NO_COLOR (any value but an empty one) and the terminal "dumb" forbid.
func highlight(w io.Writer, s string) string {
	if !isTerminal(w) || os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "dumb" {
		return s
	}
	return "\x1b[1;33m" + s + "\x1b[0m"
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
