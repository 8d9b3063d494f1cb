package dsp

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// BenchmarkFiles is this side of testdata/bench/deconvolve.c: from recordings to responses, files to files, on two threads. Of
// its repeats, as of theirs, the best counts.
func BenchmarkFiles(b *testing.B) {
	dir := os.Getenv("LEADLINE_BENCH")
	if dir == "" {
		b.Skip("started by .ci/bench")
	}
	sweep, err := ReadWAV(filepath.Join(dir, "sweep.wav"))
	if err != nil {
		b.Fatal(err)
	}
	first, err := ReadWAV(filepath.Join(dir, "rec00.wav"))
	if err != nil {
		b.Fatal(err)
	}
	rate := float64(sweep.SampleRateHz)
	e := &Excitation{Samples: sweep.Channels[0], SampleRateHz: rate, LowHz: 50, HighHz: 20000}
	inverse, err := NewInverse(e, float64(len(first.Channels[0])-len(e.Samples))/rate)
	if err != nil {
		b.Fatal(err)
	}
	out := filepath.Join(dir, "go")
	one := func(i int, segment, response []float64) error {
		w, err := OpenWAV(filepath.Join(dir, fmt.Sprintf("rec%02d.wav", i)))
		if err != nil {
			return err
		}
		defer w.Close()
		if n, err := w.ReadFrames([][]float64{segment}); err != nil || n < len(segment) {
			return fmt.Errorf("%d samples, %v", n, err)
		}
		if err := inverse.Cut(response, segment, 0); err != nil {
			return err
		}
		f, err := os.Create(filepath.Join(out, fmt.Sprintf("%02d.wav", i)))
		if err != nil {
			return err
		}
		// not WriteWAVFile, which waits for the disk, as the others don't
		err = WriteWAV(f, &Audio{SampleRateHz: sweep.SampleRateHz, Channels: [][]float64{response}}, WAVFormat{SampleRateHz: sweep.SampleRateHz, BitsPerSample: 32, Float: true})
		return errors.Join(err, f.Close())
	}
	wall, processor := math.Inf(1), math.Inf(1)
	for b.Loop() {
		// Writing over what the repeat before has written may wait for the disk.
		if err := errors.Join(os.RemoveAll(out), os.MkdirAll(out, 0o777)); err != nil {
			b.Fatal(err)
		}
		began, used := time.Now(), processorSeconds()
		var next atomic.Int64
		var wait sync.WaitGroup
		for range 2 {
			wait.Go(func() {
				segment, response := make([]float64, len(first.Channels[0])), make([]float64, int(rate))
				for i := int(next.Add(1)) - 1; i < 33; i = int(next.Add(1)) - 1 {
					if err := one(i, segment, response); err != nil {
						b.Error(err)
					}
				}
			})
		}
		wait.Wait()
		wall, processor = min(wall, time.Since(began).Seconds()), min(processor, processorSeconds()-used)
	}
	b.ReportMetric(wall, "best-s")
	b.ReportMetric(processor, "best-cpu-s")
}
