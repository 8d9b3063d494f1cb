package analysis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// grid is the set of frequencies k·stepHz, first ≤ k ≤ last, on which sound fields are predicted. Spectra on it have last+1 entries,
// those below first being 0.
type grid struct {
	stepHz      float64
	first, last int
}

func (g grid) count() int { return g.last + 1 }

// taper brings a predicted spectrum down smoothly over the last tenth of the grid, so that its end does not ring.
func (g grid) taper(k int) float64 {
	if k < g.first || k > g.last {
		return 0
	}
	from := 0.9 * float64(g.last)
	if float64(k) <= from {
		return 1
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(float64(k)-from)/(float64(g.last)-from))
}

// newGrid covers 0 to highHz with room above for what a gate mixes in, fine enough for gates of lengthS: the predicted
// response repeats after 1/stepHz, which is at least four gates.
func newGrid(highHz, lengthS float64) grid {
	step := 50.0
	for step > 1/(4*lengthS) && step > 10 {
		step /= 2
	}
	last := int(math.Ceil(1.15 * highHz / step))
	return grid{step, max(2, int(100/step)), last}
}

// outside holds the solved exteriors of a panel on a grid, for one source and several microphones.
type outside struct {
	grid
	speed     float64
	exteriors []*scatter.Exterior // by k; nil below first
}

// panelSection returns the section of the survey's panel.
func panelSection(p *Panel) scatter.Section {
	return scatter.PanelSection(len(p.DepthsM), p.WellWidthM, p.FinThicknessM, p.OuterDepthM(), p.HeightM, p.CapM)
}

func placeAt(p [3]float64) scatter.Place {
	return scatter.Place{Point: scatter.Point{X: p[0], Y: p[1]}, Z: p[2]}
}

// solveOutside solves the exterior at every frequency of the grid, on all processors. The result does not depend on their number.
// progress is called with the share that is done. Errors: an impossible section, or the context's.
func solveOutside(ctx context.Context, section scatter.Section, source scatter.Place, receivers []scatter.Place, speed float64, g grid, progress func(float64)) (*outside, error) {
	o := &outside{grid: g, speed: speed, exteriors: make([]*scatter.Exterior, g.count())}
	one := scatter.Outside{Section: &section, Scenes: []scatter.Scene{{Source: source, Receivers: receivers}}, Mesh: scatter.DefaultMesh}
	err := everyLine(ctx, g.first, g.last, progress, func(k int) error {
		solved, err := one.At(2 * math.Pi * float64(k) * g.stepHz / speed)
		if err == nil {
			o.exteriors[k] = solved[0]
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("prediction: %w", err)
	}
	return o, nil
}

// everyLine solves the lines from first to last of a grid on all processors, the highest and so dearest first, and returns the error of the lowest that has one.
// A cancelled context ends it early, with the context's error.
func everyLine(ctx context.Context, first, last int, progress func(float64), solve func(k int) error) error {
	errs := make([]error, max(0, last-first+1))
	var done atomic.Int64
	parallel(0, len(errs), func(i int) {
		if ctx.Err() != nil {
			return
		}
		i = len(errs) - 1 - i
		errs[i] = solve(first + i)
		progress(float64(done.Add(1)) / float64(len(errs)))
	})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return cmp.Or(errs...)
}

// fitAtMost is how many positions the depth fit and the estimate of a drift take: the solved outsides and the fit's equations grow with them, what they tell hardly does any more.
const fitAtMost = 65

// spreadEvenly returns numbers below n, all or at most most of them, at equal distances.
func spreadEvenly(n, most int) []int {
	every := (n + most - 1) / most
	var out []int
	for i := 0; i < n; i += max(1, every) {
		out = append(out, i)
	}
	return out
}

// receiversAtOnce is for how many receivers fieldsAt solves an outside: a solution holds some kilobytes for each, and is made anew for the next.
var receiversAtOnce = 2048

// fieldsAt returns what outside.panel, with air losses, and outside.flat return, without keeping the solutions.
func fieldsAt(ctx context.Context, section scatter.Section, source scatter.Place, receivers []scatter.Place, wells []scatter.Well, speed float64, g grid, progress func(float64)) (panel, flat [][]complex128, err error) {
	panel, flat = make([][]complex128, len(receivers)), make([][]complex128, len(receivers))
	for r := range receivers {
		panel[r], flat[r] = make([]complex128, g.count()), make([]complex128, g.count())
	}
	for from := 0; from < len(receivers); from += receiversAtOnce {
		to := min(from+receiversAtOnce, len(receivers))
		one := scatter.Outside{Section: &section, Scenes: []scatter.Scene{{Source: source, Receivers: receivers[from:to]}}, Mesh: scatter.DefaultMesh}
		share := func(done float64) { progress((float64(from) + done*float64(to-from)) / float64(len(receivers))) }
		err := everyLine(ctx, g.first, g.last, share, func(k int) error {
			solved, err := one.At(2 * math.Pi * float64(k) * g.stepHz / speed)
			if err != nil {
				return err
			}
			field, err := solved[0].Panel(wells, scatter.AirLosses(2*math.Pi*float64(k)*g.stepHz), nil)
			for r, p := range field {
				panel[from+r][k], flat[from+r][k] = p, solved[0].Flat(r)
			}
			return err
		})
		if err != nil {
			return nil, nil, fmt.Errorf("prediction: %w", err)
		}
	}
	return panel, flat, nil
}

// panel returns what the panel with the given wells sends to each receiver, [receiver][k], for a unit point source. airLosses says
// whether the wells' boundary layers count. Where sensitivity is not nil it receives [k][receiver].
func (o *outside) panel(wells []scatter.Well, airLosses bool, sensitivity [][]scatter.Sensitivity) ([][]complex128, error) {
	receivers := o.exteriors[o.last].Receivers()
	out := make([][]complex128, receivers)
	for r := range out {
		out[r] = make([]complex128, o.count())
	}
	errs := make([]error, o.count())
	parallel(o.first, o.count(), func(k int) {
		var losses scatter.Losses
		if airLosses {
			losses = scatter.AirLosses(2 * math.Pi * float64(k) * o.stepHz)
		}
		var s []scatter.Sensitivity
		if sensitivity != nil {
			sensitivity[k] = make([]scatter.Sensitivity, receivers)
			s = sensitivity[k]
		}
		field, err := o.exteriors[k].Panel(wells, losses, s)
		if err != nil {
			errs[k] = err
			return
		}
		for r := range out {
			out[r][k] = field[r]
		}
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, fmt.Errorf("prediction: %w", err)
	}
	return out, nil
}

// flat returns the same for a closed box of the panel's outer size.
func (o *outside) flat() [][]complex128 {
	out := make([][]complex128, o.exteriors[o.last].Receivers())
	for r := range out {
		out[r] = make([]complex128, o.count())
		for k := o.first; k <= o.last; k++ {
			out[r][k] = o.exteriors[k].Flat(r)
		}
	}
	return out
}

// parallel calls do for from ≤ i < to on all processors; each i once, in no order.
func parallel(from, to int, do func(i int)) {
	var next atomic.Int64
	next.Store(int64(from))
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= to {
					return
				}
				do(i)
			}
		})
	}
	wait.Wait()
}

