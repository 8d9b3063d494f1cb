package analysis

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// depths recovers the built depths from the positions that count, judges the wells and sets the verdict.
func (r *run) depths(ctx context.Context) error {
	design := r.survey.Panel.DepthsM
	fit := r.fitData()
	var found *recovered
	if fit != nil && len(r.contradictions) == 0 {
		r.options.report("depths")(0)
		if err := r.tolerances(fit); err != nil {
			return err
		}
		var err error
		if found, err = fit.recoverDepths(ctx); err != nil {
			if ctx.Err() != nil {
				return err
			}
			r.warn(Warning{"depths", "", err.Error()})
		}
	}
	const tooMuch = 0.4 // the virtual bench leaves 0.1; a rig or panel that is not as the survey says, half and more
	if found != nil {
		r.doubtFit(fit, found.best)
		if unexplained := fit.unexplained(found.best); unexplained > tooMuch && len(r.contradictions) == 0 {
			r.contradict(Warning{"fit", "", fmt.Sprintf("no depths explain more than %.0f\u00a0%% of the measured reflection: check positions, source, files and the panel's measures in the survey", 100*(1-unexplained))})
		}
		if fit.noiseShare > mostNoise {
			r.contradict(Warning{"noise", "", fmt.Sprintf("%.0f\u00a0%% of what the gates hold is noise: raise the level within what ears and loudspeaker bear, use longer sweeps, average more takes, or quieten the room", 100*min(1, fit.noiseShare))})
		}
	}
	for j, d := range design {
		w := Well{Number: j + 1, DesignM: d, BuiltM: Unknown(), LowM: Unknown(), HighM: Unknown(), DifferenceM: Unknown(), Loss: Unknown(), LossLow: Unknown(), LossHigh: Unknown(), GainInDiffusion: Unknown(),
			Verdict: "undecided", Why: "too few positions or bands count to recover depths"}
		if found != nil {
			r.judgeWell(&w, found.best.depths[j], found.error[j])
			r.judgeLoss(&w, found.losses[j], found.lossError[j])
			for _, other := range found.explanations[1:] {
				if d := other.DepthM[j]; d < float64(w.LowM) || d > float64(w.HighM) {
					w.Verdict = "undecided"
					w.Why = fmt.Sprintf("%s\u00a0mm fits as well as %s\u00a0mm: add positions at other angles, or a longer gate, to tell them apart", mm(d), mm(float64(w.BuiltM)))
				}
			}
		}
		r.result.Wells = append(r.result.Wells, w)
	}
	r.judge()
	r.withhold()
	if found == nil {
		return nil
	}
	r.result.Fit = &DepthFit{Misfit: found.best.misfit, DesignMisfit: found.designMisfit, LowHz: float64(fit.first) * r.grid.stepHz,
		HighHz: float64(fit.last) * r.grid.stepHz, Positions: len(fit.models), Explanations: found.explanations}
	r.result.Fit.PathErrorM, r.result.Fit.PanelOffsetM = fit.pathErrors(found.best)
	const offsetTold = 0.005 // a tape measure's error
	if math.Abs(r.result.Fit.PanelOffsetM) > offsetTold {
		r.warn(Warning{"offset", "panel", fmt.Sprintf("the reflections fit better with the panel about %.0f\u00a0mm further towards %sx than the survey says; measure its middle again", 1000*math.Abs(r.result.Fit.PanelOffsetM),
			map[bool]string{true: "+", false: "−"}[r.result.Fit.PanelOffsetM > 0])})
	}
	r.result.Patterns = patterns(r.result.Wells, r.survey.ToleranceM)
	return r.rankRepairs(ctx, found.best.depths)
}

// mostNoise is the share of noise in the gated energy above which no depth is believed: there the misfit can't tell a right panel from a wrong one.
const mostNoise = 0.5

// judgeWell compares a recovered depth with the design: decided where the interval lies on one side of the tolerance.
func (r *run) judgeWell(w *Well, depth, standardDeviation float64) {
	const widest = 0.02 // m: an interval wider than this says nothing that a ruler wouldn't
	half := 1.96 * standardDeviation
	w.BuiltM, w.LowM, w.HighM = Num(depth), Num(max(0, depth-half)), Num(depth+half)
	w.DifferenceM = w.BuiltM - Num(w.DesignM)
	w.Why = ""
	tolerance := r.survey.ToleranceM
	switch difference := float64(w.DifferenceM); {
	case half > widest:
		w.Verdict, w.Why = "undecided", "the data hardly see this well: add positions or a longer gate"
	case difference-half > tolerance:
		w.Verdict = "deep"
	case difference+half < -tolerance:
		w.Verdict = "shallow"
	case math.Abs(difference) <= tolerance:
		w.Verdict = "ok"
	default:
		w.Verdict, w.Why = "undecided", fmt.Sprintf("the interval reaches across the tolerance of %.1f mm: repeat the takes or add positions", tolerance*1000)
	}
}

