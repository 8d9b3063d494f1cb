package analysis

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
)

// ComparisonSchema names the version of the comparison that this package writes.
const ComparisonSchema = "leadline/comparison/1"

// Outcome says in one word what a comparison found; each maps to one exit code.
type Outcome string

// The three outcomes of a comparison.
const (
	Changed    Outcome = "changed"   // exit 1
	Unchanged  Outcome = "unchanged" // exit 0: nothing changed significantly
	CannotTell Outcome = "undecided" // exit 3: no figure with an interval is known in both
)

// What Change.Significance says.
const (
	significant = "significant"
	possible    = "possible"
	none        = "none"
)

// NamedResult is one result to be compared.
type NamedResult struct {
	File    string // as given
	Result  *Result
	Unknown []string // fields that the reader did not know
}

// Comparison is what changed from the first survey of a panel to the last. JSON, HTML and text render this one value. Units as in Result.
type Comparison struct {
	Schema   string   `json:"schema"`
	Outcome  Outcome  `json:"outcome"` // from the first survey to the last
	Headline string   `json:"headline"`
	Reasons  []string `json:"reasons"` // what changed, the weightiest first, in plain sentences
	ToDo     []string `json:"to_do"`
	HowSure  []string `json:"how_sure"`
	Seen     []Seen   `json:"seen"` // what each picture (depths, changes, coefficients) shows, in one sentence

	Panel   PanelResult      `json:"panel"` // of the last survey
	Surveys []ComparedSurvey `json:"surveys"`
	Whole   Step             `json:"whole"` // from the first to the last
	Steps   []Step           `json:"steps"` // from each to the next
	Method  []Note           `json:"method"`
}

// ComparedSurvey is what a comparison takes from one result.
type ComparedSurvey struct {
	Name       string   `json:"name"` // short, no two alike
	File       string   `json:"file"`
	Title      string   `json:"title"`
	Verdict    Verdict  `json:"verdict"`
	Headline   string   `json:"headline"`
	ToleranceM float64  `json:"tolerance_m"`
	Misfit     Num      `json:"misfit"` // of the depth fit
	Wells      []Well   `json:"wells"`
	Bands      []Band   `json:"bands"`
	Warnings   int      `json:"warnings"`
	Unknown    []string `json:"unknown_fields"` // of the file, which a newer version wrote; they play no part
}

// Step is what changed from one survey to another, both numbered from 1.
type Step struct {
	From        int          `json:"from"`
	To          int          `json:"to"`
	Wells       []WellChange `json:"wells"`
	WellsWhy    string       `json:"wells_why"` // why depths can't be compared; empty where they can
	Bands       []BandChange `json:"bands"`     // those that both surveys have
	BandsWhy    string       `json:"bands_why"`
	RigChange   Num          `json:"rig_change"` // largest change of the flat board's coefficient in any band: what setting the rig up anew does to one; unknown without a flat board in both
	Gained      []Warning    `json:"warnings_gained"`
	Lost        []Warning    `json:"warnings_lost"`
	Differences []string     `json:"differences"` // what else differs between the surveys, in plain sentences
}

// Change is a figure in two surveys. Low and High are the 95 % interval of the change itself, the errors of both taken as independent.
type Change struct {
	From         Num    `json:"from"`
	To           Num    `json:"to"`
	Change       Num    `json:"change"` // to − from
	Low          Num    `json:"low"`
	High         Num    `json:"high"`
	Apart        bool   `json:"intervals_apart"` // the two intervals don't overlap: a stricter test than the change's own interval
	Probability  Num    `json:"probability"`     // of a change as large by chance alone, either way
	Significance string `json:"significance"`    // "significant", "possible" (the change's own interval excludes 0, but among so many that may be chance), "none", or "" where it can't be told
}

// WellChange is the depth of one well in two surveys.
type WellChange struct {
	Number      int     `json:"number"`
	DesignM     float64 `json:"design_m"` // of the later survey
	DepthM      Change  `json:"depth_m"`
	FromVerdict string  `json:"from_verdict"`
	ToVerdict   string  `json:"to_verdict"`
}

