package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestMain lets the test binary stand for the command, so that a process of its own can be killed, starved and cut off.
func TestMain(m *testing.M) {
	if os.Getenv("LEADLINE_AS_COMMAND") != "" {
		main()
	}
	os.Exit(m.Run())
}

// process is the command as a process of its own.
func process(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), "LEADLINE_AS_COMMAND=1")
	return cmd
}

func read(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func write(t testing.TB, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// temporaries lists what a run leaves beside its targets.
func temporaries(t *testing.T, dir string) []string {
	t.Helper()
	left, err := filepath.Glob(filepath.Join(dir, ".leadline-*"))
	if err != nil {
		t.Fatal(err)
	}
	return left
}

func noTemporaries(t *testing.T, dir string) {
	t.Helper()
	if left := temporaries(t, dir); len(left) > 0 {
		t.Errorf("temporary files left: %v", left)
	}
}

// refusedWith is refused, with words that the message must hold, and an old report that must still be whole.
func refusedWith(t *testing.T, o outcome, words, oldReport string) {
	t.Helper()
	refused(t, o)
	if !strings.Contains(o.stderr, words) {
		t.Errorf("%q does not say %q", o.stderr, words)
	}
	if oldReport != "" && read(t, oldReport) != "old" {
		t.Error("the old report is gone")
	}
}

func TestTargetIsAFolder(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	refusedWith(t, leadline("check", survey, "--report", dir), "is a folder", "")
	refusedWith(t, leadline("check", survey, "--report", filepath.Join(dir, "nowhere", "r.html")), "no such file or directory; nothing was written", "")
	refusedWith(t, leadline("check", dir, "--report", filepath.Join(dir, "r.html")), "is a directory", "")
	noTemporaries(t, dir)
}

func TestTargetIsWriteProtected(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	html := write(t, filepath.Join(dir, "r.html"), "old")
	if err := os.Chmod(html, 0o444); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(dir, "r.json")
	o := leadline("check", survey, "--data", data, "--report", html)
	refusedWith(t, o, "write-protected", html)
	refused(t, o, data)
	noTemporaries(t, dir)
}

// What a file may be read and written by stays as it was.
func TestTargetKeepsItsMode(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	html := write(t, filepath.Join(dir, "r.html"), "old")
	if err := os.Chmod(html, 0o600); err != nil {
		t.Fatal(err)
	}
	if o := leadline("check", survey, "--report", html); o.code != exitUndecided {
		t.Fatalf("%+v", o)
	}
	if info, err := os.Stat(html); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info.Mode(), err)
	}
}

func TestOutputsSpareInputs(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	for _, target := range []string{survey, filepath.Join(dir, "panel.wav"), filepath.Join(dir, ".", "empty.wav")} {
		before := read(t, target)
		for _, flag := range []string{"--report", "--data"} {
			for _, command := range []string{"check", "predict"} {
				refusedWith(t, leadline(command, survey, flag, target), "one of the files to be read", "")
			}
		}
		if read(t, target) != before {
			t.Fatalf("%s was written over", target)
		}
	}
	room := write(t, filepath.Join(dir, "room.toml"), planExample)
	refusedWith(t, leadline("plan", room, "--sheet", room), "one of the files to be read", "")
	one := filepath.Join(dir, "one")
	refusedWith(t, leadline("check", survey, "--report", one, "--data", filepath.Join(dir, ".", "one")), "one file", "")
	refused(t, leadline("check", survey, "--report", "-", "--data", "-"))
	noTemporaries(t, dir)
}

// A device gets the content and stays a device.
func TestTargetIsADevice(t *testing.T) {
	survey := tiny(t, t.TempDir())
	if o := leadline("check", survey, "--report", os.DevNull, "--data", os.DevNull); o.code != exitUndecided {
		t.Errorf("%+v", o)
	}
	if info, err := os.Stat(os.DevNull); err != nil || info.Mode().IsRegular() {
		t.Fatalf("%s is no device any more: %v %v", os.DevNull, info, err)
	}
}

