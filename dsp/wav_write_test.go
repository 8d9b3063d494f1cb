package dsp

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
	"pgregory.net/rapid"
)

// TestWriteWAVRoundTrip: integers come back exact, and so do floats, bit by bit.
func TestWriteWAVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom([]WAVFormat{{BitsPerSample: 16}, {BitsPerSample: 24}, {BitsPerSample: 32},
			{BitsPerSample: 32, Float: true}, {BitsPerSample: 64, Float: true}}).Draw(t, "format")
		f.SampleRateHz = rapid.IntRange(1, 400000).Draw(t, "rate")
		channels := rapid.IntRange(1, 9).Draw(t, "channels")
		frames := rapid.IntRange(1, 30).Draw(t, "frames")
		if rapid.Bool().Draw(t, "long") {
			frames += 3 * blockBytes / (channels * f.BitsPerSample / 8)
		}
		a := &Audio{SampleRateHz: f.SampleRateHz, Channels: make([][]float64, channels)}
		full := int64(1) << (f.BitsPerSample - 1)
		first := make([]float64, 20)
		for i := range first {
			switch {
			case !f.Float:
				first[i] = float64(rapid.Int64Range(-full, full-1).Draw(t, "sample")) / float64(full)
			case f.BitsPerSample == 32:
				first[i] = float64(rapid.Float32().Draw(t, "sample"))
			default:
				first[i] = rapid.Float64().Draw(t, "sample")
			}
		}
		for c := range a.Channels {
			a.Channels[c] = make([]float64, frames)
			for i := range a.Channels[c] {
				a.Channels[c][i] = first[(i*channels+c)%len(first)]
			}
		}
		var out bytes.Buffer
		if err := WriteWAV(&out, a, f); err != nil {
			t.Fatal(err)
		}
		back, err := decodeBytes(out.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		if back.SampleRateHz != f.SampleRateHz || back.BitsPerSample != f.BitsPerSample || back.Float != f.Float || len(back.Notes) != 0 || len(back.Channels) != channels {
			t.Fatalf("%d Hz, %d bits, %v, %q", back.SampleRateHz, back.BitsPerSample, back.Float, back.Notes)
		}
		for c := range a.Channels {
			if !sameBits(back.Channels[c], a.Channels[c]) {
				t.Fatalf("channel %d", c+1)
			}
		}
	})
}

// TestWriteWAVAsSciPy: the same samples give SciPy's file, byte for byte; Python's wave module only leaves out the pad byte.
func TestWriteWAVAsSciPy(t *testing.T) {
	expected := wavReference(t)
	for _, name := range []string{"scipy-i16.wav", "scipy-i32.wav", "scipy-f32.wav", "scipy-f64.wav", "wave-i24.wav"} {
		want, err := os.ReadFile(filepath.Join("../testdata/wav", name))
		if err != nil {
			t.Fatal(err)
		}
		if name == "wave-i24.wav" {
			want = append(want, 0)
			binary.LittleEndian.PutUint32(want[4:], uint32(len(want)-8))
		}
		e := expected[name]
		var out bytes.Buffer
		if err := WriteWAV(&out, &Audio{SampleRateHz: e.Rate, Channels: e.Channels}, WAVFormat{e.Rate, e.Bits, e.Float}); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(out.Bytes(), want) {
			t.Errorf("%s:\n% X, expected\n% X", name, out.Bytes(), want)
		}
	}
}

// Plain integer files are where github.com/go-audio/wav is right: an independent reader and writer.

