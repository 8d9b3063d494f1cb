package main

import (
	"fmt"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// openTerminal returns the far end of a new pseudo-terminal.
func openTerminal(t *testing.T) *os.File {
	t.Helper()
	near, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { near.Close() })
	if err := unix.IoctlSetPointerInt(int(near.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Skip(err)
	}
	n, err := unix.IoctlGetInt(int(near.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Skip(err)
	}
	far, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { far.Close() })
	return far
}