// eachOf calls do for some numbers on all processors and returns the first error in their order, or the context's.
func eachOf(ctx context.Context, numbers []int, do func(i int) error) error {
	errs := make([]error, len(numbers))
	parallel(0, len(numbers), func(n int) {
		if ctx.Err() == nil {
			errs[n] = do(numbers[n])
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	return cmp.Or(errs...)
}

// gatedModel turns a predicted transfer function into what the measurement would give: sent by the same source, gated by the same
// window, and divided by the source again.
type gatedModel struct {
	grid
	gates  *dsp.Gates
	window []float64    // the gate on the internal samples, from startS on at 1/(samples·stepHz)
	send   []complex128 // by what the transfer function is multiplied, [k]: source, way to the first internal sample, taper
	back   []complex128 // and by what the gated spectrum, conjugated: the way back, 1/source
}

func newGatedModel(g grid, source []complex128, gate dsp.GateWindow, arrivalS float64) *gatedModel {
	startS, samples := arrivalS-0.003, dsp.SmoothLength(2*g.last+2)
	m := &gatedModel{grid: g, gates: gatesOf(samples), window: make([]float64, samples), send: make([]complex128, g.count()), back: make([]complex128, g.count())}
	for n := range m.window {
		m.window[n] = gate.At(startS + float64(n)/(float64(samples)*g.stepHz))
	}
	for k := g.first; k <= g.last; k++ {
		toStart := cmplx.Rect(1, -2*math.Pi*float64(k)*g.stepHz*startS)
		m.send[k] = source[k] * toStart * complex(g.taper(k), 0)
		if source[k] != 0 {
			m.back[k] = cmplx.Conj(toStart) / source[k]
		}
	}
	return m
}

var gatesByLength sync.Map // int → *dsp.Gates

func gatesOf(samples int) *dsp.Gates {
	g, ok := gatesByLength.Load(samples)
	if !ok {
		g, _ = gatesByLength.LoadOrStore(samples, dsp.NewGates(samples))
	}
	return g.(*dsp.Gates)
}

// apply returns the gated transfer function, [k].
func (m *gatedModel) apply(transfer []complex128) []complex128 {
	return applyModels([]*gatedModel{m}, func(_, k int) complex128 { return transfer[k] })[0]
}

// applyModels returns, for each model, the gated one of the transfer function that transfer gives, [k]. All are on one grid.
func applyModels(models []*gatedModel, transfer func(i, k int) complex128) [][]complex128 {
	if len(models) == 0 {
		return nil
	}
	m := models[0]
	lines := len(m.window)/2 + 1
	all := make([]complex128, len(models)*lines)
	spectra, windows := make([][]complex128, len(models)), make([][]float64, len(models))
	for i, m := range models {
		x := all[i*lines:][:lines:lines]
		for k := m.first; k <= m.last; k++ {
			x[k] = cmplx.Conj(transfer(i, k) * m.send[k])
		}
		spectra[i], windows[i] = x, m.window
	}
	m.gates.Apply(spectra, windows)
	for i, m := range models {
		x := spectra[i][:m.count()]
		clear(x[:m.first])
		for k := m.first; k <= m.last; k++ {
			x[k] = cmplx.Conj(x[k]) * m.back[k]
		}
		spectra[i] = x
	}
	return spectra
}
