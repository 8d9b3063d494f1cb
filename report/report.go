package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"github.com/leadline/leadline/analysis"
)

var errNoResult = errors.New("report: there is no result to render (nil)")

//go:embed style.css
var styleCSS string

//go:embed page.tmpl
var pageTemplate string

var page = template.Must(template.New("page").Funcs(template.FuncMap{"clean": clean}).Parse(pageTemplate))

// view is what the template sees: strings and tables, ready to be set.
type view struct {
	*analysis.Result
	CSS         template.CSS
	Script      template.JS
	Data        template.JS
	Try         *try
	Policy      string
	Predict     bool
	Heading     string
	Mark, Class string // of the verdict
	Name        string // the verdict in words
	Facts       []fact
	Figures     []*figure
	Numbers     []table
	Because     []string           // the reasons, without the patterns, which stand by themselves
	Warned      []analysis.Warning // shown at once
	MoreWarned  []analysis.Warning // behind a fold
	Glossary    []fact
	SeatAdvice  []seatAdvice
}

type fact struct{ Term, Text string }

// HTML writes r as one HTML file that needs nothing else: no network, no fonts. It is complete without scripts and in print; its one script reads values off the charts and
// gates the kept responses anew. Its content security policy forbids everything but its own style sheet and script, by their hashes. Drawings are SVG in the page; each has a title, a description and its numbers in a table. Unknown numbers show as an en dash. The same r gives the same bytes.
// It errs where r is nil or w errs.
func HTML(w io.Writer, r *analysis.Result) error {
	if r == nil {
		return errNoResult
	}
	m := &maker{r: r, sh: &sheet{}}
	figures, err := m.figures()
	if err != nil {
		return err
	}
	v := view{Result: r, Predict: m.predictOnly(), Heading: heading(r), Facts: facts(r), Figures: figures, Glossary: glossary}
	v.Mark, v.Class, v.Name = verdictWords(r)
	v.Numbers = []table{m.bandTable()}
	if len(r.Wells) > 0 {
		v.Numbers = append(v.Numbers, m.wellTable())
	}
	if v.SeatAdvice = m.seatAdvice(); len(v.SeatAdvice) > 0 {
		v.Numbers = append(v.Numbers, m.seatSummary())
	}
	v.Because = reasons(r)
	v.Warned = r.Warnings
	if len(r.Warnings) > 6 {
		v.Warned, v.MoreWarned = r.Warnings[:5], r.Warnings[5:]
	}
	gate := m.gate()
	v.Try, v.Script = m.newTry(gate), template.JS(liveScript)
	if v.Data, err = dataBlock(liveData{m.sh.charts, gate}); err != nil {
		return err
	}
	css := styleCSS + m.sh.rules.String()
	v.CSS = template.CSS(css)
	v.Policy = policy(css, liveScript)
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}