// BandChange is the diffusion coefficients of one band in two surveys.
type BandChange struct {
	CentreHz   float64 `json:"centre_hz"`
	LowHz      float64 `json:"low_hz"`
	HighHz     float64 `json:"high_hz"`
	Why        string  `json:"why"` // why it can't be compared; empty where it can
	Panel      Change  `json:"panel"`
	Flat       Change  `json:"flat"`
	Normalised Change  `json:"normalised"`
}

// Compare compares results of checks of one panel, in the order given, which should be that of time: each survey with the next, and the first with the last.
//
// A change d = x₂ − x₁ of a figure with 95 % intervals x ± U has the interval d ± √(U₁² + U₂²): the law of propagation for independent errors (JCGM 100:2008, 5.1.2). Where a
// well's depth has several explanations, the interval spans all of them. Coefficients have intervals from repeated takes, in which the rig's own change from one survey to
// the other is not; a flat board doesn't change, so the largest change of its coefficient stands for that and is added in the same way. A change is "significant" where it stays so among all figures of its kind at a joint level of
// 5 % (Holm's step-down procedure, Scand. J. Statist. 6 (1979) 65; from memory), "possible" where only its own interval excludes 0, or where a coefficient's change can't be
// told from the rig's for want of a flat board.
//
// It errs, naming the file and the cause, where there are fewer than two results, where one is a prediction, and where panels or designs differ.
func Compare(surveys []NamedResult) (*Comparison, error) {
	if len(surveys) < 2 {
		return nil, fmt.Errorf("%d results: expected at least two to compare", len(surveys))
	}
	for _, s := range surveys {
		if s.Result.Kind != "check" {
			return nil, fmt.Errorf("%s: a prediction, nothing in it was measured: expected a result of leadline check --data", s.File)
		}
	}
	for _, s := range surveys[1:] {
		if err := onePanel(surveys[0], s); err != nil {
			return nil, err
		}
	}
	c := &Comparison{Schema: ComparisonSchema, Panel: surveys[len(surveys)-1].Result.Panel}
	names := shortNames(surveys)
	for i, s := range surveys {
		r := s.Result
		misfit := Unknown()
		if r.Fit != nil {
			misfit = Num(r.Fit.Misfit)
		}
		c.Surveys = append(c.Surveys, ComparedSurvey{Name: names[i], File: s.File, Title: r.Title, Verdict: r.Verdict, Headline: r.Headline, ToleranceM: r.ToleranceM,
			Misfit: misfit, Wells: r.Wells, Bands: r.Bands, Warnings: len(r.Warnings), Unknown: s.Unknown})
		if i > 0 {
			c.Steps = append(c.Steps, compareTwo(surveys, names, i-1, i))
		}
	}
	c.Whole = compareTwo(surveys, names, 0, len(surveys)-1)
	c.describe()
	return c, nil
}

// onePanel refuses results that are not of one panel.
func onePanel(a, b NamedResult) error {
	const same = 1e-4 // m
	p, q := &a.Result.Panel, &b.Result.Panel
	refuse := func(what, found, other string) error {
		return fmt.Errorf("%s: %s %s, but %s in %s: expected surveys of one panel; where a survey file was put right since, check the older one again with it", b.File, what, found, other, a.File)
	}
	if len(p.DesignDepthM) != len(q.DesignDepthM) {
		return refuse("the panel has", fmt.Sprintf("%d wells", len(q.DesignDepthM)), fmt.Sprint(len(p.DesignDepthM)))
	}
	for _, m := range []struct {
		what string
		p, q float64
	}{{"the panel's width is", p.WidthM, q.WidthM}, {"the panel's height is", p.HeightM, q.HeightM}, {"the wells' width is", p.WellWidthM, q.WellWidthM}, {"the fins' thickness is", p.FinThicknessM, q.FinThicknessM}} {
		if math.Abs(m.p-m.q) > same {
			return refuse(m.what, mm(m.q)+" mm", mm(m.p)+" mm")
		}
	}
	tolerance := max(a.Result.ToleranceM, b.Result.ToleranceM)
	for i, d := range p.DesignDepthM {
		if math.Abs(d-q.DesignDepthM[i]) > tolerance+same/1000 {
			return refuse(fmt.Sprintf("well %d is designed", i+1), mm(q.DesignDepthM[i])+" mm deep", mm(d)+" mm")
		}
	}
	return nil
}