func TestWriteWAVAgainstGoAudio(t *testing.T) {
	for _, bits := range []int{16, 24, 32} {
		for _, channels := range []int{1, 2, 5} {
			samples := oracleSamples(bits, channels)
			a := &Audio{SampleRateHz: 96000, Channels: oracleChannels(samples, bits, channels)}
			var out bytes.Buffer
			if err := WriteWAV(&out, a, WAVFormat{SampleRateHz: 96000, BitsPerSample: bits}); err != nil {
				t.Fatal(err)
			}
			d := wav.NewDecoder(bytes.NewReader(out.Bytes()))
			buf, err := d.FullPCMBuffer()
			if err != nil {
				t.Fatal(err)
			}
			if buf.Format.NumChannels != channels || buf.Format.SampleRate != 96000 || buf.SourceBitDepth != bits || len(buf.Data) != len(samples) {
				t.Fatalf("%d bits, %d channels: %+v, %d samples, expected %d", bits, channels, buf.Format, len(buf.Data), len(samples))
			}
			for i, v := range buf.Data {
				if v != samples[i] {
					t.Fatalf("%d bits, %d channels, sample %d: %d, expected %d", bits, channels, i, v, samples[i])
				}
			}
		}
	}
}

func TestReadWAVAgainstGoAudio(t *testing.T) {
	for _, bits := range []int{16, 24, 32} {
		for _, channels := range []int{1, 2, 5} {
			samples := oracleSamples(bits, channels)
			path := filepath.Join(t.TempDir(), "theirs.wav")
			file, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			enc := wav.NewEncoder(file, 96000, bits, channels, 1)
			buf := &audio.IntBuffer{Format: &audio.Format{NumChannels: channels, SampleRate: 96000}, Data: samples, SourceBitDepth: bits}
			for _, err := range []error{enc.Write(buf), enc.Close(), file.Close()} {
				if err != nil {
					t.Fatal(err)
				}
			}
			a, err := ReadWAV(path)
			if err != nil {
				t.Fatal(err)
			}
			if a.SampleRateHz != 96000 || a.BitsPerSample != bits || a.Float || len(a.Notes) != 0 {
				t.Fatalf("%d Hz, %d bits, %v, %q", a.SampleRateHz, a.BitsPerSample, a.Float, a.Notes)
			}
			sameChannels(t, a.Channels, oracleChannels(samples, bits, channels))
		}
	}
}

// oracleSamples: an even number of frames, since their reader takes a pad byte for part of a sample.
func oracleSamples(bits, channels int) []int {
	full := 1 << (bits - 1)
	samples := []int{-full, full - 1, 0, -1, 1}
	for i := len(samples); i < 1000*channels; i++ {
		samples = append(samples, i*2654435761%(2*full)-full)
	}
	return samples
}

func oracleChannels(samples []int, bits, channels int) [][]float64 {
	out := make([][]float64, channels)
	for i, v := range samples {
		out[i%channels] = append(out[i%channels], math.Ldexp(float64(v), 1-bits))
	}
	return out
}