// judgeLoss writes a well's extra loss in dB and warns where it stands out.
func (r *run) judgeLoss(w *Well, loss, standardDeviation float64) {
	const (
		perUnit = 2 * 20 / math.Ln10 // dB: the plane wave comes back weaker by e^(-2 loss)
		clear   = 0.5                // dB: a well of bare wood loses less than this beside its air layers
	)
	half := 1.96 * standardDeviation
	w.Loss, w.LossLow, w.LossHigh = Num(perUnit*loss), Num(perUnit*max(0, loss-half)), Num(perUnit*(loss+half))
	if w.LossLow > clear {
		r.warn(Warning{"leak", fmt.Sprintf("well %d", w.Number), fmt.Sprintf("it swallows %.1f\u00a0dB of its reflection (%.1f to %.1f): look for a gap along its bottom, an open joint, or fabric in it; its depth is fitted with that loss",
			float64(w.Loss), float64(w.LossLow), float64(w.LossHigh))})
	}
}

// fitData gathers what the depth fit needs; nil where too little counts.
func (r *run) fitData() *fitData {
	low, high := float64(r.result.Spectrum.LowestUsableHz), min(predictionEndHz, float64(r.result.Spectrum.HighestUsableHz))
	f := &fitData{outside: r.outside, airLosses: true, design: r.survey.Panel.DepthsM}
	for n, i := range r.fitted {
		f.models = append(f.models, r.models[n])
		f.measured = append(f.measured, r.panel[i])
		f.receivers = append(f.receivers, n)
		f.sideways = append(f.sideways, sidewaysSlope(r.survey.SourceM, r.survey.Positions[i].MicM))
	}
	if len(f.models) < 5 || !(high >= 2*low) { // unknown where no band counts
		return nil
	}
	f.first, f.last = int(math.Ceil(low/r.grid.stepHz)), int(high/r.grid.stepHz)
	f.weight = make([]float64, r.grid.count())
	shortest := math.Inf(1)
	for _, g := range r.gates {
		shortest = min(shortest, g.lengthS)
	}
	thin := min(1, r.grid.stepHz*shortest) // neighbouring bins share information
	var noise, whole float64
	for k := f.first; k <= f.last; k++ {
		variance, power := 0.0, 0.0
		for _, i := range r.fitted {
			power += squared(r.panel[i][k]) / float64(len(r.fitted))
			b := Band{LowHz: (float64(k) - 0.5) * r.grid.stepHz, HighHz: (float64(k) + 0.5) * r.grid.stepHz}
			variance += r.noise(r.positions[i], i, &b) / (16 * math.Pi * math.Pi) / float64(len(r.fitted))
		}
		f.weight[k] = thin / (variance + dependence*modelError*modelError*power)
		noise, whole = noise+variance, whole+power
	}
	f.noiseShare = noise / whole
	return f
}

// sidewaysSlope says by how much the way over the panel to a microphone grows as the panel moves along x: −(sin θ_source + sin θ_mic).
func sidewaysSlope(source, mic [3]float64) float64 {
	return -(source[0]/math.Hypot(source[0], source[1]) + mic[0]/math.Hypot(mic[0], mic[1]))
}

// pathErrors returns the rms path error of a fit, and the sideways offset of the panel that explains most of it.
func (f *fitData) pathErrors(s *fitState) (rms, offset float64) {
	var squares, along, power, mean, meanSlope float64
	n := float64(len(s.shifts))
	for i, t := range s.shifts {
		u := t * f.outside.speed
		squares += u * u
		mean, meanSlope = mean+u/n, meanSlope+f.sideways[i]/n
	}
	for i, t := range s.shifts {
		slope := f.sideways[i] - meanSlope
		along += (t*f.outside.speed - mean) * slope
		power += slope * slope
	}
	if power > 0 {
		offset = along / power
	}
	return math.Sqrt(squares / n), offset
}

// judge sets the verdict from the wells.
func (r *run) judge() {
	r.result.Verdict = AsDesigned
	for _, w := range r.result.Wells {
		switch w.Verdict {
		case "shallow", "deep":
			r.result.Verdict = Differs
			return
		case "undecided":
			r.result.Verdict = Undecided
		}
	}
}

// tolerances writes, per band, by how much the panel's levels may differ from the prediction (dB rms over the positions) if every depth errs
// independently and evenly within the tolerance, the model's own error on top.
func (r *run) tolerances(fit *fitData) error {
	s, err := fit.atDesign()
	if err != nil {
		return err
	}
	spread := r.survey.ToleranceM / math.Sqrt(3) // standard deviation of an even distribution
	modelDB := 10 / math.Ln10 * 2 * modelError / math.Sqrt2
	for n := range r.result.Bands {
		b := &r.result.Bands[n]
		if !b.Usable || b.HighHz > predictionEndHz {
			continue
		}
		var sum float64
		count := 0
		for i := range s.model {
			if !r.result.Positions[r.fitted[i]].Used {
				continue
			}
			whole := r.energy(s.model[i], b)
			for j := range s.depths {
				// d|H|² = 2 Re(H* dH), by the energies of H + εdH
				const step = 1e-4
				moved := make([]complex128, len(s.model[i]))
				for k := range moved {
					moved[k] = s.model[i][k] + complex(step, 0)*s.slopes[i][j][k]
				}
				slope := 10 * math.Log10(r.energy(moved, b)/whole) / step
				sum += slope * slope * spread * spread
			}
			count++
		}
		b.ToleranceDB = Num(math.Sqrt(sum/float64(count) + modelDB*modelDB))
	}
	return nil
}

