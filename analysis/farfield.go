package analysis

import (
	"cmp"
	"context"
	"math"
	"math/cmplx"

	"github.com/leadline/leadline/analysis/scatter"
)

// The standard's arrangement (ISO 17497-2:2012; figures from memory).
const (
	standardSourceM   = 10.0
	standardReceiverM = 5.0
	standardStepDeg   = 5
	linesPerBand      = 5 // frequencies averaged in a band
)

// predictFarField predicts panel and flat board in the standard's arrangement, in two dimensions (a panel of unlimited height): source at 10 m in the survey's
// direction, 37 receivers at 5 m. The textbook view beside it is the Fourier transform of the wells' phase shifts (Schroeder 1979), which
// knows nothing of edges, fins and the wells' coupling.
func predictFarField(ctx context.Context, s *Survey, bands []Band, speed float64, progress func(float64)) (*FarField, error) {
	incidence := math.Atan2(s.SourceM[0], s.SourceM[1])
	f := &FarField{SourceAngleDeg: incidence * 180 / math.Pi}
	source := scatter.Place{Point: scatter.Point{X: standardSourceM * math.Sin(incidence), Y: standardSourceM * math.Cos(incidence)}}
	var receivers []scatter.Place
	for a := -90; a <= 90; a += standardStepDeg {
		f.AngleDeg = append(f.AngleDeg, float64(a))
		angle := float64(a) * math.Pi / 180
		receivers = append(receivers, scatter.Place{Point: scatter.Point{X: standardReceiverM * math.Sin(angle), Y: standardReceiverM * math.Cos(angle)}})
	}
	section := panelSection(&s.Panel)
	section.HeightM = 0
	wells := wellsOf(s.Panel.DepthsM)
	outside := scatter.Outside{Section: &section, Scenes: []scatter.Scene{{Source: source, Receivers: receivers}}, Mesh: scatter.DefaultMesh}
	type energies struct{ panel, flat, textbook []float64 }
	sums := make([]energies, len(bands)*linesPerBand)
	errs := make([]error, len(sums))
	parallel(0, len(sums), func(i int) {
		if errs[i] = ctx.Err(); errs[i] != nil {
			return
		}
		b := bands[i/linesPerBand]
		if b.HighHz > predictionEndHz {
			return
		}
		frequency := b.LowHz * math.Pow(b.HighHz/b.LowHz, (float64(i%linesPerBand)+0.5)/linesPerBand)
		k := 2 * math.Pi * frequency / speed
		exteriors, err := outside.At(k)
		if err != nil {
			errs[i] = err
			return
		}
		exterior := exteriors[0]
		field, err := exterior.Panel(wells, scatter.AirLosses(2*math.Pi*frequency), nil)
		if err != nil {
			errs[i] = err
			return
		}
		e := &sums[i]
		for r := range receivers {
			e.panel = append(e.panel, squared(field[r]))
			e.flat = append(e.flat, squared(exterior.Flat(r)))
			e.textbook = append(e.textbook, squared(textbook(&s.Panel, k, incidence, f.AngleDeg[r]*math.Pi/180)))
		}
		progress(float64(i+1) / float64(len(sums)))
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, err
	}
	for i, b := range bands {
		var total energies
		lines := sums[i*linesPerBand : (i+1)*linesPerBand]
		for _, line := range lines {
			total.panel, total.flat, total.textbook = plus(total.panel, line.panel), plus(total.flat, line.flat), plus(total.textbook, line.textbook)
		}
		band := FarFieldBand{
			CentreHz: b.CentreHz, Panel: DiffusionCoefficient(total.panel), Flat: DiffusionCoefficient(total.flat),
			Textbook: DiffusionCoefficient(total.textbook),
			PanelDB:  levels(total.panel, total.flat), FlatDB: levels(total.flat, total.flat), TextbookDB: levels(total.textbook, total.textbook),
		}
		band.Normalised = NormalisedDiffusion(band.Panel, band.Flat)
		f.Bands = append(f.Bands, band)
	}
	return f, nil
}

// textbook returns Σ_j w sinc(kw(sinθ+sinψ)/2) e^{2ikd_j − ik x_j (sinθ+sinψ)}: every well a piston of its phase shift.
func textbook(p *Panel, k, incidence, angle float64) complex128 {
	slope := math.Sin(angle) + math.Sin(incidence)
	piston := p.WellWidthM
	if u := k * p.WellWidthM * slope / 2; math.Abs(u) > 1e-9 {
		piston *= math.Sin(u) / u
	}
	var sum complex128
	for j, d := range p.DepthsM {
		sum += cmplx.Rect(piston, 2*k*d-k*p.WellCentreM(j)*slope)
	}
	return sum
}

func wellsOf(depthsM []float64) []scatter.Well {
	wells := make([]scatter.Well, len(depthsM))
	for i, d := range depthsM {
		wells[i].DepthM = d
	}
	return wells
}

func plus(a, b []float64) []float64 {
	if a == nil {
		return append(a, b...)
	}
	for i, v := range b {
		a[i] += v
	}
	return a
}

// levels returns energies in dB re the greatest of the reference.
func levels(energies, reference []float64) []Num {
	top := 0.0
	for _, e := range reference {
		top = max(top, e)
	}
	out := make([]Num, len(energies))
	for i, e := range energies {
		out[i] = decibels(e / top)
	}
	return out
}

func squared(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