func TestLinks(t *testing.T) {
	dir, elsewhere := t.TempDir(), t.TempDir()
	survey := tiny(t, dir)
	link := func(to, name string) string {
		path := filepath.Join(dir, name)
		if err := os.Symlink(to, path); err != nil {
			t.Skip("no symbolic links here:", err)
		}
		return path
	}
	old := write(t, filepath.Join(elsewhere, "old.html"), "old")
	relative, err := filepath.Rel(dir, elsewhere)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ link, file string }{
		{link(old, "to file.html"), old},
		{link("to file.html", "to link.html"), old},
		{link(filepath.Join(relative, "new.html"), "to nothing.html"), filepath.Join(elsewhere, "new.html")},
		{filepath.Join(link(elsewhere, "to folder"), "x.html"), filepath.Join(elsewhere, "x.html")},
	} {
		if o := leadline("check", survey, "--report", c.link); o.code != exitUndecided {
			t.Fatalf("%s: %+v", c.link, o)
		}
		if !strings.Contains(read(t, c.file), "<title>") {
			t.Errorf("%s: the report is not at the link's end", c.link)
		}
		write(t, c.file, "old")
		if read(t, c.link) != "old" {
			t.Errorf("%s is no link any more", c.link)
		}
	}
	refusedWith(t, leadline("check", survey, "--report", link("round.html", "round.html")), "leads back to itself", "")
	refusedWith(t, leadline("check", survey, "--report", link("panel.wav", "to input.html")), "one of the files to be read", "")
	noTemporaries(t, dir)
	noTemporaries(t, elsewhere)

	// inputs through links, in and out of the folder
	write(t, filepath.Join(elsewhere, "panel.wav"), read(t, filepath.Join(dir, "panel.wav")))
	edit(t, survey, func(s string) string { return strings.Replace(s, "panel.wav", "linked.wav", 1) })
	link("panel.wav", "linked.wav")
	if o := leadline("check", survey); o.code != exitUndecided || strings.Contains(o.stderr, "outside") {
		t.Errorf("%+v", o)
	}
	os.Remove(filepath.Join(dir, "linked.wav"))
	link(filepath.Join(elsewhere, "panel.wav"), "linked.wav")
	if o := leadline("check", survey); o.code != exitUndecided || !strings.Contains(o.stderr, `"linked.wav" lies outside the survey's folder`) {
		t.Errorf("%+v", o)
	}
}

// Files outside the survey's folder are read, said, and left as they are.
func TestSurveyLeavesItsFolder(t *testing.T) {
	whole := t.TempDir()
	dir, other := filepath.Join(whole, "survey"), filepath.Join(whole, "other")
	for _, d := range []string{dir, other} {
		if err := os.Mkdir(d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	survey := tiny(t, dir)
	panel := write(t, filepath.Join(other, "panel.wav"), read(t, filepath.Join(dir, "panel.wav")))
	before := listing(t, other)
	for _, path := range []string{"../other/panel.wav", filepath.ToSlash(panel)} {
		edit(t, survey, func(string) string { return strings.Replace(tinySurvey, "panel.wav", path, 1) })
		o := leadline("check", survey, "--report", filepath.Join(dir, "r.html"))
		if o.code != exitUndecided || !strings.Contains(o.stderr, fmt.Sprintf("%q lies outside the survey's folder", path)) {
			t.Errorf("%s: %+v", path, o)
		}
	}
	edit(t, survey, func(string) string { return strings.Replace(tinySurvey, "panel.wav", "../survey/./panel.wav", 1) })
	if o := leadline("check", survey); o.code != exitUndecided || strings.Contains(o.stderr, "outside") {
		t.Errorf("%+v", o)
	}
	if after := listing(t, other); after != before {
		t.Errorf("the other folder changed from\n%s to\n%s", before, after)
	}
}

// listing is what a folder holds, with times and sizes.
func listing(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		fmt.Fprintln(&b, path, info.Mode(), info.Size(), info.ModTime())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var oddNames = []string{"two words", `'single' "double" quotes`, "a\nnew line", "ümläut 吸音 \U0001F509", "e\u0301 apart", `C:\rig\panel`, "C:panel", "%20;$(x)`y`&|<>*?", "-dash", "tab\tand \x1b[31mescape", "\u202eright to left"}

// Any path that the system bears will do, for folders, surveys, recordings and outputs.
func TestOddPaths(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows forbids most of these names")
	}
	for _, name := range oddNames {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), name)
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			survey := tiny(t, dir)
			odd := filepath.Join(dir, name)
			for from, to := range map[string]string{survey: odd + ".toml", filepath.Join(dir, "panel.wav"): odd + ".wav"} {
				if err := os.Rename(from, to); err != nil {
					t.Fatal(err)
				}
			}
			survey = odd + ".toml"
			edit(t, survey, func(s string) string { return strings.Replace(s, `"panel.wav"`, tomlText(name+".wav"), 1) })
			html := odd + ".html"
			if o := leadline("check", survey, "--report", html, "--data="+odd+".json"); o.code != exitUndecided {
				t.Fatalf("%+v", o)
			}
			if page := read(t, html); !strings.HasSuffix(strings.TrimSpace(page), "</html>") || strings.Contains(page, "\x1b") {
				t.Error("no whole report")
			}
			os.Remove(odd + ".wav")
			o := leadline("check", survey)
			refused(t, o)
			if strings.ContainsAny(o.stderr, "\x1b\u202e\t") {
				t.Errorf("the message %q could disturb a terminal", o.stderr)
			}
		})
	}
}

