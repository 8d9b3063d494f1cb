package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/leadline/leadline/analysis"
)

// ComparisonText writes c as a summary for a terminal, lines of at most 96 characters: outcome, what changed, what to do, how sure, wells and bands from the first survey to the last,
// warnings. It errs where c is nil or w errs.
func ComparisonText(w io.Writer, c *analysis.Comparison) error {
	if c == nil {
		return errNoComparison
	}
	t := &text{}
	_, _, name := outcomeWords(c.Outcome)
	t.wrap("", comparisonHeading(c))
	t.wrap("", strings.ToUpper(name)+" - "+c.Headline)
	t.WriteString("\n")
	for i, s := range c.Surveys {
		t.wrap(fmt.Sprintf("  %d  ", i+1), s.Name+": "+s.Headline)
	}
	t.list("Why", c.Reasons, 8, "%d. ")
	t.list("What to do next", c.ToDo, 3, "%d. ")
	t.WriteString("\nHow sure\n")
	for _, s := range c.HowSure {
		t.wrapUpTo(anyLines, "  - ", s)
	}
	t.depthChanges(c)
	t.coefficientChanges(c)
	for _, part := range []struct {
		title string
		list  []analysis.Warning
	}{{"Warnings gained", c.Whole.Gained}, {"Warnings lost", c.Whole.Lost}} {
		var lines []string
		for _, w := range part.list {
			where := ""
			if w.Where != "" {
				where = w.Where + ":"
			}
			lines = append(lines, sentence(where, w.Text))
		}
		t.list(part.title, lines, 4, "! ")
	}
	_, err := io.WriteString(w, strings.ReplaceAll(t.String(), nbsp, " "))
	return err
}

// changeInWords writes a change with its interval in brackets, and what it means where that can be told.
func changeInWords(c analysis.Change, scale analysis.Num, decimals int) (change, meaning string) {
	cells := changeCells(c, scale, decimals)
	change = cells[2]
	if cells[3] != dash {
		change, meaning = change+" ("+cells[3]+")", cells[5]
	}
	return strings.ReplaceAll(change, "−", "-"), meaning
}

func (t *text) depthChanges(c *analysis.Comparison) {
	if c.Whole.WellsWhy != "" || len(c.Whole.Wells) == 0 {
		return
	}
	t.WriteString("\nDepths in mm, with 95 % intervals\n")
	fmt.Fprintf(t, "  well   design  %-14s %-14s %-25s %s\n", "survey 1", fmt.Sprintf("survey %d", len(c.Surveys)), "change", "significant")
	first, last := c.Surveys[0], c.Surveys[len(c.Surveys)-1]
	withHalf := func(wells []analysis.Well, i int) string {
		if i >= len(wells) || !wells[i].BuiltM.Known() {
			return dash
		}
		w := wells[i]
		half := math.Max(float64(w.HighM-w.BuiltM), float64(w.BuiltM-w.LowM))
		return plain(w.BuiltM*1000, 1) + " ± " + plain(analysis.Num(half*1000), 1)
	}
	for i, w := range c.Whole.Wells {
		change, meaning := changeInWords(w.DepthM, 1000, 1)
		line := fmt.Sprintf("  %4d   %6s  %-14s %-14s %-25s %s", w.Number, plain(analysis.Num(w.DesignM*1000), 1), withHalf(first.Wells, i), withHalf(last.Wells, i), change, meaning)
		t.WriteString(strings.TrimRight(shorten(line, textWidth), " ") + "\n")
	}
}

func (t *text) coefficientChanges(c *analysis.Comparison) {
	var bands []analysis.BandChange
	for _, b := range c.Whole.Bands {
		if b.Why == "" && b.Panel.Change.Known() {
			bands = append(bands, b)
		}
	}
	if len(bands) == 0 {
		return
	}
	t.WriteString("\nDiffusion coefficients, with the 95 % interval of the panel's change\n")
	fmt.Fprintf(t, "  %-8s %6s %6s   %-26s %-11s  %s\n", "band", "before", "after", "change", "significant", "normalised: change")
	for _, b := range bands {
		panel, meaning := changeInWords(b.Panel, 1, 3)
		line := fmt.Sprintf("  %-9s %5s %6s   %-26s %-12s ", strings.ReplaceAll(hertz(b.CentreHz), nbsp, " "), plain(b.Panel.From, 2), plain(b.Panel.To, 2), panel, meaning)
		if b.Normalised.Change.Known() {
			_, meaning = changeInWords(b.Normalised, 1, 3)
			line += strings.ReplaceAll(fmt.Sprintf("%6s  %s", signed(b.Normalised.Change, 3), meaning), "−", "-")
		}
		t.WriteString(strings.TrimRight(shorten(line, textWidth), " ") + "\n")
	}
}
