package analysis

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// Options of a run.
type Options struct {
	BandsPerOctave int                               // 3 or 12
	Progress       func(stage string, share float64) // may be nil
}

const (
	predictionEndHz = 5700 // the upper edge of the standard's last third octave, 5 kHz, is at 5623 Hz
	lowestBandHz    = 89   // the standard's first third octave, 100 Hz, begins at 89.1 Hz
)

func (o *Options) report(stage string) func(float64) {
	if o.Progress == nil {
		return func(float64) {}
	}
	return func(share float64) { o.Progress(stage, share) }
}

func (o *Options) validate() error {
	if o.BandsPerOctave != 3 && o.BandsPerOctave != 12 {
		return fmt.Errorf("bands: 1/%d octave: expected 3 or 12 per octave", o.BandsPerOctave)
	}
	return nil
}

// run is one check or prediction under way.
type run struct {
	survey    *Survey
	options   Options
	result    *Result
	air       Air
	positions []*measuredPosition // nil entries where nothing was measured
	gates     []gate
	grid      grid
	source    []complex128
	outside   *outside
	fitted    []int         // positions of which outside tells, for the depth fit; all, or of very many some
	models    []*gatedModel // of those; nil without a gate
	added     []float64     // per position: noise that the subtraction adds, as a multiple of one take's

	empty                 [][]complex128   // gated transfer function of the empty room per position, [k]; nil without one
	panel, flat           [][]complex128   // the same, means of takes, the empty room subtracted
	panelTakes            [][][]complex128 // per position and take
	flatTakes             [][][]complex128
	modelPanel, modelFlat [][]complex128 // the same, predicted
	contradictions        []Warning      // of data and survey: where there is one, no verdict is given

	seatPositions []*measuredPosition // seats with recordings
	seatGates     []gate
}

// Check measures the panel of a survey, predicts its design, compares both and recovers the built depths.
// Errors: input that can't be read or makes no sense; doubts about good input are warnings in the result.
func Check(ctx context.Context, s *Survey, o Options) (*Result, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	if err := s.CheckFiles(); err != nil {
		return nil, err
	}
	r, err := newRun(s, o, "check")
	if err != nil {
		return nil, err
	}
	r.warn(s.OutsideFolder()...)
	if err := r.measure(ctx); err != nil {
		return nil, err
	}
	r.chooseRange()
	r.transferFunctions()
	if err := r.predict(ctx, s.Panel.DepthsM); err != nil {
		return nil, err
	}
	r.fillPositions()
	r.fillBands()
	r.doubtData()
	if err := r.depths(ctx); err != nil {
		return nil, err
	}
	if err := r.row(ctx); err != nil {
		return nil, err
	}
	if r.result.FarField, err = predictFarField(ctx, s, r.result.Bands, r.air.SpeedOfSoundMS, o.report("far field")); err != nil {
		return nil, err
	}
	if err := r.seats(ctx); err != nil {
		return nil, err
	}
	r.timeView()
	r.keepResponses()
	r.describe()
	return r.result, nil
}

// Predict predicts what a survey's design does at its positions and in the standard's arrangement, without any measurement.
func Predict(ctx context.Context, s *Survey, o Options) (*Result, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	r, err := newRun(s, o, "predict")
	if err != nil {
		return nil, err
	}
	r.positions = make([]*measuredPosition, len(s.Positions))
	r.chooseRange()
	if err := r.predict(ctx, s.Panel.DepthsM); err != nil {
		return nil, err
	}
	r.fillPositions()
	r.fillBands()
	for i, d := range s.Panel.DepthsM {
		r.result.Wells = append(r.result.Wells, Well{Number: i + 1, DesignM: d, BuiltM: Unknown(), LowM: Unknown(), HighM: Unknown(),
			DifferenceM: Unknown(), Loss: Unknown(), LossLow: Unknown(), LossHigh: Unknown(), GainInDiffusion: Unknown(), Verdict: "undecided", Why: "nothing was measured"})
	}
	if err := r.row(ctx); err != nil {
		return nil, err
	}
	if err := r.seats(ctx); err != nil {
		return nil, err
	}
	if r.result.FarField, err = predictFarField(ctx, s, r.result.Bands, r.air.SpeedOfSoundMS, o.report("far field")); err != nil {
		return nil, err
	}
	r.describe()
	return r.result, nil
}

func newRun(s *Survey, o Options, kind string) (*run, error) {
	air, err := s.Air.Resolve("panel")
	if err != nil {
		return nil, err
	}
	p := &s.Panel
	result := &Result{
		Schema: Schema, Kind: kind, Title: s.Title, Survey: s.Path, Verdict: Undecided, Air: air, SourceM: s.SourceM, Room: s.Room,
		ToleranceM: s.ToleranceM, LevelReference: "direct sound at 1 m",
		Panel: PanelResult{
			Sequence: p.Sequence, Prime: p.Prime, Periods: p.Periods, DesignFrequency: p.DesignFrequencyHz,
			WidthM: p.WidthM(), HeightM: p.HeightM, DepthM: p.OuterDepthM(), WellWidthM: p.WellWidthM, FinThicknessM: p.FinThicknessM,
			DesignDepthM: p.DepthsM,
		},
	}
	for i := range p.DepthsM {
		result.Panel.WellCentreM = append(result.Panel.WellCentreM, p.WellCentreM(i))
	}
	r := &run{survey: s, options: o, result: result, air: air}
	r.warn(s.Warnings...)
	return r, nil
}

