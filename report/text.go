package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/leadline/leadline/analysis"
)

// textWidth is the widest line of Text, in characters.
const textWidth = 96

// textLines is the longest that Text gets.
const textLines = 60

// Text writes r as a summary for a terminal: verdict, reasons, what to do, how sure, bands, wells, warnings; at most 60 lines of at most
// 96 characters. Longer lists are cut and say so; control characters in names are replaced. It errs where r is nil or w errs.
func Text(w io.Writer, r *analysis.Result) error {
	if r == nil {
		return errNoResult
	}
	t := &text{}
	_, _, name := verdictWords(r)
	t.wrap("", heading(r))
	t.wrap("", strings.ToUpper(name)+" - "+orElse(r.Headline, "The run came to no conclusion."))
	if len(r.Patterns) > 0 {
		t.WriteString("\n")
		for i, s := range r.Patterns {
			if i == 3 {
				fmt.Fprintf(t, "and %d more in the report\n", len(r.Patterns)-3)
				break
			}
			t.wrap("", s)
		}
	}
	t.list("Why", reasons(r), 3, "%d. ")
	t.list("What to do next", r.ToDo, 3, "%d. ")
	t.list("How sure", r.HowSure, 2, "- ")
	t.seats(r)
	if r.Row != nil {
		t.list("Row of panels: "+spaced(r.Row.Order), r.Row.Text, 3, "- ")
	}
	t.bands(r)
	t.wells(r)
	t.warnings(r)
	out := t.String()
	if lines := strings.SplitAfter(out, "\n"); len(lines) > textLines {
		out = strings.Join(lines[:textLines-1], "") + "… and more in the report\n"
	}
	_, err := io.WriteString(w, out)
	return err
}

type text struct{ bytes.Buffer }

func orElse(s, other string) string {
	if strings.TrimSpace(s) == "" {
		return other
	}
	return s
}

// wrap writes s after lead, its further lines indented by lead's width; at most three lines.
func (t *text) wrap(lead, s string) { t.wrapUpTo(3, lead, s) }

// wrapUpTo does so on at most that many lines.
func (t *text) wrapUpTo(most int, lead, s string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, lines := lead, 0
	for _, word := range strings.Fields(clean(s)) {
		word = shorten(word, textWidth-len(indent)-1)
		if line != lead && line != indent {
			if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= textWidth {
				line += " " + word
				continue
			}
			if lines++; lines == most {
				t.WriteString(shorten(line, textWidth-2) + " …\n")
				return
			}
			t.WriteString(line + "\n")
			line = indent
		}
		line += word
	}
	t.WriteString(strings.TrimRight(line, " ") + "\n")
}

// list writes at most n entries under a heading; lead may hold a %d for the number.
func (t *text) list(title string, entries []string, n int, lead string) {
	if len(entries) == 0 {
		return
	}
	t.WriteString("\n" + title + "\n")
	for i, e := range entries {
		if i == n {
			fmt.Fprintf(t, "  and %d more in the report\n", len(entries)-n)
			return
		}
		l := lead
		if strings.Contains(lead, "%d") {
			l = fmt.Sprintf(lead, i+1)
		}
		t.wrap("  "+l, e)
	}
}

