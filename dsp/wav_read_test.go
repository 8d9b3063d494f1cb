package dsp

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The files of these tests are put together here, chunk by chunk, from the published layout, not by the package's writer.

func wavChunk(id string, body []byte) []byte {
	c := append([]byte(id), binary.LittleEndian.AppendUint32(nil, uint32(len(body)))...)
	c = append(c, body...)
	return append(c, make([]byte, len(body)%2)...)
}

func wavForm(magic string, chunks ...[]byte) []byte {
	body := append([]byte("WAVE"), bytes.Join(chunks, nil)...)
	return append(binary.LittleEndian.AppendUint32([]byte(magic), uint32(len(body))), body...)
}

// wavFormat is a fmt chunk's body of 16 bytes; block is the bytes per sample.
func wavFormat(tag, channels, rateHz, block, bits int) []byte {
	le := binary.LittleEndian
	b := le.AppendUint16(nil, uint16(tag))
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, uint32(rateHz))
	b = le.AppendUint32(b, uint32(rateHz*channels*block))
	b = le.AppendUint16(b, uint16(channels*block))
	return le.AppendUint16(b, uint16(bits))
}

func wavExtensible(tag, channels, rateHz, block, bits, valid int) []byte {
	le := binary.LittleEndian
	b := wavFormat(0xFFFE, channels, rateHz, block, bits)
	b = le.AppendUint16(b, 22)
	b = le.AppendUint16(b, uint16(valid))
	b = le.AppendUint32(b, 0)
	b = le.AppendUint16(b, uint16(tag))
	return append(b, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71"...)
}

// le puts the lowest size bytes of each value one after the other.
func le(size int, values ...int64) []byte {
	var b []byte
	for _, v := range values {
		b = append(b, binary.LittleEndian.AppendUint64(nil, uint64(v))[:size]...)
	}
	return b
}

func put16(file []byte, at int, v uint16) []byte {
	file = slices.Clone(file)
	binary.LittleEndian.PutUint16(file[at:], v)
	return file
}

func put32(file []byte, at int, v uint32) []byte {
	file = slices.Clone(file)
	binary.LittleEndian.PutUint32(file[at:], v)
	return file
}

func decodeBytes(file []byte) (*Audio, error) {
	return DecodeWAV(bytes.NewReader(file), int64(len(file)), "take.wav")
}

func sameBits(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) })
}

func sameChannels(t *testing.T, got, want [][]float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d channels, expected %d", len(got), len(want))
	}
	for c := range want {
		if !sameBits(got[c], want[c]) {
			t.Fatalf("channel %d: %v, expected %v", c+1, got[c][:min(8, len(got[c]))], want[c][:min(8, len(want[c]))])
		}
	}
}

