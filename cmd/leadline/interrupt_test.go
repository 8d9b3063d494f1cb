package main

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
)

// firstWord keeps what is written to it, and tells when that begins.
type firstWord struct {
	strings.Builder
	said chan struct{}
	once sync.Once
}

func (w *firstWord) Write(p []byte) (int, error) {
	w.once.Do(func() { close(w.said) })
	return w.Builder.Write(p)
}

// Interrupted at moments all along a check of the virtual bench, the command says so, ends with the code of wrong use and leaves neither a result nor a temporary file.
// A run that was faster must be whole.
func TestInterruptedUnderWay(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("processes can't be sent an interrupt there")
	}
	survey, err := filepath.Abs("../../fixtures/virtual-bench/room-b-panel-built-1.toml")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	if err := process(t, "check", survey).Run(); !isExit(err, exitDiffers) {
		t.Fatal(err)
	}
	lasts := time.Since(start)
	interrupted := 0
	for part := range 7 {
		dir := t.TempDir()
		targets := []string{filepath.Join(dir, "r.html"), filepath.Join(dir, "r.json")}
		cmd := process(t, "check", survey, "--verbose", "--report", targets[0], "--data", targets[1])
		stderr := firstWord{said: make(chan struct{})}
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if part == 0 {
			time.Sleep(20 * time.Millisecond)
		} else {
			select {
			case <-stderr.said: // by now it listens for signals
			case <-time.After(time.Minute):
			}
			time.Sleep(lasts * time.Duration(part-1) / 7)
		}
		_ = cmd.Process.Signal(os.Interrupt) // it may have ended by itself
		err := cmd.Wait()
		noTemporaries(t, dir)
		switch {
		case isExit(err, exitDiffers):
			for _, path := range targets {
				read(t, path)
			}
		case isExit(err, exitUsage) && strings.Contains(stderr.String(), "interrupted"):
			interrupted++
			for _, path := range targets {
				if _, err := os.Stat(path); err == nil {
					t.Errorf("interrupted at moment %d, but %s is there", part, filepath.Base(path))
				}
			}
		case part == 0 && !cmd.ProcessState.Exited():
			// before it listens for signals, the system ends it
		default:
			t.Errorf("interrupted at moment %d: %v: %s", part, err, stderr.String())
		}
	}
	if interrupted == 0 {
		t.Error("no run was under way when it was interrupted")
	}
}
