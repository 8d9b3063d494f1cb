package dsp

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
)

// WAVFormat is how samples are stored: integers of 16, 24 or 32 bits, or floats of 32 or 64.
type WAVFormat struct {
	SampleRateHz, BitsPerSample int
	Float                       bool
}

// WriteWAV writes a as a WAV file with a plain header (floats with a fact chunk, as the standard asks). Integers are the
// samples times 2^(bits−1), rounded to nearest, halves to even; floats are rounded to the format, so 64-bit ones are exact.
// Nothing is written and an error returned where a sample is NaN, infinite or beyond the format's range (+1 is beyond an integer's:
// its largest value is 1 − 2^(1−bits)), where channels are missing, empty or of different lengths, where f's sample rate isn't a's
// (nothing is resampled here), or where the file would exceed 4 GiB. a's Notes, BitsPerSample and Float play no part.
func WriteWAV(w io.Writer, a *Audio, f WAVFormat) error {
	if err := checkWritable(a, f); err != nil {
		return fmt.Errorf("writing WAV: %w", err)
	}
	channels, frames := len(a.Channels), len(a.Channels[0])
	sampleBytes := f.BitsPerSample / 8
	align := channels * sampleBytes
	dataBytes := frames * align

	le := binary.LittleEndian
	head := le.AppendUint32([]byte("RIFF"), 0) // the size is filled in below
	head = append(head, "WAVEfmt "...)
	fmtBytes, tag := uint32(16), uint16(tagPCM)
	if f.Float {
		fmtBytes, tag = 18, tagFloat
	}
	head = le.AppendUint32(head, fmtBytes)
	head = le.AppendUint16(head, tag)
	head = le.AppendUint16(head, uint16(channels))
	head = le.AppendUint32(head, uint32(f.SampleRateHz))
	head = le.AppendUint32(head, uint32(f.SampleRateHz*align))
	head = le.AppendUint16(head, uint16(align))
	head = le.AppendUint16(head, uint16(f.BitsPerSample))
	if f.Float {
		head = le.AppendUint16(head, 0) // no extension
		head = append(head, "fact"...)
		head = le.AppendUint32(head, 4)
		head = le.AppendUint32(head, uint32(frames))
	}
	head = append(head, "data"...)
	head = le.AppendUint32(head, uint32(dataBytes))
	pad := dataBytes % 2
	le.PutUint32(head[4:], uint32(len(head)+dataBytes+pad-8))

	kept := blocks.Get().(*[]byte)
	defer blocks.Put(kept)
	if room := len(head) + align + pad; len(*kept) < room {
		*kept = make([]byte, room)
	}
	block := *kept
	filled := copy(block, head)
	for at := 0; at < frames; {
		n := min((len(block)-pad-filled)/align, frames-at)
		for c, samples := range a.Channels {
			encode(block[filled+c*sampleBytes:], samples[at:at+n], align, f)
		}
		filled, at = filled+n*align, at+n
		if at == frames && pad == 1 {
			block[filled] = 0
			filled++
		}
		if _, err := w.Write(block[:filled]); err != nil {
			return fmt.Errorf("writing WAV: %w", err)
		}
		filled = 0
	}
	return nil
}

// encode puts one channel into the interleaved dst, whose first sample is the channel's.
func encode(dst []byte, samples []float64, align int, f WAVFormat) {
	if f.Float && f.BitsPerSample == 32 {
		toFloats(dst, samples, align)
		return
	}
	le := binary.LittleEndian
	scale := math.Ldexp(1, f.BitsPerSample-1)
	p := 0
	for _, x := range samples {
		if f.Float {
			le.PutUint64(dst[p:], math.Float64bits(x))
		} else {
			v := int32(math.RoundToEven(x * scale))
			switch f.BitsPerSample {
			case 16:
				le.PutUint16(dst[p:], uint16(v))
			case 24:
				dst[p], dst[p+1], dst[p+2] = byte(v), byte(v>>8), byte(v>>16)
			default:
				le.PutUint32(dst[p:], uint32(v))
			}
		}
		p += align
	}
}

// checkWritable finds every reason not to write before the first byte is written.
func checkWritable(a *Audio, f WAVFormat) error {
	bits := f.BitsPerSample
	if f.Float && bits != 32 && bits != 64 || !f.Float && bits != 16 && bits != 24 && bits != 32 {
		return fmt.Errorf("%d bits (float: %v), expected integers of 16, 24 or 32 bits or floats of 32 or 64", bits, f.Float)
	}
	if a == nil || len(a.Channels) == 0 || len(a.Channels[0]) == 0 {
		return fmt.Errorf("no samples, expected at least one channel of one sample")
	}
	align := len(a.Channels) * bits / 8
	switch {
	case align > math.MaxUint16:
		return fmt.Errorf("%d channels of %d bits, expected at most %d bytes per frame", len(a.Channels), bits, math.MaxUint16)
	case f.SampleRateHz < 1 || int64(f.SampleRateHz) > math.MaxInt32 || int64(f.SampleRateHz)*int64(align) > math.MaxUint32:
		return fmt.Errorf("%d Hz of %d bytes per frame, expected 1 Hz or more and at most 4 GiB per second", f.SampleRateHz, align)
	case f.SampleRateHz != a.SampleRateHz:
		return fmt.Errorf("samples at %d Hz for a file at %d Hz: resample first", a.SampleRateHz, f.SampleRateHz)
	case int64(len(a.Channels[0])) > (math.MaxUint32-64)/int64(align): // 64: more than the header
		return fmt.Errorf("%d frames of %d bytes exceed the 4 GiB of a WAV file: write fewer channels or a shorter piece", len(a.Channels[0]), align)
	}
	scale := math.Ldexp(1, bits-1)
	sure := 1 - 1/scale // what is no larger can be written
	switch {
	case f.Float && bits == 32:
		sure = math.MaxFloat32
	case f.Float:
		sure = math.MaxFloat64
	}
	for c, samples := range a.Channels {
		if len(samples) != len(a.Channels[0]) {
			return fmt.Errorf("channel %d has %d samples, channel 1 has %d, expected one length", c+1, len(samples), len(a.Channels[0]))
		}
		for i, x := range samples {
			if math.Abs(x) <= sure {
				continue
			}
			switch {
			case x-x != 0:
				return fmt.Errorf("sample %d (from 0) of channel %d is %v, expected a finite value", i, c+1, x)
			case f.Float && bits == 32 && math.IsInf(float64(float32(x)), 0):
				return fmt.Errorf("sample %d (from 0) of channel %d is %g, beyond 32-bit float: write 64-bit float", i, c+1, x)
			case !f.Float:
				if v := math.RoundToEven(x * scale); v < -scale || v > scale-1 {
					return fmt.Errorf("sample %d (from 0) of channel %d is %.10g, beyond the range -1 to %.10g of %d-bit integers: scale the signal down or write floats",
						i, c+1, x, 1-1/scale, bits)
				}
			}
		}
	}
	return nil
}

// WriteWAVFile writes a to path as WriteWAV does: into a temporary file in the same folder, flushed to disk and then renamed, so
// that path holds the whole file or what it held before.
func WriteWAVFile(path string, a *Audio, f WAVFormat) (err error) {
	temp := fmt.Sprintf("%s.%016x.tmp", path, rand.Uint64())
	file, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			file.Close()
			os.Remove(temp)
			err = fmt.Errorf("%s: %w", path, err)
		}
	}()
	if err := WriteWAV(file, a, f); err != nil {
		return err
	}
	if err := file.Sync(); err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	return os.Rename(temp, path)
}