// TestWAVMatrix reads every format under every kind of header; all values exact, since each is a power of two times an integer
// of at most 32 bits, or a float as stored.
func TestWAVMatrix(t *testing.T) {
	type format struct {
		tag, bits int
	}
	headers := map[string]func(f format, channels, rateHz int) []byte{
		"16 bytes": func(f format, channels, rateHz int) []byte {
			return wavFormat(f.tag, channels, rateHz, f.bits/8, f.bits)
		},
		"18 bytes": func(f format, channels, rateHz int) []byte {
			return append(wavFormat(f.tag, channels, rateHz, f.bits/8, f.bits), 0, 0)
		},
		"extensible": func(f format, channels, rateHz int) []byte {
			return wavExtensible(f.tag, channels, rateHz, f.bits/8, f.bits, f.bits)
		},
		"extensible, valid bits 0": func(f format, channels, rateHz int) []byte {
			return wavExtensible(f.tag, channels, rateHz, f.bits/8, f.bits, 0)
		},
	}
	before := map[string][]byte{
		"nothing": nil,
		"LIST":    wavChunk("LIST", []byte("INFOISFT\x03\x00\x00\x00ab\x00")), // odd
		"bext":    wavChunk("bext", make([]byte, 602)),
		"JUNK":    append(wavChunk("JUNK", make([]byte, 27)), wavChunk("fact", le(4, 7))...),
		"empty":   wavChunk("\x00\xffab", nil),
	}
	for _, f := range []format{{1, 8}, {1, 16}, {1, 24}, {1, 32}, {3, 32}, {3, 64}} {
		for header, makeFmt := range headers {
			for prefix, chunks := range before {
				for _, channels := range []int{1, 2, 3, 8, 64} {
					for _, frames := range []int{1, 7, 3001} { // the last longer than a block where channels are many
						if frames > 7 && prefix != "LIST" { // enough, and slow
							continue
						}
						rateHz := []int{1, 8000, 44100, 192000, 12345}[(channels+frames)%5]
						want := make([][]float64, channels)
						var data []byte
						for i := range frames {
							for c := range channels {
								k := int64(uint32((i*channels + c + 1) * 2654435761))
								var x float64
								switch {
								case f.tag == 3 && f.bits == 32:
									v := float32(k-1<<31) * 1e-7
									x, data = float64(v), append(data, le(4, int64(math.Float32bits(v)))...)
								case f.tag == 3:
									x = float64(k-1<<31) * math.Pi
									data = append(data, le(8, int64(math.Float64bits(x)))...)
								default:
									v := k>>(32-f.bits) - 1<<(f.bits-1)
									if i < 2 && c == 0 { // both ends of the range
										v = int64(i)*(1<<f.bits-1) - 1<<(f.bits-1)
									}
									x = float64(v) / float64(uint64(1)<<(f.bits-1))
									if f.bits == 8 {
										v += 128
									}
									data = append(data, le(f.bits/8, v)...)
								}
								want[c] = append(want[c], x)
							}
						}
						file := wavForm("RIFF", chunks, wavChunk("fmt ", makeFmt(f, channels, rateHz)), chunks, wavChunk("data", data), wavChunk("LIST", nil))
						a, err := decodeBytes(file)
						where := fmt.Sprintf("format %v, header %s, after %s, %d × %d", f, header, prefix, channels, frames)
						if err != nil {
							t.Fatalf("%s: %v", where, err)
						}
						if a.SampleRateHz != rateHz || a.BitsPerSample != f.bits || a.Float != (f.tag == 3) || len(a.Notes) != 0 {
							t.Fatalf("%s: %d Hz, %d bits, float %v, notes %q", where, a.SampleRateHz, a.BitsPerSample, a.Float, a.Notes)
						}
						if !slices.EqualFunc(a.Channels, want, sameBits) {
							t.Fatalf("%s: other samples", where)
						}
					}
				}
			}
		}
	}
}

// TestWAVReference compares with what SciPy reads in files that SciPy, Python's wave module and testdata/wav/make.py wrote.
// Exact: SciPy's scaled values are the same doubles.
func TestWAVReference(t *testing.T) {
	for name, want := range wavReference(t) {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("../testdata/wav", name)
			a, err := ReadWAV(path)
			if err != nil {
				t.Fatal(err)
			}
			if a.SampleRateHz != want.Rate || a.BitsPerSample != want.Bits || a.Float != want.Float || len(a.Notes) != 0 {
				t.Fatalf("%d Hz, %d bits, float %v, notes %q; expected %d, %d, %v and none", a.SampleRateHz, a.BitsPerSample, a.Float, a.Notes, want.Rate, want.Bits, want.Float)
			}
			sameChannels(t, a.Channels, want.Channels)
			for c := range want.Channels {
				one, err := ReadWAVChannel(path, c+1)
				if err != nil {
					t.Fatal(err)
				}
				sameChannels(t, one.Channels, want.Channels[c:c+1])
			}
		})
	}
}

type wavExpected struct {
	Rate, Bits int
	Float      bool
	Channels   [][]float64
}