// policy is a content security policy that lets in one style sheet and, where script is not empty, one script, by their hashes, and nothing else.
func policy(css, script string) string {
	hash := func(s string) string {
		sum := sha256.Sum256([]byte(s))
		return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	p := "default-src 'none'; style-src " + hash(css)
	if script != "" {
		p += "; script-src " + hash(script)
	}
	return p + "; base-uri 'none'; form-action 'none'"
}

// heading is the result's title, or what was done where it has none.
func heading(r *analysis.Result) string {
	switch {
	case strings.TrimSpace(r.Title) != "":
		return clean(r.Title)
	case r.Kind == "predict":
		return "Prediction of a diffuser"
	}
	return "Check of a diffuser"
}

// verdictWords gives the verdict's sign, its class in style.css and its name.
func verdictWords(r *analysis.Result) (mark, class, name string) {
	if r.Kind == "predict" {
		return "~", "open", "prediction only"
	}
	switch r.Verdict {
	case analysis.AsDesigned:
		return "✓", "good", "as designed"
	case analysis.Differs:
		return "≠", "bad", "differs from the design"
	case analysis.Undecided:
		return "?", "open", "undecided"
	}
	return "?", "open", "no verdict"
}

// reasons lists r's reasons without those that its patterns say already.
func reasons(r *analysis.Result) []string {
	var out []string
	for _, s := range r.Reasons {
		if !slices.Contains(r.Patterns, s) {
			out = append(out, s)
		}
	}
	return out
}

// facts says in a few lines what the result is about.
func facts(r *analysis.Result) []fact {
	var out []fact
	add := func(term string, parts ...string) {
		if s := sentence(parts...); s != "" {
			out = append(out, fact{term, clean(s)})
		}
	}
	p := r.Panel
	var panel []string
	if p.Sequence != "" {
		s := upperFirst(p.Sequence)
		if p.Prime > 0 {
			s += fmt.Sprintf(", prime %d", p.Prime)
		}
		if p.Periods > 0 {
			s += ", " + count(p.Periods, "period", "periods")
		}
		panel = append(panel, s+".")
	}
	if n := len(p.DesignDepthM); n > 0 {
		panel = append(panel, fmt.Sprintf("%s, %s wide, fins %s.", count(n, "well", "wells"), millimetres(p.WellWidthM), millimetres(p.FinThicknessM)))
	}
	if p.WidthM > 0 {
		panel = append(panel, fmt.Sprintf("Outer size %s wide, %s high, %s deep.", millimetres(p.WidthM), millimetres(p.HeightM), millimetres(p.DepthM)))
	}
	if p.DesignFrequency > 0 {
		panel = append(panel, "Design frequency "+hertz(float64(p.DesignFrequency))+".")
	}
	add("Panel", panel...)
	if r.ToleranceM > 0 && r.Kind != "predict" {
		add("Tolerance", "± "+millimetres(r.ToleranceM)+" for the depth of each well.")
	}
	if n := len(r.Positions); n > 0 {
		used := 0
		for _, q := range r.Positions {
			if q.Used {
				used++
			}
		}
		s := count(n, "position", "positions")
		if used != n {
			s += fmt.Sprintf(", %d of them used", used)
		}
		if c := r.Receivers; c.SmallestDeg.Known() && c.LargestDeg.Known() {
			s += fmt.Sprintf(", from %s° to %s°", degrees(float64(c.SmallestDeg)), degrees(float64(c.LargestDeg)))
		}
		if c := r.Receivers; c.DistanceLowM.Known() && c.DistanceHighM.Known() {
			if low, high := num(c.DistanceLowM, 2), num(c.DistanceHighM, 2); low == high {
				s += ", " + low + " m from the panel"
			} else {
				s += ", " + low + " to " + high + " m from the panel"
			}
		}
		add("Microphones", s+".")
	}
	if c := r.Recordings; c != nil {
		add("Recordings", fmt.Sprintf("%s of a sweep, turned into impulse responses.", count(len(c.Files), "file", "files")))
	}
	if r.LoudspeakerDivided {
		add("Loudspeaker", "Its colour and its ringing were divided out of all responses before the gate was set, so that they can't pass for the panel's.")
	}
	if s := r.SourceM; finite(s[0], s[1], s[2]) && s != [3]float64{} {
		add("Source", fmt.Sprintf("At x = %s, y = %s, z = %s m from the middle of the panel's front.", trimmed(s[0]), trimmed(s[1]), trimmed(s[2])))
	}
	if s := r.Spectrum; s.LowestUsableHz > 0 || s.HighestUsableHz > 0 {
		text := "From " + hertz(float64(s.LowestUsableHz))
		if s.LowWhy != "" {
			text += " (" + s.LowWhy + ")"
		}
		text += " to " + hertz(float64(s.HighestUsableHz))
		if s.HighWhy != "" {
			text += " (" + s.HighWhy + ")"
		}
		add("Frequencies that count", text+".")
	}
	if a := r.Air; a.SpeedOfSoundMS > 0 {
		text := "Speed of sound " + fixed(a.SpeedOfSoundMS, 1) + " m/s"
		if a.Source != "" {
			text += " (" + a.Source + ")"
		}
		if a.TemperatureC.Known() {
			text += ", " + num(a.TemperatureC, 1) + " °C"
		}
		if a.HumidityPercent.Known() {
			text += ", " + num(a.HumidityPercent, 0) + " % relative humidity"
		}
		add("Air", text+".")
	}
	add("Survey file", r.Survey)
	return out
}

// trimmed writes v to three decimals, without idle zeros.
func trimmed(v float64) string { return withoutZeros(fixed(v, 3)) }

// millimetres writes a length to a tenth of a millimetre, without idle zeros.
func millimetres(m float64) string { return unit(withoutZeros(fixed(m*1000, 1)), "mm") }

func withoutZeros(s string) string {
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// glossary explains the trade terms that the page uses, in plain words.
var glossary = []fact{
	{"95 % interval", "The range that holds the true value in 19 of 20 cases, as far as the errors in it are known."},
	{"Alignment", "Shifting and scaling one take so that its direct sound matches another's. Without it a subtraction leaves more than it takes away."},
	{"Comb signature", "What direct sound plus a delayed reflection do to the spectrum: peaks where they add, notches where they cancel, evenly spaced in hertz."},
	{"Correlation scattering coefficient", "How little the panel's reflection looks like the flat board's over all microphones: 0 for a scaled copy, 1 for nothing in common."},
	{"Decibel (dB)", "A ratio of levels: 3 dB less is half the energy, 10 dB less a tenth, 20 dB less a hundredth. “re” names what the level is compared with."},
	{"Design frequency", "The frequency from which the depths of the wells are worked out; below it a panel on this sequence hardly scatters."},
	{"Diffusion coefficient", "How evenly the reflection is spread over the microphones: 1 for all alike, 0 for one alone (ISO 17497-2). It depends on where the microphones stand."},
	{"Direct sound", "The sound that comes straight from the source, without touching anything."},
	{"Drift", "What changes between two takes: the air's temperature and so the speed of sound, the level, the clocks of player and recorder."},
	{"Equivalent rectangular bandwidth", "How wide a slice of the spectrum the ear hears as one at a frequency: 133 Hz at 1 kHz, 456 Hz at 4 kHz. A comb finer than that is hardly heard."},
	{"Extra loss", "What a well swallows of its reflection, in dB, beside the little that the air at its walls takes: a gap, an open joint or fabric does that."},
	{"Far field", "So far away that the pattern no longer changes with distance. Most rooms don't reach it, so a measurement is compared with a prediction for its own places."},
	{"Gate", "The stretch of time that counts: from just before the panel's reflection to just before the next surface's echo."},
	{"Harmonic distortion", "What a loudspeaker adds at two, three, four, five times the played frequency (2nd to 5th order)."},
	{"Impulse response", "What a microphone records of one ideally short click. A sweep recording can be turned into one."},
	{"Normalised diffusion coefficient", "The panel's diffusion coefficient with the flat board's taken off: 0 where the panel does no better than a board of its size."},
	{"Quadratic residue, primitive root", "Two number sequences for the depths of the wells, both built on a prime number."},
	{"Signal-to-noise ratio", "How far the response stands above the noise of room, microphone and recorder, in dB."},
	{"Specular reflection", "The mirror's reflection: out at the same angle as in."},
	{"Subtraction residual", "What is left of the direct sound after the record without panel is taken off, compared with the reflection. Closer to 0 dB is worse."},
	{"Third-octave band", "A slice of the spectrum; three of them make an octave, a doubling of the frequency."},
	{"Window", "The soft edges of the gate, so that cutting the record doesn't make sounds of its own."},
}
