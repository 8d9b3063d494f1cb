package analysis

import (
	"fmt"
	"strings"
	"testing"
)

// Names of places become file names that every file system bears, and stay apart.
func TestResponseFileNames(t *testing.T) {
	for name, want := range map[string]string{
		"arc+30": "arc+30", "left / up": "left___up", "..": "_", "../../etc": "__.._etc", "": "_", "CON": "_CON", "com1.a": "_com1.a", "Müller 3": "Müller_3",
		strings.Repeat("a", 300): strings.Repeat("a", 60), "a:b*c?": "a_b_c_", "trailing.": "_trailing",
	} {
		if got := fileName(name); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
	m := &MeasuredRecordings{}
	for _, p := range []string{"a/b", "a_b", "A_B"} {
		m.Files = append(m.Files, RecordedFile{Position: p, State: "panel", Sweeps: []RecordedSweep{{}, {Left: true}, {}}})
	}
	m.Files = append(m.Files, RecordedFile{Position: "a/b", State: "panel", Sweeps: []RecordedSweep{{}}})
	want := "[{panel/a_b.wav 0 0} {panel/a_b.take2.wav 0 2} {panel/a_b_2.wav 1 0} {panel/a_b_2.take2.wav 1 2} {panel/A_B_3.wav 2 0} {panel/A_B_3.take2.wav 2 2} {panel/a_b.take3.wav 3 0}]"
	if got := fmt.Sprint(m.ResponseFiles()); got != want {
		t.Errorf("files:\n%s\nwant\n%s", got, want)
	}
}

// The copy of a survey reads back as the same survey, but for the sweep and the files.
func TestSurveyOfResponses(t *testing.T) {
	for name, panel := range map[string]string{
		"sequence": "sequence = \"quadratic residue\"\nprime = 7\nperiods = 2\ndesign_frequency_hz = 500",
		"closing":  "sequence = \"quadratic residue\"\nprime = 7\ndepths_m = [0, 0.05, 0.2, 0.1, 0.1, 0.2, 0.05, 0]",
		"depths":   "depths_m = [0.1, 0.2, 0.3, 0.1, 0.2, 0.3]\nperiods = 2",
	} {
		text := "title = \"Back wall, \\\"first\\\"\"\ntolerance_m = 0.002\nchannel = 2\n[air]\nempty_c = 20.5\npanel_c = 21\nhumidity_percent = 40\n[panel]\n" + panel +
			"\nwell_width_m = 0.05\nfin_thickness_m = 0.004\nheight_m = 0.6\ncap_m = 0.01\nback_m = 0.006\n[source]\nposition_m = [0.1, 2.0, -0.05]\n[room]\nfloor_m = -1\nbehind_m = 4\n" +
			"[gate]\nend_s = 0.012\n[sweep]\nlow_hz = 50\nhigh_hz = 20000\nseconds = 2\nloopback_channel = 1\nperiod_s = 4.5\npilot = true\n" +
			"[[position]]\nname = \"a b\"\nangle_deg = 33.3\ndistance_m = 1.1\npanel = [\"1.wav\", \"2.wav\"]\nempty = \"3.wav\"\n"
		before, err := ParseSurvey([]byte(text), "survey.toml")
		if err != nil {
			t.Fatal(err)
		}
		if s := before.Sweep; s.PeriodS != 4.5 || !s.Pilot || s.LoopbackChannel != 1 {
			t.Errorf("sweep: %+v", s)
		}
		m := &MeasuredRecordings{}
		for _, state := range before.Positions[0].states() {
			for _, file := range state.files {
				m.Files = append(m.Files, RecordedFile{Position: "a b", State: state.name, File: file, Sweeps: []RecordedSweep{{}}})
			}
		}
		after, err := ParseSurvey(m.SurveyFile(before, m.ResponseFiles()), "copy.toml")
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, m.SurveyFile(before, m.ResponseFiles()))
		}
		if got := fmt.Sprint(after.Positions[0].Empty, after.Positions[0].Flat, after.Positions[0].Panel, after.Positions[0].Channel); got != "[empty/a_b.wav] [] [panel/a_b.wav panel/a_b.take2.wav] 1" {
			t.Errorf("%s: files %s", name, got)
		}
		if after.Sweep != nil || after.Positions[0].MicM != before.Positions[0].MicM {
			t.Errorf("%s: sweep %v, microphone %v", name, after.Sweep, after.Positions[0].MicM)
		}
		same := func(s *Survey) string {
			return fmt.Sprint(s.Title, s.ToleranceM, s.Air, s.Panel, s.SourceM, s.Room, s.Gate)
		}
		if same(after) != same(before) {
			t.Errorf("%s:\n%s\nwant\n%s", name, same(after), same(before))
		}
	}
	for _, bad := range []string{"pilot = 1", "period_s = \"4\"", "file = \"s.wav\"\npilot = true"} {
		if strings.HasPrefix(bad, "file") {
			bad = "[sweep]\n" + bad
		} else {
			bad = "[sweep]\nlow_hz = 50\nhigh_hz = 20000\nseconds = 2\n" + bad
		}
		text := "[panel]\ndepths_m = [0.1]\nwell_width_m = 0.05\nfin_thickness_m = 0.004\nheight_m = 0.6\n[source]\nposition_m = [0, 2, 0]\n" + bad + "\n[[position]]\nname = \"a\"\nmic_m = [0, 1, 0]\npanel = \"1.wav\"\n"
		if _, err := ParseSurvey([]byte(text), "survey.toml"); err == nil || !strings.Contains(err.Error(), "sweep.") {
			t.Errorf("%s: %v", bad, err)
		}
	}
}
