package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
)

// fiveTiny writes the survey of five places, whose check goes all the way to the depths, and its files into dir.
func fiveTiny(t *testing.T, dir string) string {
	t.Helper()
	survey := tiny(t, dir)
	write(t, survey, fiveTinyPlaces)
	write(t, filepath.Join(dir, "panel.wav"), string(tinyWAV(t, 47, 93, 97)))
	return survey
}

// checked is all that a check of a survey puts out, in one text.
func checked(t *testing.T, cmd *exec.Cmd, dir string) string {
	t.Helper()
	html, data := filepath.Join(dir, "r.html"), filepath.Join(dir, "r.json")
	cmd.Args = append(cmd.Args, "--report", html, "--data", data)
	var stdout, stderr strings.Builder
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); cmd.ProcessState == nil || !slices.Contains([]int{exitAsDesigned, exitDiffers, exitUndecided}, cmd.ProcessState.ExitCode()) {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	return fmt.Sprint(cmd.ProcessState.ExitCode(), stdout.String(), stderr.String(), read(t, html), read(t, data))
}

// The same input gives the same bytes, run after run, on one thread, on two and on more than there are.
func TestSameInputSameBytes(t *testing.T) {
	surveys := map[string]string{"five places": fiveTiny(t, t.TempDir())}
	if !testing.Short() {
		survey := example(t)
		edit(t, survey, keepPositions(5))
		surveys["example"] = survey
	}
	for name, survey := range surveys {
		t.Run(name, func(t *testing.T) {
			first := ""
			for _, threads := range []string{"1", "1", "2", "7"} {
				cmd := process(t, "check", survey)
				cmd.Env = append(cmd.Env, "GOMAXPROCS="+threads)
				switch got := checked(t, cmd, t.TempDir()); {
				case first == "":
					first = got
				case got != first:
					at := 0
					for at < min(len(got), len(first)) && got[at] == first[at] {
						at++
					}
					t.Fatalf("on %s threads another output, from byte %d on: %.80q, before %.80q", threads, at, got[at:], first[at:])
				}
			}
		})
	}
}

// No output holds a date, so none has to be injected: the clock serves the progress bar and --verbose alone.
func TestNoClockInResults(t *testing.T) {
	files, err := filepath.Glob("../../*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	more, err := filepath.Glob("../../*/*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range append(files, more...) {
		base := filepath.Base(file)
		if strings.HasSuffix(base, "_test.go") || base == "progress.go" || base == "console.go" {
			continue
		}
		if strings.Contains(read(t, file), "time.Now()") {
			t.Errorf("%s asks for the time", file)
		}
	}
}

// The figures on another processor are the same but for rounding: arm64 fuses multiplications with additions, and runs the portable twin of the
// assembly that amd64 has.
func TestOtherProcessor(t *testing.T) {
	if runtime.GOOS != "linux" || runtime.GOARCH != "amd64" {
		t.Skip("compares amd64 with an emulated arm64, on Linux")
	}
	emulator := ""
	for _, name := range []string{"qemu-aarch64", "qemu-aarch64-static"} {
		if path, err := exec.LookPath(name); err == nil {
			emulator = path
		}
	}
	if emulator == "" {
		t.Skip("qemu-aarch64 is not installed: .ci/test installs it (qemu-user)")
	}
	program := filepath.Join(t.TempDir(), "leadline")
	build := exec.Command("go", "build", "-o", program, ".")
	build.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	survey := fiveTiny(t, t.TempDir())
	here, there := t.TempDir(), t.TempDir()
	checked(t, process(t, "check", survey), here)
	checked(t, exec.Command(emulator, program, "check", survey), there)
	var a, b any
	for dir, to := range map[string]*any{here: &a, there: &b} {
		if err := json.Unmarshal([]byte(read(t, filepath.Join(dir, "r.json"))), to); err != nil {
			t.Fatal(err)
		}
	}
	figures, worst := 0, 0.0
	sameFigures(t, "result", a, b, &figures, &worst)
	if figures < 1000 {
		t.Errorf("only %d figures compared", figures)
	}
	t.Logf("%d figures; the largest difference is %.2g, relative where above 1", figures, worst)
}

// processorTolerance is what another processor's rounding may change in a figure, relative where that is above 1: rounding is 1e-16, and the fits and
// subtractions between it and the result magnify it by no more than 1e8.
const processorTolerance = 1e-8

func sameFigures(t *testing.T, path string, a, b any, figures *int, worst *float64) {
	switch x := a.(type) {
	case map[string]any:
		y, ok := b.(map[string]any)
		if !ok || len(x) != len(y) {
			t.Fatalf("%s: other keys", path)
		}
		for key := range x {
			sameFigures(t, path+"."+key, x[key], y[key], figures, worst)
		}
	case []any:
		y, ok := b.([]any)
		if !ok || len(x) != len(y) {
			t.Fatalf("%s: another length", path)
		}
		for i := range x {
			sameFigures(t, fmt.Sprintf("%s[%d]", path, i), x[i], y[i], figures, worst)
		}
	case float64:
		y, ok := b.(float64)
		difference := math.Abs(x-y) / max(1, math.Abs(x))
		if *figures++; !ok || difference > processorTolerance {
			t.Errorf("%s: %v and %v", path, a, b)
		}
		*worst = max(*worst, difference)
	default:
		if a != b && !sameSamples(a, b) {
			t.Errorf("%s: %v and %v", path, a, b)
		}
	}
}

// sameSamples compares stretches of responses, which the data hold as 32-bit floats.
func sameSamples(a, b any) bool {
	var x, y analysis.Samples
	for v, to := range map[any]*analysis.Samples{a: &x, b: &y} {
		text, err := json.Marshal(v)
		if err != nil || to.UnmarshalJSON(text) != nil {
			return false
		}
	}
	for i := range x {
		if len(y) != len(x) || math.Abs(float64(x[i]-y[i])) > 1e-6*math.Max(1, math.Abs(float64(x[i]))) {
			return false
		}
	}
	return len(x) > 0
}