func wavReference(t *testing.T) map[string]wavExpected {
	t.Helper()
	text, err := os.ReadFile("../testdata/wav/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]wavExpected
	if err := json.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	if len(expected) < 10 {
		t.Fatalf("%d reference files, expected at least 10", len(expected))
	}
	return expected
}

// TestWAVVirtualBench: a mono 32-bit float file with a fact chunk; the first samples from its bytes.
func TestWAVVirtualBench(t *testing.T) {
	a, err := ReadWAV("../fixtures/virtual-bench/room-b/flat/axis110.wav")
	if err != nil {
		t.Fatal(err)
	}
	if a.SampleRateHz != 48000 || len(a.Channels) != 1 || len(a.Channels[0]) != 667 || a.BitsPerSample != 32 || !a.Float || len(a.Notes) != 0 {
		t.Fatalf("%d Hz, %d channels of %d, %d bits, notes %q; expected 48000 Hz, 1 of 667 (13.9 ms), 32", a.SampleRateHz, len(a.Channels), len(a.Channels[0]), a.BitsPerSample, a.Notes)
	}
	for i, bits := range []uint32{0x2e47f438, 0xafac5bbc, 0x30156c6f} {
		if want := float64(math.Float32frombits(bits)); a.Channels[0][i] != want {
			t.Errorf("sample %d: %g, expected %g", i, a.Channels[0][i], want)
		}
	}
}

type wavGood struct {
	name string
	file []byte
	want []float64 // channel 1
	note string    // part of the note; empty: no notes
}

type wavRefused struct {
	name  string
	file  []byte
	chunk string
	at    int64
	text  string // part of the error
}

// wavTraps: files that other readers are known to get silently wrong, or to choke on.
func wavTraps() ([]wavGood, []wavRefused) {
	pcm16 := wavFormat(1, 1, 48000, 2, 16)
	float32bytes := func(v ...float32) (b []byte) {
		for _, x := range v {
			b = append(b, le(4, int64(math.Float32bits(x)))...)
		}
		return b
	}
	plain := wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", le(2, 16384, -32768, 1, 2))) // data chunk at 36, samples at 44
	ds64 := func(dataBytes int64) []byte { return wavChunk("ds64", le(8, 0, dataBytes, 2, 0)[:28]) }
	streamed := put32(plain, 40, 0xFFFFFFFF)
	long := func(magic string, dataBytes int64) []byte {
		return put32(wavForm(magic, ds64(dataBytes), wavChunk("fmt ", pcm16), wavChunk("data", le(2, 16384, -32768))), 12+36+24+4, 0xFFFFFFFF)
	}
	halves := []float64{0.5, -1}
	wavPair := le(2, 16384, -32768)

	good := []wavGood{
		{"32-bit float, plain", wavForm("RIFF", wavChunk("fmt ", wavFormat(3, 1, 48000, 4, 32)), wavChunk("data", float32bytes(0.5, -2))), []float64{0.5, -2}, ""},
		{"32-bit float, extensible", wavForm("RIFF", wavChunk("fmt ", wavExtensible(3, 1, 48000, 4, 32, 32)), wavChunk("data", float32bytes(0.5, -2))), []float64{0.5, -2}, ""},
		{"64-bit float", wavForm("RIFF", wavChunk("fmt ", wavFormat(3, 1, 48000, 8, 64)), wavChunk("data", le(8, int64(math.Float64bits(0.1))))), []float64{0.1}, ""},
		{"12 bits", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 2, 12)), wavChunk("data", wavPair)), halves, ""},
		{"20 bits", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 3, 20)), wavChunk("data", le(3, 1<<22, -1<<23))), halves, ""},
		{"24 bits in 4 bytes, extensible", wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 4, 32, 24)), wavChunk("data", le(4, 1<<30, -1<<31, 256))),
			[]float64{0.5, -1, 1.0 / (1 << 23)}, ""},
		{"24 bits in 4 bytes, quiet", wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 4, 32, 24)), wavChunk("data", le(4, 256, -512))),
			[]float64{1.0 / (1 << 23), -2.0 / (1 << 23)}, ""},
		{"24 bits in 4 bytes, more bits used", wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 4, 32, 24)), wavChunk("data", le(4, 1<<30|1))),
			[]float64{0.5 + 1.0/(1<<31)}, "more than the 24 valid bits"},
		{"24 bits in 4 bytes, plain header", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 4, 24)), wavChunk("data", le(4, 1<<30, -1<<31))), halves, ""},
		{"24 bits in 4 bytes, silence", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 4, 24)), wavChunk("data", le(4, 0, 0))), []float64{0, 0}, ""},
		{"8 bits, centred", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 1, 8)), wavChunk("data", []byte{128, 0, 192})), []float64{0, -1, 0.5}, ""},
		{"odd data, pad byte", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 3, 24)), wavChunk("data", le(3, 1<<22))), []float64{0.5}, ""},
		{"odd data, no pad byte", func() []byte {
			f := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 3, 24)), wavChunk("data", le(3, 1<<22)))
			return f[:len(f)-1]
		}(), []float64{0.5}, "RIFF chunk, byte 4: declares"},
		{"odd chunk without pad byte", wavForm("RIFF", wavChunk("LIST", []byte("abc"))[:11], wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), halves, "without a pad byte"},
		{"pad byte counted in the size", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 3, 24)), wavChunk("data", append(le(3, 1<<22), 0))), []float64{0.5}, "1 byte(s) at the end"},
		{"partial frame", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 2, 48000, 2, 16)), wavChunk("data", le(2, 16384, 0, -32768, 0, 5))), halves, "2 byte(s) at the end"},
		{"RF64", long("RF64", 4), halves, ""},
		{"BW64", long("BW64", 4), halves, ""},
		{"RF64 with a plain data size", wavForm("RF64", ds64(0), wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), halves, ""},
		{"RIFF size 0, recorder died", put32(wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), 4, 0), halves, "RIFF chunk, byte 4"},
		{"junk after the samples", append(wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), "\x00\x01\x02\x03\xff\xff\xff\xffjunk"...), halves, "not needed"},
		{"few bytes after the samples", append(wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), "\x00\x01"...), halves, "2 byte(s) follow"},
		{"fmt after data", wavForm("RIFF", wavChunk("data", wavPair), wavChunk("fmt ", pcm16)), halves, ""},
		{"byte rate 0", put32(wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), 28, 0), halves, "0 bytes per second"},
	}
	refused := []wavRefused{
		{"nothing", nil, "RIFF", 0, "0 bytes"},
		{"FLAC", []byte("fLaC\x00\x00\x00\x22\x10\x00\x10\x00"), "RIFF", 0, "FLAC"},
		{"RIFX", append([]byte("RIFX"), plain[4:]...), "RIFF", 0, "big-endian"},
		{"AVI", append([]byte("RIFF\x04\x00\x00\x00AVI "), plain[12:]...), "RIFF", 0, `"AVI "`},
		{"header only", plain[:12], "fmt", 12, "no fmt chunk"},
		{"no data chunk", wavForm("RIFF", wavChunk("fmt ", pcm16)), "data", 36, "no data chunk"},
		{"data without fmt", wavForm("RIFF", wavChunk("data", wavPair)), "fmt", 24, "no fmt chunk"},
		{"data size 0", wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", nil)), "data", 40, "0 byte(s) of samples"},
		{"less than a frame", wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", []byte{1})), "data", 40, "1 byte(s) of samples"},
		{"streamed", streamed, "data", 40, "pipe"},
		{"cut between samples", plain[:len(plain)-2], "data", 40, "8 bytes declared"},
		{"cut inside a sample", plain[:len(plain)-1], "data", 40, "7 left"},
		{"cut inside a chunk's header", plain[:40], "data", 40, "no data chunk"},
		{"RF64 without ds64", append([]byte("RF64"), streamed[4:]...), "data", 40, "no ds64"},
		{"RF64, more than the file", long("RF64", 1<<40), "ds64", 28, "1099511627776 bytes"},
		{"RF64, 64 bits full", long("RF64", -1), "ds64", 28, "18446744073709551615"},
		{"RF64, a little more than the file", long("RF64", 6), "data", 76, "6 bytes declared"},
		{"RF64, short ds64", wavForm("RF64", wavChunk("ds64", le(8, 0)), wavChunk("fmt ", pcm16)), "ds64", 16, "8 bytes"},
		{"second fmt", wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("fmt ", pcm16)), "fmt", 36, "second"},
		{"second data", wavForm("RIFF", wavChunk("fmt ", pcm16), wavChunk("data", wavPair), wavChunk("data", wavPair)), "data", 48, "second"},
		{"a chunk beyond the file", put32(plain, 16, 1<<31), "fmt", 16, "2147483648 bytes declared"},
		{"short fmt", wavForm("RIFF", wavChunk("fmt ", pcm16[:14]), wavChunk("data", wavPair)), "fmt", 16, "14 bytes"},
		{"MP3", put16(plain, 20, 0x55), "fmt", 20, "MP3"},
		{"unknown format", put16(plain, 20, 0x1234), "fmt", 20, "0x1234"},
		{"extensible, short", put16(plain, 20, 0xFFFE), "fmt", 16, "16 bytes"},
		{"extensible, odd sub-format", put16(wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 2, 16, 16)), wavChunk("data", wavPair)), 50, 7), "fmt", 44, "sub-format"},
		{"extensible ADPCM", wavForm("RIFF", wavChunk("fmt ", wavExtensible(2, 1, 48000, 2, 16, 16)), wavChunk("data", wavPair)), "fmt", 20, "ADPCM"},
		{"0 channels", put16(plain, 22, 0), "fmt", 22, "0 channels"},
		{"0 Hz", put32(plain, 24, 0), "fmt", 24, "0 Hz"},
		{"block align 0", put16(plain, 32, 0), "fmt", 32, "0 bytes per frame"},
		{"block align 3 for 2 channels", put16(put16(plain, 22, 2), 32, 3), "fmt", 32, "3 bytes per frame"},
		{"block too small", put16(plain, 32, 1), "fmt", 32, "1 bytes per frame"},
		{"0 bits", put16(plain, 34, 0), "fmt", 34, "0 valid bits"},
		{"64-bit integers", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 8, 64)), wavChunk("data", le(8, 1))), "fmt", 34, "64 valid bits"},
		{"16-bit floats", put16(plain, 20, 3), "fmt", 34, "floats of 16 bits"},
		{"more valid bits than bits", wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 2, 16, 24)), wavChunk("data", wavPair)), "fmt", 34, "24 valid bits out of 16"},
		{"byte rate of another sample rate", put32(plain, 24, 44100), "fmt", 28, "96000 bytes per second"},
		{"NaN", wavForm("RIFF", wavChunk("fmt ", wavFormat(3, 2, 48000, 4, 32)), wavChunk("data", float32bytes(0, 0, 1, float32(math.NaN()), float32(math.Inf(1)), 0))),
			"data", 56, "NaN at sample 1 (from 0) of channel 2"},
		{"infinite", wavForm("RIFF", wavChunk("fmt ", wavFormat(3, 1, 48000, 8, 64)), wavChunk("data", le(8, int64(math.Float64bits(math.Inf(-1)))))),
			"data", 44, "-Inf at sample 0"},
		{"24 bits at the bottom of 4 bytes", wavForm("RIFF", wavChunk("fmt ", wavExtensible(1, 1, 48000, 4, 32, 24)), wavChunk("data", le(4, 1<<22, -1<<23, 3))), "data", 68, "top of the block"},
		{"the same, plain header", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 4, 24)), wavChunk("data", le(4, 1<<22, -1<<23))), "data", 44, "top of the block"},
		{"floats called 24-bit", wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 4, 24)), wavChunk("data", float32bytes(12345.678, -0.1))), "data", 44, "top of the block"},
		{"too many chunks", wavForm("RIFF", bytes.Repeat(wavChunk("JUNK", nil), 5000), wavChunk("fmt ", pcm16), wavChunk("data", wavPair)), "last", 12 + 8*4096, "4096 chunks"},
	}
	return good, refused
}