// shortNames are the files' last names, or as much of the paths as tells them apart; numbered where the same file comes twice.
func shortNames(surveys []NamedResult) []string {
	names := make([]string, len(surveys))
	count := map[string]int{}
	base := func(s NamedResult) string {
		return strings.TrimSuffix(path.Base(strings.ReplaceAll(s.File, `\`, "/")), ".json")
	}
	for _, s := range surveys {
		count[base(s)]++
	}
	taken := map[string]bool{}
	for i, s := range surveys {
		name := base(s)
		if count[name] > 1 {
			name = s.File
		}
		for whole, n := name, 2; taken[name]; n++ {
			name = fmt.Sprintf("%s (%d)", whole, n)
		}
		names[i], taken[name] = name, true
	}
	return names
}

// figure is a value with what is known of its error: half the width of its 95 % interval, and the values that explain the data as well.
type figure struct {
	values []float64 // the reported one first
	half   float64
}

func unknownFigure() figure { return figure{[]float64{math.NaN()}, math.NaN()} }

// figureOf takes an interval that may be cut on one side: the wider side tells.
func figureOf(v, low, high Num) figure {
	if !v.Known() {
		return unknownFigure()
	}
	half := math.NaN()
	if low.Known() && high.Known() {
		half = max(float64(high-v), float64(v-low))
	}
	return figure{[]float64{float64(v)}, half}
}

func coefficient(v Num, i *Interval) figure {
	if i == nil {
		return figureOf(v, Unknown(), Unknown())
	}
	return figureOf(v, i.Low, i.High)
}

// change compares two figures.
func change(from, to figure) Change { return changeWith(from, to, 0) }

// changeWith compares two figures with one more error of the change, given as half of its 95 % interval.
func changeWith(from, to figure, more float64) Change {
	c := Change{From: Num(from.values[0]), To: Num(to.values[0]), Change: Num(to.values[0] - from.values[0]), Low: Unknown(), High: Unknown(), Probability: Unknown()}
	half := math.Hypot(math.Hypot(from.half, to.half), more)
	if !c.Change.Known() || math.IsNaN(half) || math.IsInf(half, 0) {
		return c
	}
	least, most := math.Inf(1), math.Inf(-1)
	apart := math.Inf(1)
	for _, a := range from.values {
		for _, b := range to.values {
			least, most = min(least, b-a), max(most, b-a)
			apart = min(apart, math.Abs(b-a)-from.half-to.half)
		}
	}
	c.Low, c.High, c.Apart = Num(least-half), Num(most+half), apart > 0 && least*most > 0
	nearest := 0.0 // of all pairs of explanations the smallest change, 0 where they disagree on its sign
	if least*most > 0 {
		nearest = min(math.Abs(least), math.Abs(most))
	}
	c.Probability = 1
	if nearest > 0 {
		const factor = 1.959964 // of the normal distribution's 95 %
		c.Probability = Num(math.Erfc(factor * nearest / half / math.Sqrt2))
	}
	return c
}

// judge sets the significance of changes of one kind together.
func judge(changes []*Change) {
	const level = 0.05
	var told []*Change
	for _, c := range changes {
		if c.Probability.Known() {
			told = append(told, c)
		}
	}
	slices.SortStableFunc(told, func(a, b *Change) int { return cmp.Compare(a.Probability, b.Probability) })
	holds := true
	for k, c := range told {
		holds = holds && float64(c.Probability) <= level/float64(len(told)-k)
		switch {
		case holds:
			c.Significance = significant
		case c.Low > 0 || c.High < 0:
			c.Significance = possible
		default:
			c.Significance = none
		}
	}
}

// compareTwo compares survey i with survey j, from 0.
func compareTwo(surveys []NamedResult, names []string, i, j int) Step {
	a, b := surveys[i].Result, surveys[j].Result
	s := Step{From: i + 1, To: j + 1}
	s.Wells, s.WellsWhy = compareWells(a, b, names[i], names[j])
	s.Bands, s.RigChange, s.BandsWhy = compareBands(a, b)
	s.Gained, s.Lost = warningsOnlyIn(b, a), warningsOnlyIn(a, b)
	s.Differences = differences(a, b, names[i], names[j])
	return s
}

func compareWells(a, b *Result, nameA, nameB string) (changes []WellChange, why string) {
	depths := func(r *Result, name string, j int) figure {
		if len(r.Wells) == 0 {
			why = name + " has no built depths"
			return unknownFigure()
		}
		if trusted, reason := trustworthy(r); !trusted {
			why = name + ": " + reason
			return unknownFigure()
		}
		w := r.Wells[j]
		f := figureOf(w.BuiltM, w.LowM, w.HighM)
		if r.Fit != nil && len(r.Fit.Explanations) > 1 {
			for _, e := range r.Fit.Explanations[1:] {
				if d := e.DepthM[j]; d < float64(w.LowM) || d > float64(w.HighM) {
					f.values = append(f.values, d)
				}
			}
		}
		return f
	}
	verdict := func(r *Result, j int) string {
		if j < len(r.Wells) {
			return r.Wells[j].Verdict
		}
		return "undecided"
	}
	var all []*Change
	for j, d := range b.Panel.DesignDepthM {
		changes = append(changes, WellChange{Number: j + 1, DesignM: d, DepthM: change(depths(a, nameA, j), depths(b, nameB, j)), FromVerdict: verdict(a, j), ToVerdict: verdict(b, j)})
	}
	known := false
	for j := range changes {
		all = append(all, &changes[j].DepthM)
		known = known || changes[j].DepthM.Change.Known()
	}
	judge(all)
	if why == "" && !known {
		why = "no well's built depth is known in both surveys"
	}
	return changes, why
}

// trustworthy reports whether a fit explains enough for its depths and intervals to mean something.
func trustworthy(r *Result) (bool, string) {
	const tooMuch = 0.4 // as where wells are judged
	if r.Fit == nil || !(r.Fit.Misfit > tooMuch) {
		return true, ""
	}
	if slices.ContainsFunc(r.Wells, func(w Well) bool { return w.Verdict != "undecided" }) {
		return true, "" // what is left is noise
	}
	return false, fmt.Sprintf("no depths explain more than %.0f\u00a0%% of what was measured, so they can't be compared", 100*(1-r.Fit.Misfit))
}

func compareBands(a, b *Result) (changes []BandChange, rig Num, why string) {
	rig = Unknown()
	if why = otherArc(a, b); why != "" {
		return nil, rig, why
	}
	var pairs [][2]Diffusion
	for _, p := range a.Bands {
		for _, q := range b.Bands {
			const same = 1e-6
			if math.Abs(p.LowHz/q.LowHz-1) > same || math.Abs(p.HighHz/q.HighHz-1) > same {
				continue
			}
			c := BandChange{CentreHz: q.CentreHz, LowHz: q.LowHz, HighHz: q.HighHz}
			d, e := p.Diffusion, q.Diffusion
			switch {
			case !p.Usable && !q.Usable:
				c.Why = "usable in neither survey"
			case !p.Usable:
				c.Why = "not usable in the earlier survey"
			case !q.Usable:
				c.Why = "not usable in the later survey"
			}
			c.Flat = change(unknownFigure(), unknownFigure())
			if c.Why == "" {
				c.Flat = change(coefficient(d.Flat, d.FlatInterval), coefficient(e.Flat, e.FlatInterval))
				if moved := Num(math.Abs(float64(c.Flat.Change))); moved.Known() && !(moved <= rig) {
					rig = moved
				}
			} else {
				d, e = unknownDiffusion(), unknownDiffusion()
			}
			changes, pairs = append(changes, c), append(pairs, [2]Diffusion{d, e})
		}
	}
	if len(changes) == 0 {
		return nil, rig, "the surveys have no band in common: check both with the same number of bands per octave"
	}
	more := 0.0
	if rig.Known() {
		more = float64(rig)
	}
	for i, p := range pairs {
		changes[i].Panel = changeWith(coefficient(p[0].Panel, p[0].PanelInterval), coefficient(p[1].Panel, p[1].PanelInterval), more)
		changes[i].Normalised = changeWith(coefficient(p[0].Normalised, p[0].NormalisedInterval), coefficient(p[1].Normalised, p[1].NormalisedInterval), more)
	}
	for _, of := range []func(*BandChange) *Change{func(c *BandChange) *Change { return &c.Panel }, func(c *BandChange) *Change { return &c.Flat }, func(c *BandChange) *Change { return &c.Normalised }} {
		var all []*Change
		for i := range changes {
			all = append(all, of(&changes[i]))
		}
		judge(all)
		for _, c := range all {
			if !rig.Known() && c.Significance == significant {
				c.Significance = possible
			}
		}
	}
	return changes, rig, ""
}

// otherArc says why coefficients of two surveys don't compare: they depend on where source and microphones stand.
func otherArc(a, b *Result) string {
	const apart = 0.02 // m, about twice what a tape measure errs
	if d := distance(a.SourceM, b.SourceM); !(d <= apart) {
		return fmt.Sprintf("the source stands %.0f\u00a0mm elsewhere, and a diffusion coefficient depends on where source and microphones stand", 1000*d)
	}
	used := func(r *Result) (out []Position) {
		for _, p := range r.Positions {
			if p.Used {
				out = append(out, p)
			}
		}
		return out
	}
	p, q := used(a), used(b)
	alone := 0
	for _, x := range p {
		if !slices.ContainsFunc(q, func(y Position) bool { return distance(x.MicM, y.MicM) <= apart }) {
			alone++
		}
	}
	if alone > 0 || len(p) != len(q) {
		return fmt.Sprintf("the microphones stand elsewhere (%d and %d places count, %d of the earlier ones have no counterpart within %.0f\u00a0mm), and a diffusion coefficient depends on that", len(p), len(q), alone, 1000*apart)
	}
	return ""
}

// warningsOnlyIn lists the warnings of r that other doesn't have; code and place tell them apart, since figures in the text may differ.
func warningsOnlyIn(r, other *Result) (out []Warning) {
	for _, w := range r.Warnings {
		if !slices.ContainsFunc(other.Warnings, func(v Warning) bool { return v.Code == w.Code && v.Where == w.Where }) {
			out = append(out, w)
		}
	}
	return out
}

// differences says what besides the panel may have changed.
func differences(a, b *Result, nameA, nameB string) (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if a.Title != b.Title {
		add("The titles differ (“%s” and “%s”): make sure that both are of the same panel.", a.Title, b.Title)
	}
	if c, d := a.Air.SpeedOfSoundMS, b.Air.SpeedOfSoundMS; math.Abs(c-d) > 0.0005*c {
		add("The speed of sound was %.1f and %.1f\u00a0m/s. Depths are worked out with each survey's own.", c, d)
	}
	if a.ToleranceM != b.ToleranceM {
		add("The tolerance was ±%s and ±%s\u00a0mm: verdicts are against each survey's own.", mm(a.ToleranceM), mm(b.ToleranceM))
	}
	if !slices.Equal(a.Panel.DesignDepthM, b.Panel.DesignDepthM) {
		add("The designs differ by less than the tolerance: verdicts are against each survey's own.")
	}
	if why := otherArc(a, b); why != "" {
		add("%s.", strings.ToUpper(why[:1])+why[1:])
	}
	if p, q := middleGate(a), middleGate(b); math.Abs(p-q) > 0.1*max(p, q) {
		add("The gates are %.1f and %.1f\u00a0ms long (in the middle): the longer one lets in more of the panel's late sound, which moves coefficients a little.", 1000*p, 1000*q)
	}
	if p, q := a.Spectrum.BandsPerOctave, b.Spectrum.BandsPerOctave; p != q {
		add("%s has %d bands per octave, %s has %d: coefficients don't compare.", nameA, p, nameB, q)
	}
	if a.LevelReference != b.LevelReference {
		add("A flat board was measured in one survey only.")
	}
	return out
}

// middleGate is the median length of the gates of the positions that count; NaN where there is none.
func middleGate(r *Result) float64 {
	var lengths []float64
	for _, p := range r.Positions {
		if l := p.Gate.EndS - p.Gate.StartS; p.Used && l.Known() {
			lengths = append(lengths, float64(l))
		}
	}
	if len(lengths) == 0 {
		return math.NaN()
	}
	slices.Sort(lengths)
	return lengths[len(lengths)/2]
}
