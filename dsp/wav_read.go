package dsp

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"sync"

	"github.com/go-audio/riff"
)

// The layout of WAVE files follows the Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft,
// 1991, "WAVE"), Microsoft's "Multiple Channel Audio Data and WAVE Files" (WAVE_FORMAT_EXTENSIBLE), EBU Tech 3306 (RF64)
// and ITU-R BS.2088 (BW64); all from memory.

// Audio holds de-interleaved samples, scaled so that integer full scale is ±1 (float files as they are).
type Audio struct {
	SampleRateHz  int
	Channels      [][]float64 // Channels[c][i]: channel c, frame i; all of one length
	BitsPerSample int         // as stored in the file (the valid bits, where a wider block holds them), for clipping detection
	Float         bool        // the samples were stored as IEEE floats
	Notes         []string    // harmless oddities met, each with file, chunk and byte offset
}

// WAVInfo says what a WAV file holds.
type WAVInfo struct {
	SampleRateHz  int
	Channels      int
	Frames        int64 // samples per channel
	BitsPerSample int   // valid bits per sample
	Float         bool  // IEEE floats rather than integers
}

// WAVError says why a WAV file can't be read right, where, and what to do about it.
type WAVError struct {
	File   string
	Chunk  string // empty where the file as a whole is meant
	Offset int64  // byte offset in the file of what was found
	Found  string
	// Expected may be empty where Found says it all.
	Expected string
	Do       string

	cause error
}

// Error gives everything in one line.
func (e *WAVError) Error() string {
	place := ""
	if e.Chunk != "" {
		place = fmt.Sprintf("%s chunk, byte %d: ", e.Chunk, e.Offset)
	}
	expected := ""
	if e.Expected != "" {
		expected = ", expected " + e.Expected
	}
	return fmt.Sprintf("%s: %sfound %s%s; %s", e.File, place, e.Found, expected, e.Do)
}

// Unwrap gives the operating system's error, where there was one.
func (e *WAVError) Unwrap() error { return e.cause }

const (
	blockBytes    = 128 << 10  // of the file read at a time: stays in the cache while the channels are picked out of it
	maxChunks     = 4096       // no recorder writes as many; a hostile file of empty chunks would take minutes
	unknownLength = 0xFFFFFFFF // chunk size of a file written to a pipe, or whose size stands in ds64
	fmtMaxBytes   = 40         // of a fmt chunk that matter here

	// maxWholeBytes bounds the samples held at once: ten minutes of eight channels at 192 kHz just fit.
	maxWholeBytes = min(int64(8<<30), int64(math.MaxInt))
)

// blocks are kept from file to file: *[]byte, of blockBytes or of one frame that is longer.
var blocks = sync.Pool{New: func() any {
	b := make([]byte, blockBytes)
	return &b
}}

const (
	doExport  = "export it again as plain WAV: 16, 24 or 32-bit integer, or 32-bit float"
	doCopy    = "copy the file again from where it was recorded, or export it again"
	doRestore = "export it again from the program that recorded it; if the recording was interrupted, measure again"
)

// Format tags, and the last 14 bytes of the sub-format GUIDs that stand for them.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
	guidTail      = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71"
)

var compressedNames = map[uint16]string{
	0x0002: "Microsoft ADPCM", 0x0006: "A-law", 0x0007: "µ-law", 0x0011: "IMA ADPCM", 0x0031: "GSM 6.10",
	0x0050: "MPEG", 0x0055: "MP3", 0x0161: "WMA", 0xF1AC: "FLAC",
}

// Other files met where a WAV was meant, by their first four bytes.
var otherFiles = map[string]string{
	"RIFX": "a big-endian WAV file (RIFX)", "FORM": "an AIFF file", "fLaC": "a FLAC file", "OggS": "an Ogg file",
	"caff": "a Core Audio file", "riff": "a Wave64 file", "ID3\x03": "an MP3 file", "ID3\x04": "an MP3 file",
}

// WAVStream reads a WAV file block by block. It is not safe for concurrent use.
type WAVStream struct {
	r     io.ReaderAt
	file  io.Closer // nil unless the stream opened the file
	name  string
	size  int64
	info  WAVInfo
	notes []string

	dataOffset, dataBytes int64
	blockAlign, container int     // bytes per frame and per sample
	full                  float64 // integer value of full scale, in the container
	position              int64   // next frame

	// Where a block is wider than the valid bits they stand at its top. Some writers put them at the bottom, which shows
	// only in the data: the bits seen, and those that differ from the sign.
	padBits          int
	oddBlock         bool // the block is wider than the header's bits need, so the header doesn't say where they stand
	seen, magnitudes int32
}

