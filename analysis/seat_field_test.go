package analysis

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"testing"
	"time"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// oneEcho is an ear that hears one reflection: amplitude a, later by delayS.
func oneEcho(a, delayS float64) ear {
	e := ear{stepHz: 2, ratio: make([]complex128, 4001)}
	for i := range e.ratio {
		e.ratio[i] = cmplx.Rect(a, 2*math.Pi*float64(i)*e.stepHz*delayS)
	}
	return e
}

// heardExactly is the mean power of 1 + a e^{iωτ} over the equivalent rectangular bandwidth around f, in closed form and in dB.
func heardExactly(a, delayS, f float64) float64 {
	width := 24.7 * (4.37*f/1000 + 1)
	u := math.Pi * width * delayS
	return 10 * math.Log10(1+a*a+2*a*math.Sin(u)/u*math.Cos(2*math.Pi*f*delayS))
}

// Equivalent rectangular bandwidths: the formula's own value at 1 kHz is 132.64 Hz (Glasberg and Moore 1990). One reflection, smoothed, in closed form.
func TestSeatEarsBands(t *testing.T) {
	near(t, "bandwidth at 1 kHz", ERBHz(1000), 132.639, 1e-9, "rounding")
	for _, delay := range []float64{0.0002, 0.001, 1.0 / 343, 0.006} {
		for _, level := range []float64{-3.0, -10, -20} {
			a := math.Pow(10, level/20)
			e := oneEcho(a, delay)
			heard := e.heard(300, 5000)
			for i, v := range heard {
				f := float64(i+150) * e.stepHz
				near(t, fmt.Sprintf("level at %g Hz", f), v, heardExactly(a, delay, f), 0.02, "lines of 2 Hz stand for their neighbourhood")
			}
			near(t, "level", e.reflectionDB(891, 1122), level, 1e-9, "rounding")
			centre, spread := e.timesS(891, 5623)
			near(t, "centre in time", centre, delay, 1e-9, "rounding")
			atMost(t, "spread in time", spread, 1e-6, "one reflection has none")
		}
	}
}

// Where the ear's band is narrow against the comb, the smoothed comb goes from peak to notch as the table of the trade's figures has it, and a path difference of
// 1 m at 343 m/s puts notches at 171.5, 514.5 and 857.5 Hz (both computed).
func TestSeatCombOfOneReflection(t *testing.T) {
	for level, want := range map[float64]float64{-3: 15.340, -6: 9.570, -10: 5.688, -15: 3.122, -20: 1.743} {
		e := oneEcho(math.Pow(10, level/20), 1.0/2000)
		// the comb's spacing is 2 kHz, the bandwidth 240 Hz at 2 kHz and 132 Hz at 1 kHz
		near(t, fmt.Sprintf("comb at %g dB", level), e.combDB(900, 2100), want, 0.04*want, "a notch at 1 kHz is smoothed over a fifteenth of the comb's spacing: 10 lg(1+a²−2a sinc) instead of 20 lg(1−a), 3.6 % at the strongest")
	}
	e := oneEcho(0.5, 1.0/343)
	heard := e.heard(100, 1000)
	found := 0
	for _, want := range []float64{171.5, 514.5, 857.5} {
		for i := 1; i < len(heard)-1; i++ {
			if f := 100 + float64(i)*e.stepHz; heard[i] < heard[i-1] && heard[i] <= heard[i+1] && math.Abs(f-want) < 50 {
				near(t, "notch", f, want, 4, "smoothing over bands that widen with frequency shifts a notch a little; lines of 2 Hz")
				found++
			}
		}
	}
	if found != 3 {
		t.Errorf("%d notches found, want 3", found)
	}
}

// Energy in time of two reflections: centre and spread of two points.
func TestSeatSpreadInTime(t *testing.T) {
	a, b, t1, t2 := 0.3, 0.2, 0.004, 0.006
	e, f := oneEcho(a, t1), oneEcho(b, t2)
	for i := range e.ratio {
		e.ratio[i] += f.ratio[i]
	}
	centre, spread := e.timesS(1000, 6000) // ten periods of their beat
	wantCentre := (a*a*t1 + b*b*t2) / (a*a + b*b)
	near(t, "centre", centre, wantCentre, 2e-6, "slopes from lines of 2 Hz")
	near(t, "spread", spread, a*b*(t2-t1)/(a*a+b*b), 5e-6, "as above")
}

