package analysis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"
	"sync/atomic"

	"github.com/leadline/leadline/analysis/scatter"
)

const (
	fewWells      = 100 // a row of more is averaged over fewer frequencies per band
	manyWells     = 200 // and one of more than this over fewer still
	specularShare = 0.2 // of the receivers, at most
	mostPolars    = 10
	mostOwnLobes  = 60
	farAwayM      = 1e4 // of source and receivers for the polar responses: far beyond 2·width²/wavelength of any row
	polarStepsDeg = 1.0
)

// rowRig predicts rows of one survey in the standard's arrangement, as predictFarField does a panel: source at 10 m in the survey's direction, 37 receivers at 5 m, all
// further away where the row is so wide that less than 80 % of the receivers would stand outside the specular zone (ISO 17497-2:2012; from memory); unlimited height.
type rowRig struct {
	panel     *Panel
	row       *SurveyRow
	panels    int
	speed     float64
	incidence float64 // radians
	sourceM   float64
	receiverM float64
	bands     []Band
	design    []bool // per band: counts in the means
	low, high float64
	section   scatter.Section // the same for all orders
	source    scatter.Place
	receivers []scatter.Place
	letters   string           // the kinds, each other than those before it
	kinds     [][]scatter.Well // per letter; behind them what else is asked for
}

func newRowRig(s *Survey, bands []Band, speed float64) *rowRig {
	g := &rowRig{panel: &s.Panel, row: s.Row, panels: max(len(s.Row.Order), s.Row.Panels), speed: speed, bands: bands, incidence: math.Atan2(s.SourceM[0], s.SourceM[1])}
	layout := g.layout(strings.Repeat("D", g.panels))
	g.section = g.sectionOf(layout)
	for g.receiverM = standardReceiverM; ; g.receiverM *= 1.05 {
		g.sourceM = g.receiverM * standardSourceM / standardReceiverM
		g.source, g.receivers = onArc(g.sourceM, g.incidence), arc(g.receiverM, standardStepDeg)
		if g.specular(layout.widthM()/2) <= specularShare*float64(len(g.receivers)) {
			break
		}
	}
	used := "D" + s.Row.Order
	if s.Row.Panels > 0 {
		used += s.Row.Kinds
	}
	for _, kind := range rowKinds {
		for _, letter := range used {
			if own := string(kind); g.letter(string(letter)) == own && !strings.Contains(g.letters, own) {
				g.letters += own
				g.kinds = append(g.kinds, wellsOf(kindDepthsM(g.panel, own[0])))
			}
		}
	}
	g.designBand()
	return g
}

// arc returns places all over the half circle, in whole steps of degrees.
func arc(distanceM float64, stepDeg int) (out []scatter.Place) {
	for a := -90; a <= 90; a += stepDeg {
		out = append(out, onArc(distanceM, float64(a)*math.Pi/180))
	}
	return out
}

// specular returns how many receivers see the source mirrored in the front of a flat board so wide, halfM to either side.
func (g *rowRig) specular(halfM float64) float64 {
	count := 0.0
	for _, r := range g.receivers {
		if x := g.source.X + (r.X-g.source.X)*g.source.Y/(g.source.Y+r.Y); math.Abs(x) < halfM {
			count++
		}
	}
	return count
}

func onArc(distanceM, angle float64) scatter.Place {
	return scatter.Place{Point: scatter.Point{X: distanceM * math.Sin(angle), Y: distanceM * math.Cos(angle)}}
}

func (g *rowRig) layout(order string) *rowLayout { return newRowLayout(g.panel, g.row, order) }

// sectionOf returns the section of a layout, with the depth that all orders of the rig share.
func (g *rowRig) sectionOf(l *rowLayout) scatter.Section {
	all := *l
	all.order += g.row.Order
	return all.section(0)
}

