package analysis

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"unicode"

	"github.com/leadline/leadline/dsp"
)

// allocated gives the heap bytes that f allocates in all, freed again or not.
func allocated(f func()) int {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return int(after.TotalAlloc - before.TotalAlloc)
}

// tinySurvey has two positions, so that they are compared; where extra holds [sweep] the files count as recordings.
const tinySurvey = `
[air]
temperature_c = 20
[panel]
depths_m = [0.0, 0.1]
well_width_m = 0.05
fin_thickness_m = 0.005
height_m = 0.2
cap_m = 0.01
back_m = 0.01
[source]
position_m = [0, 2, 0]
`

var tinyExtras = []string{"", "[room]\nfloor_m = -0.5\n", "[gate]\nstart_s = 0.001\nend_s = 0.3\n", "[sweep]\nlow_hz = 100\nhigh_hz = 3500\nseconds = 0.2\n",
	"[sweep]\nlow_hz = 100\nhigh_hz = 3500\nseconds = 0.2\nloopback_channel = 2\npilot = true\nperiod_s = 0.5\n", "[sweep]\nfile = \"flat\"\n"}

const tinyPositions = `
[[position]]
name = "a"
mic_m = [0.2, 1, 0]
empty = "empty"
flat = "flat"
panel = ["panel", "again"]
[[position]]
name = "b"
mic_m = [-0.3, 1, 0]
empty = "empty"
panel = "panel"
`

// tinyWAV makes a file of raw bytes: bytes as they are, or samples of one of the formats.
func tinyWAV(kind uint8, rateHz uint32, raw []byte) []byte {
	bits, tag := 8, uint16(1)
	switch kind % 4 {
	case 0:
		return raw
	case 2:
		bits = 16
	case 3:
		bits, tag = 32, 3
	}
	channels := 1 + int(kind/4)%2
	align := channels * bits / 8
	raw = raw[:len(raw)/align*align]
	le := binary.LittleEndian
	b := le.AppendUint32([]byte("RIFF"), uint32(36+len(raw)))
	b = append(b, "WAVEfmt \x10\x00\x00\x00"...)
	b = le.AppendUint16(le.AppendUint16(b, tag), uint16(channels))
	b = le.AppendUint32(le.AppendUint32(b, rateHz), rateHz*uint32(align))
	b = le.AppendUint16(le.AppendUint16(b, uint16(align)), uint16(bits))
	return append(le.AppendUint32(append(b, "data"...), uint32(len(raw))), raw...)
}

// tinyPulses are samples of 8 bits with a pulse at each of the places.
func tinyPulses(length int, at ...int) []byte {
	b := bytes.Repeat([]byte{128}, length)
	for i, n := range at {
		b[n] = byte(128 + 100/(i+1))
	}
	return b
}

func tinySweep(f *testing.F) []byte {
	s, err := dsp.NewSweep(dsp.SuggestSweep(100, 3500, 0.2, 8000))
	if err != nil {
		f.Fatal(err)
	}
	var b []byte
	for i, v := range s.Playback()[7000:12000] {
		b = append(b, byte(128+100*v+float64(i%2)))
	}
	return b
}

// FuzzTakes: whatever the files of a survey hold, reading, aligning and gating neither panics nor hangs, and memory keeps to a multiple of what
// was read; errors are one printable line.
func FuzzTakes(f *testing.F) {
	f.Add(uint8(0), uint8(1), uint32(8000), tinyPulses(400, 47), tinyPulses(400, 47, 90), tinyPulses(400, 47, 90, 101))
	f.Add(uint8(1), uint8(1), uint32(8000), tinyPulses(800, 47, 300), tinyPulses(800, 50, 90), tinyPulses(800, 40, 90, 101))
	f.Add(uint8(2), uint8(1), uint32(48000), tinyPulses(800, 347), tinyPulses(800, 347, 390), tinyPulses(800, 347, 390, 401))
	f.Add(uint8(0), uint8(2), uint32(8000), []byte("abcdefgh"), []byte("\x00\x00\x01\x00"), []byte("\x00\x80\xff\x7f"))
	f.Add(uint8(0), uint8(3), uint32(8000), bytes.Repeat([]byte{0, 0, 0, 0, 0xff, 0xff, 0x7f, 0x7f}, 40), bytes.Repeat([]byte{1, 0, 0, 0}, 60), bytes.Repeat([]byte{0, 0, 0x80, 0x3f}, 60))
	f.Add(uint8(2), uint8(1), uint32(math.MaxInt32), tinyPulses(40, 4), tinyPulses(40, 4), tinyPulses(40, 4, 9))
	f.Add(uint8(1), uint8(1), uint32(1), tinyPulses(40, 4), tinyPulses(40, 4), tinyPulses(40, 4, 9))
	f.Add(uint8(0), uint8(0), uint32(0), tinyWAV(2, 44100, tinyPulses(300, 20)), tinyWAV(1, 48000, tinyPulses(300, 20)), tinyWAV(3, 44100, tinyPulses(400, 20)))
	sweep := tinySweep(f)
	for extra := 3; extra < len(tinyExtras); extra++ {
		f.Add(uint8(extra), uint8(1), uint32(8000), sweep, sweep, sweep)
	}
	f.Add(uint8(4), uint8(5), uint32(8000), sweep, sweep, append(sweep, sweep[:2000]...))
	f.Add(uint8(3), uint8(1), uint32(700000), sweep, sweep[:3000], sweep[1000:])
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, extra, kind uint8, rateHz uint32, empty, flat, panel []byte) {
		const most = 8192 // bytes of a file: the subject is their content
		size := 0
		for name, raw := range map[string][]byte{"empty": empty, "flat": flat, "panel": panel, "again": panel[:len(panel)/2]} {
			if len(raw) > most {
				t.Skip()
			}
			file := tinyWAV(kind, rateHz, raw)
			size += 2 * len(file) // two positions
			if err := os.WriteFile(filepath.Join(dir, name), file, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		s, err := ParseSurvey([]byte(tinySurvey+tinyExtras[int(extra)%len(tinyExtras)]+tinyPositions), filepath.Join(dir, "s.toml"))
		if err != nil {
			t.Fatal(err)
		}
		r, err := newRun(s, Options{BandsPerOctave: 3}, "check")
		if err != nil {
			t.Fatal(err)
		}
		used := allocated(func() {
			if err = r.measure(context.Background()); err == nil {
				r.chooseRange()
			}
		})
		if limit := 64<<20 + 4000*size; used > limit {
			t.Errorf("%d bytes allocated for %d bytes of files", used, size)
		}
		if err != nil {
			if text := err.Error(); !strings.Contains(text, dir) || strings.ContainsFunc(text, func(c rune) bool { return !unicode.IsPrint(c) && c != '\u00a0' }) {
				t.Errorf("no place, or not one printable line: %q", text)
			}
		}
	})
}
