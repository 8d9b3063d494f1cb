//go:build unix

package analysis

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"github.com/leadline/leadline/dsp"
)

// BenchmarkScan reads the files of the survey that .ci/bench has made, alone and with all that a check does to them up to the gates.
func BenchmarkScan(b *testing.B) {
	dir := os.Getenv("LEADLINE_BENCH")
	if dir == "" {
		b.Skip("started by .ci/bench")
	}
	s, err := LoadSurvey(filepath.Join(dir, "scan.toml"))
	if err != nil {
		b.Fatal(err)
	}
	cpu := func() float64 {
		var r syscall.Rusage
		syscall.Getrusage(syscall.RUSAGE_SELF, &r)
		return float64(r.Utime.Nano()+r.Stime.Nano()) / 1e9
	}
	b.Run("files", func(b *testing.B) {
		began := cpu()
		for b.Loop() {
			parallel(0, len(s.Positions), func(i int) {
				for _, state := range s.Positions[i].states() {
					for _, file := range state.files {
						if _, err := dsp.ReadWAVChannel(file, 1); err != nil {
							b.Error(err)
						}
					}
				}
			})
		}
		b.ReportMetric((cpu()-began)/float64(b.N), "cpu-s/op")
	})
	b.Run("gates", func(b *testing.B) {
		began := cpu()
		for b.Loop() {
			r, err := newRun(s, Options{BandsPerOctave: 3}, "check")
			if err != nil {
				b.Fatal(err)
			}
			if err := r.measure(context.Background()); err != nil {
				b.Fatal(err)
			}
			r.chooseRange()
			r.transferFunctions()
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapAlloc)/1e6, "MB-kept")
			runtime.KeepAlive(r)
		}
		b.ReportMetric((cpu()-began)/float64(b.N), "cpu-s/op")
	})
}