// letter returns the first kind that has the depths of the given one: a panel that is its own mirror image is not counted twice.
func (g *rowRig) letter(letter string) string {
	depths := kindDepthsM(g.panel, letter[0])
	for _, kind := range rowKinds {
		if sameDepths(kindDepthsM(g.panel, byte(kind)), depths) {
			return string(kind)
		}
	}
	return letter
}

func sameDepths(a, b []float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-6 {
			return false
		}
	}
	return true
}

// numbers returns the kinds of an order by their places among the rig's letters.
func (g *rowRig) numbers(order string) []int {
	out := make([]int, len(order))
	for i := range out {
		out[i] = strings.Index(g.letters, g.letter(order[i:i+1]))
	}
	return out
}

// designBand marks the bands over which orders are judged: from the design frequency (without one, where the deepest well is half a wavelength) to where a well is half a
// wavelength wide, above which it no longer holds plane waves alone.
func (g *rowRig) designBand() {
	g.low = float64(g.panel.DesignFrequencyHz)
	if !g.panel.DesignFrequencyHz.Known() {
		deepest := 0.0
		for _, d := range g.panel.DepthsM {
			deepest = max(deepest, d)
		}
		g.low = g.speed / (2 * max(deepest, 0.005))
	}
	g.high = g.speed / (2 * g.panel.WellWidthM)
	g.design = make([]bool, len(g.bands))
	nearest, found := 0, false
	for i, b := range g.bands {
		if b.HighHz > predictionEndHz {
			continue
		}
		if b.CentreHz > 0.99*g.low && b.CentreHz < 1.01*g.high {
			g.design[i], found = true, true
		}
		if math.Abs(math.Log(b.CentreHz/g.low)) < math.Abs(math.Log(g.bands[nearest].CentreHz/g.low)) {
			nearest = i
		}
	}
	if !found && len(g.bands) > 0 {
		g.design[nearest] = true
	}
}

// linesPerBand and mesh bound the work that large rows make.
func (g *rowRig) linesPerBand() int {
	switch wells := len(g.section.Mouths); {
	case wells <= fewWells:
		return linesPerBand
	case wells <= manyWells:
		return 3
	}
	return 2
}

func (g *rowRig) mesh() scatter.Mesh {
	mesh := scatter.DefaultMesh
	if len(g.section.Mouths) > fewWells {
		mesh.Functions = 3 // off by 0.0003 of a diffusion coefficient
	}
	return mesh
}

// rowEnergies holds energies per band, order and receiver, and those of the closed boxes.
type rowEnergies struct {
	orders [][][]float64 // [band][order][receiver]; nil where a band is not asked for or can't be had
	flat   [][]float64
	why    []string // per band: why it can't be had
}

// line returns frequency i of n in a band.
func line(b *Band, i, n int) float64 {
	return b.LowHz * math.Pow(b.HighHz/b.LowHz, (float64(i)+0.5)/float64(n))
}

// energies solves the outside of the row once per frequency and puts the wells of all orders into it. Only bands marked in wanted count.
func (g *rowRig) energies(ctx context.Context, orders [][]int, wanted func(band int) bool, lines int, mesh scatter.Mesh, progress func(float64)) (*rowEnergies, error) {
	n := len(g.bands)
	out := &rowEnergies{make([][][]float64, n), make([][]float64, n), make([]string, n)}
	type sums struct {
		orders [][]float64
		flat   []float64
		err    error
	}
	outside := scatter.Outside{Section: &g.section, Scenes: []scatter.Scene{{Source: g.source, Receivers: g.receivers}}, Mesh: mesh}
	all := make([]sums, n*lines)
	var done atomic.Int64
	parallel(0, len(all), func(i int) {
		defer func() { progress(float64(done.Add(1)) / float64(len(all))) }()
		i = len(all) - 1 - i // the dearest first
		b := &g.bands[i/lines]
		if ctx.Err() != nil || !wanted(i/lines) || b.HighHz > predictionEndHz {
			return
		}
		frequency, sum := line(b, i%lines, lines), &all[i]
		exteriors, err := outside.At(2 * math.Pi * frequency / g.speed)
		if err != nil {
			sum.err = err
			return
		}
		e := exteriors[0]
		fields, err := e.Orders(g.kinds, orders, scatter.AirLosses(2*math.Pi*frequency))
		if err != nil {
			sum.err = err
			return
		}
		for _, field := range fields {
			energy := make([]float64, len(field))
			for r, p := range field {
				energy[r] = squared(p)
			}
			sum.orders = append(sum.orders, energy)
		}
		for r := range g.receivers {
			sum.flat = append(sum.flat, squared(e.Flat(r)))
		}
	})
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i, sum := range all {
		b := i / lines
		if sum.err != nil {
			out.why[b], out.orders[b], out.flat[b] = sum.err.Error(), nil, nil
			continue
		}
		if sum.orders == nil || out.why[b] != "" {
			continue
		}
		if out.orders[b] == nil {
			out.orders[b] = make([][]float64, len(orders))
		}
		for o := range orders {
			out.orders[b][o] = plus(out.orders[b][o], sum.orders[o])
		}
		out.flat[b] = plus(out.flat[b], sum.flat)
	}
	return out, nil
}