// TestWriteWAVRounding: to nearest, halves to even, up to the last value that rounds into the range.
func TestWriteWAVRounding(t *testing.T) {
	x := []float64{0.5, 1.5, 2.5, -0.5, -1.5, 0.49, 0.51, 32767.49, -32768.5}
	want := []float64{0, 2, 2, 0, -2, 0, 1, 32767, -32768}
	for i := range x {
		x[i] /= 32768
		want[i] /= 32768
	}
	var out bytes.Buffer
	if err := WriteWAV(&out, &Audio{SampleRateHz: 1, Channels: [][]float64{x}}, WAVFormat{SampleRateHz: 1, BitsPerSample: 16}); err != nil {
		t.Fatal(err)
	}
	a, err := decodeBytes(out.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	sameChannels(t, a.Channels, [][]float64{want})
}

func TestWriteWAVRefuses(t *testing.T) {
	one := func(x ...float64) *Audio { return &Audio{SampleRateHz: 48000, Channels: [][]float64{x}} }
	i16 := WAVFormat{SampleRateHz: 48000, BitsPerSample: 16}
	f32 := WAVFormat{SampleRateHz: 48000, BitsPerSample: 32, Float: true}
	f64 := WAVFormat{SampleRateHz: 48000, BitsPerSample: 64, Float: true}
	for _, c := range []struct {
		name   string
		audio  *Audio
		format WAVFormat
		text   string
	}{
		{"nothing", nil, i16, "no samples"},
		{"no channels", &Audio{SampleRateHz: 48000}, i16, "no samples"},
		{"no samples", one(), i16, "no samples"},
		{"different lengths", &Audio{SampleRateHz: 48000, Channels: [][]float64{{0, 0}, {0}}}, i16, "channel 2 has 1"},
		{"too many channels", &Audio{SampleRateHz: 48000, Channels: make([][]float64, 32768)}, i16, "no samples"},
		{"12 bits", one(0), WAVFormat{SampleRateHz: 48000, BitsPerSample: 12}, "12 bits"},
		{"24-bit float", one(0), WAVFormat{SampleRateHz: 48000, BitsPerSample: 24, Float: true}, "24 bits"},
		{"64-bit integer", one(0), WAVFormat{SampleRateHz: 48000, BitsPerSample: 64}, "64 bits"},
		{"no sample rate", one(0), WAVFormat{BitsPerSample: 16}, "0 Hz"},
		{"another sample rate", one(0), WAVFormat{SampleRateHz: 44100, BitsPerSample: 16}, "resample"},
		{"NaN", one(0, math.NaN()), f64, "sample 1 (from 0) of channel 1 is NaN"},
		{"infinite", one(math.Inf(-1)), f32, "-Inf"},
		{"+1 as integer", one(1), i16, "beyond the range"},
		{"rounds to +1", one(32767.5 / 32768), i16, "beyond the range"},
		{"below -1", one(-1.0001), i16, "beyond the range"},
		{"huge as integer", one(1e308), i16, "beyond the range"},
		{"beyond 32-bit float", one(3.5e38), f32, "64-bit float"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			err := WriteWAV(&out, c.audio, c.format)
			if err == nil || !strings.Contains(err.Error(), c.text) || out.Len() != 0 {
				t.Errorf("%v, %d bytes written; expected %q and none", err, out.Len(), c.text)
			}
		})
	}
	wide := &Audio{SampleRateHz: 48000, Channels: make([][]float64, 32768)}
	for c := range wide.Channels {
		wide.Channels[c] = []float64{0}
	}
	if err := WriteWAV(&bytes.Buffer{}, wide, i16); err == nil || !strings.Contains(err.Error(), "per frame") {
		t.Errorf("%v", err)
	}
}

type failingWriter struct{ left int }

var errFull = errors.New("disk full")

func (w *failingWriter) Write(p []byte) (int, error) {
	if w.left -= len(p); w.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestWriteWAVFailure(t *testing.T) {
	a := &Audio{SampleRateHz: 48000, Channels: [][]float64{make([]float64, 100)}}
	for _, room := range []int{0, 44, 243} {
		if err := WriteWAV(&failingWriter{room}, a, WAVFormat{SampleRateHz: 48000, BitsPerSample: 16}); !errors.Is(err, errFull) {
			t.Errorf("room for %d: %v", room, err)
		}
	}
	if err := WriteWAV(&failingWriter{244}, a, WAVFormat{SampleRateHz: 48000, BitsPerSample: 16}); err != nil {
		t.Error(err)
	}
}

// TestWriteWAVFile: the whole file or what was there before, and nothing left lying about.
func TestWriteWAVFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.wav")
	f := WAVFormat{SampleRateHz: 48000, BitsPerSample: 24}
	for _, x := range []float64{0.25, 0.5} { // the second over the first
		if err := WriteWAVFile(path, &Audio{SampleRateHz: 48000, Channels: [][]float64{{x}}}, f); err != nil {
			t.Fatal(err)
		}
		a, err := ReadWAV(path)
		if err != nil {
			t.Fatal(err)
		}
		sameChannels(t, a.Channels, [][]float64{{x}})
	}
	if err := WriteWAVFile(path, &Audio{SampleRateHz: 48000, Channels: [][]float64{{2}}}, f); err == nil || !strings.HasPrefix(err.Error(), path+": ") {
		t.Errorf("%v", err)
	}
	if a, err := ReadWAV(path); err != nil || a.Channels[0][0] != 0.5 {
		t.Errorf("the old file is gone: %v", err)
	}
	if err := WriteWAVFile(filepath.Join(dir, "none", "out.wav"), &Audio{SampleRateHz: 48000, Channels: [][]float64{{0}}}, f); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("%v", left)
	}
}