// patterns names what several wrong wells have in common: exchanged wells, wells that are filled, a panel hung mirrored.
func patterns(wells []Well, toleranceM float64) []string {
	var found []string
	near := func(a, b float64) bool { return math.Abs(a-b) <= toleranceM }
	wrong := func(w Well) bool { return w.Verdict == "shallow" || w.Verdict == "deep" }
	count := 0
	mirrored := true
	for i, w := range wells {
		if wrong(w) {
			count++
		}
		mirrored = mirrored && near(float64(w.BuiltM), wells[len(wells)-1-i].DesignM)
	}
	const sides = "The panel hangs mirrored or upside down, or left and right are exchanged in the survey (x counts to the right as drawn from above); the data can't tell which. Read from the other side, "
	if count > 0 && mirrored {
		return []string{sides + "every well is as designed."}
	}
	asHung, turned := 0, 0
	var others []Well
	for i, w := range wells {
		if near(float64(w.BuiltM), w.DesignM) {
			asHung++
		}
		if near(float64(w.BuiltM), wells[len(wells)-1-i].DesignM) {
			turned++
		} else {
			others = append(others, w)
		}
	}
	if count > 0 && 3*turned >= 2*len(wells) && turned > asHung+len(wells)/4 {
		return []string{sides + "all but " + numberList(others) + " (counted from the lowest x) are as designed."}
	}
	for shift := 1; count > 2 && shift < len(wells); shift++ {
		fits := true
		for i, w := range wells {
			fits = fits && near(float64(w.BuiltM), wells[(i+shift)%len(wells)].DesignM)
		}
		if fits {
			return []string{fmt.Sprintf("The sequence starts at another place: well 1 has the depth designed for well %d, and so on in a circle.", shift+1)}
		}
	}
	for i, a := range wells {
		if !wrong(a) {
			continue
		}
		for _, b := range wells[i+1:] {
			if wrong(b) && near(float64(a.BuiltM), b.DesignM) && near(float64(b.BuiltM), a.DesignM) {
				found = append(found, fmt.Sprintf("Wells %d and %d are exchanged.", a.Number, b.Number))
			}
		}
		if a.DesignM > 3*toleranceM && float64(a.BuiltM) <= toleranceM {
			found = append(found, fmt.Sprintf("Well %d is filled or closed.", a.Number))
		}
		deepest := 0.0
		for _, b := range wells {
			deepest = max(deepest, b.DesignM)
		}
		if float64(a.LowM) > deepest+toleranceM {
			found = append(found, fmt.Sprintf("Well %d is deeper than the deepest well of the design: its bottom is missing or has slipped.", a.Number))
		}
	}
	return found
}

// rankRepairs predicts the panel as built with each wrong well mended alone and writes what that gains in diffusion, averaged over the usable bands.
func (r *run) rankRepairs(ctx context.Context, built []float64) error {
	diffusion := func(depths []float64) (float64, error) {
		field, err := r.outside.panel(wellsOf(depths), true, nil)
		if err != nil {
			return 0, err
		}
		gated := make([][]complex128, len(field))
		parallel(0, len(field), func(i int) { gated[i] = r.models[i].apply(field[i]) })
		var sum float64
		count := 0
		for n := range r.result.Bands {
			b := &r.result.Bands[n]
			if !b.Usable || b.HighHz > predictionEndHz {
				continue
			}
			var energies []float64
			for i := range gated {
				if r.result.Positions[r.fitted[i]].Used {
					energies = append(energies, r.energy(gated[i], b))
				}
			}
			if d := DiffusionCoefficient(energies); d.Known() {
				sum += float64(d)
				count++
			}
		}
		return sum / float64(max(1, count)), nil
	}
	const most = 40 // each costs a prediction
	asBuilt := math.NaN()
	for i := range r.result.Wells {
		w := &r.result.Wells[i]
		w.GainInDiffusion = Unknown()
		if w.Verdict != "shallow" && w.Verdict != "deep" || i >= most {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if math.IsNaN(asBuilt) {
			var err error
			if asBuilt, err = diffusion(built); err != nil {
				return err
			}
		}
		mended := slices.Clone(built)
		mended[i] = w.DesignM
		d, err := diffusion(mended)
		if err != nil {
			return err
		}
		w.GainInDiffusion = Num(d - asBuilt)
	}
	return nil
}
