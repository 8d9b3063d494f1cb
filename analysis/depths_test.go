package analysis

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// fitted is a well as the fit gives it, with the truth beside it.
type fitted struct{ built, low, high, truth float64 }

// calibration counts how the fit does over many cases.
type calibration struct {
	table         strings.Builder
	wells, inside int
	width         float64   // sum of half widths
	errors        []float64 // of all wells, absolute
	parts         []float64 // the same re the half width
}

// add enters one case in the table and returns its largest error.
func (c *calibration) add(name string, wells []fitted, note string) (worst float64) {
	inside, width, squares, mean := 0, 0.0, 0.0, 0.0
	for _, w := range wells {
		e := w.built - w.truth
		worst = max(worst, math.Abs(e))
		squares += e * e
		mean += e / float64(len(wells))
		// a depth can't be below 0: an interval that reaches 0 holds it
		if w.low <= w.truth && w.truth <= w.high {
			inside++
		}
		width += (w.high - w.low) / 2
		c.errors = append(c.errors, math.Abs(e))
		c.parts = append(c.parts, math.Abs(e)/((w.high-w.low)/2))
	}
	c.wells, c.inside, c.width = c.wells+len(wells), c.inside+inside, c.width+width
	fmt.Fprintf(&c.table, "%-44s worst %5.2f mm, rms %.2f, mean %+.2f; inside %2d of %2d, half width %.2f mm; %s\n", name, 1000*worst,
		1000*math.Sqrt(squares/float64(len(wells))), 1000*mean, inside, len(wells), 1000*width/float64(len(wells)), note)
	return worst
}

func (c *calibration) share() float64 { return float64(c.inside) / float64(c.wells) }

// check prints the table with its sums and fails where fewer than nine in ten true depths lie in their 95 % intervals.
func (c *calibration) check(t *testing.T) {
	t.Helper()
	if c.share() < 0.9 {
		t.Errorf("%.1f %% of the true depths lie in the intervals, want 90 %%", 100*c.share())
	}
	t.Logf("\n%sall: %d of %d inside (%.1f %%), mean half width %.2f mm, error at the 95th percentile %.2f mm or %.2f of the half width", c.table.String(),
		c.inside, c.wells, 100*c.share(), 1000*c.width/float64(c.wells), 1000*percentile95(c.errors), percentile95(c.parts))
}

func percentile95(v []float64) float64 {
	sorted := slices.Sorted(slices.Values(v))
	return sorted[len(sorted)*95/100]
}

// planeRig is a panel, source and microphones in the plane, for the wave simulation and the fit alike.
type planeRig struct {
	design            []float64
	wellM, finM       float64
	outerDepthM       float64
	sourceM, sourceAt float64 // distance and angle
	spreadDeg         float64 // microphones every 5° within this, at 1 m
	micM              float64
	gateS, highHz     float64
}

const planeSpeed = 343.2

func (p *planeRig) wave() *waveRig {
	s, c := math.Sincos(p.sourceAt * math.Pi / 180)
	w := &waveRig{cellM: 0.0025, speed: planeSpeed, source: [2]float64{p.sourceM * s, p.sourceM * c}, highHz: p.highHz}
	for a := -p.spreadDeg; a <= p.spreadDeg+0.1; a += 5 {
		s, c := math.Sincos(a * math.Pi / 180)
		w.receivers = append(w.receivers, [2]float64{p.micM * s, p.micM * c})
	}
	// the last sound in the gate left the panel before the gate ends; the first reached it at its nearest point
	w.lengthS = p.gateS + p.width()/planeSpeed
	return w
}

func (p *planeRig) width() float64 { return float64(len(p.design))*(p.wellM+p.finM) + p.finM }

func (p *planeRig) body(depths []float64) *waveBody {
	return &waveBody{widthM: p.width(), depthM: p.outerDepthM, wellM: p.wellM, finM: p.finM, depthsM: depths}
}

