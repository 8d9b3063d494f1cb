package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"path/filepath"
	"sort"

	"github.com/leadline/leadline/fixtures"
)

const exampleSurvey = "survey.toml"

// writeExample writes the example's survey and WAV files into dir.
func writeExample(dir string) error {
	const root = "virtual-bench"
	raw, err := fixtures.Bench.ReadFile(root + "/geometry.json")
	if err != nil {
		return err
	}
	var bench struct {
		Mic map[string][3]float64 `json:"mic_m"`
	}
	if err := json.Unmarshal(raw, &bench); err != nil {
		return err
	}
	var survey bytes.Buffer
	survey.WriteString(exampleHead)
	entries, err := fixtures.Bench.ReadDir(root + "/room-b/empty")
	if err != nil {
		return err
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	angle := func(name string) float64 {
		m := bench.Mic[name[:len(name)-len(".wav")]]
		return math.Atan2(m[0], m[1])
	}
	sort.Slice(names, func(i, j int) bool { return angle(names[i]) < angle(names[j]) })
	states := []struct{ folder, bench string }{{"empty", "empty"}, {"flat", "flat"}, {"panel", "panel-built-1"}}
	for _, s := range states {
		if err := os.MkdirAll(filepath.Join(dir, s.folder), 0o755); err != nil {
			return err
		}
	}
	var files []rendered
	for _, name := range names {
		base := name[:len(name)-len(".wav")]
		m := bench.Mic[base]
		fmt.Fprintf(&survey, "\n[[position]]\nname = %q\nmic_m = [%g, %g, %g]\n", base, m[0], m[1], m[2])
		for _, s := range states {
			fmt.Fprintf(&survey, "%s = %q\n", s.folder, s.folder+"/"+name)
			data, err := fixtures.Bench.ReadFile(path.Join(root, "room-b", s.bench, name))
			if err != nil {
				return err
			}
			files = append(files, rendered{filepath.Join(dir, s.folder, name), data})
		}
	}
	survey.WriteString(exampleSeat)
	return writeAll(append(files, rendered{filepath.Join(dir, exampleSurvey), survey.Bytes()}), io.Discard)
}

const exampleHead = `# A workshop's first panel, measured in a treated room with a hard floor. The responses come from a wave simulation.
title = "Mixing room, panel for the rear wall"
tolerance_m = 0.003

[air]
speed_of_sound_m_s = 343.2

[panel]
# prime 13 at 1 kHz, the depths rounded to the plywood at hand
depths_m = [0.0, 0.0125, 0.0525, 0.12, 0.04, 0.1575, 0.1325, 0.1325, 0.1575, 0.04, 0.12, 0.0525, 0.0125]
design_frequency_hz = 1000
well_width_m = 0.040
fin_thickness_m = 0.005
height_m = 0.60
cap_m = 0.010
back_m = 0.005

[source]
position_m = [0.0, 2.0, 0.0]

[room]
floor_m = -0.9
`

const exampleSeat = `
# where somebody listens; without recordings it is predicted
[[seat]]
name = "mixing chair"
place_m = [0.0, 1.2, 0.0]
`
