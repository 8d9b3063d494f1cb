package analysis

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
)

// ResponseFile is one impulse response to be written.
type ResponseFile struct {
	Path        string // relative to the survey that SurveyFile writes, with slashes
	File, Sweep int    // which sweep of which file, as Response takes them
}

// ResponseFiles lists what SurveyFile refers to: every sweep that counts, in folders by state, named after the place and, from the second take on,
// the take. Characters that some file system can't bear are replaced.
func (m *MeasuredRecordings) ResponseFiles() []ResponseFile {
	names := map[string]string{} // of positions
	taken := map[string]bool{}
	takes := map[string]int{}
	var files []ResponseFile
	for i, f := range m.Files {
		name, ok := names[f.Position]
		if !ok {
			name = fileName(f.Position)
			for n := 2; taken[strings.ToLower(name)]; n++ {
				name = fmt.Sprintf("%s_%d", fileName(f.Position), n)
			}
			names[f.Position], taken[strings.ToLower(name)] = name, true
		}
		for k, s := range f.Sweeps {
			if s.Left {
				continue
			}
			key := f.State + "/" + name
			takes[key]++
			path := key
			if n := takes[key]; n > 1 {
				path += fmt.Sprintf(".take%d", n)
			}
			files = append(files, ResponseFile{path + ".wav", i, k})
		}
	}
	return files
}

// fileName keeps letters, digits, and + - _ . inside; the rest, and names that Windows keeps for devices, get underscores.
func fileName(position string) string {
	const longest = 60
	name := strings.Map(func(c rune) rune {
		if unicode.IsLetter(c) || unicode.IsDigit(c) || strings.ContainsRune("+-_.", c) {
			return c
		}
		return '_'
	}, position)
	if runes := []rune(name); len(runes) > longest {
		name = string(runes[:longest])
	}
	if trimmed := strings.Trim(name, "."); trimmed != name || name == "" {
		name = "_" + trimmed
	}
	stem, _, _ := strings.Cut(strings.ToLower(name), ".")
	switch {
	case stem == "con", stem == "prn", stem == "aux", stem == "nul",
		len(stem) == 4 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")):
		name = "_" + name
	}
	return name
}

// SurveyFile returns a copy of a survey whose recordings were turned into these responses: without [sweep], in TOML.
func (m *MeasuredRecordings) SurveyFile(s *Survey, files []ResponseFile) []byte {
	var b bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	number := func(key string, v Num) {
		if v.Known() {
			line("%s = %s", key, exact(float64(v)))
		}
	}
	line("# Impulse responses that leadline made of the recordings of %s.", printable(s.Path))
	line("title = %s", quoted(s.Title))
	line("tolerance_m = %s", exact(s.ToleranceM))
	line("\n[air]")
	number("temperature_c", s.Air.TemperatureC)
	number("humidity_percent", s.Air.HumidityPercent)
	number("speed_of_sound_m_s", s.Air.SpeedOfSoundMS)
	number("empty_c", s.Air.EmptyC)
	number("flat_c", s.Air.FlatC)
	number("panel_c", s.Air.PanelC)
	line("\n[panel]")
	p := &s.Panel
	if p.Prime > 0 {
		line("sequence = %s", quoted(p.Sequence))
		line("prime = %d", p.Prime)
	}
	line("periods = %d", p.Periods)
	number("design_frequency_hz", p.DesignFrequencyHz)
	var depths []string
	for _, d := range p.DepthsM {
		depths = append(depths, exact(d))
	}
	line("depths_m = [%s]", strings.Join(depths, ", "))
	number("well_width_m", Num(p.WellWidthM))
	number("fin_thickness_m", Num(p.FinThicknessM))
	number("height_m", Num(p.HeightM))
	number("cap_m", Num(p.CapM))
	number("back_m", Num(p.BackM))
	line("\n[source]")
	line("position_m = %s", point(s.SourceM))
	if len(s.Room) > 0 {
		line("\n[room]")
		for _, r := range s.Room {
			number(r.Name+"_m", Num(r.PlaceM))
		}
	}
	if s.Gate.StartS.Known() || s.Gate.EndS.Known() {
		line("\n[gate]")
		number("start_s", s.Gate.StartS)
		number("end_s", s.Gate.EndS)
	}
	for i := range s.Positions {
		position := &s.Positions[i]
		line("\n[[position]]")
		line("name = %s", quoted(position.Name))
		line("mic_m = %s", point(position.MicM))
		for _, state := range position.states() {
			var takes []string
			for _, f := range files {
				if r := &m.Files[f.File]; r.Position == position.Name && r.State == state.name {
					takes = append(takes, quoted(f.Path))
				}
			}
			switch len(takes) {
			case 0:
			case 1:
				line("%s = %s", state.name, takes[0])
			default:
				line("%s = [%s]", state.name, strings.Join(takes, ", "))
			}
		}
	}
	return b.Bytes()
}