// OpenWAV opens a WAV file for reading block by block: integers of 16, 24 and 32 bits (also 9 to 31 at the top of a wider
// block, and unsigned 8), IEEE floats of 32 and 64 bits, plain or extensible headers, RF64 and BW64, any number of channels,
// any sample rate. The header is read and checked here, every declared size against the file's. A file that can't be read right
// is refused with a *WAVError. Memory: a block of 128 KiB (or one frame) while reading.
func OpenWAV(path string) (*WAVStream, error) {
	unreadable := func(err error) error {
		if pe, ok := err.(*fs.PathError); ok {
			err = pe.Err
		}
		return &WAVError{File: path, Found: err.Error(), Expected: "a readable WAV file", Do: "check the path and the permissions", cause: err}
	}
	st, err := os.Stat(path) // before opening, which would wait forever on a named pipe
	if err != nil {
		return nil, unreadable(err)
	}
	if !st.Mode().IsRegular() {
		return nil, &WAVError{File: path, Found: "a folder or device", Expected: "a WAV file", Do: "name the file itself"}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(err)
	}
	s, err := newWAVStream(f, st.Size(), path)
	if err != nil {
		f.Close()
		return nil, err
	}
	s.file = f
	return s, nil
}

// Info says what the file holds.
func (s *WAVStream) Info() WAVInfo { return s.info }

// Notes lists the harmless oddities met so far, each with file, chunk and byte offset.
func (s *WAVStream) Notes() []string { return slices.Clone(s.notes) }

// Close closes the file.
func (s *WAVStream) Close() error {
	if s.file == nil {
		return nil
	}
	return s.file.Close()
}

// ReadWAV reads a whole WAV file; see DecodeWAV.
func ReadWAV(path string) (*Audio, error) {
	s, err := OpenWAV(path)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.readAll(0, s.info.Channels, nil)
}

// DecodeWAV reads a whole WAV file of size bytes from r; name stands in error texts. Formats and refusals are OpenWAV's and
// ReadFrames'. Integers are divided by 2^(bits−1), so they lie in [−1, 1). Memory: 8 bytes per sample and 24 per channel, so never
// more than 32 times the file's size, plus one block; more than 8 GiB of samples is refused.
func DecodeWAV(r io.ReaderAt, size int64, name string) (*Audio, error) {
	s, err := newWAVStream(r, size, name)
	if err != nil {
		return nil, err
	}
	return s.readAll(0, s.info.Channels, nil)
}

// ReadWAVChannel reads one channel, numbered from 1; the result has that channel only. Memory: 8 bytes per frame, 24 per channel.
func ReadWAVChannel(path string, channel int) (*Audio, error) {
	s, err := OpenWAV(path)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.ReadChannel(channel, nil)
}

// ReadChannel reads one channel of a stream from which nothing was read yet, as ReadWAVChannel does, into the memory of into where that is enough.
func (s *WAVStream) ReadChannel(channel int, into []float64) (*Audio, error) {
	if channel < 1 || channel > s.info.Channels {
		return nil, &WAVError{File: s.name, Found: fmt.Sprintf("%d channel(s) where channel %d was asked for", s.info.Channels, channel),
			Do: fmt.Sprintf("ask for a channel from 1 to %d", s.info.Channels)}
	}
	return s.readAll(channel-1, channel, into)
}

// readAll reads the channels from first up to, but not including, end, into memory that is given or new.
func (s *WAVStream) readAll(first, end int, samples []float64) (*Audio, error) {
	if s.info.Frames > maxWholeBytes/8/int64(end-first) {
		return nil, s.fail("data", s.dataOffset, fmt.Sprintf("%d channel(s) of %d samples", end-first, s.info.Frames),
			fmt.Sprintf("at most %d GiB of samples at once", maxWholeBytes>>30), "split the recording, or name the one channel that is needed")
	}
	dst := make([][]float64, s.info.Channels)
	n := int(s.info.Frames)
	if cap(samples) < (end-first)*n {
		samples = make([]float64, (end-first)*n) // one piece: tens of thousands of small ones would cost more than they hold
	}
	samples = samples[:cap(samples)]
	for c := first; c < end; c++ {
		dst[c], samples = samples[:n:n], samples[n:]
	}
	if _, err := s.ReadFrames(dst); err != nil {
		return nil, err
	}
	return &Audio{SampleRateHz: s.info.SampleRateHz, Channels: dst[first:end:end],
		BitsPerSample: s.info.BitsPerSample, Float: s.info.Float, Notes: s.Notes()}, nil
}

