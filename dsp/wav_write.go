package dsp

import "io"

// WAVFormat is how samples are stored: 16, 24 or 32-bit integers, or 32 or 64-bit floats.
type WAVFormat struct {
	SampleRateHz, BitsPerSample int
	Float                       bool
}

// WriteWAV writes a as a WAV file.
func WriteWAV(w io.Writer, a *Audio, f WAVFormat) error { return errSkeleton }

// WriteWAVFile writes a to path: a temporary file in the same folder, flushed to disk, then renamed.
func WriteWAVFile(path string, a *Audio, f WAVFormat) error { return errSkeleton }
