package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"github.com/leadline/leadline/dsp"
)

// energy returns the mean squared transfer function in a band re that of the direct sound at 1 m, |1/4π|².
func (r *run) energy(transfer []complex128, b *Band) float64 {
	band := dsp.Band{LowHz: b.LowHz, HighHz: b.HighHz}
	return dsp.BandEnergy(transfer, r.grid.stepHz, band) / (b.HighHz - b.LowHz) * 16 * math.Pi * math.Pi
}

// fillPositions writes what each position has apart from levels that need a common reference.
func (r *run) fillPositions() {
	speed := r.air.SpeedOfSoundMS
	for i := range r.survey.Positions {
		p := &r.survey.Positions[i]
		way := newPaths(&r.survey.Panel, r.survey.SourceM, p.MicM)
		out := Position{
			Name: p.Name, AngleDeg: angleDeg(p.MicM), DistanceM: distance(p.MicM, [3]float64{}), MicM: p.MicM,
			DirectS: Num(way.direct / speed), ArrivalS: Num(way.middle / speed), Used: true,
			Gate: Gate{StartS: Unknown(), EndS: Unknown()},
		}
		if m := r.positions[i]; m != nil {
			out.Gate, out.Alignment = r.gates[i].result(), m.alignment
		}
		r.result.Positions = append(r.result.Positions, out)
	}
	r.chooseReceivers()
}

// chooseReceivers marks the positions that make up the arc on which diffusion is judged: those at about the median distance.
func (r *run) chooseReceivers() {
	radius, on := r.survey.arc()
	rec := Receivers{SmallestDeg: Unknown(), LargestDeg: Unknown(), DistanceLowM: Unknown(), DistanceHighM: Unknown()}
	for i := range r.result.Positions {
		p := &r.result.Positions[i]
		if !on[i] {
			p.Used = false
			p.Why = fmt.Sprintf("at %.2f m it stands off the arc of %.2f m: levels there don't compare with the others", p.DistanceM, radius)
			continue
		}
		if rec.Count == 0 {
			rec.SmallestDeg, rec.LargestDeg = Num(p.AngleDeg), Num(p.AngleDeg)
			rec.DistanceLowM, rec.DistanceHighM = Num(p.DistanceM), Num(p.DistanceM)
		}
		rec.Count++
		rec.SmallestDeg, rec.LargestDeg = min(rec.SmallestDeg, Num(p.AngleDeg)), max(rec.LargestDeg, Num(p.AngleDeg))
		rec.DistanceLowM, rec.DistanceHighM = min(rec.DistanceLowM, Num(p.DistanceM)), max(rec.DistanceHighM, Num(p.DistanceM))
	}
	r.result.Receivers = rec
}

// arc returns the median distance of the positions from the panel's middle, in metres, and which stand at about it.
func (s *Survey) arc() (radiusM float64, on []bool) {
	var distances []float64
	for i := range s.Positions {
		distances = append(distances, distance(s.Positions[i].MicM, [3]float64{}))
	}
	radiusM = median(slices.Clone(distances))
	for _, d := range distances {
		on = append(on, math.Abs(d-radiusM) <= 0.1*radiusM)
	}
	return radiusM, on
}

// nearestNormal returns the number of the position on the arc that is nearest to the panel's normal, or none.
func (s *Survey) nearestNormal() (best []int) {
	least := math.Inf(1)
	_, on := s.arc()
	for i := range s.Positions {
		if a := math.Abs(angleDeg(s.Positions[i].MicM)); on[i] && a < least {
			least, best = a, []int{i}
		}
	}
	return best
}

// angleDeg is that of a place to the panel's normal, positive towards +x.
func angleDeg(p [3]float64) float64 { return math.Atan2(p[0], p[1]) * 180 / math.Pi }

// fillBands computes every figure per band: levels, diffusion, correlation, residuals and combs.
func (r *run) fillBands() {
	if r.hasFlat() {
		r.result.LevelReference = "flat board's strongest position"
	}
	for b := range r.result.Bands {
		r.fillBand(&r.result.Bands[b])
	}
	r.fillCombs()
}

func (r *run) hasFlat() bool {
	for i := range r.positions {
		if r.result.Positions[i].Used && r.flat != nil && r.flat[i] != nil {
			return true
		}
	}
	return false
}