// fits returns the fit's data for every field, the exterior solved once.
func (p *planeRig) fits(t *testing.T, fields []*waveField) []*fitData {
	t.Helper()
	w := p.wave()
	section := scatter.PanelSection(len(p.design), p.wellM, p.finM, p.outerDepthM, 0, 0)
	var places []scatter.Place
	for _, r := range w.receivers {
		places = append(places, scatter.Place{Point: scatter.Point{X: r[0], Y: r[1]}})
	}
	g := newGrid(p.highHz, p.gateS)
	outside, err := solveOutside(context.Background(), section, scatter.Place{Point: scatter.Point{X: w.source[0], Y: w.source[1]}}, places, planeSpeed, g, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	source := make([]complex128, g.count())
	for k := range source {
		source[k] = complex(pulseSpectrum(float64(k)*g.stepHz, p.highHz), 0)
	}
	// a panel as high as nothing else: its paths run in the plane
	panel := &Panel{DepthsM: p.design, WellWidthM: p.wellM, FinThicknessM: p.finM, HeightM: 1e-6}
	out := make([]*fitData, len(fields))
	for n := range out {
		out[n] = &fitData{outside: outside, design: p.design, weight: make([]float64, g.count()),
			first: int(math.Ceil(max(2/p.gateS, 400) / g.stepHz)), last: int(0.95 * p.highHz / g.stepHz)}
	}
	for i, r := range w.receivers {
		way := newPaths(panel, [3]float64{w.source[0], w.source[1]}, [3]float64{r[0], r[1]})
		gate := newGate(way.earliest/planeSpeed, way.earliest/planeSpeed+p.gateS, "")
		model := newGatedModel(g, source, gate.window, way.earliest/planeSpeed)
		for n, f := range out {
			f.models, f.receivers = append(f.models, model), append(f.receivers, i)
			f.measured = append(f.measured, fields[n].gated(i, g, gate.window.At))
		}
	}
	for _, f := range out {
		// as run.fitData weighs, without noise
		for k := f.first; k <= f.last; k++ {
			power := 0.0
			for i := range f.measured {
				power += squared(f.measured[i][k]) / float64(len(f.measured))
			}
			f.weight[k] = min(1, g.stepHz*p.gateS) / dependence / (modelError * modelError * power)
		}
	}
	return out
}

// planeCase is one panel as built.
type planeCase struct {
	name  string
	built []float64
}

// recover simulates every case and enters what the fit makes of it.
func (p *planeRig) recover(t *testing.T, c *calibration, cases []planeCase) (worst float64) {
	t.Helper()
	var bodies []*waveBody
	for _, b := range cases {
		bodies = append(bodies, p.body(b.built))
	}
	began := time.Now()
	fields := p.wave().scatter(bodies)
	simulated := time.Since(began)
	began = time.Now()
	fits := p.fits(t, fields)
	t.Logf("%d simulations in %.1f s, exterior and gates in %.1f s", len(cases), simulated.Seconds(), time.Since(began).Seconds())
	for n, f := range fits {
		began := time.Now()
		found, err := f.recoverDepths(context.Background())
		if err != nil {
			t.Errorf("%s: %v", cases[n].name, err)
			continue
		}
		truth, err := f.evaluate(slices.Clone(cases[n].built), make([]float64, len(f.models)), false)
		if err != nil {
			t.Fatal(err)
		}
		var wells []fitted
		for j, d := range found.best.depths {
			half := 1.96 * found.error[j]
			wells = append(wells, fitted{d, max(0, d-half), d + half, cases[n].built[j]})
		}
		note := fmt.Sprintf("misfit %.3f, %.3f at the truth, %.3f at the design; %d explanations; %.1f s", found.best.misfit, truth.misfit, found.designMisfit, len(found.explanations), time.Since(began).Seconds())
		worst = max(worst, c.add(cases[n].name, wells, note))
	}
	return worst
}

// with returns depths with single wells changed: well (numbered from 1), depth.
func with(depths []float64, changes map[int]float64) []float64 {
	out := slices.Clone(depths)
	for well, d := range changes {
		out[well-1] = d
	}
	return out
}

// The virtual bench's design.
var prime13 = []float64{0, 0.0125, 0.0525, 0.12, 0.04, 0.1575, 0.1325, 0.1325, 0.1575, 0.04, 0.12, 0.0525, 0.0125}

// sequenceDepths rounds a quadratic residue panel to whole cells of the simulation.
func sequenceDepths(t *testing.T, prime, periods int, designHz float64) []float64 {
	t.Helper()
	var out []float64
	for i := range prime * periods {
		s := i * i % prime
		out = append(out, math.Round(float64(s)*planeSpeed/(2*float64(prime)*designHz)/0.0025)*0.0025)
	}
	return out
}

func cyclic(depths []float64, by int) []float64 {
	return append(slices.Clone(depths[by:]), depths[:by]...)
}

func mirrorImage(depths []float64) []float64 {
	out := slices.Clone(depths)
	slices.Reverse(out)
	return out
}

// Panels built wrong in every way the search must see through.
func TestPlaneWrongWells(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 13))
	sawn := slices.Clone(prime13)
	for j := range sawn {
		sawn[j] = max(0, sawn[j]+0.0025*float64(random.IntN(5)-2))
	}
	guessed := slices.Clone(prime13)
	for _, j := range random.Perm(len(guessed))[:5] {
		guessed[j] = 0.0025 * float64(random.IntN(65))
	}
	p := &planeRig{design: prime13, wellM: 0.04, finM: 0.005, outerDepthM: 0.20, sourceM: 2, micM: 1, spreadDeg: 60, gateS: 0.0042, highHz: 5000}
	var c calibration
	worst := p.recover(t, &c, []planeCase{
		{"prime 13 as designed", prime13},
		{"wells 10 and 7.5 mm off", with(prime13, map[int]float64{4: 0.11, 11: 0.1275})},
		{"wells 3 and 7 exchanged", with(prime13, map[int]float64{3: 0.1325, 7: 0.0525})},
		{"well 10 filled", with(prime13, map[int]float64{10: 0})},
		{"exchanged and filled", with(prime13, map[int]float64{3: 0.1325, 7: 0.0525, 10: 0})},
		{"well 3 without its bottom", with(prime13, map[int]float64{3: 0.19})},
		{"well 5 half a wavelength deeper", with(prime13, map[int]float64{5: 0.1})},
		{"well 9 half a wavelength shallower", with(prime13, map[int]float64{9: 0.095})},
		{"sequence begun three wells late", cyclic(prime13, 3)},
		{"mirrored", mirrorImage(prime13)},
		{"every well up to 5 mm off", sawn},
		{"five wells of any depth", guessed},
	})
	c.check(t)
	atMost(t, "largest error, m", worst, 0.002, "set for cases of this kind")
}