// TestWAVTraps: each trap gives the right numbers, with a note where something was odd, or a refusal that says where and why.
func TestWAVTraps(t *testing.T) {
	good, refused := wavTraps()
	for _, c := range good {
		t.Run(c.name, func(t *testing.T) {
			a, err := decodeBytes(c.file)
			if err != nil {
				t.Fatal(err)
			}
			if !sameBits(a.Channels[0], c.want) {
				t.Errorf("%v, expected %v", a.Channels[0], c.want)
			}
			notes := strings.Join(a.Notes, "\n")
			if c.note == "" && notes != "" || !strings.Contains(notes, c.note) {
				t.Errorf("notes %q, expected %q", notes, c.note)
			}
		})
	}

	for _, c := range refused {
		t.Run(c.name, func(t *testing.T) {
			_, err := decodeBytes(c.file)
			var e *WAVError
			if !errors.As(err, &e) {
				t.Fatalf("error %v, expected a *WAVError", err)
			}
			if e.File != "take.wav" || e.Chunk != c.chunk || e.Offset != c.at || e.Do == "" || !strings.Contains(e.Error(), c.text) || strings.Contains(e.Error(), "\n") {
				t.Errorf("%v (chunk %s, byte %d); expected chunk %s, byte %d, and %q", e, e.Chunk, e.Offset, c.chunk, c.at, c.text)
			}
		})
	}
}

