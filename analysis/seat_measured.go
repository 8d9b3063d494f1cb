package analysis

import (
	"context"
	"math"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// measuredHere tells whether seats were recorded and the structure before the listener is the one that was.
func (w *seatRun) measuredHere() bool { return len(w.seatPositions) > 0 && w.survey.Row == nil }

// measuredScene asks for the field of the single panel, also where the survey has a row, at the recorded seats.
func (w *seatRun) measuredScene() seatScene {
	scene := seatScene{grid: w.measuredGrid(), wells: [][]scatter.Well{wellsAsBuilt(singlePanel(&w.survey.Panel), w.built)}, source: w.survey.SourceM, raw: true}
	for _, m := range w.seatPositions {
		scene.places = append(scene.places, m.survey.MicM)
	}
	return scene
}

// measured sets the recordings of the seats beside the prediction, both gated alike. They hold the single panel, also where the survey has a row.
func (w *seatRun) measured(ctx context.Context) error {
	if len(w.seatPositions) == 0 {
		return nil
	}
	scene := w.measuredScene()
	if w.recorded == nil {
		section := singlePanel(&w.survey.Panel).section(w.survey.Panel.HeightM)
		w.done = w.of - 1 // the last part's progress once more
		got, err := w.solve(ctx, &section, []seatScene{scene})
		if err != nil {
			return err
		}
		w.recorded = got[0]
	}
	fields, g := w.recorded.fields, scene.grid
	source := w.seatSource(g)
	for n, m := range w.seatPositions {
		for i := range w.result.Seating.Seats {
			if seat := &w.result.Seating.Seats[i]; seat.Name == m.survey.Name {
				seat.Measured = w.compare(m, w.seatGates[n], g, source, [2][]complex128{fields[0][n], fields[1][n]})
			}
		}
	}
	return nil
}

// measuredGrid is fine enough for the longest gate.
func (w *seatRun) measuredGrid() grid {
	longest := seatResponseS / 4
	for _, g := range w.seatGates {
		longest = max(longest, g.lengthS)
	}
	return newGrid(predictionEndHz, longest)
}

// seatSource returns what the loudspeaker sends.
func (w *seatRun) seatSource(g grid) []complex128 {
	all := append(w.positions[:len(w.positions):len(w.positions)], w.seatPositions...)
	return sourceSpectrum(directSounds(w.survey.withSeats(), all, w.air.SpeedOfSoundMS), g, w.air.SpeedOfSoundMS)
}

// compare gates what was measured and what is predicted, panel and flat board, alike.
func (w *seatRun) compare(m *measuredPosition, gate gate, g grid, source []complex128, predicted [2][]complex128) *SeatMeasured {
	speed := w.air.SpeedOfSoundMS
	way := newPaths(&w.survey.Panel, w.survey.SourceM, m.survey.MicM)
	arrival := way.earliest / speed
	model := newGatedModel(g, source, gate.window, arrival)
	lowest := 1 / gate.lengthS
	figures := func(transfer []complex128) SeatFigures {
		if transfer == nil {
			return unknownSeatFigures(len(w.view.bands))
		}
		heard := w.view.listen(newEar(transfer, g, way.direct, arrival, speed), way.direct)
		f := w.view.figures([]*listened{&heard})
		for i, b := range w.view.bands {
			if b.CentreHz < lowest || b.HighHz > float64(w.result.Spectrum.HighestUsableHz)+1 {
				f.ReflectionDB[i], f.CombDB[i] = Unknown(), Unknown()
			}
		}
		return f
	}
	take := func(takes [][]float64) []complex128 {
		var all [][]complex128
		for _, x := range takes {
			all = append(all, gatedTransfer(m, x, gate.window, source, g))
		}
		return meanSpectrum(all)
	}
	out := &SeatMeasured{Gate: gate.result(), Panel: figures(take(m.panel)), Flat: figures(take(m.flat)),
		Predicted: figures(model.apply(predicted[0])), PredictedFlat: figures(model.apply(predicted[1]))}
	var level, with, comb rms
	for i := range w.view.bands {
		both := out.Predicted.ReflectionDB[i] - out.PredictedFlat.ReflectionDB[i] + out.Flat.ReflectionDB[i]
		out.WithFlatDB = append(out.WithFlatDB, both)
		level.add(out.Predicted.ReflectionDB[i] - out.Panel.ReflectionDB[i])
		with.add(both - out.Panel.ReflectionDB[i])
		comb.add(out.Predicted.CombDB[i] - out.Panel.CombDB[i])
	}
	out.LevelRMSDB, out.WithFlatRMSDB, out.CombRMSDB = level.value(), with.value(), comb.value()
	return out
}

// rms gathers what is known.
type rms struct{ sum, n float64 }

func (r *rms) add(v Num) {
	if v.Known() {
		r.sum, r.n = r.sum+float64(v*v), r.n+1
	}
}

func (r *rms) value() Num {
	if r.n == 0 {
		return Unknown()
	}
	return Num(math.Sqrt(r.sum / r.n))
}

// gatedTransfer gates a response and divides it by the source, on the grid.
func gatedTransfer(m *measuredPosition, x []float64, window dsp.GateWindow, source []complex128, g grid) []complex128 {
	y, first := windowed(x, m.startS, m.sampleRateHz, window)
	spectrum := dsp.SpectrumAt(y, first, m.sampleRateHz, g.stepHz, g.count())
	for k := range spectrum {
		if source[k] == 0 {
			spectrum[k] = 0
			continue
		}
		spectrum[k] /= source[k]
	}
	return spectrum
}

func unknowns(n int) []Num {
	out := make([]Num, n)
	for i := range out {
		out[i] = Unknown()
	}
	return out
}

func unknownSeatFigures(bands int) SeatFigures {
	return SeatFigures{ReflectionDB: unknowns(bands), CombDB: unknowns(bands), UnevennessDB: unknowns(bands), WorstDB: Unknown(), WorstHz: Unknown(),
		MeanCombDB: Unknown(), MeanUnevenness: Unknown(), CentreS: Unknown(), SpreadS: Unknown()}
}