// mean returns the mean diffusion coefficient over the bands of the design band, the lowest of them and its centre; unknown where one of them is.
func (g *rowRig) mean(of func(band int) []float64) (mean, lowest, lowestHz Num) {
	sum, count := 0.0, 0.0
	lowest, lowestHz = 2, Unknown()
	for i, b := range g.bands {
		if !g.design[i] || b.HighHz > predictionEndHz {
			continue
		}
		d := DiffusionCoefficient(of(i))
		if !d.Known() {
			return Unknown(), Unknown(), Unknown()
		}
		sum, count = sum+float64(d), count+1
		if d < lowest {
			lowest, lowestHz = d, Num(b.CentreHz)
		}
	}
	if count == 0 {
		return Unknown(), Unknown(), Unknown()
	}
	return Num(sum / count), lowest, lowestHz
}

// row predicts the survey's row of panels, if it has one, from the design, and with the recovered depths where there are some.
func (r *run) row(ctx context.Context) (err error) {
	if r.survey.Row == nil {
		return nil
	}
	var builtM []float64
	for _, w := range r.result.Wells {
		if w.BuiltM.Known() {
			builtM = append(builtM, float64(w.BuiltM))
		}
	}
	if len(builtM) != len(r.survey.Panel.DepthsM) {
		builtM = nil
	}
	r.result.Row, err = predictRow(ctx, r.survey, builtM, r.result.Bands, r.air.SpeedOfSoundMS, r.options.report("row"))
	return err
}