// TestWAVGiantSizes: a file of 68 bytes that declares gigabytes is refused at once, and costs next to nothing.
func TestWAVGiantSizes(t *testing.T) {
	for _, at := range []int{16, 40, 56} { // sizes of fmt, LIST, data
		file := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 2, 16)), wavChunk("LIST", make([]byte, 8)), wavChunk("data", make([]byte, 8)))
		file = put32(file, at, 0xFFFFFFF0)
		if len(file) != 68 {
			t.Fatal(len(file))
		}
		// 64 KiB: error text and header buffers, far below a block per declared size.
		if used := allocated(func() {
			if _, err := decodeBytes(file); err == nil {
				t.Error("no error")
			}
		}); used > 64<<10 {
			t.Errorf("%d bytes allocated", used)
		}
	}
}

// TestWAVMostChannels: the costliest file for its size, one byte per channel, keeps to the bound DecodeWAV states.
func TestWAVMostChannels(t *testing.T) {
	const channels = 65535
	file := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, channels, 8000, 1, 8)), wavChunk("data", bytes.Repeat([]byte{192}, channels)))
	var a *Audio
	var err error
	used := allocated(func() { a, err = decodeBytes(file) })
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Channels) != channels || a.Channels[channels-1][0] != 0.5 {
		t.Error("wrong samples")
	}
	// 64 KiB for the rest, as above; the slice headers' array is rounded up to a whole page.
	if limit := uint64(32*len(file) + channels + 64<<10); used > limit {
		t.Errorf("%d bytes allocated, expected at most %d", used, limit)
	}
}