// tomlText is a basic string of TOML.
func tomlText(s string) string {
	var b strings.Builder
	for _, c := range s {
		if c < ' ' || c == '"' || c == '\\' {
			fmt.Fprintf(&b, `\u%04X`, c)
		} else {
			b.WriteRune(c)
		}
	}
	return `"` + b.String() + `"`
}

// A path as Windows writes it is looked for as it stands, and the message says what to write.
func TestDriveForms(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("there it is a path like any other")
	}
	survey := tiny(t, t.TempDir())
	for path, words := range map[string]string{
		`'C:\takes\panel.wav'`: "write / between folders", `'takes\panel.wav'`: "write / between folders",
		`"C:\takes\panel.wav"`: "write / between folders", `"C:/takes/panel.wav"`: "no folder", `'\\server\share\panel.wav'`: "write / between folders",
	} {
		edit(t, survey, func(string) string { return strings.Replace(tinySurvey, `"panel.wav"`, path, 1) })
		refusedWith(t, leadline("check", survey), words, "")
	}
}

// A file that ends anywhere before its end is refused by name, and so is one that is missing; an old report stays.
func TestHalfCopiedFiles(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	html := write(t, filepath.Join(dir, "r.html"), "old")
	panel := filepath.Join(dir, "panel.wav")
	whole := read(t, panel)
	lengths := []int{0, 1, 11, 12, 19, 20, 35, 36, 43, 44, 45, 46, len(whole) / 2, len(whole) - 2, len(whole) - 1}
	for _, n := range lengths {
		write(t, panel, whole[:n])
		refusedWith(t, leadline("check", survey, "--report", html), "panel.wav", html)
	}
	os.Remove(panel)
	refusedWith(t, leadline("check", survey, "--report", html), "panel.wav", html)
	if err := os.Mkdir(panel, 0o755); err != nil {
		t.Fatal(err)
	}
	refusedWith(t, leadline("check", survey, "--report", html), "panel.wav", html)
	noTemporaries(t, dir)
}

// brokenPipe takes some bytes and then no more.
type brokenPipe struct{ left int }

func (p *brokenPipe) Write(b []byte) (int, error) {
	n := min(p.left, len(b))
	p.left -= n
	if n < len(b) {
		return n, errors.New("broken pipe")
	}
	return n, nil
}

// Standard output that ends early is an error, and the files are whole none the less.
func TestInterruptedStandardOutput(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	html, data := filepath.Join(dir, "r.html"), filepath.Join(dir, "r.json")
	if o := leadline("check", survey, "--report", html, "--data", data); o.code != exitUndecided {
		t.Fatalf("%+v", o)
	}
	wholeHTML := read(t, html)
	for _, args := range [][]string{{"check", survey, "--report", html}, {"check", survey, "--report", html, "--data", "-"}} {
		for _, most := range []int{0, 1, 100} {
			os.Remove(html)
			var stderr bytes.Buffer
			code := run(context.Background(), args, &brokenPipe{most}, &stderr)
			if code != exitUsage || !strings.Contains(stderr.String(), "standard output: broken pipe") {
				t.Errorf("%v after %d bytes: exit %d: %s", args, most, code, stderr.String())
			}
			if read(t, html) != wholeHTML {
				t.Errorf("%v after %d bytes: the report is not whole", args, most)
			}
		}
	}

	// a reader that goes away ends the process as it ends any other, with whole files
	if runtime.GOOS == "windows" {
		return
	}
	os.Remove(html)
	cmd := process(t, "check", survey, "--report", html, "--data", "-")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	out.Close()
	var exit *exec.ExitError
	if err := cmd.Wait(); !errors.As(err, &exit) {
		t.Errorf("ended with %v", err)
	}
	if read(t, html) != wholeHTML {
		t.Error("the report is not whole")
	}
	noTemporaries(t, dir)
}

