package analysis

import (
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
	errs := make([]error, g.count())
	var next, done atomic.Int64
	next.Store(int64(g.last) + 1)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for ctx.Err() == nil {
				k := int(next.Add(-1)) // the dearest first
				if k < g.first {
					return
				}
				wave := 2 * math.Pi * float64(k) * g.stepHz / speed
				o.exteriors[k], errs[k] = scatter.SolveExterior(wave, &section, source, receivers, scatter.DefaultMesh)
				progress(float64(done.Add(1)) / float64(g.last-g.first+1))
			}
		})
	}
	wait.Wait()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	for _, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("prediction: %w", err)
		}
	}
	return o, nil
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
	for _, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("prediction: %w", err)
		}
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

// gatedModel turns a predicted transfer function into what the measurement would give: sent by the same source, gated by the same
// window, and divided by the source again.
type gatedModel struct {
	grid
	source  []complex128 // spectrum that the source sends, [k], re its own amplitude as a point source
	window  []float64    // the gate on the internal samples
	startS  float64      // time of the first internal sample
	toStart []complex128 // e^{-iω startS}
	samples int          // internal samples in one period
}

func newGatedModel(g grid, source []complex128, gate dsp.GateWindow, arrivalS float64) *gatedModel {
	m := &gatedModel{grid: g, source: source, startS: arrivalS - 0.003}
	m.samples = dsp.SmoothLength(2*g.last + 2)
	m.window = make([]float64, m.samples)
	for n := range m.window {
		m.window[n] = gate.At(m.startS + float64(n)/(float64(m.samples)*g.stepHz))
	}
	m.toStart = make([]complex128, g.count())
	for k := range m.toStart {
		m.toStart[k] = cmplx.Rect(1, -2*math.Pi*float64(k)*g.stepHz*m.startS)
	}
	return m
}

// signal returns the gated response to the source on the internal samples (startS + n/(samples·stepHz)), in the scale of source.
func (m *gatedModel) signal(transfer []complex128) []float64 {
	half := make([]complex128, m.samples/2+1)
	for k := m.first; k <= m.last; k++ {
		half[k] = cmplx.Conj(transfer[k] * m.source[k] * m.toStart[k] * complex(m.taper(k), 0))
	}
	x := dsp.RealSignal(half, m.samples)
	for n := range x {
		x[n] *= m.window[n]
	}
	return x
}

// apply returns the gated transfer function, [k].
func (m *gatedModel) apply(transfer []complex128) []complex128 {
	spectrum := dsp.RealSpectrum(m.signal(transfer), m.samples)
	out := make([]complex128, m.count())
	for k := m.first; k <= m.last; k++ {
		if m.source[k] != 0 {
			out[k] = cmplx.Conj(spectrum[k]) * cmplx.Conj(m.toStart[k]) / m.source[k]
		}
	}
	return out
}