// allocated gives the heap bytes f allocates, whether freed again or not: the least of several runs, since the runtime and other
// goroutines allocate too.
func allocated(f func()) uint64 {
	least := uint64(math.MaxUint64)
	for range 5 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		f()
		runtime.ReadMemStats(&after)
		least = min(least, after.TotalAlloc-before.TotalAlloc)
	}
	return least
}

// TestWAVOneChannelMemory: one channel of many costs what it needs itself.
func TestWAVOneChannelMemory(t *testing.T) {
	const channels, frames = 64, 50000
	path := filepath.Join(t.TempDir(), "many.wav")
	data := make([]byte, channels*frames*2)
	binary.LittleEndian.PutUint16(data[2*(channels*1234+7):], 1<<14)
	if err := os.WriteFile(path, wavForm("RIFF", wavChunk("fmt ", wavFormat(1, channels, 48000, 2, 16)), wavChunk("data", data)), 0o600); err != nil {
		t.Fatal(err)
	}
	runtime.GC()
	var a *Audio
	var err error
	used := allocated(func() { a, err = ReadWAVChannel(path, 8) })
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Channels) != 1 || a.Channels[0][1234] != 0.5 {
		t.Error("not channel 8")
	}
	// The samples, one block, a slice header per channel, and 64 KiB for the file's handle, rounding up and the like.
	if limit := uint64(8*frames + blockBytes + 24*channels + 64<<10); used > limit {
		t.Errorf("%d bytes allocated, expected at most %d", used, limit)
	}
	var e *WAVError
	for _, channel := range []int{-1, 0, 65} {
		if _, err := ReadWAVChannel(path, channel); !errors.As(err, &e) || !strings.Contains(e.Error(), "from 1 to 64") {
			t.Errorf("channel %d: %v", channel, err)
		}
	}
}

