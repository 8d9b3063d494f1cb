//go:build unix

package dsp

import "syscall"

// processorSeconds is what this process has taken of all processors so far.
func processorSeconds() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return float64(r.Utime.Nano()+r.Stime.Nano()) / 1e9
}