// A large flat board is a mirror: within a gate that closes before its edges answer, level and comb are those of the source's image (closed form).
func TestSeatLargeBoardIsAMirror(t *testing.T) {
	const speed = 343.2
	board := scatter.PanelSection(0, 0.04, 8, 0.3, 8, 0.01) // one fin 8 m wide: no wells
	source := [3]float64{0, 1.5, 0}
	places := [][3]float64{{0, 0.6, 0}, {0, 1, 0}, {0.35, 0.8, 0}, {-0.3, 0.5, 0.2}}
	g := newGrid(1500, 0.0145)
	all, err := scatteredFields(context.Background(), &board, []scene{sceneOf(source, places, nil, g)}, speed, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	fields := all[0]
	for i, p := range places {
		direct, image := distance(source, p), distance([3]float64{source[0], -source[1], source[2]}, p)
		near(t, "shortest way over the board", shortestOver([2]float64{-4, 4}, 8, source, p), image, 1e-9, "the image's")
		window := dsp.GateWindow{OpenS: image/speed - 0.004, FullS: image/speed - 0.003, FallS: image/speed + 0.010, ClosedS: image/speed + 0.0145}
		even := make([]complex128, g.count())
		for k := range even {
			even[k] = 1
		}
		e := newEar(newGatedModel(g, even, window, image/speed).apply(fields[0][i]), g, direct, image/speed, speed)
		a, delay := direct/image, (image-direct)/speed
		for _, b := range []Band{{CentreHz: 500, LowHz: 447, HighHz: 562}, {CentreHz: 800, LowHz: 708, HighHz: 891}, {CentreHz: 1000, LowHz: 891, HighHz: 1122}} {
			tolerance, why := 0.15, "boundary elements a tenth of a wavelength long, within 1 %; the gate's ends"
			if b.CentreHz < 700 {
				tolerance, why = 0.3, "finite height by ratios of point to line sources, good for many wavelengths: kr is 5 at the nearest place"
			}
			near(t, fmt.Sprintf("level at %v, %g Hz", p, b.CentreHz), e.reflectionDB(b.LowHz, b.HighHz), 20*math.Log10(a), tolerance, why)
			low, high := math.Inf(1), math.Inf(-1)
			for f := b.LowHz; f <= b.HighHz; f++ {
				v := heardExactly(a, delay, f)
				low, high = min(low, v), max(high, v)
			}
			near(t, fmt.Sprintf("comb at %v, %g Hz", p, b.CentreHz), e.combDB(b.LowHz, b.HighHz), high-low, tolerance, why)
		}
	}
}

// BenchmarkSeatReceivers times the field at many places against that at one, in the same run: the metric places/one is their ratio. The outside is solved once for all.
func BenchmarkSeatReceivers(b *testing.B) {
	p := Panel{DepthsM: prime13, WellWidthM: 0.04, FinThicknessM: 0.005, HeightM: 0.6, CapM: 0.01, BackM: 0.005}
	section := panelSection(&p)
	var receivers [][3]float64
	for d := range 40 {
		for x := -3; x <= 3; x++ {
			receivers = append(receivers, [3]float64{0.1 * float64(x), 0.3 + 0.05*float64(d), 0})
		}
	}
	solve := func(places [][3]float64) func() {
		return func() {
			s := sceneOf([3]float64{0, 2.6, 0}, places, [][]scatter.Well{wellsOf(prime13)}, grid{50, 2, 131})
			if _, err := scatteredFields(context.Background(), &section, []scene{s}, 343.2, func(float64) {}); err != nil {
				b.Fatal(err)
			}
		}
	}
	var one, all float64
	for b.Loop() {
		one += seconds(solve(receivers[:1]))
		all += seconds(solve(receivers))
	}
	b.ReportMetric(all/one, "280places/one")
}

func seconds(do func()) float64 {
	began := time.Now()
	do()
	return time.Since(began).Seconds()
}
