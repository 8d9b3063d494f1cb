package dsp

import (
	"errors"
	"io"
)

// Audio holds de-interleaved samples, scaled so that integer full scale is ±1 (float files as they are).
type Audio struct {
	SampleRateHz  int
	Channels      [][]float64 // Channels[c][i]: channel c, frame i; all of one length
	BitsPerSample int         // as stored in the file, for clipping detection
	Float         bool        // samples were stored as IEEE floats
	Notes         []string    // harmless oddities met, each with file, chunk and byte offset
}

// WAVInfo says what a WAV file holds.
type WAVInfo struct {
	SampleRateHz  int
	Channels      int
	Frames        int64 // samples per channel
	BitsPerSample int
	Float         bool
}

// WAVError says why a WAV file can't be read right.
type WAVError struct {
	File, Chunk         string
	Offset              int64 // byte offset in the file
	Found, Expected, Do string
}

func (e *WAVError) Error() string { return e.File + ": " + e.Found }

// WAVStream reads a WAV file block by block. It is not safe for concurrent use.
type WAVStream struct {
	info WAVInfo
}

var errSkeleton = errors.New("WAV reading is being written")

// OpenWAV opens a file for reading block by block.
func OpenWAV(path string) (*WAVStream, error) { return nil, errSkeleton }

// Info says what the file holds.
func (s *WAVStream) Info() WAVInfo { return s.info }

// Notes lists the harmless oddities met so far.
func (s *WAVStream) Notes() []string { return nil }

// ReadFrames fills dst[c] with the next samples of channel c+1 (a nil dst[c] skips that channel;
// the others are of one length) and returns the number of frames read; io.EOF after the last.
func (s *WAVStream) ReadFrames(dst [][]float64) (n int, err error) { return 0, errSkeleton }

// Close closes the file.
func (s *WAVStream) Close() error { return nil }

// ReadWAV reads a whole WAV file.
func ReadWAV(path string) (*Audio, error) { return nil, errSkeleton }

// DecodeWAV reads a whole WAV file of size bytes from r; name is for error texts.
func DecodeWAV(r io.ReaderAt, size int64, name string) (*Audio, error) { return nil, errSkeleton }

// ReadWAVChannel reads one channel, numbered from 1; the result has that channel only.
func ReadWAVChannel(path string, channel int) (*Audio, error) { return nil, errSkeleton }