// TestWAVTooLong: more samples than may be held at once are refused before they are allocated. The file is sparse.
func TestWAVTooLong(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.wav")
	const dataBytes = 3 << 30 // 8-bit: 24 GiB of samples
	head := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 1, 8)), wavChunk("data", nil))
	head = put32(put32(head, 4, dataBytes+36), 40, dataBytes)
	if err := os.WriteFile(path, head, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, dataBytes+44); err != nil {
		t.Skip(err) // no sparse files here
	}
	if _, err := ReadWAV(path); err == nil || !strings.Contains(err.Error(), "GiB") {
		t.Errorf("%v", err)
	}
	s, err := OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if s.Info() != (WAVInfo{SampleRateHz: 48000, Channels: 1, Frames: dataBytes, BitsPerSample: 8}) {
		t.Errorf("%+v", s.Info())
	}
}

// TestWAVStreamPieces: pieces of any length, with any channels skipped, are the whole.
func TestWAVStreamPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels := rapid.IntRange(1, 5).Draw(t, "channels")
		frames := rapid.IntRange(1, 20000).Draw(t, "frames")
		want := make([][]float64, channels)
		var data []byte
		for i := range frames {
			for c := range channels {
				v := int64(i*7919+c*104729)%65536 - 32768
				want[c] = append(want[c], float64(v)/32768)
				data = append(data, byte(v), byte(v>>8))
			}
		}
		file := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, channels, 48000, 2, 16)), wavChunk("data", data))
		s, err := newWAVStream(bytes.NewReader(file), int64(len(file)), "take.wav")
		if err != nil {
			t.Fatal(err)
		}
		for at := 0; ; {
			n := rapid.IntRange(1, frames).Draw(t, "piece")
			dst := make([][]float64, channels)
			kept := rapid.IntRange(0, channels-1).Draw(t, "kept")
			for c := range dst {
				if c == kept || rapid.Bool().Draw(t, "read") {
					dst[c] = make([]float64, n)
				}
			}
			got, err := s.ReadFrames(dst)
			if at == frames {
				if got != 0 || err != io.EOF {
					t.Fatalf("%d, %v at the end, expected 0 and EOF", got, err)
				}
				return
			}
			if err != nil || got != min(n, frames-at) {
				t.Fatalf("%d, %v for %d of %d left", got, err, n, frames-at)
			}
			for c, d := range dst {
				if d != nil && !sameBits(d[:got], want[c][at:at+got]) {
					t.Fatalf("channel %d at %d", c+1, at)
				}
			}
			at += got
		}
	})
}