// ReadFrames fills dst[c] with the next samples of channel c+1, scaled as in Audio, and returns how many frames it read:
// fewer than asked for only at the end, then 0 and io.EOF. dst has one entry per channel, all of one length; a nil entry
// skips that channel. NaN and infinite samples in the channels read are refused, the earliest named; so is a recording whose
// samples stand at the wrong end of a block wider than their bits (known only at the last frame, so wait for io.EOF).
func (s *WAVStream) ReadFrames(dst [][]float64) (int, error) {
	want := -1
	for _, d := range dst {
		if d == nil {
			continue
		}
		if want >= 0 && len(d) != want {
			return 0, fmt.Errorf("%s: ReadFrames: destinations of %d and %d samples, expected one length", s.name, want, len(d))
		}
		want = len(d)
	}
	if len(dst) != s.info.Channels || want < 0 {
		return 0, fmt.Errorf("%s: ReadFrames: expected a destination for each of %d channels (nil to skip), at least one not nil", s.name, s.info.Channels)
	}
	left := s.info.Frames - s.position
	if left == 0 {
		return 0, io.EOF
	}
	if left < int64(want) {
		want = int(left)
	}
	block := blocks.Get().(*[]byte)
	defer blocks.Put(block)
	if len(*block) < s.blockAlign {
		*block = make([]byte, s.blockAlign)
	}
	for done := 0; done < want; {
		frames := min(len(*block)/s.blockAlign, want-done)
		if err := s.readBlock(dst, done, (*block)[:frames*s.blockAlign]); err != nil {
			return 0, err
		}
		done += frames
		s.position += int64(frames)
	}
	if s.position == s.info.Frames {
		if err := s.checkJustification(); err != nil {
			return 0, err
		}
	}
	return want, nil
}

// readBlock decodes the next frames, as many as block holds, into dst[c][at:].
func (s *WAVStream) readBlock(dst [][]float64, at int, block []byte) error {
	offset, frames := s.dataOffset+s.position*int64(s.blockAlign), len(block)/s.blockAlign
	if err := s.readAt("data", block, offset); err != nil {
		return err
	}
	badFrame, badChannel := frames, 0
	for c, d := range dst {
		if d == nil {
			continue
		}
		d = d[at : at+frames]
		if bad := s.decode(d, block[c*s.container:]); bad < badFrame {
			badFrame, badChannel = bad, c
		}
		if s.padBits > 0 {
			for _, x := range d {
				v := int32(x * s.full)
				s.seen |= v
				s.magnitudes |= v ^ v>>31
			}
		}
	}
	if badFrame < frames {
		value := dst[badChannel][at+badFrame]
		return s.fail("data", offset+int64(badFrame*s.blockAlign+badChannel*s.container),
			fmt.Sprintf("%v at sample %d (from 0) of channel %d", value, s.position+int64(badFrame), badChannel+1), "finite samples",
			"export the recording again; if the value is in the recording itself, look for a faulty plug-in or a division by zero in the deconvolution")
	}
	return nil
}

// decode picks one channel out of the interleaved src, whose first sample is the channel's. It returns the index of the first
// sample that is NaN or infinite, or len(dst).
func (s *WAVStream) decode(dst []float64, src []byte) int {
	align, scale := s.blockAlign, 1/s.full
	p := 0
	switch {
	case s.info.Float && s.container == 4:
		return floatsOf(dst, src, align)
	case s.info.Float:
		for i := range dst {
			x := math.Float64frombits(binary.LittleEndian.Uint64(src[p:]))
			dst[i] = x
			if x-x != 0 {
				return i
			}
			p += align
		}
	case s.container == 1: // unsigned, the middle at 128
		for i := range dst {
			dst[i] = (float64(src[p]) - 128) * scale
			p += align
		}
	default:
		wordsOf(dst, src, s.container, align, scale)
	}
	return len(dst)
}

