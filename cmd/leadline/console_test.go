package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestQuietAndVerbose(t *testing.T) {
	dir := t.TempDir()
	wav := filepath.Join(dir, "sweep.wav")
	sweep := func(flags ...string) outcome {
		return leadline(append([]string{"sweep", wav, "--rate-hz", "48000", "--seconds", "0.2"}, flags...)...)
	}
	if o := sweep(); o.code != 0 || o.stderr != "" || !strings.Contains(o.stdout, "start quiet") {
		t.Errorf("plain: %+v", o)
	}
	if o := sweep("--quiet"); o != (outcome{}) {
		t.Errorf("quiet: %+v, want nothing", o)
	}
	if o := sweep("-v"); o.code != 0 || !strings.Contains(o.stderr, "wrote "+wav) {
		t.Errorf("verbose: %+v", o)
	}
	if o := leadline("sweep", "-", "--rate-hz", "48000", "--seconds", "0.2", "-q"); o.code != 0 || !strings.HasPrefix(o.stdout, "RIFF") || o.stderr != "" {
		t.Errorf("quiet with -: exit %d, %d bytes, %q", o.code, len(o.stdout), o.stderr)
	}
	if o := sweep("-q", "-v"); o.code != exitUsage || !strings.Contains(o.stderr, "--quiet and --verbose") {
		t.Errorf("both: %+v", o)
	}
	if o := leadline("sweep", wav, "-q"); o.code != exitUsage || !strings.Contains(o.stderr, "--rate-hz") {
		t.Errorf("quiet hides an error: %+v", o)
	}
}

// Colour only on a terminal, and there only where NO_COLOR and TERM allow it.
func TestColour(t *testing.T) {
	terminal := openTerminal(t)
	file, err := os.Create(filepath.Join(t.TempDir(), "log"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, c := range []struct {
		where         *os.File
		noColor, term string
		want          bool
	}{
		{terminal, "", "xterm", true}, {terminal, "1", "xterm", false}, {terminal, "0", "xterm", false}, {terminal, "", "dumb", false}, {file, "", "xterm", false},
	} {
		t.Setenv("NO_COLOR", c.noColor)
		t.Setenv("TERM", c.term)
		if got := strings.Contains(highlight(c.where, "warning:"), "\x1b"); got != c.want {
			t.Errorf("%s, NO_COLOR=%q, TERM=%q: colour %v, want %v", c.where.Name(), c.noColor, c.term, got, c.want)
		}
	}
}
