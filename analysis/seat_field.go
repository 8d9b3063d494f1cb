package analysis

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// scene is what is asked of a structure, a panel or a whole row solved as one: where source and receivers stand to its middle, which sets of wells stand behind its mouths, and at which
// frequencies.
type scene struct {
	scatter.Scene
	wells [][]scatter.Well // sets, each as long as the section's mouths
	grid  grid
}

func sceneOf(source [3]float64, places [][3]float64, wells [][]scatter.Well, g grid) scene {
	s := scene{Scene: scatter.Scene{Source: placeAt(source)}, wells: wells, grid: g}
	for _, p := range places {
		s.Receivers = append(s.Receivers, placeAt(p))
	}
	return s
}

// scatteredFields returns, for every scene, what each set of wells sends to each receiver for a unit point source, [scene][set][receiver][k], and as the last set what the closed boxes
// of the same outer size send. The outside is solved once per frequency for all scenes and then forgotten, so that receivers may number thousands; the scenes' steps are whole multiples
// of the finest one. progress is called with the share that is done. Errors: an impossible section, a place inside it, or the context's.
func scatteredFields(ctx context.Context, section *scatter.Section, scenes []scene, speed float64, progress func(float64)) ([][][][]complex128, error) {
	out := make([][][][]complex128, len(scenes))
	finest := scenes[0].grid
	for i := range scenes {
		s := &scenes[i]
		if s.grid.stepHz < finest.stepHz {
			finest = s.grid
		}
		out[i] = make([][][]complex128, len(s.wells)+1)
		for n := range out[i] {
			out[i][n] = make([][]complex128, len(s.Receivers))
			for r := range s.Receivers {
				out[i][n][r] = make([]complex128, s.grid.count())
			}
		}
	}
	// every line asks for some of the scenes, mostly those of the line before
	type asked struct {
		outside scatter.Outside
		scenes  []int
	}
	every := func(i int) int { return int(math.Round(scenes[i].grid.stepHz / finest.stepHz)) }
	last := 0
	for i := range scenes {
		last = max(last, every(i)*scenes[i].grid.last)
	}
	known, lines := map[string]*asked{}, make([]*asked, last+1)
	for k := range lines {
		var who []int
		for i := range scenes {
			if g := &scenes[i].grid; k%every(i) == 0 && k/every(i) >= g.first && k/every(i) <= g.last {
				who = append(who, i)
			}
		}
		key := fmt.Sprint(who)
		if known[key] == nil {
			a := &asked{scatter.Outside{Section: section, Mesh: scatter.DefaultMesh}, who}
			for _, i := range who {
				a.outside.Scenes = append(a.outside.Scenes, scenes[i].Scene)
			}
			known[key] = a
		}
		lines[k] = known[key]
	}
	at := func(k int) error {
		omega := 2 * math.Pi * float64(k) * finest.stepHz
		who := lines[k].scenes
		if len(who) == 0 {
			return nil
		}
		exteriors, err := lines[k].outside.At(omega / speed)
		if err != nil {
			return err
		}
		for n, exterior := range exteriors {
			s, fields, line := &scenes[who[n]], out[who[n]], k/every(who[n])
			for i, wells := range s.wells {
				field, err := exterior.Panel(wells, scatter.AirLosses(omega), nil)
				if err != nil {
					return err
				}
				for r := range field {
					fields[i][r][line] = field[r]
				}
			}
			for r := range s.Receivers {
				fields[len(s.wells)][r][line] = exterior.Flat(r)
			}
		}
		return nil
	}
	if err := everyLine(ctx, 1, last, progress, at); err != nil {
		return nil, fmt.Errorf("seats: %w", err)
	}
	return out, nil
}

// ear is the sound at one place: the scattered sound re the direct one, on frequencies n·stepHz, in e^{-iωt}.
type ear struct {
	stepHz float64
	ratio  []complex128
}

// finerEar is by how much finer than the prediction's grid an ear hears: a notch and the ear's narrowest band lie between the grid's lines.
const finerEar = 4

