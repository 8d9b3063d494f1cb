package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// Exit codes, part of the contract with scripts. compare reads them of changes instead of differences from a design.
const (
	exitAsDesigned = 0 // also: done, where there is no verdict
	exitDiffers    = 1
	exitUsage      = 2 // wrong use, or input that can't be read
	exitUndecided  = 3
)

// exits is the annotation of a command that names its exit codes, for help and docs.
const exits = "exit codes"

const exitTwo = "  2  wrong use, or input that can't be read; nothing was written"

var (
	exitsOfCheck = map[string]string{exits: `  0  the build agrees with the design within the tolerance
  1  the build differs from the design
` + exitTwo + `
  3  the data cannot decide; the report says what to measure again`}
	exitsOfCompare = map[string]string{exits: `  0  nothing changed significantly from the first survey to the last
  1  something changed significantly
` + exitTwo + `; or surveys that can't be compared
  3  no figure with an interval is known in both: nothing can be told`}
	exitsOfDoing = map[string]string{exits: "  0  done\n" + exitTwo}
	exitsOfAll   = map[string]string{exits: `  0  the build agrees with the design within the tolerance; compare: nothing changed; other commands: done
  1  the build differs from the design; compare: something changed
` + exitTwo + `
  3  the data cannot decide; the report says what to measure again`}
)

// usage is the part of the help after the description. It ends with examples and exit codes, which a reader looks for first.
const usage = `Usage:{{if .Runnable}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} [command]

Commands:{{range .Commands}}{{if (or .IsAvailableCommand (eq .Name "help"))}}
  {{rpad .Name .NamePadding }} {{.Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableInheritedFlags}}

Flags of every command:
{{.InheritedFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}{{if .HasExample}}

Examples:
{{.Example | trimTrailingWhitespaces}}{{end}}{{with index .Annotations "` + exits + `"}}

Exit codes:
{{.}}{{end}}
`

// newRoot is the whole command line; code receives the exit code of a run without error.
func newRoot(code *int, stdout, stderr io.Writer) *cobra.Command {
	root := &cobra.Command{
		Use:   "leadline",
		Short: "Check a home-built sound diffuser against its design, from impulse responses",
		Long: `leadline tells whether a sound diffuser that you built came out as designed: which well is off and by how much, whether it scatters better
than a flat board, over which band and to which angles. It works from impulse responses or sweep recordings (WAV) taken with and without the panel.
Nothing but the result goes to standard output.`,
		Example:      "  leadline check --example --report report.html\n  leadline help check",
		Annotations:  exitsOfAll,
		SilenceUsage: true, SilenceErrors: true,
	}
	root.SetOut(stdout) // before the completion commands, which remember it
	root.SetErr(stderr)
	consoleFlags(root)
	root.SetUsageTemplate(usage)
	root.AddCommand(checkCommand(code), predictCommand(code), exampleCommand(), planCommand(), sweepCommand(), responsesCommand(), compareCommand(code))
	root.SetHelpCommand(helpCommand(root))
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			describeCompletion(c)
		}
	}
	wrapHelp(root)
	return root
}

// wrapHelp breaks the descriptions of a command and those below it into lines for a terminal; paragraphs with indented lines stay as they are.
func wrapHelp(c *cobra.Command) {
	const width = 96
	paragraphs := strings.Split(strings.TrimSpace(c.Long), "\n\n")
	for i, p := range paragraphs {
		if strings.Contains("\n"+p, "\n\t") || strings.Contains("\n"+p, "\n ") || strings.Contains(p, "\n#") {
			continue
		}
		var b strings.Builder
		column := 0
		for _, word := range strings.Fields(p) {
			if n := utf8.RuneCountInString(word); column > 0 && column+1+n <= width {
				b.WriteString(" ")
				column += 1 + n
			} else {
				if column > 0 {
					b.WriteString("\n")
				}
				column = n
			}
			b.WriteString(word)
		}
		paragraphs[i] = b.String()
	}
	c.Long = strings.Join(paragraphs, "\n\n")
	for _, sub := range c.Commands() {
		wrapHelp(sub)
	}
}

// helpCommand is the usual one, but an unknown command is an error.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:         "help [command]",
		Short:       "Help about a command",
		Long:        "Help prints what a command does, its flags, examples and exit codes; the same as --help after it.",
		Example:     "  leadline help check",
		Annotations: exitsOfDoing,
		RunE: func(cmd *cobra.Command, args []string) error {
			found, rest, err := root.Find(args)
			if err != nil {
				return err
			}
			if len(rest) > 0 {
				return fmt.Errorf("help: unknown command %q; leadline --help lists them", strings.Join(args, " "))
			}
			found.InitDefaultHelpFlag()
			return found.Help()
		},
	}
}

// describeCompletion gives the library's own commands what every command's help has.
func describeCompletion(c *cobra.Command) {
	c.Example, c.Annotations = "  leadline completion bash > leadline.bash", exitsOfDoing
	c.Short, c.Long = "Write the completion script of a shell", "Completion writes a script that lets the shell complete commands, flags and file names; the help of each shell says where to put it."
	for _, shell := range c.Commands() {
		shell.Annotations = exitsOfDoing
		shell.Example = "  leadline completion " + shell.Name() + " > leadline." + shell.Name()
	}
}

// filesOf completes arguments with files of an extension, at most n of them; below 0: any number.
func filesOf(extension string, n int) cobra.CompletionFunc {
	return func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if n >= 0 && len(args) >= n {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return []string{extension}, cobra.ShellCompDirectiveFilterFileExt
	}
}
