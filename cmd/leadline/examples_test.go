package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// A shown example: command lines that belong together and run in one folder, in order.
type shown struct {
	where string
	lines []string
}

var (
	fence      = regexp.MustCompile("(?ms)^```(\\w*)\n(.*?)^```")
	inlineCode = regexp.MustCompile("`([^`\n]+)`")
)

// documentExamples lists the commands that a Markdown file shows: blocks of shell as a whole, code in a sentence each for itself.
func documentExamples(t *testing.T, file string) []shown {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", file))
	if err != nil {
		t.Fatal(err)
	}
	var out []shown
	for _, m := range fence.FindAllStringSubmatch(string(raw), -1) {
		if m[1] == "sh" {
			out = append(out, shown{file + ", block", commandLines(m[2])})
		}
	}
	for _, m := range inlineCode.FindAllStringSubmatch(fence.ReplaceAllString(string(raw), ""), -1) {
		if lines := commandLines(m[1]); len(lines) > 0 {
			out = append(out, shown{file, lines})
		}
	}
	return out
}

// commandLines picks the lines that are commands of ours; a comment after one is left out.
func commandLines(text string) []string {
	var out []string
	for _, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, " #")
		line = strings.TrimSpace(line)
		for _, begin := range []string{"leadline ", "go run ", "go test ", "bash "} {
			if strings.HasPrefix(line, begin) {
				out = append(out, line)
			}
		}
	}
	return out
}

// shellWords splits a line as a shell does a simple one, and drops what goes to a file by >.
func shellWords(line string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`'([^']*)'|"([^"]*)"|(\S+)`).FindAllStringSubmatch(line, -1) {
		if m[3] == ">" {
			return out
		}
		out = append(out, m[1]+m[2]+m[3])
	}
	return out
}

// Every example in README, DEVELOPERS and in the help of every command does what it says: it runs, in a folder that holds the files it names, and ends with an exit code of
// its command's success.
func TestEveryExample(t *testing.T) {
	if testing.Short() {
		t.Skip("checks the built-in example several times")
	}
	examples := append(documentExamples(t, "README.md"), documentExamples(t, "DEVELOPERS.md")...)
	if len(examples) < 10 {
		t.Fatalf("only %d examples found in README and DEVELOPERS", len(examples))
	}
	visit(newRoot(new(int), io.Discard, io.Discard), func(c *cobra.Command) {
		lines := commandLines(c.Example)
		if len(lines) == 0 {
			t.Errorf("%s: no example in its help", c.CommandPath())
		}
		examples = append(examples, shown{"help of " + c.CommandPath(), lines})
	})
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	store := exampleFiles(t)
	seen := map[string]bool{}
	for _, e := range examples {
		key := strings.Join(e.lines, "\n")
		if seen[key] {
			continue
		}
		seen[key] = true
		t.Run(e.where+": "+e.lines[0], func(t *testing.T) {
			dir := t.TempDir()
			for name, from := range store {
				if strings.Contains(key, "--survey "+name) {
					continue // a plan writes it
				}
				if strings.HasPrefix(e.lines[0], "leadline responses") && name == "survey.toml" {
					from = store["recorded.toml"]
				}
				link(t, from, filepath.Join(dir, name))
			}
			for _, line := range e.lines {
				runExample(t, root, dir, line, seen)
			}
		})
	}
}

// exampleFiles are the files that examples read, by name. Folders beside a survey are found through it, since it names them by their whole paths.
func exampleFiles(t *testing.T) map[string]string {
	t.Helper()
	absolute := func(survey string) string {
		edit(t, survey, func(s string) string {
			dir := filepath.ToSlash(filepath.Dir(survey))
			return regexp.MustCompile(`(?m)^(empty|flat|panel) = "`).ReplaceAllString(s, "$0"+dir+"/")
		})
		return survey
	}
	dir := t.TempDir()
	room := filepath.Join(dir, "room.toml")
	if err := os.WriteFile(room, []byte(planExample), 0o644); err != nil {
		t.Fatal(err)
	}
	survey := example(t)
	edit(t, survey, keepPositions(4))
	result := filepath.Join(dir, "result.json")
	if o := leadline("check", survey, "--data", result); o.code == exitUsage {
		t.Fatal(o.stderr)
	}
	store := map[string]string{"room.toml": room, "survey.toml": absolute(survey), "recorded.toml": absolute(recorded(t, 16)), "result.json": result}
	for _, name := range []string{"before.json", "after.json", "march.json", "april.json", "may.json"} {
		store[name] = result
	}
	return store
}

func link(t *testing.T, from, to string) {
	t.Helper()
	raw, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, raw, 0o644); err != nil {
		t.Fatal(err)
	}
}