// Runs at once into one target: what stands there in the end is all of one of them.
func TestTwoRunsIntoOneTarget(t *testing.T) {
	dir := t.TempDir()
	html := filepath.Join(dir, "r.html")
	var surveys []string
	whole := map[string]bool{}
	for _, title := range []string{"First", "Second"} {
		sub := filepath.Join(dir, title)
		if err := os.Mkdir(sub, 0o755); err != nil {
			t.Fatal(err)
		}
		survey := tiny(t, sub)
		edit(t, survey, func(s string) string { return strings.Replace(s, "Tiny", title, 1) })
		if o := leadline("check", survey, "--report", html); o.code != exitUndecided {
			t.Fatalf("%+v", o)
		}
		whole[read(t, html)] = true
		surveys = append(surveys, survey)
	}
	for range 3 {
		var wait sync.WaitGroup
		for i := range 4 {
			wait.Go(func() {
				if o := leadline("check", surveys[i%2], "--report", html); o.code != exitUndecided {
					t.Errorf("%+v", o)
				}
			})
		}
		wait.Wait()
		if !whole[read(t, html)] {
			t.Fatal("the report is of neither run")
		}
	}
	noTemporaries(t, dir)
}

// Killed at any moment, a run leaves the old files or the new ones, each whole, and beside them at most one temporary file for each target.
func TestKilledAtAnyMoment(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	targets := []string{filepath.Join(dir, "r.html"), filepath.Join(dir, "r.json")}
	args := []string{"check", survey, "--report", targets[0], "--data", targets[1]}
	start := time.Now()
	if err := process(t, args...).Run(); !isExit(err, exitUndecided) {
		t.Fatal(err)
	}
	lasts := time.Since(start)
	old := []string{read(t, targets[0]), read(t, targets[1])}
	edit(t, survey, func(s string) string { return strings.Replace(s, "Tiny", "Renewed", 1) })
	if err := process(t, args...).Run(); !isExit(err, exitUndecided) {
		t.Fatal(err)
	}
	renewed := []string{read(t, targets[0]), read(t, targets[1])}
	if old[0] == renewed[0] || old[1] == renewed[1] {
		t.Fatal("old and new can't be told apart")
	}
	kept := listedNames(t, dir)

	kills := 200
	if testing.Short() {
		kills = 30
	}
	count := map[string]int{}
	for i := range kills {
		for k := range targets {
			write(t, targets[k], old[k])
		}
		cmd := process(t, args...)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if i%4 == 0 {
			time.Sleep(rand.N(lasts + lasts/4))
		} else { // three in four while it writes
			for until := time.Now().Add(10 * lasts); len(temporaries(t, dir)) == 0 && time.Now().Before(until); {
				time.Sleep(20 * time.Microsecond)
			}
			time.Sleep(rand.N(3 * time.Millisecond))
		}
		_ = cmd.Process.Kill() // it may have ended by itself
		_ = cmd.Wait()
		state := ""
		for k, path := range targets {
			switch read(t, path) {
			case old[k]:
				state += "old "
			case renewed[k]:
				state += "new "
			default:
				t.Fatalf("kill %d: %s is neither the old nor the new one", i, path)
			}
		}
		left := temporaries(t, dir)
		if len(left) > len(targets) {
			t.Fatalf("%d temporary files", len(left))
		}
		if len(left) > 0 {
			state += "and temporary files"
		}
		for _, path := range left {
			os.Remove(path)
		}
		count[state]++
		if names := listedNames(t, dir); names != kept {
			t.Fatalf("kill %d: the folder holds %s, before %s", i, names, kept)
		}
	}
	t.Logf("%d kills; a whole run lasts %v; report and data afterwards: %v", kills, lasts.Round(time.Millisecond), count)
}

func isExit(err error, code int) bool {
	var exit *exec.ExitError
	return errors.As(err, &exit) && exit.ExitCode() == code
}

func listedNames(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return strings.Join(names, ", ")
}
