package report

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"

	"github.com/leadline/leadline/analysis"
)

var errNoComparison = errors.New("report: there is no comparison to render (nil)")

//go:embed comparison.tmpl
var comparisonTemplate string

var comparisonPage = template.Must(template.Must(page.Clone()).New("comparison").Parse(comparisonTemplate))

// comparisonView is what the template sees.
type comparisonView struct {
	*analysis.Comparison
	CSS               template.CSS
	Policy            string
	Heading           string
	Mark, Class, Word string // of the outcome
	Facts             []fact
	Figures           []*figure
	Numbers           []table
	Glossary          []fact
}

// ComparisonJSON writes c in the way that JSON writes a result.
func ComparisonJSON(w io.Writer, c *analysis.Comparison) error {
	if c == nil {
		return errNoComparison
	}
	return encode(w, *c)
}

// ComparisonHTML writes c as one HTML file that needs nothing else, in the way that HTML writes a result. The same c gives the same bytes. It errs where c is nil or w errs.
func ComparisonHTML(w io.Writer, c *analysis.Comparison) error {
	if c == nil {
		return errNoComparison
	}
	k := &comparer{c: c}
	k.maker = &maker{r: k.stand(), sh: &sheet{}}
	figures, err := k.figures()
	if err != nil {
		return err
	}
	v := comparisonView{Comparison: c, Heading: comparisonHeading(c), Facts: k.facts(), Figures: figures, Numbers: k.tables()}
	v.Mark, v.Class, v.Word = outcomeWords(c.Outcome)
	for _, f := range glossary {
		switch f.Term {
		case "95 % interval", "Diffusion coefficient", "Normalised diffusion coefficient", "Third-octave band":
			v.Glossary = append(v.Glossary, f)
		}
	}
	v.Glossary = append(v.Glossary, fact{"Significant", "More than chance explains: were nothing changed, so large a change anywhere in the list would come up in fewer than one of twenty comparisons."})
	css := styleCSS + k.sh.rules.String()
	v.CSS = template.CSS(css)
	v.Policy = policy(css, "")
	var b bytes.Buffer
	if err := comparisonPage.Execute(&b, v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}

func comparisonHeading(c *analysis.Comparison) string {
	if n := len(c.Surveys); n > 0 && clean(c.Surveys[n-1].Title) != "" {
		return clean(c.Surveys[n-1].Title) + ": what changed"
	}
	return "What changed"
}

// outcomeWords gives the outcome's sign, its class in style.css and its name.
func outcomeWords(o analysis.Outcome) (mark, class, name string) {
	switch o {
	case analysis.Changed:
		return "≠", "open", "changed"
	case analysis.Unchanged:
		return "=", "good", "unchanged"
	}
	return "?", "open", "can't be told"
}

// comparer draws the figures of one comparison with what the maker of a result's figures has.
type comparer struct {
	*maker
	c *analysis.Comparison
}

// stand is a result for the axes: the last survey's wells and bands, the latter usable where they are in the first survey too.
func (k *comparer) stand() *analysis.Result {
	r := &analysis.Result{Kind: "check"}
	n := len(k.c.Surveys)
	if n == 0 {
		return r
	}
	last := k.c.Surveys[n-1]
	r.Panel, r.ToleranceM = k.c.Panel, last.ToleranceM
	for i, d := range k.c.Panel.DesignDepthM {
		r.Wells = append(r.Wells, analysis.Well{Number: i + 1, DesignM: d})
	}
	r.Bands = append(r.Bands, last.Bands...)
	for i := range r.Bands {
		for _, b := range k.c.Surveys[0].Bands {
			if math.Abs(b.CentreHz/r.Bands[i].CentreHz-1) < 1e-6 {
				r.Bands[i].Usable = r.Bands[i].Usable && b.Usable
			}
		}
	}
	return r
}

func (k *comparer) facts() []fact {
	var out []fact
	for i, s := range k.c.Surveys {
		_, _, verdict := verdictWords(&analysis.Result{Kind: "check", Verdict: s.Verdict})
		out = append(out, fact{fmt.Sprintf("Survey %d", i+1), clean(sentence(s.Name+":", "verdict “"+verdict+"”.", s.Headline, fmt.Sprintf("%s.", upperFirst(count(s.Warnings, "warning", "warnings"))), "File "+s.File+"."))})
	}
	return out
}

// shown picks the surveys that are drawn.
func (k *comparer) shown() []int {
	all := make([]int, len(k.c.Surveys))
	for i := range all {
		all[i] = i
	}
	return spread(all, len(orderLooks))
}

// keys name the surveys that are drawn.
func (k *comparer) surveyKeys() []key {
	var out []key
	for n, i := range k.shown() {
		out = append(out, key{orderLooks[n].Mark, fmt.Sprintf("%d: %s", i+1, shorten(k.c.Surveys[i].Name, 40))})
	}
	return out
}

func (k *comparer) leftOut() string {
	if n := len(k.c.Surveys) - len(k.shown()); n > 0 {
		return fmt.Sprintf(" %s in the tables only.", count(n, "survey stands", "surveys stand"))
	}
	return ""
}

func (k *comparer) figures() ([]*figure, error) {
	var out []*figure
	for _, draw := range []func() (*figure, error){k.depths, k.changes, k.coefficients} {
		f, err := draw()
		if err != nil {
			return nil, err
		}
		for _, s := range k.c.Seen {
			if s.Picture == f.ID && s.Text != "" {
				f.Read, f.See = f.See, s.Text
			}
		}
		out = append(out, f)
	}
	return out, nil
}

// depths draws each survey's built depths against the design.
func (k *comparer) depths() (*figure, error) {
	f := &figure{ID: "depths", Title: "Built depth, survey by survey", Columns: "wide",
		See:  "How far each well is from its designed depth, in every survey: above the line means deeper than designed. Marks of one well that stand at other heights with bars that don't overlap have changed." + k.leftOut(),
		Sure: "The bars are each survey's own 95 % intervals, the prediction's error included.",
		Keys: append(k.surveyKeys(), key{"k-bar", "95 % interval"})}
	if t := k.r.ToleranceM; t > 0 {
		f.Keys = append(f.Keys, key{"k-tolerance-band", "tolerance, ± " + millimetres(t)})
	}
	shown := k.shown()
	var all []*series
	for n, i := range shown {
		s := &series{look: orderLooks[n].look.bare()}
		s.radius = 2.6
		beside := 0.22 * (float64(n) - float64(len(shown)-1)/2)
		for _, w := range k.c.Surveys[i].Wells {
			off := func(v analysis.Num) float64 { return (float64(v) - w.DesignM) * 1000 }
			s.addInterval(float64(w.Number)+beside, off(w.BuiltM), off(w.LowM), off(w.HighM))
		}
		all = append(all, s)
	}
	tolerance := k.r.ToleranceM * 1000
	if !finite(tolerance) {
		tolerance = 0
	}
	x, y := k.wellAxis(), span{-5, 5}
	if r, ok := reach(all); ok {
		least := math.Max(2, 1.2*tolerance)
		r = span{math.Min(r.low, -least), math.Max(r.high, least)}
		y = outward(r, niceStep(r.high-r.low, 6))
	}
	c := k.wellChart("Built depth minus designed depth, well by well and survey by survey", "Chart with one mark and a 95 % interval for each well and survey, in millimetres; 0 is the design. "+
		"The tolerance is shaded. The numbers are in the table below the picture.", "Deeper than designed (mm)", x, y)
	c.back = backdrop{colour: shadeColour, across: span{-tolerance, tolerance}}
	zero := &series{look: look{colour: mutedColour, width: 1}, x: []float64{x.low, x.high}, y: []float64{0, 0}}
	for _, s := range all {
		if s.drawn() {
			c.series = []*series{zero}
		}
	}
	c.series = append(c.series, all...)
	f.Tables = []table{k.depthTable()}
	return k.finish(f, []drawn{{"Built depth against design", c}}, "No built depth is known.")
}

type drawn struct {
	caption string
	chart   *chart
}

func (k *comparer) finish(f *figure, charts []drawn, missing string) (*figure, error) {
	for _, d := range charts {
		if err := k.put(f, d.caption, d.chart, missing); err != nil {
			return nil, err
		}
	}
	return f.settle(missing), nil
}

// steps are those that are drawn and listed: the whole way, and where there are more surveys the steps on it.
func (k *comparer) steps() []analysis.Step {
	out := []analysis.Step{k.c.Whole}
	if len(k.c.Steps) > 1 {
		out = append(out, k.c.Steps...)
	}
	return out
}

func stepWords(s analysis.Step) string {
	return fmt.Sprintf("from survey %d to survey %d", s.From, s.To)
}

// changes draws the change of each well with its own interval.
func (k *comparer) changes() (*figure, error) {
	f := &figure{ID: "changes", Title: "What changed, well by well", Columns: "wide",
		See:  "How much deeper each well became. A bar that doesn't reach the line at 0 says: this well changed, or chance played a one-in-twenty trick; a filled mark is more than such tricks among all wells explain.",
		Sure: "The bars are 95 % intervals of the change itself: the two surveys' errors taken as independent, so they are rather too wide.",
		Keys: []key{{"k-after", "significant"}, {"k-ring", "not significant"}, {"k-bar", "95 % interval of the change"}}}
	const most = 6
	steps := k.steps()
	if len(steps) > 1 {
		f.Columns = "pair"
	}
	var charts []drawn
	for i, step := range steps {
		f.Tables = append(f.Tables, k.wellChanges(step))
		if i == most {
			f.See += fmt.Sprintf(" %d more steps stand in the tables only.", len(steps)-most)
		}
		if i >= most {
			continue
		}
		sure, open := &series{look: measuredLook.bare()}, &series{look: predictedLook.ring()}
		sure.radius = 2.6
		for _, w := range step.Wells {
			s := open
			if w.DepthM.Significance == "significant" {
				s = sure
			}
			mm := func(v analysis.Num) float64 { return float64(v) * 1000 }
			s.addInterval(float64(w.Number), mm(w.DepthM.Change), mm(w.DepthM.Low), mm(w.DepthM.High))
		}
		x, y := k.wellAxis(), span{-2, 2}
		if r, ok := reach([]*series{sure, open}); ok {
			r = span{math.Min(r.low, -1), math.Max(r.high, 1)}
			y = outward(r, niceStep(r.high-r.low, 6))
		}
		c := k.wellChart("Change of each well's depth "+stepWords(step), "Chart with one mark and a 95 % interval for each well, in millimetres; 0 is no change. The numbers are in the table below the picture.",
			"Became deeper by (mm)", x, y)
		if sure.drawn() || open.drawn() {
			c.series = []*series{{look: look{colour: mutedColour, width: 1}, x: []float64{x.low, x.high}, y: []float64{0, 0}}}
		}
		c.series = append(c.series, open, sure)
		charts = append(charts, drawn{upperFirst(stepWords(step)), c})
	}
	return k.finish(f, charts, "Depths can't be compared"+because(k.c.Whole.WellsWhy)+".")
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + clean(why)
}

// coefficients draws each survey's diffusion coefficients.
func (k *comparer) coefficients() (*figure, error) {
	f := &figure{ID: "coefficients", Title: "How evenly the sound is spread, survey by survey", Columns: "pair",
		See:  "The panel's measured diffusion coefficient in each band, and the normalised one, for every survey: higher is more even." + k.leftOut(),
		Sure: "Bars are 95 % intervals from repeated takes; without repeats there are none, and whether a difference is more than chance can't be told. Setting the rig up anew shifts all takes alike and is in no bar; the table's intervals of changes take it from the flat board.",
		Keys: k.surveyKeys()}
	bars := false
	if why := k.c.Whole.BandsWhy; why != "" {
		f.Sure += " The surveys don't compare here" + because(why) + "."
	}
	var charts []drawn
	for _, part := range []struct {
		caption string
		value   func(analysis.Diffusion) (analysis.Num, *analysis.Interval)
	}{
		{"Diffusion coefficient of the panel", func(d analysis.Diffusion) (analysis.Num, *analysis.Interval) { return d.Panel, d.PanelInterval }},
		{"Normalised: the panel against the flat board", func(d analysis.Diffusion) (analysis.Num, *analysis.Interval) {
			return d.Normalised, d.NormalisedInterval
		}},
	} {
		var all []*series
		for n, i := range k.shown() {
			s := &series{look: orderLooks[n].look}
			for _, b := range k.c.Surveys[i].Bands {
				v, between := part.value(b.Diffusion)
				low, high := math.NaN(), math.NaN()
				if between != nil {
					low, high, bars = float64(between.Low), float64(between.High), true
				}
				if !b.Usable {
					v = analysis.Unknown()
				}
				s.addInterval(logHz(b.CentreHz), float64(v), low, high)
			}
			all = append(all, s)
		}
		axis, xt, shade := k.bandAxis(330, 26)
		y := span{0, 1}
		if r, ok := reach(all); ok {
			y = outward(span{math.Max(math.Min(0, r.low), -1), math.Min(math.Max(1, r.high), 1.2)}, 0.2)
		}
		charts = append(charts, drawn{part.caption, &chart{title: part.caption + ", measured, survey by survey", desc: "Line chart over frequency in hertz, one line for each survey. Shaded: bands that can't be used in the first or the last survey. The numbers are in the table below the picture.",
			w: 380, h: 260, xLabel: "Frequency (Hz)", yLabel: "Diffusion coefficient", x: axis, y: y, xTicks: xt, yTicks: ticks(y, 0.2, plainTick), back: backdrop{shade: shade, colour: shadeColour}, series: all}})
	}
	if bars {
		f.Keys = append(f.Keys, key{"k-bar", "95 % interval"})
	}
	f.Keys = append(f.Keys, key{"k-shade", "band not usable"})
	f.Tables = []table{k.coefficientTable()}
	for _, s := range k.steps() {
		f.Tables = append(f.Tables, k.bandChanges(s))
	}
	return k.finish(f, charts, "No diffusion coefficient is known.")
}

func (k *comparer) depthTable() table {
	t := table{Caption: "Built depth of each well in every survey (mm), in brackets 95 % intervals", Small: true, Head: []string{"Well", "Design"}}
	for i := range k.c.Surveys {
		t.Head = append(t.Head, fmt.Sprintf("Survey %d", i+1))
	}
	for j, d := range k.c.Panel.DesignDepthM {
		row := []string{fmt.Sprint(j + 1), fixed(d*1000, 1)}
		for _, s := range k.c.Surveys {
			text := dash
			if j < len(s.Wells) {
				w := s.Wells[j]
				text = withInterval(w.BuiltM*1000, &analysis.Interval{Low: w.LowM * 1000, High: w.HighM * 1000}, 1)
			}
			row = append(row, text)
		}
		t.row(row...)
	}
	return t
}

func signed(n analysis.Num, decimals int) string {
	s := num(n, decimals)
	if n > 0 && s != num(0, decimals) {
		return "+" + s
	}
	return s
}

// changeCells write a change, its interval and what it means.
func changeCells(c analysis.Change, scale analysis.Num, decimals int) []string {
	between, apart, meaning := dash, dash, dash
	if c.Low.Known() && c.High.Known() {
		between, apart, meaning = signed(c.Low*scale, decimals)+" to "+signed(c.High*scale, decimals), "no", c.Significance
		if c.Apart {
			apart = "yes"
		}
	}
	return []string{num(c.From*scale, decimals), num(c.To*scale, decimals), signed(c.Change*scale, decimals), between, apart, meaning}
}

func (k *comparer) wellChanges(s analysis.Step) table {
	t := table{Caption: "Depths " + stepWords(s) + " (mm)", Small: true,
		Head: []string{"Well", "Before", "After", "Change", "95 % interval of the change", "Intervals apart", "Significant", "Against the design before", "after"}, Words: map[int]bool{6: true, 7: true, 8: true}}
	for _, w := range s.Wells {
		row := append([]string{fmt.Sprint(w.Number)}, changeCells(w.DepthM, 1000, 1)...)
		t.row(append(row, w.FromVerdict, w.ToVerdict)...)
		if w.DepthM.Significance == "significant" {
			t.Rows[len(t.Rows)-1][6].Class = "flag"
		}
	}
	return t.known()
}

func (k *comparer) coefficientTable() table {
	t := table{Caption: "Measured diffusion coefficients in every survey, in brackets 95 % intervals where takes were repeated; panel, then normalised", Small: true, Head: []string{"Band"}}
	type entry struct{ panel, normalised string }
	rows := map[string][]entry{}
	var order []string
	for i, s := range k.c.Surveys {
		t.Head = append(t.Head, fmt.Sprintf("Survey %d, panel", i+1), "normalised")
		for _, b := range s.Bands {
			name := hertz(b.CentreHz)
			if rows[name] == nil {
				rows[name] = make([]entry, len(k.c.Surveys))
				order = append(order, name)
			}
			if b.Usable {
				rows[name][i] = entry{withInterval(b.Diffusion.Panel, b.Diffusion.PanelInterval, 2), withInterval(b.Diffusion.Normalised, b.Diffusion.NormalisedInterval, 2)}
			}
		}
	}
	for _, name := range order {
		row := []string{name}
		known := false
		for _, e := range rows[name] {
			known = known || e.panel != ""
			row = append(row, orElse(e.panel, dash), orElse(e.normalised, dash))
		}
		if known {
			t.row(row...)
		}
	}
	return t
}

func (k *comparer) bandChanges(s analysis.Step) table {
	t := table{Caption: "Diffusion coefficients " + stepWords(s), Small: true,
		Head: []string{"Band", "Of", "Before", "After", "Change", "95 % interval of the change", "Intervals apart", "Significant"}, Words: map[int]bool{1: true, 7: true}}
	for _, b := range s.Bands {
		if b.Why != "" {
			continue
		}
		for _, x := range []struct {
			of string
			c  analysis.Change
		}{{"panel", b.Panel}, {"flat board", b.Flat}, {"normalised", b.Normalised}} {
			if x.c.Change.Known() {
				t.row(append([]string{hertz(b.CentreHz), x.of}, changeCells(x.c, 1, 3)...)...)
			}
		}
	}
	return t.known()
}

// tables stand in the page's own part for numbers.
func (k *comparer) tables() []table {
	return []table{k.wellChanges(k.c.Whole), k.bandChanges(k.c.Whole)}
}

// ComparisonCSV returns the numbers behind a comparison's pictures in the way that CSV does a result's.
func ComparisonCSV(c *analysis.Comparison) []CSVFile {
	if c == nil {
		return nil
	}
	depths := newCSV("survey name well design_m built_m built_low_m built_high_m verdict")
	coefficients := newCSV("survey name centre_hz usable diffusion_panel diffusion_panel_low diffusion_panel_high diffusion_flat diffusion_flat_low diffusion_flat_high " +
		"diffusion_normalised diffusion_normalised_low diffusion_normalised_high")
	for i, s := range c.Surveys {
		for _, w := range s.Wells {
			depths.row(i+1, s.Name, w.Number, w.DesignM, w.BuiltM, w.LowM, w.HighM, w.Verdict)
		}
		for _, b := range s.Bands {
			d := b.Diffusion
			coefficients.row(i+1, s.Name, b.CentreHz, b.Usable, d.Panel, d.PanelInterval, d.Flat, d.FlatInterval, d.Normalised, d.NormalisedInterval)
		}
	}
	wells := newCSV("from_survey to_survey well from_m to_m change_m change_low_m change_high_m intervals_apart probability significance from_verdict to_verdict")
	bands := newCSV("from_survey to_survey centre_hz of from to change change_low change_high intervals_apart probability significance why")
	for _, s := range (&comparer{c: c}).steps() {
		for _, w := range s.Wells {
			d := w.DepthM
			wells.row(s.From, s.To, w.Number, d.From, d.To, d.Change, d.Low, d.High, d.Apart, d.Probability, d.Significance, w.FromVerdict, w.ToVerdict)
		}
		for _, b := range s.Bands {
			for _, x := range []struct {
				of string
				d  analysis.Change
			}{{"panel", b.Panel}, {"flat", b.Flat}, {"normalised", b.Normalised}} {
				bands.row(s.From, s.To, b.CentreHz, x.of, x.d.From, x.d.To, x.d.Change, x.d.Low, x.d.High, x.d.Apart, x.d.Probability, x.d.Significance, b.Why)
			}
		}
	}
	var out []CSVFile
	for _, t := range []struct {
		name  string
		table *csvTable
	}{{"depths", depths}, {"coefficients", coefficients}, {"depth-changes", wells}, {"coefficient-changes", bands}} {
		if len(t.table.rows) > 0 {
			out = append(out, CSVFile{t.name + ".csv", t.table.bytes()})
		}
	}
	return out
}