func (t *text) bands(r *analysis.Result) {
	if len(r.Bands) == 0 {
		return
	}
	const most = 14
	var shown []int
	for i, b := range r.Bands {
		if b.Usable {
			shown = append(shown, i)
		}
	}
	usable := len(shown)
	shown = spread(shown, most)
	fmt.Fprintf(t, "\nBands: %d of %d usable\n", usable, len(r.Bands))
	if usable == 0 {
		return
	}
	predict := r.Kind == "predict"
	if predict {
		t.WriteString("            diffusion coefficient    correlation\n")
		t.WriteString("  band       panel   flat  norm.   scattering\n")
	} else {
		t.WriteString("              diffusion coefficient            predicted       correlation  level diff.  tolerance\n")
		t.WriteString("  band       panel   flat  norm.    panel   flat  norm.   scattering     dB rms         dB\n")
	}
	for _, i := range shown {
		b := r.Bands[i]
		d := b.Diffusion
		band := strings.ReplaceAll(hertz(b.CentreHz), nbsp, " ")
		if predict {
			fmt.Fprintf(t, "  %-9s %6s %6s %6s   %10s\n", band, plain(d.PredictedPanel, 2), plain(d.PredictedFlat, 2), plain(d.PredictedNormalised, 2), plain(b.PredictedCorrelation, 2))
			continue
		}
		line := fmt.Sprintf("  %-9s %6s %6s %6s   %6s %6s %6s   %10s %10s %10s", band,
			plain(d.Panel, 2), plain(d.Flat, 2), plain(d.Normalised, 2), plain(d.PredictedPanel, 2), plain(d.PredictedFlat, 2), plain(d.PredictedNormalised, 2),
			plain(b.CorrelationScattering, 2), plain(b.LevelDifferenceRMSDB, 1), plain(b.ToleranceDB, 1))
		t.WriteString(shorten(line, textWidth) + "\n")
	}
	if n := usable - len(shown); n > 0 {
		fmt.Fprintf(t, "  and %d more in the report\n", n)
	}
}

// plain is num with the hyphen that a terminal's other tools read as a minus sign.
func plain(n analysis.Num, decimals int) string {
	return strings.Replace(num(n, decimals), "−", "-", 1)
}

func (t *text) wells(r *analysis.Result) {
	tally, known := map[string]int{}, false
	for _, w := range r.Wells {
		tally[w.Verdict]++
		known = known || w.BuiltM.Known()
	}
	if !known {
		return
	}
	fmt.Fprintf(t, "\nWells: %d ok, %d shallow, %d deep, %d undecided\n", tally["ok"], tally["shallow"], tally["deep"], tally["undecided"])
	const most = 7
	n := 0
	for _, w := range r.Wells {
		if w.Verdict != "shallow" && w.Verdict != "deep" {
			continue
		}
		if n++; n > most {
			continue
		}
		mm := func(v analysis.Num) string { return plain(v*1000, 1) }
		fmt.Fprintf(t, "  well %2d %-8s design %6s mm, built %6s mm (%s to %s)\n", w.Number, w.Verdict, mm(analysis.Num(w.DesignM)), mm(w.BuiltM), mm(w.LowM), mm(w.HighM))
	}
	if n > most {
		fmt.Fprintf(t, "  and %d more in the report\n", n-most)
	}
	leaks := 0
	for _, w := range r.Wells {
		if !swallows(w) {
			continue
		}
		if leaks++; leaks <= 3 {
			line := fmt.Sprintf("  well %2d swallows %s dB of its reflection (%s to %s): a gap, an open joint or fabric?", w.Number, plain(w.Loss, 1), plain(w.LossLow, 1), plain(w.LossHigh, 1))
			t.WriteString(shorten(line, textWidth) + "\n")
		}
	}
	if leaks > 3 {
		fmt.Fprintf(t, "  and %d more that swallow sound\n", leaks-3)
	}
	if m := (&maker{r: r}); m.explanations() != nil {
		t.wrap("  ", fmt.Sprintf("%d sets of depths fit about equally well%s; the report shows them side by side.", len(m.explanations()), m.apart()))
	}
}

func (t *text) warnings(r *analysis.Result) {
	if len(r.Warnings) == 0 {
		return
	}
	var lines []string
	for _, w := range r.Warnings {
		s := w.Text
		if w.Where != "" {
			s = shorten(w.Where, 30) + ": " + s
		}
		lines = append(lines, s)
	}
	t.list(fmt.Sprintf("Warnings: %d", len(r.Warnings)), lines, 4, "! ")
}