// runExample runs one line in dir; what names a test or a script is looked up instead of run, since it runs anyway.
func runExample(t *testing.T, root, dir, line string, seen map[string]bool) {
	t.Helper()
	words := shellWords(line)
	switch {
	case words[0] == "bash":
		if _, err := os.Stat(filepath.Join(root, words[1])); err != nil {
			t.Errorf("%s: %v", line, err)
		}
		return
	case words[0] == "go" && words[1] == "test":
		testsExist(t, root, words[2:])
		return
	case words[0] == "go":
		if words[2] != "./cmd/leadline" {
			t.Errorf("%s: runs something else than ./cmd/leadline", line)
		}
		words = words[3:]
	default:
		words = words[1:]
	}
	if slices.Contains(words, "--example") && words[0] == "check" {
		if seen["long "+words[0]] {
			return // once is enough
		}
		seen["long "+words[0]] = true
	}
	t.Chdir(dir)
	o := leadline(words...)
	allowed := []int{0}
	if words[0] == "check" || words[0] == "compare" {
		allowed = []int{0, exitDiffers, exitUndecided}
	}
	if words[0] == "check" && slices.Contains(words, "--example") {
		allowed = []int{exitDiffers}
	}
	if !slices.Contains(allowed, o.code) {
		t.Errorf("%s: exit %d, want one of %v: %s", line, o.code, allowed, o.stderr)
	}
	for i, w := range words[:len(words)-1] {
		if slices.Contains([]string{"--report", "--data", "--sheet", "--survey", "--tables", "--responses"}, w) {
			if _, err := os.Stat(words[i+1]); err != nil {
				t.Errorf("%s: it did not write %s: %v", line, words[i+1], err)
			}
		}
	}
}

// testsExist looks whether go test's packages are there and its pattern names tests, benchmarks or fuzz targets.
func testsExist(t *testing.T, root string, args []string) {
	t.Helper()
	t.Chdir(root)
	var packages, patterns []string
	for i := 0; i < len(args); i++ {
		switch a := args[i]; {
		case strings.HasPrefix(a, "./"):
			packages = append(packages, a)
		case a == "-run" || a == "-bench" || a == "-fuzz":
			i++
			if args[i] != "XXX" {
				patterns = append(patterns, args[i])
			}
		case strings.HasPrefix(a, "-") && i+1 < len(args) && !strings.HasPrefix(args[i+1], "-"):
			i++
		}
	}
	if len(packages) == 0 {
		packages = []string{"."}
	}
	if out, err := exec.Command("go", append([]string{"list"}, packages...)...).CombinedOutput(); err != nil {
		t.Errorf("%v: %v\n%s", packages, err, out)
	}
	for _, p := range patterns {
		if p == "." {
			continue
		}
		out, err := exec.Command("go", append([]string{"test", "-list", p}, packages...)...).CombinedOutput()
		if err != nil || !regexp.MustCompile(`(?m)^(Test|Benchmark|Fuzz)`).Match(out) {
			t.Errorf("go test -list %s %v: %v\n%s", p, packages, err, out)
		}
	}
}

// The survey that README shows is one that the program takes.
func TestReadmeSurvey(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, m := range fence.FindAllSubmatch(raw, -1) {
		if string(m[1]) != "toml" || !bytes.Contains(m[2], []byte("[[position]]")) {
			continue
		}
		n++
		survey := filepath.Join(t.TempDir(), "survey.toml")
		if err := os.WriteFile(survey, m[2], 0o644); err != nil {
			t.Fatal(err)
		}
		if o := leadline("predict", survey, "--data", filepath.Join(t.TempDir(), "prediction.json")); o.code != 0 {
			t.Errorf("exit %d: %s", o.code, o.stderr)
		}
	}
	if n == 0 {
		t.Error("README shows no survey")
	}
}

// The page of all commands is what their help says; -update writes it anew.
func TestCommandsPage(t *testing.T) {
	var b strings.Builder
	b.WriteString("# Commands\n\nMade from the commands' own help by `go test ./cmd/leadline -run CommandsPage -update`; a test keeps it up to date.\n")
	visit(newRoot(new(int), io.Discard, io.Discard), func(c *cobra.Command) {
		if c.HasParent() && c.Parent().Name() == "completion" {
			return // one for each shell, all alike
		}
		o := leadline(append(strings.Fields(c.CommandPath())[1:], "--help")...)
		fmt.Fprintf(&b, "\n## %s\n\n%s\n\n```text\n%s\n```\n", c.CommandPath(), c.Short+".", strings.TrimSpace(o.stdout))
	})
	path := filepath.Join("docs", "commands.md")
	if *update {
		if err := os.MkdirAll("docs", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("%s is not what the commands say: go test ./cmd/leadline -run CommandsPage -update", path)
	}
}

// Completion scripts come for every shell, and complete commands, flags and files of the right kind.
func TestCompletion(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		if o := leadline("completion", shell); o.code != 0 || !strings.Contains(o.stdout, "leadline") || o.stderr != "" {
			t.Errorf("%s: exit %d, %d bytes, %s", shell, o.code, len(o.stdout), o.stderr)
		}
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"__complete", "co"}, "compare\t"},
		{[]string{"__complete", "check", "--ta"}, "--tables\t"},
		{[]string{"__complete", "check", ""}, "toml\n:8"},     // files of that extension
		{[]string{"__complete", "compare", ""}, "json\n:8"},   //
		{[]string{"__complete", "check", "a.toml", ""}, ":4"}, // no second one
	} {
		if o := leadline(c.args...); !strings.Contains(o.stdout, c.want) {
			t.Errorf("%v: %q lacks %q", c.args, o.stdout, c.want)
		}
	}
}