// takeErrors returns the standard error of a position's energy from its takes; NaN for one take or none.
func (r *run) takeErrors(takes [][]complex128, b *Band) float64 {
	var energies []float64
	for _, t := range takes {
		energies = append(energies, r.energy(t, b))
	}
	_, e := meanAndError(energies)
	return e
}

// fewest is how many takes every position has at least.
func fewest(takes [][][]complex128) int {
	if len(takes) == 0 {
		return 0
	}
	n := math.MaxInt
	for _, t := range takes {
		n = min(n, len(t))
	}
	return n
}

func (r *run) fillBand(b *Band) {
	n := len(r.result.Positions)
	measured, predicted := b.Usable && r.panel != nil, b.HighHz <= predictionEndHz
	var panel, flat, modelPanel, modelFlat, panelError, flatError []float64
	nan := math.NaN()
	panelTakes, flatTakes := fewest(r.panelTakes), fewest(r.flatTakes)
	for i := range n {
		e := [4]float64{nan, nan, nan, nan}
		var errs [2]float64
		if measured {
			e[0] = r.energy(r.panel[i], b)
			errs[0] = r.takeErrors(r.panelTakes[i], b)
			if r.flat[i] != nil {
				e[1] = r.energy(r.flat[i], b)
			}
			errs[1] = r.takeErrors(r.flatTakes[i], b)
		}
		if predicted {
			e[2], e[3] = r.energy(r.modelPanel[i], b), r.energy(r.modelFlat[i], b)
		}
		panel, flat, modelPanel, modelFlat = append(panel, e[0]), append(flat, e[1]), append(modelPanel, e[2]), append(modelFlat, e[3])
		panelError, flatError = append(panelError, errs[0]), append(flatError, errs[1])
	}
	// with a flat board measured, what it does on the whole re its own prediction carries over to the panel
	carry, reference := 1.0, 1.0
	if measured && r.hasFlat() {
		var a, m float64
		reference = 0
		for i := range n {
			if r.result.Positions[i].Used && !math.IsNaN(flat[i]) {
				a, m = a+flat[i], m+modelFlat[i]
				reference = max(reference, flat[i])
			}
		}
		if predicted {
			carry = a / m
		}
	} else if !measured && r.result.Kind == "predict" {
		r.result.LevelReference = "predicted flat board's strongest position"
		reference = slices.Max(modelFlat)
	}
	var sum float64
	for i := range n {
		p := &r.result.Positions[i]
		p.PanelDB, p.FlatDB = append(p.PanelDB, decibels(panel[i]/reference)), append(p.FlatDB, decibels(flat[i]/reference))
		p.PredictedDB = append(p.PredictedDB, decibels(carry*modelPanel[i]/reference))
		p.PredictedFlatDB = append(p.PredictedFlatDB, decibels(carry*modelFlat[i]/reference))
		if panelTakes > 1 {
			p.PanelIntervalDB = append(p.PanelIntervalDB, levelInterval(panel[i], panelError[i], reference, len(r.panelTakes[i])))
		}
		if flatTakes > 1 {
			p.FlatIntervalDB = append(p.FlatIntervalDB, levelInterval(flat[i], flatError[i], reference, len(r.flatTakes[i])))
		}
		if p.Used {
			b.PositionsUsed++
			d := float64(p.PredictedDB[len(p.PredictedDB)-1] - p.PanelDB[len(p.PanelDB)-1])
			sum += d * d
		}
	}
	b.LevelDifferenceRMSDB = Num(math.Sqrt(sum / float64(b.PositionsUsed)))
	panel, flat, modelPanel, modelFlat = r.onArc(panel), r.onArc(flat), r.onArc(modelPanel), r.onArc(modelFlat)
	d := &b.Diffusion
	d.Panel, d.Flat = DiffusionCoefficient(panel), DiffusionCoefficient(flat)
	d.Normalised = NormalisedDiffusion(d.Panel, d.Flat)
	d.PredictedPanel, d.PredictedFlat = DiffusionCoefficient(modelPanel), DiffusionCoefficient(modelFlat)
	d.PredictedNormalised = NormalisedDiffusion(d.PredictedPanel, d.PredictedFlat)
	d.PanelInterval = diffusionInterval(panel, r.onArc(panelError), panelTakes)
	d.FlatInterval = diffusionInterval(flat, r.onArc(flatError), flatTakes)
	if d.PanelInterval != nil && d.FlatInterval != nil {
		d.NormalisedInterval = normalisedInterval(d)
	}
	if measured && r.hasFlat() {
		b.CorrelationScattering = r.correlation(r.panel, r.flat, b)
		b.CorrelationInterval = r.correlationInterval(b)
	}
	if predicted {
		b.PredictedCorrelation = r.correlation(r.modelPanel, r.modelFlat, b)
	}
	r.fillResidual(b, measured)
}