// A gap along a well's bottom lets sound out at the back: that must read as a loss of that well, and hardly as a depth.
func TestPlaneLeak(t *testing.T) {
	p := &planeRig{design: prime13, wellM: 0.04, finM: 0.005, outerDepthM: 0.1625, sourceM: 2, micM: 1, spreadDeg: 60, gateS: 0.0042, highHz: 5000}
	const perUnit = 17.372 // dB per unit of loss, 40/ln 10
	var bodies []*waveBody
	leaky := []int{0, 4, 9, 2}
	for _, well := range leaky {
		b := p.body(prime13)
		if well > 0 {
			b.slitsM = map[int]float64{well: 0.01}
		}
		bodies = append(bodies, b)
	}
	for n, f := range p.fits(t, p.wave().scatter(bodies)) {
		found, err := f.recoverDepths(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		line := ""
		for j := range prime13 {
			low := perUnit * (found.losses[j] - 1.96*found.lossError[j])
			line += fmt.Sprintf(" %d:%+.1f mm %.1f (%.1f) dB", j+1, 1000*(found.best.depths[j]-prime13[j]), perUnit*found.losses[j], low)
			if clear := low > 0.5; clear != (j+1 == leaky[n]) {
				t.Errorf("leak in well %d: well %d's loss is %.2f dB, at least %.2f", leaky[n], j+1, perUnit*found.losses[j], low)
			}
		}
		t.Logf("leak in well %d, misfit %.3f:%s", leaky[n], found.best.misfit, line)
	}
}

func TestPlaneOblique(t *testing.T) {
	var c calibration
	design := sequenceDepths(t, 17, 1, 1000)
	p := &planeRig{design: design, wellM: 0.035, finM: 0.005, outerDepthM: 0.20, sourceM: 2, sourceAt: 40, micM: 1, spreadDeg: 60, gateS: 0.0045, highHz: 4500}
	worst := p.recover(t, &c, []planeCase{
		{"prime 17 from 40°", design},
		{"two wells off", with(design, map[int]float64{4: design[3] - 0.01, 13: design[12] + 0.0075})},
		{"two wells exchanged", with(design, map[int]float64{2: design[5], 6: design[1]})},
	})
	c.check(t)
	atMost(t, "largest error, m", worst, 0.002, "set for cases of this kind")
}

func TestPlaneTwoPeriods(t *testing.T) {
	var c calibration
	design := sequenceDepths(t, 7, 2, 500)
	p := &planeRig{design: design, wellM: 0.04, finM: 0.005, outerDepthM: 0.23, sourceM: 2, micM: 1, spreadDeg: 60, gateS: 0.006, highHz: 4000}
	worst := p.recover(t, &c, []planeCase{
		{"two periods of prime 7", design},
		{"one well of a pair off", with(design, map[int]float64{3: design[2] - 0.01, 12: design[11] + 0.005})},
	})
	c.check(t)
	atMost(t, "largest error, m", worst, 0.002, "set for cases of this kind")
}

// Prime 43 for 442 Hz: common practice, no source (a panel 40 cm deep, its deepest well 37 cm).
func TestPlaneDeep(t *testing.T) {
	if testing.Short() {
		t.Skip("43 wells take half a minute")
	}
	var c calibration
	design := sequenceDepths(t, 43, 1, 442)
	p := &planeRig{design: design, wellM: 0.025, finM: 0.005, outerDepthM: 0.40, sourceM: 3, micM: 1.5, spreadDeg: 60, gateS: 0.008, highHz: 3400}
	worst := p.recover(t, &c, []planeCase{
		{"prime 43, 37 cm deep", design},
		{"three wells off", with(design, map[int]float64{8: design[7] - 0.01, 20: design[19] + 0.0075, 31: design[30] - 0.02})},
	})
	c.check(t)
	atMost(t, "largest error, m", worst, 0.002, "set for cases of this kind")
}

// benchRig is a survey of the virtual bench, changed as a case asks.
type benchRig struct {
	survey *Survey
	truth  []float64
}

// builtDepths is what stands in the virtual bench's geometry.json.
var builtDepths = map[string][]float64{
	"room-a-panel-as-designed": prime13,
	"room-b-panel-as-designed": prime13,
	"room-a-panel-built-2":     with(prime13, map[int]float64{3: 0.1325, 7: 0.0525, 10: 0}),
	"room-b-panel-built-1":     with(prime13, map[int]float64{4: 0.11, 11: 0.1275}),
}

// newBenchRig loads a survey, drops the flat board where asked, and keeps the positions of which keep says so.
func newBenchRig(t *testing.T, name string, flat bool, keep func(angleDeg float64) bool) *benchRig {
	t.Helper()
	s, err := LoadSurvey(filepath.Join("..", "fixtures", "virtual-bench", name+".toml"))
	if err != nil {
		t.Fatal(err)
	}
	s.Positions = slices.DeleteFunc(s.Positions, func(p SurveyPosition) bool {
		return !keep(math.Round(math.Atan2(p.MicM[0], p.MicM[1]) * 180 / math.Pi))
	})
	if !flat {
		for i := range s.Positions {
			s.Positions[i].Flat = nil
		}
	}
	return &benchRig{s, builtDepths[name]}
}

func every5within(limit float64) func(float64) bool {
	return func(a float64) bool { return math.Abs(a) <= limit }
}

func every10within(limit float64) func(float64) bool {
	return func(a float64) bool { return math.Abs(a) <= limit && math.Mod(math.Abs(a), 10) == 0 }
}

// noisy replaces every file of the survey by one with white noise added, its rms a share of the record's peak.
func (b *benchRig) noisy(t *testing.T, share float64, seed uint64) *benchRig {
	t.Helper()
	s := *b.survey
	s.Positions = slices.Clone(s.Positions)
	folder := t.TempDir()
	for i := range s.Positions {
		p := &s.Positions[i]
		for state, files := range []*[]string{&p.Empty, &p.Flat, &p.Panel} {
			random := rand.New(rand.NewPCG(seed, uint64(3*i+state)))
			var noisy []string
			for _, file := range *files {
				audio, err := dsp.ReadWAV(file)
				if err != nil {
					t.Fatal(err)
				}
				x := audio.Channels[0]
				rms := share * max(slices.Max(x), -slices.Min(x))
				for n := range x {
					x[n] += rms * random.NormFloat64()
				}
				path := filepath.Join(folder, fmt.Sprintf("%d-%d-%d.wav", i, state, len(noisy)))
				if err := dsp.WriteWAVFile(path, audio, dsp.WAVFormat{SampleRateHz: audio.SampleRateHz, BitsPerSample: 32, Float: true}); err != nil {
					t.Fatal(err)
				}
				noisy = append(noisy, path)
			}
			*files = noisy
		}
	}
	return &benchRig{&s, b.truth}
}

// check runs Check and puts the truth beside the wells.
func (b *benchRig) check(t *testing.T) (*Result, []fitted) {
	t.Helper()
	r, err := Check(context.Background(), b.survey, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	var out []fitted
	for j, w := range r.Wells {
		if !w.BuiltM.Known() {
			t.Fatalf("well %d: no depth: %s", w.Number, w.Why)
		}
		out = append(out, fitted{float64(w.BuiltM), float64(w.LowM), float64(w.HighM), b.truth[j]})
	}
	return r, out
}

func note(r *Result) string {
	verdicts := map[string]int{}
	for _, w := range r.Wells {
		verdicts[w.Verdict]++
	}
	f := r.Fit
	return fmt.Sprintf("%d positions, %.0f to %.0f Hz, misfit %.3f; %d explanations; %s %v", f.Positions, f.LowHz, f.HighHz, f.Misfit, len(f.Explanations), r.Verdict, verdicts)
}

func short(survey string) string { return strings.Replace(survey, "-panel-", " ", 1) }

// The virtual bench with fewer microphones, and without the flat board. The limits are those that the project set itself.
func TestBenchLess(t *testing.T) {
	var c calibration
	for _, name := range []string{"room-a-panel-as-designed", "room-a-panel-built-2", "room-b-panel-as-designed", "room-b-panel-built-1"} {
		limit := 0.001
		if strings.HasPrefix(name, "room-b") {
			limit = 0.0015
		}
		for _, v := range []struct {
			text string
			flat bool
			keep func(float64) bool
		}{
			{"25 microphones", true, every5within(60)},
			{"13 microphones, no flat board", false, every10within(60)},
		} {
			rig := newBenchRig(t, name, v.flat, v.keep)
			r, wells := rig.check(t)
			worst := c.add(short(name)+", "+v.text, wells, note(r))
			atMost(t, name+", "+v.text+", largest error, m", worst, limit, "limit set for the virtual bench")
			for _, w := range r.Wells {
				truth := rig.truth[w.Number-1]
				if wrong := math.Abs(truth-w.DesignM) > 0.003; wrong != (w.Verdict == "deep" || w.Verdict == "shallow") {
					t.Errorf("%s, %s: well %d, built %.4f m, is called %s", name, v.text, w.Number, truth, w.Verdict)
				}
			}
		}
	}
	c.check(t)
}

// The flat board is not needed for depths, so its noise must not reach them.
func TestFlatBoardLeavesDepthsAlone(t *testing.T) {
	_, with := newBenchRig(t, "room-a-panel-built-2", true, every10within(60)).noisy(t, 0.01, 1).check(t)
	_, without := newBenchRig(t, "room-a-panel-built-2", false, every10within(60)).noisy(t, 0.01, 1).check(t)
	for j := range with {
		near(t, fmt.Sprintf("well %d with the flat board", j+1), with[j].built, without[j].built, 1e-4, "what a slightly different choice of gates makes")
	}
}

var long = flag.Bool("long", false, "all seeds of the depth fit's noise and position errors")

// Noise at 3 % of each record's peak in every state: 1.5 mm at the 95th percentile, the limit set for the virtual bench. A few seeds tell the
// percentile through the rms (1.96 of it for normal errors), many tell it directly.
func TestBenchNoise(t *testing.T) {
	const limit = 0.0015
	seeds := uint64(3)
	if *long {
		seeds = 20
	}
	var all calibration
	for _, name := range []string{"room-a-panel-as-designed", "room-b-panel-built-1"} {
		rig := newBenchRig(t, name, true, every5within(90))
		from := len(all.errors)
		for seed := range seeds {
			r, wells := rig.noisy(t, 0.03, seed).check(t)
			all.add(fmt.Sprintf("%s, noise %d", short(name), seed), wells, note(r))
		}
		if *long {
			atMost(t, name+", error at the 95th percentile, m", percentile95(all.errors[from:]), limit, "limit set for the virtual bench")
			continue
		}
		sum := 0.0
		for _, e := range all.errors[from:] {
			sum += e * e / float64(len(all.errors)-from)
		}
		atMost(t, name+", 1.96 times the rms error, m", 1.96*math.Sqrt(sum), limit, "limit set for the virtual bench")
	}
	// half the microphones: no limit on the error was set, but the intervals must tell it
	rig := newBenchRig(t, "room-a-panel-as-designed", false, every10within(60))
	for seed := range seeds {
		r, wells := rig.noisy(t, 0.03, seed).check(t)
		all.add(fmt.Sprintf("room-a as-designed, 13 microphones, noise %d", seed), wells, note(r))
	}
	all.check(t)
}

// placesOff puts the survey's places off as a tape measure does: x and y of every microphone and of the source, 5 mm rms each.
func (b *benchRig) placesOff(random *rand.Rand) {
	off := func(p *[3]float64) {
		p[0] += 0.005 * random.NormFloat64()
		p[1] += 0.005 * random.NormFloat64()
	}
	off(&b.survey.SourceM)
	for i := range b.survey.Positions {
		off(&b.survey.Positions[i].MicM)
	}
}

// Positions as a tape measure gives them.
func TestBenchPositionErrors(t *testing.T) {
	seeds := uint64(2)
	if *long {
		seeds = 10
	}
	var c calibration
	for _, name := range []string{"room-a-panel-as-designed", "room-b-panel-built-1"} {
		for seed := range seeds {
			rig := newBenchRig(t, name, true, every5within(60))
			rig.placesOff(rand.New(rand.NewPCG(seed, 5)))
			r, wells := rig.check(t)
			worst := c.add(fmt.Sprintf("%s, 25 microphones, positions off %d", short(name), seed), wells, note(r))
			atMost(t, name+", largest error, m", worst, 0.0025, "limit set for the virtual bench")
		}
	}
	c.check(t)
}

// The whole rig moved sideways in the survey is the panel moved the other way: the fit must find that and keep the depths.
func TestBenchPanelBesideItsPlace(t *testing.T) {
	const moved = 0.012
	s, err := LoadSurvey("../fixtures/virtual-bench/room-b-panel-built-1.toml")
	if err != nil {
		t.Fatal(err)
	}
	s.SourceM[0] += moved
	for i := range s.Positions {
		s.Positions[i].MicM[0] += moved
	}
	r, err := Check(context.Background(), s, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("offset found: %.1f mm, path errors %.1f mm rms", 1000*r.Fit.PanelOffsetM, 1000*r.Fit.PathErrorM)
	near(t, "offset", r.Fit.PanelOffsetM, moved, 0.003, "a quarter of it: the prior holds each path near the tape measure's")
	want := with(prime13, map[int]float64{4: 0.11, 11: 0.1275})
	for j, w := range r.Wells {
		near(t, fmt.Sprintf("well %d", j+1), float64(w.BuiltM), want[j], 0.0025, "limit set for position errors")
	}
}