// checkJustification refuses samples that stand, or may stand, at the bottom of a wider block: read from the top they'd be
// too small by the unused bits. With a standard header only data that contradict it are refused; where the header doesn't say,
// the data must prove that the samples stand at the top.
func (s *WAVStream) checkJustification() error {
	if s.padBits == 0 || s.seen == 0 {
		return nil
	}
	atBottom := s.magnitudes>>(s.info.BitsPerSample-1) == 0
	lowUsed := s.seen&(1<<s.padBits-1) != 0
	if atBottom && (lowUsed || s.oddBlock) || lowUsed && s.oddBlock {
		return s.fail("data", s.dataOffset,
			fmt.Sprintf("%d-bit samples in blocks of %d bytes, not surely at the top of the block", s.info.BitsPerSample, s.container),
			"samples at the top and zeros below", doExport)
	}
	if lowUsed {
		s.note("data", s.dataOffset, fmt.Sprintf("more than the %d valid bits are used; read in full", s.info.BitsPerSample))
	}
	return nil
}

func (s *WAVStream) fail(chunk string, offset int64, found, expected, do string) error {
	return &WAVError{File: s.name, Chunk: chunk, Offset: offset, Found: found, Expected: expected, Do: do}
}

func (s *WAVStream) note(chunk string, offset int64, text string) {
	s.notes = append(s.notes, fmt.Sprintf("%s: %s chunk, byte %d: %s", s.name, chunk, offset, text))
}

func (s *WAVStream) readAt(chunk string, p []byte, offset int64) error {
	n, err := s.r.ReadAt(p, offset)
	if n == len(p) {
		return nil
	}
	return &WAVError{File: s.name, Chunk: chunk, Offset: offset + int64(n), Found: fmt.Sprintf("a read error (%v)", err),
		Expected: fmt.Sprintf("%d bytes", len(p)), Do: "see that the disk is connected and nothing is writing to the file, then try again", cause: err}
}

// chunkHeader reads a chunk's name and declared size.
func (s *WAVStream) chunkHeader(offset int64) (id string, size uint32, err error) {
	var b [8]byte
	if err := s.readAt("header of the next", b[:], offset); err != nil {
		return "", 0, err
	}
	// The library overlooks a failure to read the size, so it is given bytes that are there.
	name, size, err := riff.New(bytes.NewReader(b[:])).IDnSize()
	return string(name[:]), size, err
}

// newWAVStream reads and checks the header.
func newWAVStream(r io.ReaderAt, size int64, name string) (*WAVStream, error) {
	s := &WAVStream{r: r, name: name, size: size}
	if size < 12 {
		return nil, s.fail("RIFF", 0, fmt.Sprintf("a file of %d bytes", size), "a WAV file", doCopy)
	}
	id, riffBytes, err := s.chunkHeader(0)
	if err != nil {
		return nil, err
	}
	form := make([]byte, 4)
	if err := s.readAt("RIFF", form, 8); err != nil {
		return nil, err
	}
	long := id == "RF64" || id == "BW64"
	if !long && id != string(riff.RiffID[:]) || string(form) != string(riff.WavFormatID[:]) {
		found, ok := otherFiles[id]
		if !ok {
			found = fmt.Sprintf("a file that begins with %q … %q", id, form)
		}
		return nil, s.fail("RIFF", 0, found, `"RIFF … WAVE"`, doExport)
	}
	if !long && riffBytes != unknownLength && int64(riffBytes) != size-8 {
		s.note("RIFF", 4, fmt.Sprintf("declares %d bytes, the file holds %d", riffBytes, size-8))
	}
	if err := s.walkChunks(long); err != nil {
		return nil, err
	}
	s.info.Frames = s.dataBytes / int64(s.blockAlign)
	if s.info.Frames == 0 {
		return nil, s.fail("data", s.dataOffset-4, fmt.Sprintf("%d byte(s) of samples", s.dataBytes),
			fmt.Sprintf("at least one frame of %d bytes", s.blockAlign), doRestore)
	}
	if rest := s.dataBytes % int64(s.blockAlign); rest != 0 {
		s.note("data", s.dataOffset+s.dataBytes-rest, fmt.Sprintf("%d byte(s) at the end are no whole frame of %d and were dropped", rest, s.blockAlign))
	}
	return s, nil
}