func TestWAVStreamWrongUse(t *testing.T) {
	s, err := OpenWAV("../testdata/wav/scipy-i16.wav")
	if err != nil {
		t.Fatal(err)
	}
	for _, dst := range [][][]float64{nil, {nil, nil}, {make([]float64, 1)}, {make([]float64, 1), make([]float64, 2)}} {
		if n, err := s.ReadFrames(dst); n != 0 || err == nil || err == io.EOF {
			t.Errorf("%d, %v", n, err)
		}
	}
	if n, err := s.ReadFrames([][]float64{{}, {}}); n != 0 || err != nil {
		t.Errorf("no room: %d, %v", n, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := s.ReadFrames([][]float64{make([]float64, 1), nil}); err == nil {
		t.Error("read after Close")
	}
}

func TestWAVNoFile(t *testing.T) {
	_, err := ReadWAV(filepath.Join(t.TempDir(), "none.wav"))
	var e *WAVError
	if !errors.As(err, &e) || !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v", err)
	}
	if _, err := ReadWAV(t.TempDir()); !errors.As(err, &e) || !strings.Contains(e.Error(), "folder") {
		t.Errorf("%v", err)
	}
}

// TestWAVReadFailure: a disk that fails, or a file that shrinks while it is read.
func TestWAVReadFailure(t *testing.T) {
	file := wavForm("RIFF", wavChunk("fmt ", wavFormat(1, 1, 48000, 2, 16)), wavChunk("data", le(2, 1, 2, 3, 4)))
	for n := range file {
		var e *WAVError
		if _, err := DecodeWAV(bytes.NewReader(file[:n]), int64(len(file)), "take.wav"); !errors.As(err, &e) || !errors.Is(err, io.EOF) {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
}

// FuzzDecodeWAV: whatever the bytes, no panic, memory bounded by the file's size, an error that says where and what to do, and
// samples that come back the same when written as the format they came from (64-bit float where the writer has no such format).
func FuzzDecodeWAV(f *testing.F) {
	names, err := filepath.Glob("../testdata/wav/*.wav")
	if err != nil || len(names) == 0 {
		f.Fatal("no seeds", err)
	}
	for _, name := range names {
		seed, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(seed)
	}
	good, refused := wavTraps()
	for _, c := range good {
		f.Add(c.file)
	}
	for _, c := range refused {
		f.Add(c.file)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		var a *Audio
		var err error
		// 32 times the file and a block, as DecodeWAV promises; 1 MiB for the fuzzer's own work beside it.
		if used := allocated(func() { a, err = decodeBytes(file) }); used > uint64(32*len(file))+blockBytes+1<<20 {
			t.Fatalf("%d bytes allocated for a file of %d", used, len(file))
		}
		if err != nil {
			var e *WAVError
			if !errors.As(err, &e) || e.Chunk == "" || e.Found == "" || e.Do == "" || e.Offset < 0 || e.Offset > int64(len(file)) {
				t.Fatalf("%v", err)
			}
			return
		}
		if len(a.Channels) == 0 || len(a.Channels)*len(a.Channels[0]) == 0 || len(a.Channels)*len(a.Channels[0]) > len(file) {
			t.Fatalf("%d channels out of %d bytes", len(a.Channels), len(file))
		}
		format := WAVFormat{SampleRateHz: a.SampleRateHz, BitsPerSample: 64, Float: true}
		asStored := a.Float || slices.Contains([]int{16, 24, 32}, a.BitsPerSample) && !strings.Contains(strings.Join(a.Notes, ""), "read in full")
		if asStored {
			format.BitsPerSample, format.Float = a.BitsPerSample, a.Float
		}
		var out bytes.Buffer
		if err := WriteWAV(&out, a, format); err != nil {
			if strings.Contains(err.Error(), "per frame") { // too many channels or samples per second for a plain header
				return
			}
			t.Fatal(err)
		}
		back, err := decodeBytes(out.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		sameChannels(t, back.Channels, a.Channels)
	})
}

func BenchmarkDecodeWAV(b *testing.B) {
	for _, f := range []struct{ tag, bits int }{{1, 16}, {1, 24}, {3, 32}} {
		b.Run(fmt.Sprintf("a minute of stereo, 48 kHz, %d bits", f.bits), func(b *testing.B) {
			file := wavForm("RIFF", wavChunk("fmt ", wavFormat(f.tag, 2, 48000, f.bits/8, f.bits)), wavChunk("data", make([]byte, 60*48000*2*f.bits/8)))
			b.SetBytes(int64(len(file)))
			for b.Loop() {
				if _, err := decodeBytes(file); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