// predictRow predicts a survey's row as one finite structure of unlimited height: diffusion coefficients in the standard's arrangement, polar responses far away
// with the directions of the lobes, and on request the best order of panels. builtM are recovered depths, which then stand in the row's panels D and M; nil for none.
func predictRow(ctx context.Context, s *Survey, builtM []float64, bands []Band, speed float64, progress func(float64)) (*Row, error) {
	g := newRowRig(s, bands, speed)
	row := &Row{Order: s.Row.Order, Chosen: "survey", GapM: s.Row.GapM, SourceAngleDeg: g.incidence * 180 / math.Pi, SourceM: g.sourceM, ReceiverM: g.receiverM,
		LinesPerBand: g.linesPerBand(), DesignLowHz: g.low, DesignHighHz: g.high}
	share := func(from, to float64) func(float64) { return func(x float64) { progress(from + (to-from)*x) } }
	begun := 0.0
	if s.Row.Panels > 0 {
		var err error
		if row.Search, err = g.search(ctx, share(0, 0.6)); err != nil {
			return nil, err
		}
		begun = 0.6
		if row.Order == "" {
			row.Order, row.Chosen = row.Search.Suggested, "search"
		}
	}
	finals := []string{row.Order, strings.Repeat("D", g.panels)}
	var numbers [][]int
	for _, order := range finals {
		numbers = append(numbers, g.numbers(order))
	}
	designed := len(g.kinds)
	if builtM != nil {
		built := *g.panel
		built.DepthsM = builtM
		g.kinds = append(g.kinds, wellsOf(kindDepthsM(&built, 'D')), wellsOf(kindDepthsM(&built, 'M')))
		for _, order := range finals {
			n := g.numbers(order)
			for i, letter := range order {
				switch letter {
				case 'D':
					n[i] = designed
				case 'M':
					n[i] = designed + 1
				}
			}
			numbers = append(numbers, n)
		}
	}
	energies, err := g.energies(ctx, numbers, func(int) bool { return true }, g.linesPerBand(), g.mesh(), share(begun, 0.9))
	if err != nil {
		return nil, err
	}
	ofOrder := func(o int) func(int) []float64 {
		return func(b int) []float64 {
			if energies.orders[b] == nil {
				return nil
			}
			return energies.orders[b][o]
		}
	}
	for i := range bands {
		b := RowBand{CentreHz: bands[i].CentreHz, Design: g.design[i], Row: Unknown(), Equal: Unknown(), Flat: Unknown(), Normalised: Unknown(), Built: Unknown(), Why: energies.why[i]}
		if energies.orders[i] != nil {
			b.Row, b.Equal, b.Flat = DiffusionCoefficient(energies.orders[i][0]), DiffusionCoefficient(energies.orders[i][1]), DiffusionCoefficient(energies.flat[i])
			b.Normalised = NormalisedDiffusion(b.Row, b.Flat)
			if builtM != nil {
				b.Built = DiffusionCoefficient(energies.orders[i][len(finals)])
			}
		} else if b.Why == "" {
			b.Why = "the prediction ends below it, as the standard's range does"
		}
		row.Bands = append(row.Bands, b)
	}
	row.Mean, _, _ = g.mean(ofOrder(0))
	row.MeanEqual, _, _ = g.mean(ofOrder(1))
	row.MeanBuilt = Unknown()
	if builtM != nil {
		row.MeanBuilt, _, _ = g.mean(ofOrder(len(finals)))
	}
	row.MeanFlat, _, _ = g.mean(func(b int) []float64 { return energies.flat[b] })
	g.kinds = g.kinds[:designed]
	g.describeLayout(row)
	if row.Polars, err = g.polars(ctx, row, share(0.9, 1)); err != nil {
		return nil, err
	}
	row.Text = rowText(row)
	return row, nil
}

var kindNames = map[byte]string{'D': "as designed", 'I': "inverted", 'M': "mirrored", 'B': "inverted and mirrored"}

// describeLayout fills in what hangs where.
func (g *rowRig) describeLayout(row *Row) {
	l := g.layout(row.Order)
	row.Panels, row.Boxes, row.WidthM = l.panels, l.boxes, l.widthM()
	row.WellWidthM, row.WellCentreM, row.WellDepthM = g.panel.WellWidthM, l.centreM, l.depthsM
	row.DepthM, row.PitchM, row.PeriodM = g.section.Boxes[0].DepthM, l.pitchM(), Unknown()
	if length, times := l.period(); times > 1 {
		row.PeriodM, row.Times = Num(length), times
	} else {
		row.Times = 1
	}
	for i := range len(rowKinds) {
		if letter := rowKinds[i : i+1]; strings.Contains(row.Order, letter) || row.Search != nil && strings.Contains(g.letters, letter) {
			row.Kinds = append(row.Kinds, RowKind{Letter: letter, Name: kindNames[letter[0]], DepthM: kindDepthsM(g.panel, letter[0])})
		}
	}
}

