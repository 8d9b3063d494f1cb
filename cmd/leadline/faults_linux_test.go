package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// smallDisk mounts a file system of some kilobytes in memory.
func smallDisk(t *testing.T, kilobytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dk", kilobytes)); err != nil {
		t.Skip("a small file system can't be mounted here, which takes root's rights:", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

func TestDiskFull(t *testing.T) {
	survey := tiny(t, t.TempDir())
	disk := smallDisk(t, 64)
	html := write(t, filepath.Join(disk, "r.html"), "old")
	write(t, filepath.Join(disk, "filler"), strings.Repeat("x", 40<<10))
	refusedWith(t, leadline("check", survey, "--report", html), "no space left on device; nothing was written", html)
	noTemporaries(t, disk)

	// room for one output of two
	data := filepath.Join(t.TempDir(), "r.json")
	o := leadline("check", survey, "--data", data, "--report", html)
	refused(t, o, data)
	noTemporaries(t, filepath.Dir(data))
	refused(t, leadline("example", filepath.Join(disk, "example")), filepath.Join(disk, "example", exampleSurvey))
}

func TestReadOnlyFileSystem(t *testing.T) {
	survey := tiny(t, t.TempDir())
	disk := smallDisk(t, 64)
	html := write(t, filepath.Join(disk, "r.html"), "old")
	if err := unix.Mount("", disk, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Skip(err)
	}
	refusedWith(t, leadline("check", survey, "--report", html), "read-only file system", html)
	refusedWith(t, leadline("check", survey, "--report", filepath.Join(disk, "new.html")), "read-only file system; nothing was written", html)
}

// The system's limit on the size of files stops a write in its middle, as a quota does; that needs no rights.
func TestFileSizeLimit(t *testing.T) {
	dir := t.TempDir()
	survey := tiny(t, dir)
	html := write(t, filepath.Join(dir, "r.html"), "old")
	cmd := process(t, "check", survey, "--report", html)
	limited := exec.Command("sh", append([]string{"-c", `ulimit -f 16; exec "$@"`, "sh"}, cmd.Args...)...)
	limited.Env = cmd.Env
	out, err := limited.CombinedOutput()
	if !isExit(err, exitUsage) || !strings.Contains(string(out), "file too large; nothing was written") || read(t, html) != "old" {
		t.Errorf("%v: %s", err, out)
	}
	noTemporaries(t, dir)
}

func TestFullStandardOutput(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip(err)
	}
	defer full.Close()
	cmd := process(t, "check", tiny(t, t.TempDir()))
	var stderr strings.Builder
	cmd.Stdout, cmd.Stderr = full, &stderr
	if err := cmd.Run(); !isExit(err, exitUsage) || !strings.Contains(stderr.String(), "standard output: no space left on device") {
		t.Errorf("%v: %s", err, stderr.String())
	}
}

// A power failure must not find a name without its content: the file is flushed before it is renamed, the folder after.
func TestFlushedBeforeRenamed(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed: .ci/test installs it")
	}
	dir := t.TempDir()
	survey := tiny(t, dir)
	trace := filepath.Join(t.TempDir(), "trace")
	cmd := process(t, "check", survey, "--report", filepath.Join(dir, "r.html"))
	traced := exec.Command(strace, append([]string{"-f", "-o", trace, "-e", "trace=openat,fsync,rename,renameat,renameat2"}, cmd.Args...)...)
	traced.Env = cmd.Env
	if out, err := traced.CombinedOutput(); !isExit(err, exitUndecided) {
		t.Skipf("processes can't be traced here: %v: %s", err, out)
	}
	log := read(t, trace)
	opened, renamed := strings.Index(log, "/.leadline-"), strings.Index(log, "rename")
	if opened < 0 || renamed < opened || !strings.Contains(log[opened:renamed], "fsync(") || !strings.Contains(log[renamed:], "fsync(") {
		t.Errorf("not in order:\n%s", log)
	}
}