func (r *run) warn(w ...Warning) { r.result.Warnings = append(r.result.Warnings, w...) }

// chooseRange sets the grid, the source's spectrum and the bands with what makes them usable.
func (r *run) chooseRange() {
	spectrum := &r.result.Spectrum
	spectrum.BandsPerOctave = r.options.BandsPerOctave
	shortest, longest, rate := math.Inf(1), 0.002, math.Inf(1)
	sweepLow, sweepHigh := 0.0, math.Inf(1)
	for i, m := range r.positions {
		if m == nil {
			continue
		}
		shortest, longest, rate = min(shortest, r.gates[i].limitS), max(longest, r.gates[i].lengthS), min(rate, m.sampleRateHz)
		sweepLow, sweepHigh = max(sweepLow, m.lowHz), min(sweepHigh, m.highHz)
	}
	highest := 0.45 * rate
	r.grid = newGrid(min(predictionEndHz, highest), longest)
	lowest := lowestBandHz * 1.0
	spectrum.LowWhy, spectrum.HighWhy = "the standard's range begins here", "the prediction ends here, as the standard's range does"
	top := predictionEndHz * 1.0
	if r.result.Kind == "check" {
		lowest = max(lowest, lowestHz(shortest))
		spectrum.LowWhy = fmt.Sprintf("the shortest gate leaves %.1f ms, and two periods must fit in", shortest*1000)
		if sweepLow > lowest {
			lowest, spectrum.LowWhy = sweepLow, "the recordings hold the sweep only from there on"
		}
		r.source = sourceSpectrum(directSounds(r.survey, r.positions, r.air.SpeedOfSoundMS), r.grid, r.air.SpeedOfSoundMS)
		if end := sourceEnd(r.source, r.grid); end < top {
			top, spectrum.HighWhy = end, "above it the source is too weak"
		}
		if highest < top {
			top, spectrum.HighWhy = highest, "above it the sample rate ends"
		}
		if sweepHigh < top {
			top, spectrum.HighWhy = sweepHigh, "the recordings hold the sweep only up to there"
		}
	}
	bands, _ := dsp.FractionalOctaves(r.options.BandsPerOctave, lowestBandHz, max(predictionEndHz, min(highest, 23000)))
	spectrum.LowestUsableHz, spectrum.HighestUsableHz = Unknown(), Unknown()
	for _, b := range bands {
		band := Band{CentreHz: b.CentreHz, LowHz: b.LowHz, HighHz: b.HighHz, Usable: true, Diffusion: unknownDiffusion(),
			CorrelationScattering: Unknown(), PredictedCorrelation: Unknown(), LevelDifferenceRMSDB: Unknown(), ToleranceDB: Unknown(), ResidualDB: Unknown()}
		switch {
		case b.CentreHz < lowest:
			band.Usable, band.Why = false, "below the lowest usable frequency: "+spectrum.LowWhy
		case b.HighHz > top:
			band.Usable, band.Why = false, "above the highest usable frequency: "+spectrum.HighWhy
		default:
			if !spectrum.LowestUsableHz.Known() {
				spectrum.LowestUsableHz = Num(b.LowHz)
			}
			spectrum.HighestUsableHz = Num(b.HighHz)
		}
		r.result.Bands = append(r.result.Bands, band)
	}
}

func unknownDiffusion() Diffusion {
	return Diffusion{Panel: Unknown(), Flat: Unknown(), Normalised: Unknown(), PredictedPanel: Unknown(), PredictedFlat: Unknown(), PredictedNormalised: Unknown()}
}

// predict solves the outside for all positions and predicts the given depths.
func (r *run) predict(ctx context.Context, depthsM []float64) (err error) {
	var receivers []scatter.Place
	for _, p := range r.survey.Positions {
		receivers = append(receivers, placeAt(p.MicM))
	}
	section, source, progress := panelSection(&r.survey.Panel), placeAt(r.survey.SourceM), r.options.report("prediction")
	r.fitted = spreadEvenly(len(receivers), fitAtMost)
	var some []scatter.Place
	for _, i := range r.fitted {
		some = append(some, receivers[i])
	}
	if r.outside, err = solveOutside(ctx, section, source, some, r.air.SpeedOfSoundMS, r.grid, progress); err != nil {
		return err
	}
	var panel, flat [][]complex128
	if len(some) == len(receivers) {
		flat = r.outside.flat()
		panel, err = r.outside.panel(wellsOf(depthsM), true, nil)
	} else {
		panel, flat, err = fieldsAt(ctx, section, source, receivers, wellsOf(depthsM), r.air.SpeedOfSoundMS, r.grid, progress)
	}
	if err != nil {
		return err
	}
	r.models = make([]*gatedModel, len(r.fitted))
	r.modelPanel, r.modelFlat = panel, flat
	parallel(0, len(receivers), func(i int) {
		m := r.positions[i]
		if m == nil {
			return
		}
		way := newPaths(&r.survey.Panel, r.survey.SourceM, m.survey.MicM)
		model := newGatedModel(r.grid, r.source, r.gates[i].window, way.earliest/r.air.SpeedOfSoundMS)
		r.modelPanel[i], r.modelFlat[i] = model.apply(panel[i]), model.apply(flat[i])
		if n, ok := slices.BinarySearch(r.fitted, i); ok {
			r.models[n] = model
		}
	})
	return nil
}