// walkChunks finds and checks the chunks that matter; the others are stepped over unread.
func (s *WAVStream) walkChunks(long bool) error {
	var haveFmt, haveData bool
	ds64Data := int64(-1)
	for offset, count := int64(12), 0; offset < s.size; count++ {
		complete := haveFmt && haveData
		if s.size-offset < 8 || count == maxChunks {
			if complete {
				s.note("last", offset, fmt.Sprintf("%d byte(s) follow that were not read", s.size-offset))
			} else if count == maxChunks {
				return s.fail("last", offset, fmt.Sprintf("%d chunks and no end", maxChunks), "a fmt and a data chunk among them", doExport)
			}
			break
		}
		id, declared, err := s.chunkHeader(offset)
		if err != nil {
			return err
		}
		label, sizeAt := chunkLabel(id), offset+4
		length := int64(declared)
		isData := id == string(riff.DataFormatID[:])
		if isData && declared == unknownLength {
			if !long {
				return s.fail(label, sizeAt, "size 0xFFFFFFFF, as written to a pipe", "the size of the samples",
					"write it to a file rather than to a pipe, or open it in an audio editor and export it again")
			}
			if ds64Data < 0 {
				return s.fail(label, sizeAt, "no ds64 chunk before it", "the size of the samples in a ds64 chunk", doExport)
			}
			length = ds64Data
		}
		offset += 8
		if length > s.size-offset {
			if complete {
				s.note(label, sizeAt, fmt.Sprintf("declares %d bytes, %d are left in the file; after the samples, so not needed", length, s.size-offset))
				break
			}
			return s.fail(label, sizeAt, fmt.Sprintf("%d bytes declared", length), fmt.Sprintf("at most the %d left in the file: it was cut short, or the size is wrong", s.size-offset), doCopy)
		}
		switch {
		case id == string(riff.FmtID[:]) && haveFmt, isData && haveData:
			return s.fail(label, sizeAt-4, "a second "+label+" chunk", "one", doExport)
		case id == string(riff.FmtID[:]):
			if err := s.readFormat(offset, length); err != nil {
				return err
			}
			haveFmt = true
		case isData:
			s.dataOffset, s.dataBytes = offset, length
			haveData = true
		case id == "ds64" && long:
			if ds64Data, err = s.readDS64(offset, length); err != nil {
				return err
			}
		}
		if offset, err = s.nextChunk(label, offset+length, length); err != nil {
			return err
		}
	}
	switch {
	case !haveFmt:
		return s.fail("fmt", s.size, "no fmt chunk in the file", "one that says how samples are stored", doCopy)
	case !haveData:
		return s.fail("data", s.size, "no data chunk in the file", "one with the samples", doRestore)
	}
	return nil
}

// nextChunk steps over the pad byte of a chunk of odd length, which some writers leave out: then a chunk begins at once.
func (s *WAVStream) nextChunk(label string, end, length int64) (int64, error) {
	if length%2 == 0 || end == s.size {
		return end, nil
	}
	if s.size-end >= 8 {
		id, _, err := s.chunkHeader(end)
		if err != nil {
			return 0, err
		}
		switch id {
		case "fmt ", "data", "fact", "LIST", "bext", "JUNK", "ds64", "iXML", "cue ", "smpl", "PEAK":
			s.note(label, end, "odd length without a pad byte")
			return end, nil
		}
	}
	return end + 1, nil
}

// chunkLabel makes a chunk's name fit to print.
func chunkLabel(id string) string {
	label := strings.TrimRight(id, " ")
	if label == "" || strings.ContainsFunc(label, func(r rune) bool { return r < ' ' || r > '~' }) {
		return fmt.Sprintf("%q", id)
	}
	return label
}

// readDS64 reads the size of the samples of an RF64 or BW64 file (EBU Tech 3306: RIFF size, data size, sample count, 64 bits each).
func (s *WAVStream) readDS64(offset, length int64) (int64, error) {
	var b [24]byte
	if length < int64(len(b)) {
		return 0, s.fail("ds64", offset-4, fmt.Sprintf("%d bytes", length), "at least 24", doExport)
	}
	if err := s.readAt("ds64", b[:], offset); err != nil {
		return 0, err
	}
	dataBytes := binary.LittleEndian.Uint64(b[8:])
	if dataBytes > uint64(s.size) {
		return 0, s.fail("ds64", offset+8, fmt.Sprintf("%d bytes of samples declared", dataBytes), fmt.Sprintf("at most the file's %d", s.size), doCopy)
	}
	return int64(dataBytes), nil
}