// newEar divides a scattered transfer function on the grid by the direct sound e^{ikr}/(4πr) over directM, after interpolating it: the response that belongs to it lasts
// shorter than 1/stepHz from shortly before arrivalS, so padding it with silence gives the values between the lines.
func newEar(transfer []complex128, g grid, directM, arrivalS, speed float64) ear {
	const beforeS = 0.003
	start := arrivalS - beforeS
	n := dsp.SmoothLength(2*g.last + 2)
	half := make([]complex128, n/2+1)
	for k := g.first; k <= g.last; k++ {
		half[k] = cmplx.Conj(transfer[k]*cmplx.Rect(g.taper(k), -2*math.Pi*float64(k)*g.stepHz*start)) / finerEar
	}
	fine := dsp.RealSpectrum(dsp.RealSignal(half, n), finerEar*n)
	e := ear{stepHz: g.stepHz / finerEar, ratio: make([]complex128, finerEar*g.last+1)}
	for i := range e.ratio {
		omega := 2 * math.Pi * float64(i) * e.stepHz
		e.ratio[i] = cmplx.Conj(fine[i]) * cmplx.Rect(finerEar*4*math.Pi*directM, omega*(start-directM/speed))
	}
	return e
}

// ERBHz returns the equivalent rectangular bandwidth of the ear's filter at a frequency, both in hertz: 24.7 (4.37 f/kHz + 1)
// (Glasberg and Moore, Hearing Research 47 (1990) 103).
func ERBHz(frequencyHz float64) float64 { return 24.7 * (4.37*frequencyHz/1000 + 1) }

// heard returns the level of direct plus scattered sound re the direct sound, as the mean power over the equivalent rectangular bandwidth around every line from lowHz to highHz.
func (e ear) heard(lowHz, highHz float64) []float64 {
	// running sums of the power, so that a width costs two look-ups
	sums := make([]float64, len(e.ratio)+1) // ∫ from 0 to the lower edge of line i's interval
	for i, r := range e.ratio {
		sums[i+1] = sums[i] + e.stepHz*squared(1+r)
	}
	until := func(f float64) float64 {
		u := max(0, min(f/e.stepHz+0.5, float64(len(e.ratio))))
		i := min(int(u), len(e.ratio)-1)
		return sums[i] + (u-float64(i))*(sums[i+1]-sums[i])
	}
	var out []float64
	for i := int(math.Ceil(lowHz / e.stepHz)); float64(i)*e.stepHz <= highHz; i++ {
		f := float64(i) * e.stepHz
		half := ERBHz(f) / 2
		out = append(out, float64(decibels((until(f+half)-until(f-half))/(2*half))))
	}
	return out
}

// combDB returns the comb's depth in a band: the highest less the lowest level of direct plus scattered sound that the ear hears, smoothed to equivalent
// rectangular bandwidths in power.
func (e ear) combDB(lowHz, highHz float64) float64 {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, v := range e.heard(lowHz, highHz) {
		lowest, highest = min(lowest, v), max(highest, v)
	}
	return highest - lowest
}

// reflectionDB returns the level of the scattered sound re the direct sound in a band.
func (e ear) reflectionDB(lowHz, highHz float64) float64 {
	return float64(decibels(dsp.BandEnergy(e.ratio, e.stepHz, dsp.Band{LowHz: lowHz, HighHz: highHz}) / (highHz - lowHz)))
}

// timesS returns when the scattered sound of a band comes after the direct sound, as the centre of its energy in time, and its spread about the
// centre (rms), in seconds. By Parseval's theorem both follow from the spectrum H and its slope: ∫t|h|² = Im ∫H*H′ and ∫t²|h|² = ∫|H′|² over dω, in e^{-iωt}.
func (e ear) timesS(lowHz, highHz float64) (centre, spread float64) {
	var energy, first, second float64
	d := 2 * math.Pi * e.stepHz
	// the turning of the delay itself is taken off, so that differences between lines are small
	from, to := max(1, int(math.Ceil(lowHz/e.stepHz))), min(int(highHz/e.stepHz), len(e.ratio)-2)
	var turn complex128
	for i := from; i < to; i++ {
		turn += e.ratio[i+1] * cmplx.Conj(e.ratio[i])
	}
	delay := cmplx.Phase(turn) / d
	at := func(i int) complex128 { return e.ratio[i] * cmplx.Rect(1, -d*float64(i)*delay) }
	for i := from; i <= to; i++ {
		h, slope := at(i), (at(i+1)-at(i-1))/complex(2*d, 0)
		energy += squared(h)
		first += imag(cmplx.Conj(h) * slope)
		second += squared(slope)
	}
	mean := first / energy
	return delay + mean, math.Sqrt(max(0, second/energy-mean*mean))
}