// transferFunctions gates what was measured and divides it by the source. Of positions that are no witnesses no sample is needed after that.
func (r *run) transferFunctions() {
	n := len(r.positions)
	r.empty, r.panel, r.flat = make([][]complex128, n), make([][]complex128, n), make([][]complex128, n)
	r.panelTakes, r.flatTakes = make([][][]complex128, n), make([][][]complex128, n)
	r.added = make([]float64, n)
	parallel(0, n, func(i int) {
		m := r.positions[i]
		transfer := func(x []float64) []complex128 { return gatedTransfer(m, x, r.gates[i].window, r.source, r.grid) }
		if m.empty != nil {
			r.empty[i] = transfer(m.empty)
		}
		r.subtractLess(i)
		for _, x := range m.panel {
			r.panelTakes[i] = append(r.panelTakes[i], transfer(x))
		}
		for _, x := range m.flat {
			r.flatTakes[i] = append(r.flatTakes[i], transfer(x))
		}
		r.panel[i], r.flat[i] = meanSpectrum(r.panelTakes[i]), meanSpectrum(r.flatTakes[i])
		if m.gatedOnly {
			m.empty, m.panel, m.flat = nil, nil, nil
		}
	})
}

// subtractLess puts back the part of a position's empty room that is but noise: where the room is silent in the gate, subtracting it adds noise and takes
// nothing away. The share α that stays subtracted is the best linear one, 1 − N/E with E the energy of the empty room in the gate and N its noise
// (Wiener's factor), so quiet recordings keep the full subtraction.
func (r *run) subtractLess(i int) {
	b := Band{LowHz: float64(r.result.Spectrum.LowestUsableHz), HighHz: float64(r.result.Spectrum.HighestUsableHz)}
	m := r.positions[i]
	r.added[i] = 1
	if m.empty == nil || math.IsNaN(m.noise) || !(b.HighHz > b.LowHz) {
		return
	}
	room := r.energy(r.empty[i], &b)
	noise := r.noise(m, i, &b) / 2 // of one take
	if !(noise > 0 && room > 0) {
		return
	}
	share := max(0, 1-noise/room)
	m.subtracted = share
	r.added[i] = share*share + (1-share)*(1-share)*max(0, room-noise)/noise
	for _, set := range [][][]float64{m.panel, m.flat} {
		for _, x := range set {
			for n := range x {
				x[n] += (1 - share) * m.empty[n]
			}
		}
	}
}

// meanSpectrum is that of takes; of one, itself.
func meanSpectrum(takes [][]complex128) []complex128 {
	switch len(takes) {
	case 0:
		return nil
	case 1:
		return takes[0]
	}
	m := make([]complex128, len(takes[0]))
	for _, x := range takes {
		for k, v := range x {
			m[k] += v / complex(float64(len(takes)), 0)
		}
	}
	return m
}

// timeView shows the position nearest the normal.
func (r *run) timeView() {
	nearest := r.survey.nearestNormal()
	if nearest == nil {
		return
	}
	best := nearest[0]
	m, p, g := r.positions[best], &r.result.Positions[best], r.gates[best]
	v := &TimeView{Position: p.Name, Gate: p.Gate, DirectS: p.DirectS, ArrivalS: p.ArrivalS}
	whole, panel := m.empty, m.panelWhole()
	if whole == nil {
		whole = panel
	}
	peak := 0.0
	for _, x := range whole {
		peak = max(peak, math.Abs(x))
	}
	for n := range whole {
		t := m.startS + float64(n)/m.sampleRateHz
		if t < m.directS-0.002 || t > g.window.ClosedS+0.003 {
			continue
		}
		v.TimeS, v.Window = append(v.TimeS, Num(t)), append(v.Window, Num(g.window.At(t)))
		v.Empty = append(v.Empty, Num(whole[n]/peak))
		v.Panel = append(v.Panel, Num(panel[n]/peak))
		v.PanelDiff = append(v.PanelDiff, Num(m.panel[0][n]/peak))
		if len(m.flat) > 0 {
			v.FlatDiff = append(v.FlatDiff, Num(m.flat[0][n]/peak))
		}
	}
	r.result.TimeView = v
}
