package main

import (
	"context"
	"io"
	"path/filepath"
	"testing"
)

// The whole main job on the virtual bench: 33 positions, prediction, depths, report.
func BenchmarkCheckRoomB(b *testing.B) {
	dir := b.TempDir()
	began := processorSeconds()
	for b.Loop() {
		run(context.Background(), []string{"check", "../../fixtures/virtual-bench/room-b-panel-built-1.toml",
			"--report", filepath.Join(dir, "report.html"), "--data", filepath.Join(dir, "result.json")}, io.Discard, io.Discard)
	}
	b.ReportMetric((processorSeconds()-began)/float64(b.N), "cpu-s/op")
}