// readFormat reads and checks a fmt chunk.
func (s *WAVStream) readFormat(offset, length int64) error {
	fail := func(at int64, found, expected, do string) error { return s.fail("fmt", offset+at, found, expected, do) }
	if length < 16 {
		return fail(-4, fmt.Sprintf("%d bytes", length), "16, 18 or 40", doExport)
	}
	b := make([]byte, min(length, fmtMaxBytes))
	if err := s.readAt("fmt", b, offset); err != nil {
		return err
	}
	u16 := func(at int) int { return int(binary.LittleEndian.Uint16(b[at:])) }
	u32 := func(at int) int64 { return int64(binary.LittleEndian.Uint32(b[at:])) }
	tag, channels, rateHz, byteRate, align, bits := u16(0), u16(2), u32(4), u32(8), u16(12), u16(14)

	valid := bits
	if tag == tagExtensible {
		if len(b) < 40 || u16(16) < 22 {
			return fail(-4, fmt.Sprintf("an extensible header of %d bytes", length), "at least 40, 22 of them declared as its extension", doExport)
		}
		if tail := string(b[26:]); tail != guidTail {
			return fail(24, fmt.Sprintf("the unknown sub-format % X", b[24:40]), "integer or float samples", doExport)
		}
		tag = u16(24)
		if v := u16(18); v != 0 { // some writers leave it out
			valid = v
		}
	}
	isFloat := tag == tagFloat
	if !isFloat && tag != tagPCM {
		name, ok := compressedNames[uint16(tag)]
		if !ok {
			name = "unknown"
		}
		return fail(0, fmt.Sprintf("format 0x%04X (%s)", tag, name), "uncompressed samples", doExport)
	}
	switch {
	case channels == 0:
		return fail(2, "0 channels", "at least 1", doExport)
	case rateHz == 0 || rateHz > math.MaxInt32:
		return fail(4, fmt.Sprintf("a sample rate of %d Hz", rateHz), "1 Hz or more", doExport)
	case align == 0 || align%channels != 0:
		return fail(12, fmt.Sprintf("%d bytes per frame of %d channel(s)", align, channels), "a whole number per channel", doExport)
	}
	container, needed := align/channels, (bits+7)/8
	switch {
	case isFloat && (bits != 32 && bits != 64 || valid != bits):
		return fail(14, fmt.Sprintf("floats of %d bits", valid), "32 or 64", doExport)
	case !isFloat && (bits < 8 || bits > 32 || valid < 8 || valid > bits):
		return fail(14, fmt.Sprintf("integers of %d valid bits out of %d", valid, bits), "8 to 32", doExport)
	case container < needed || container != needed && (isFloat || needed == 1 || container > 4):
		return fail(12, fmt.Sprintf("%d bytes per frame of %d channel(s)", align, channels), fmt.Sprintf("%d for %d bits per sample", needed*channels, bits), doExport)
	}
	switch byteRate {
	case rateHz * int64(align):
	case 0, rateHz * int64(needed*channels), rateHz * int64(valid*channels) / 8:
		s.note("fmt", offset+8, fmt.Sprintf("%d bytes per second declared, %d Hz of %d bytes are %d; not needed", byteRate, rateHz, align, rateHz*int64(align)))
	default:
		// One of them is wrong, and a wrong rate shifts every frequency and every distance.
		return fail(8, fmt.Sprintf("%d bytes per second", byteRate), fmt.Sprintf("%d for %d Hz of %d bytes", rateHz*int64(align), rateHz, align),
			"find out the true sample rate and export it again")
	}
	s.info.SampleRateHz, s.info.Channels, s.info.BitsPerSample, s.info.Float = int(rateHz), channels, valid, isFloat
	s.blockAlign, s.container = align, container
	s.full = 1
	if !isFloat {
		s.full = float64(uint64(1) << (8*container - 1))
		s.padBits = 8*container - valid
		s.oddBlock = container != needed
	}
	return nil
}