// onArc keeps the entries of the positions that count.
func (r *run) onArc(v []float64) (kept []float64) {
	for i, x := range v {
		if r.result.Positions[i].Used {
			kept = append(kept, x)
		}
	}
	return kept
}

// levelInterval is the 95 % interval of a level from its energy's standard error over the takes.
func levelInterval(energy, standardError, reference float64, takes int) Interval {
	if math.IsNaN(energy) {
		return Interval{Unknown(), Unknown()}
	}
	half := studentT95(takes-1) * standardError
	return Interval{decibels(max(0, energy-half) / reference), decibels((energy + half) / reference)}
}

// normalisedInterval carries the panel's and the flat board's intervals through (d − f)/(1 − f), as independent.
func normalisedInterval(d *Diffusion) *Interval {
	half := func(i *Interval) float64 { return float64(i.High-i.Low) / 2 }
	onPanel := 1 / float64(1-d.Flat)
	onFlat := float64(d.Panel-1) / float64((1-d.Flat)*(1-d.Flat))
	h := Num(math.Hypot(onPanel*half(d.PanelInterval), onFlat*half(d.FlatInterval)))
	return &Interval{d.Normalised - h, d.Normalised + h}
}

// correlation averages the correlation scattering coefficient over the band's frequencies.
func (r *run) correlation(panel, flat [][]complex128, b *Band) Num {
	var sum, hertz float64
	band := dsp.Band{LowHz: b.LowHz, HighHz: b.HighHz}
	for k := r.grid.first; k <= r.grid.last; k++ {
		share := dsp.BandShare(k, r.grid.stepHz, band)
		if share == 0 {
			continue
		}
		var p, q []complex128
		for i := range panel {
			if r.result.Positions[i].Used && panel[i] != nil && flat[i] != nil {
				p, q = append(p, panel[i][k]), append(q, flat[i][k])
			}
		}
		if s := CorrelationScattering(p, q); s.Known() {
			sum += share * float64(s)
			hertz += share
		}
	}
	if hertz == 0 {
		return Unknown()
	}
	return Num(sum / hertz)
}

// correlationInterval is the 95 % interval over the takes, where every position has as many of both.
func (r *run) correlationInterval(b *Band) *Interval {
	takes := math.MaxInt
	for i := range r.positions {
		takes = min(takes, len(r.panelTakes[i]), len(r.flatTakes[i]))
	}
	if takes < 2 {
		return nil
	}
	var values []float64
	for t := range takes {
		panel, flat := make([][]complex128, len(r.positions)), make([][]complex128, len(r.positions))
		for i := range r.positions {
			panel[i], flat[i] = r.panelTakes[i][t], r.flatTakes[i][t]
		}
		values = append(values, float64(r.correlation(panel, flat, b)))
	}
	mean, e := meanAndError(values)
	half := studentT95(takes-1) * e
	return &Interval{Num(max(0, mean-half)), Num(min(1, mean+half))}
}

