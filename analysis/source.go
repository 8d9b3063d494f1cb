package analysis

import (
	"math"
	"math/cmplx"
	"slices"

	"github.com/leadline/leadline/dsp"
)

// directSound is that of one response near the line from the source to the panel's middle.
type directSound struct {
	samples      []float64 // windowed
	startS, rate float64   // of the first sample after the emission; per second
	way          float64   // from the source, metres
}

// onAxis returns the numbers of the positions that stand closest to the line from the source to the panel's middle. Off that line the loudspeaker's directivity would
// come in.
func onAxis(s *Survey) []int {
	const (
		cone    = 12 * math.Pi / 180 // a small loudspeaker's directivity changes by well under 1 dB inside it up to 5 kHz: common practice, no source
		atLeast = 3
	)
	type candidate struct {
		index int
		angle float64
	}
	var candidates []candidate
	for i := range s.Positions {
		candidates = append(candidates, candidate{i, angleAt(s.SourceM, s.Positions[i].MicM, [3]float64{})})
	}
	sortBy(candidates, func(c candidate) float64 { return c.angle })
	var near []int
	for n, c := range candidates {
		if c.angle > cone && n >= atLeast {
			break
		}
		near = append(near, c.index)
	}
	used := make([]int, 0, fitAtMost)
	for _, n := range spreadEvenly(len(near), fitAtMost) {
		used = append(used, near[n])
	}
	return used
}

// directSounds cuts the direct sounds out of the responses of a survey's positions; those of onAxis and company must be there.
func directSounds(s *Survey, positions []*measuredPosition, speed float64) []directSound {
	const longestS = 0.004
	used := onAxis(s)
	echoes := echoesAt(positions, used)
	var out []directSound
	for _, i := range used {
		m := positions[i]
		x := m.empty
		way := newPaths(&s.Panel, s.SourceM, m.survey.MicM)
		end := longestS
		if x == nil {
			x = m.panelWhole()
			end = min(end, (way.earliest-way.direct)/speed-preringS)
		}
		if !math.IsNaN(echoes[i]) {
			end = min(end, echoes[i])
		}
		for _, r := range s.Room {
			end = min(end, (distance(mirrored(s.SourceM, r), m.survey.MicM)-way.direct)/speed-preringS)
		}
		end = max(end, 0.0008)
		window := dsp.GateWindow{OpenS: m.directS - 0.0015, FullS: m.directS - 0.001, FallS: m.directS + 0.7*end, ClosedS: m.directS + end}
		y, first := windowed(x, m.startS, m.sampleRateHz, window)
		out = append(out, directSound{y, first, m.sampleRateHz, way.direct})
	}
	return out
}

// sourceSpectrum returns what the loudspeaker sends towards the panel, as the spectrum of a point source, on the grid: direct sounds, each divided by the spreading
// e^{ikr}/(4πr), averaged.
func sourceSpectrum(sounds []directSound, g grid, speed float64) []complex128 {
	spectrum := make([]complex128, g.count())
	for _, d := range sounds {
		direct := dsp.SpectrumAt(d.samples, d.startS, d.rate, g.stepHz, g.count())
		for k := g.first; k <= g.last; k++ {
			spreading := cmplx.Rect(1/(4*math.Pi*d.way), 2*math.Pi*float64(k)*g.stepHz/speed*d.way)
			spectrum[k] += direct[k] / spreading / complex(float64(len(sounds)), 0)
		}
	}
	return spectrum
}

// company are positions whose echoes are looked for with those of others: the loudspeaker's own decay is what all have in common.
func company(positions int) []int { return spreadEvenly(positions, fitAtMost) }

// echoesAt returns what firstEchoes finds at some positions, of which many have but some others for company.
func echoesAt(positions []*measuredPosition, at []int) map[int]float64 {
	numbers := union(at, company(len(positions)))
	some := make([]*measuredPosition, 0, len(numbers))
	for _, i := range numbers {
		some = append(some, positions[i])
	}
	out := make(map[int]float64, len(numbers))
	for n, echo := range firstEchoes(some) {
		out[numbers[n]] = echo
	}
	return out
}

// union returns the numbers that are in any of the sets, in order.
func union(sets ...[]int) []int {
	all := slices.Concat(sets...)
	slices.Sort(all)
	return slices.Compact(all)
}

// angleAt returns the angle between the directions from p to a and from p to b, in radians.
func angleAt(p, a, b [3]float64) float64 {
	var dot, aa, bb float64
	for i := range p {
		u, v := a[i]-p[i], b[i]-p[i]
		dot, aa, bb = dot+u*v, aa+u*u, bb+v*v
	}
	return math.Acos(max(-1, min(1, dot/math.Sqrt(aa*bb))))
}

// sourceEnd returns the highest frequency, in hertz, up to which the source is less than 20 dB below its median level from the middle of
// its band; the grid's end where it never is.
func sourceEnd(spectrum []complex128, g grid) float64 {
	var levels []float64
	for k := g.first; k <= g.last; k++ {
		levels = append(levels, cmplx.Abs(spectrum[k]))
	}
	sorted := append([]float64(nil), levels...)
	sortBy(sorted, func(v float64) float64 { return v })
	median := sorted[len(sorted)/2]
	for i := len(levels) - 1; i >= 0; i-- {
		if levels[i] > median/10 {
			return float64(g.first+i) * g.stepHz
		}
	}
	return 0
}