// polars predicts the polar responses far away, at the centres of bands that count in the design band.
func (g *rowRig) polars(ctx context.Context, row *Row, progress func(float64)) ([]RowPolar, error) {
	var at []float64
	for i, b := range g.bands {
		third := 10 * math.Log10(b.CentreHz/1000)
		if g.design[i] && row.Bands[i].Row.Known() && math.Abs(third-math.Round(third)) < 0.01 {
			at = append(at, b.CentreHz)
		}
	}
	for len(at) > mostPolars {
		at = at[1:]
	}
	out, errs := make([]RowPolar, len(at)), make([]error, len(at))
	parallel(0, len(at), func(i int) {
		if errs[i] = ctx.Err(); errs[i] == nil {
			out[i], errs[i] = g.polar(row, at[i])
			progress(float64(i+1) / float64(len(at)))
		}
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, fmt.Errorf("row: %w", err)
	}
	return out, nil
}

// polar predicts one polar response, in steps that follow the row's narrowest lobes.
func (g *rowRig) polar(row *Row, frequencyHz float64) (RowPolar, error) {
	p := RowPolar{FrequencyHz: frequencyHz}
	wavelength := g.speed / frequencyHz
	step := polarStepsDeg
	for step > 0.25 && step*math.Pi/180 > 0.4*wavelength/row.WidthM {
		step /= 2
	}
	for i := range int(180/step) + 1 {
		p.AngleDeg = append(p.AngleDeg, -90+float64(i)*step)
	}
	p.Lobes = lobes(wavelength, row.PitchM, g.incidence)
	if g.panels == 1 {
		p.Lobes = nil // nothing is repeated
	}
	if own := float64(row.PeriodM); row.Times > 1 && math.Abs(own-row.PitchM) > 1e-6 {
		if l := lobes(wavelength, own, g.incidence); len(l) <= mostOwnLobes {
			p.Own = l
		}
	}
	var receivers []scatter.Place
	far := func(deg float64) { receivers = append(receivers, onArc(farAwayM, deg*math.Pi/180)) }
	for _, a := range p.AngleDeg {
		far(a)
	}
	for _, l := range [][]RowLobe{p.Lobes, p.Own} {
		for _, l := range l {
			far(l.AngleDeg)
		}
	}
	e, err := scatter.SolveExterior(2*math.Pi/wavelength, &g.section, onArc(farAwayM, g.incidence), receivers, g.mesh())
	if err != nil {
		return p, err
	}
	fields, err := e.Orders(g.kinds, [][]int{g.numbers(row.Order), g.numbers(strings.Repeat("D", g.panels))}, scatter.AirLosses(2*math.Pi*frequencyHz))
	if err != nil {
		return p, err
	}
	var energy [3][]float64
	for r := range receivers {
		energy[0], energy[1], energy[2] = append(energy[0], squared(fields[0][r])), append(energy[1], squared(fields[1][r])), append(energy[2], squared(e.Flat(r)))
	}
	n := len(p.AngleDeg)
	flat := energy[2][:n]
	inRow, inEqual := levels(energy[0], flat), levels(energy[1], flat)
	p.RowDB, p.EqualDB, p.FlatDB = inRow[:n], inEqual[:n], levels(flat, flat)
	for _, l := range [][]RowLobe{p.Lobes, p.Own} {
		for i := range l {
			l[i].RowDB, l[i].EqualDB = inRow[n], inEqual[n]
			n++
		}
	}
	return p, nil
}

// lobes returns the directions between −90° and 90° in which the parts of a repetition add up, from the lowest (grating equation: Schroeder, J. Acoust. Soc. Am. 65 (1979) 958):
// sin θ = mλ/period − sin ψ, with the wavelength λ and the period in metres, and ψ the direction of the source in radians.
func lobes(wavelengthM, periodM, incidence float64) []RowLobe {
	var out []RowLobe
	unit, mirror := wavelengthM/periodM, math.Sin(incidence)
	for m := int(math.Ceil((mirror - 1) / unit)); float64(m)*unit-mirror <= 1; m++ {
		sine := float64(m)*unit - mirror
		out = append(out, RowLobe{M: m, AngleDeg: math.Asin(max(-1, sine)) * 180 / math.Pi})
	}
	return out
}
