package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"github.com/leadline/leadline/analysis"
	"github.com/leadline/leadline/dsp"
	"github.com/leadline/leadline/report"
)

// tableFiles are the tables of a folder; none where no folder is asked for.
func tableFiles(dir string, list []report.CSVFile) []rendered {
	var files []rendered
	if dir == "" {
		return nil
	}
	for _, t := range list {
		files = append(files, rendered{filepath.Join(dir, t.Name), t.Data})
	}
	return files
}

// alignedFiles are the responses that a check kept, as WAV files with a list of them.
func alignedFiles(dir string, result *analysis.Result) ([]rendered, error) {
	var kept []analysis.AlignedResponse
	var files []rendered
	for _, a := range result.Aligned() {
		if len(a.Samples) == 0 {
			continue // the recording ends before the gate begins
		}
		f, err := wavFile(filepath.Join(dir, filepath.FromSlash(a.Path)), a.Samples, a.SampleRateHz)
		if err != nil {
			return nil, err
		}
		kept, files = append(kept, a), append(files, f)
	}
	if len(files) == 0 {
		return nil, errors.New("--responses: this run kept no responses: nothing was written")
	}
	return append(files, rendered{filepath.Join(dir, "responses.csv"), report.ResponsesCSV(kept)}), nil
}

// wavFile renders one channel as 32-bit floats.
func wavFile(path string, samples []float64, sampleRateHz float64) (rendered, error) {
	rate := int(math.Round(sampleRateHz))
	var b bytes.Buffer
	err := dsp.WriteWAV(&b, &dsp.Audio{SampleRateHz: rate, Channels: [][]float64{samples}}, dsp.WAVFormat{SampleRateHz: rate, BitsPerSample: 32, Float: true})
	if err != nil {
		return rendered{}, fmt.Errorf("%s: %w", path, err)
	}
	return rendered{path, b.Bytes()}, nil
}

// makeFolders makes the folders that files go to.
func makeFolders(files []rendered) error {
	for _, f := range files {
		if err := os.MkdirAll(filepath.Dir(f.path), 0o755); err != nil {
			return err
		}
	}
	return nil
}

func pathsOf(files []rendered) []string {
	var paths []string
	for _, f := range files {
		paths = append(paths, f.path)
	}
	return paths
}