// fillResidual estimates, per position, what an imperfect subtraction of the empty room leaves in the gate, relative to the reflection: the
// direct sound's own residual after alignment times what the empty room holds in the gate. Noise adds to it.
func (r *run) fillResidual(b *Band, measured bool) {
	const tooHigh = -10 // dB: there a level is off by up to 3 dB
	var all []float64
	for i, m := range r.positions {
		if m == nil {
			continue
		}
		p := &r.result.Positions[i]
		panel, flat := Unknown(), Unknown()
		if measured && r.empty[i] != nil {
			inGate := r.energy(r.empty[i], b)
			noise := r.noise(m, i, b)
			left := func(errors []float64, transfer []complex128) Num {
				if transfer == nil {
					return Unknown()
				}
				worst := slices.Max(errors)
				return decibels((worst*worst*inGate + noise/float64(len(errors))) / r.energy(transfer, b))
			}
			panel = left(m.panelError, r.panel[i])
			if len(m.flatError) > 0 {
				flat = left(m.flatError, r.flat[i])
			}
		}
		p.PanelResidualDB, p.FlatResidualDB = append(p.PanelResidualDB, panel), append(p.FlatResidualDB, flat)
		if panel.Known() && p.Used {
			all = append(all, float64(panel))
		}
	}
	if len(all) == 0 {
		return
	}
	slices.Sort(all)
	b.ResidualDB = Num(all[len(all)/2])
	if b.ResidualDB > tooHigh {
		b.Usable = false
		b.Why = fmt.Sprintf("noise and the residual of the subtraction lie only %.0f dB below the reflection", -float64(b.ResidualDB))
	}
}

// noise returns the energy, as energy() gives it, that noise puts into a gated difference of two takes, less where subtractLess has put some back.
func (r *run) noise(m *measuredPosition, i int, b *Band) float64 {
	noise := m.noiseDensity(b.LowHz, b.HighHz)
	if math.IsNaN(noise) {
		return 0
	}
	g := r.gates[i].window
	samples := 0.0
	for t := g.OpenS; t < g.ClosedS; t += 1 / m.sampleRateHz {
		w := g.At(t)
		samples += w * w
	}
	var sum, hertz float64
	takes := 2.0
	if r.added != nil {
		takes = 1 + r.added[i]
	}
	for k := r.grid.first; k <= r.grid.last; k++ {
		if share := dsp.BandShare(k, r.grid.stepHz, dsp.Band{LowHz: b.LowHz, HighHz: b.HighHz}); share > 0 && r.source[k] != 0 {
			sum += share * takes * noise * samples / squared(r.source[k])
			hertz += share
		}
	}
	if hertz == 0 {
		return 0
	}
	return sum / hertz * 16 * math.Pi * math.Pi
}

// fillCombs describes direct sound plus reflection at every position, on a grid four times as fine.
func (r *run) fillCombs() {
	const finer = 4
	speed := r.air.SpeedOfSoundMS
	low, high := float64(r.result.Spectrum.LowestUsableHz), float64(r.result.Spectrum.HighestUsableHz)
	step := r.grid.stepHz / finer
	for i := range r.result.Positions {
		p := &r.result.Positions[i]
		way := newPaths(&r.survey.Panel, r.survey.SourceM, p.MicM)
		ratio := func(transfer []complex128) []complex128 {
			if transfer == nil {
				return nil
			}
			out := make([]complex128, finer*(len(transfer)-1)+1)
			for n := range out {
				f := float64(n) * step
				// between two bins the reflection less its own delay turns slowly
				k := min(n/finer, len(transfer)-2)
				u := float64(n)/finer - float64(k)
				at := func(k int) complex128 {
					return transfer[k] * cmplx.Rect(1, -2*math.Pi*float64(k)*r.grid.stepHz*float64(p.ArrivalS))
				}
				smooth := at(k)*complex(1-u, 0) + at(k+1)*complex(u, 0)
				out[n] = smooth * cmplx.Rect(4*math.Pi*way.direct, 2*math.Pi*f*(float64(p.ArrivalS)-way.direct/speed))
			}
			return out
		}
		c := &p.Comb
		var panel, predicted Comb
		var pick [][]complex128
		if r.panel != nil {
			pick = [][]complex128{r.panel[i], r.flat[i]}
			c.Panel, panel = combOf(ratio(pick[0]), step, r.result.Bands, low, high)
			if pick[1] != nil {
				c.Flat, _ = combOf(ratio(pick[1]), step, r.result.Bands, low, high)
			}
		}
		c.PredictedPanel, predicted = combOf(ratio(r.modelPanel[i]), step, r.result.Bands, low, high)
		c.PredictedFlat, _ = combOf(ratio(r.modelFlat[i]), step, r.result.Bands, low, high)
		if r.panel == nil {
			panel = predicted
		}
		c.DelayS, c.ReflectionDB, c.PeakToNotchDB, c.FirstNotchHz = p.ArrivalS-p.DirectS, panel.ReflectionDB, panel.PeakToNotchDB, panel.FirstNotchHz
	}
}
