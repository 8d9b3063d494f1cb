package analysis

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// SurveyFile returns a survey in TOML for the planned places, ready to be recorded: ParseSurvey reads it. Its takes are named after the places, in the
// folders empty, flat and panel. The format knows one wall across y; where both count, the one whose echo comes first is written and the other is
// a comment.
func (p *Plan) SurveyFile() []byte {
	var b bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	in := &p.rig.survey
	line("# Planned by leadline from %s. Lengths in metres; the origin is the middle of the panel's front face,", printable(p.File))
	line("# x to the right as drawn from above, y out of the panel, z up.")
	line("title = %s", quoted(p.Title))
	line("tolerance_m = %s", exact(in.ToleranceM))
	line("")
	line("[air]")
	if !in.Air.TemperatureC.Known() && !in.Air.SpeedOfSoundMS.Known() {
		line("# temperature_c = 20              # measure it where the rig stands, and write it here")
	}
	for _, v := range []struct {
		key   string
		value Num
	}{{"temperature_c", in.Air.TemperatureC}, {"humidity_percent", in.Air.HumidityPercent}, {"speed_of_sound_m_s", in.Air.SpeedOfSoundMS},
		{"empty_c", in.Air.EmptyC}, {"flat_c", in.Air.FlatC}, {"panel_c", in.Air.PanelC}} {
		if v.value.Known() {
			line("%s = %s", v.key, exact(float64(v.value)))
		}
	}
	line("")
	line("[panel]")
	p.surveyPanel(line)
	line("")
	line("[source]")
	line("position_m = %s", point(p.SourceM))
	line("")
	line("[room]")
	p.surveyRoom(line)
	line("")
	line("# Where the files are sweep recordings, say which sweep was played; leave it out where they are impulse responses.")
	line("# [sweep]")
	line("# low_hz = 50")
	line("# high_hz = 20000")
	line("# seconds = 2")
	for _, m := range p.Microphones {
		line("")
		line("[[position]]")
		line("name = %s", quoted(m.Name))
		line("mic_m = %s", point(m.MicM))
		for _, state := range []string{"empty", "flat", "panel"} {
			line("%-5s = %s", state, quoted(state+"/"+m.Name+".wav"))
		}
	}
	return b.Bytes()
}

func (p *Plan) surveyPanel(line func(string, ...any)) {
	panel := &p.rig.survey.Panel
	if panel.Prime > 0 {
		line("sequence = %s", quoted(panel.Sequence))
		line("prime = %d", panel.Prime)
		line("periods = %d", panel.Periods)
	} else if panel.Periods > 1 {
		line("periods = %d", panel.Periods)
	}
	if f := panel.DesignFrequencyHz; f.Known() {
		line("design_frequency_hz = %s", exact(float64(f)))
	}
	if !p.rig.depthsFollow {
		var depths []string
		for _, d := range panel.DepthsM {
			depths = append(depths, exact(d))
		}
		line("depths_m = [%s]", strings.Join(depths, ", "))
	}
	for _, v := range []struct {
		key   string
		value float64
	}{{"well_width_m", panel.WellWidthM}, {"fin_thickness_m", panel.FinThicknessM}, {"height_m", panel.HeightM}, {"cap_m", panel.CapM}, {"back_m", panel.BackM}} {
		line("%s = %s", v.key, exact(v.value))
	}
}

func (p *Plan) surveyRoom(line func(string, ...any)) {
	gate := map[string]float64{}
	for _, e := range p.Echoes {
		gate[e.Surface] = e.GateS
	}
	behind := "wall behind the panel"
	if gate["wall behind the source"] < gate[behind] {
		behind = "wall behind the source"
	}
	for _, s := range p.Surfaces {
		words := s.Words()
		entry := fmt.Sprintf("%s_m = %s", s.Name, exact(math.Round(s.PlaceM*1000)/1000))
		switch {
		case s.Name == "floor" && absorberGateS(p.AbsorberM, p.Air.SpeedOfSoundMS) > gate["floor"]:
			line("# %s   # left out: the absorber is taken to quiet its echo above %.0f Hz; trust no band below", entry, p.AbsorberFromHz)
		case s.Name == "behind" && words != behind:
			line("# %s   # %s: its echo comes after that of the %s", entry, words, behind)
		default:
			line("%s", entry)
		}
	}
}

func point(p [3]float64) string {
	return fmt.Sprintf("[%s, %s, %s]", exact(p[0]), exact(p[1]), exact(p[2]))
}

// exact writes a number so that TOML reads the same one back, as a float.
func exact(v float64) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// quoted writes a TOML basic string; titles and names hold printable characters only.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}
