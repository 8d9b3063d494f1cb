package report

import (
	"fmt"
	"math"
	"math/cmplx"

	"github.com/leadline/leadline/analysis"
)

// invented is a Result made up for these tests: nothing in it was measured or predicted. It has what a full check has (33 positions, 12 bands,
// repeated takes, wells, warnings) and what goes wrong: unusable bands, a position left out, numbers that can't be known.
func invented() *analysis.Result {
	const (
		c     = 344.1
		prime = 13
		wellW = 0.040
		fin   = 0.005
	)
	nan := analysis.Unknown()
	r := &analysis.Result{
		Schema: analysis.Schema, Kind: "check", Title: "Rear wall, first panel", Survey: "rear-wall/survey.toml",
		Verdict:  analysis.Differs,
		Headline: "The build differs from the design: well 5 is about 10 mm too deep and well 9 about 8 mm too shallow.",
		Reasons: []string{
			"Well 5 measures 50.2 mm (95 % interval 48.9 to 51.6 mm); the design has 39.7 mm and the tolerance is 3 mm.",
			"Well 9 measures 150.6 mm (149.2 to 152.0 mm); the design has 158.8 mm.",
			"Nine of the other wells agree with the design within the tolerance; wells 3 and 12 can't be told.",
			"The spacers of wells 5 and 9 are exchanged.",
		},
		ToDo: []string{
			"Measure well 5 with a depth gauge at both ends, then fill it by 10 mm; look for a missing spacer first.",
			"Take 8 mm out of well 9, or accept it: it moves the 2 kHz band by 0.4 dB.",
			"Repeat the takes at arc-65 with the fan off; its noise hides the bands above 2.5 kHz.",
		},
		HowSure: []string{
			"Eight of twelve bands are usable, at 31 of 33 positions; three takes of each state agree within 0.3 dB.",
			"The gate is 4.2 ms long, ended by the floor's echo, so nothing below about 400 Hz counts.",
		},
		Patterns:           []string{"The spacers of wells 5 and 9 are exchanged."},
		ToleranceM:         0.003,
		LevelReference:     "flat board's strongest position",
		LoudspeakerDivided: true,
		Air:                analysis.Air{SpeedOfSoundMS: c, TemperatureC: 21.5, HumidityPercent: 45, Source: "Cramer 1993"},
		SourceM:            [3]float64{0, 2, 0},
		Room:               []analysis.Surface{{Name: "floor", PlaceM: -0.9}, {Name: "ceiling", PlaceM: 1.6}, {Name: "left", PlaceM: -2.1}, {Name: "right", PlaceM: 1.7}, {Name: "behind", PlaceM: 3.1}},
		Spectrum: analysis.Range{LowestUsableHz: 447, HighestUsableHz: 2818, LowWhy: "a gate of 4.2 ms tells nothing lower", HighWhy: "the wells are half a wavelength wide at 4.3 kHz",
			BandsPerOctave: 3},
		Receivers: analysis.Receivers{Count: 31, SmallestDeg: -80, LargestDeg: 80, DistanceLowM: 1, DistanceHighM: 1,
			Text: "The microphones stand at 1 m and cover ±80°, nearer than ISO 17497-2 asks for, so coefficients compare with the prediction for these places and not with published ones."},
		Warnings: []analysis.Warning{
			{Code: "noise", Where: "arc-65", Text: "The subtraction residual is only 6 dB under the reflection. Repeat both takes closer together in time."},
			{Code: "gate", Where: "", Text: "The gate ends with the floor's echo at 12.1 ms. A thick absorber on the floor halfway between source and panel would lengthen it."},
			{Code: "clip", Where: "arc+75", Text: "Sample 12034 of panel/arc+75.wav reaches full scale. Lower the gain by 6 dB and repeat."},
		},
		Method: []analysis.Note{
			{Topic: "Subtraction", Text: "Each take is shifted and scaled until its direct sound matches the take without panel, then the two are subtracted.", Source: "ISO 17497-2:2012, 6.3"},
			{Topic: "Diffusion coefficient", Text: "From the energies in the gate at all positions that count.", Source: "ISO 17497-2:2012, formula (5)"},
			{Topic: "Prediction", Text: "Boundary integral around the panel's box with the modes of the wells at their mouths.", Source: ""},
		},
		Caution: []string{"Sweeps at high level can harm hearing and loudspeakers: start low.", "Fasten a panel to the wall before anyone sits under it."},
	}
	r.Panel = analysis.PanelResult{Sequence: "quadratic residue", Prime: prime, Periods: 1, DesignFrequency: 1000, WidthM: prime*(wellW+fin) + fin, HeightM: 0.6,
		WellWidthM: wellW, FinThicknessM: fin}
	for i := range prime {
		r.Panel.WellCentreM = append(r.Panel.WellCentreM, (float64(i)-float64(prime-1)/2)*(wellW+fin))
		r.Panel.DesignDepthM = append(r.Panel.DesignDepthM, float64(i*i%prime)*c/(2*prime*1000))
	}
	r.Panel.DepthM = 12*c/(2*prime*1000) + 0.005
	built := map[int]float64{5: 0.0100, 9: -0.0081}
	for i, d := range r.Panel.DesignDepthM {
		b := d + built[i+1] + 0.0006*math.Sin(float64(5*i+1))
		b = math.Max(b, 0)
		w := analysis.Well{Number: i + 1, DesignM: d, BuiltM: analysis.Num(b), LowM: analysis.Num(math.Max(b-0.0012-0.0001*float64(i%3), 0)), HighM: analysis.Num(b + 0.0014), Verdict: "ok",
			DifferenceM: analysis.Num(b - d), Loss: 0.1, LossLow: 0, LossHigh: 0.4, GainInDiffusion: nan}
		switch i + 1 {
		case 3:
			w.Verdict, w.Why = "undecided", "95.0 mm fits as well: add positions at other angles to tell them apart"
		case 5:
			w.Verdict, w.GainInDiffusion = "deep", 0.012
		case 7:
			w.Loss, w.LossLow, w.LossHigh = 2.3, 1.5, 3.1
		case 9:
			w.Verdict, w.GainInDiffusion = "shallow", -0.002
		case 12:
			w.BuiltM, w.LowM, w.HighM, w.DifferenceM, w.Verdict, w.Why = nan, nan, nan, nan, "undecided", "the data hardly see this well: add positions"
		}
		r.Wells = append(r.Wells, w)
	}
	r.Fit = &analysis.DepthFit{Misfit: 0.093, DesignMisfit: 0.41, LowHz: 447, HighHz: 2818, Positions: 31, PathErrorM: 0.0021, PanelOffsetM: -0.0011}
	for k, text := range []string{"the depths reported", "other depths that fit as well"} {
		e := analysis.Explanation{Text: text, Misfit: 0.093 + 0.002*float64(k)}
		for i, d := range r.Panel.DesignDepthM {
			e.DepthM = append(e.DepthM, math.Max(0, d+built[i+1]+0.0006*math.Sin(float64(5*i+1))))
		}
		if k == 1 {
			e.DepthM[2] = 0.095
		}
		r.Fit.Explanations = append(r.Fit.Explanations, e)
	}
	r.Drift = []analysis.Drift{
		{State: "flat", SpeedPPM: 12, StandardErrorPPM: 8, WarmerC: 0.01, ResidualBefore: -38, ResidualAfter: -38, Positions: 31},
		{State: "panel", SpeedPPM: 1650, StandardErrorPPM: 20, WarmerC: 0.96, ResidualBefore: -22, ResidualAfter: -39, Positions: 31, Corrected: true,
			Text: "Sound was 0.17 % faster than in the empty room (air 1 °C warmer). Put right: the residual fell from -22 to -39 dB."},
	}
	for k := range 12 {
		f := 1000 * math.Pow(10, float64(k-5)/10)
		b := analysis.Band{CentreHz: f, LowHz: f * math.Pow(10, -0.05), HighHz: f * math.Pow(10, 0.05), Usable: k >= 2 && k < 10, PositionsUsed: 31}
		g := 0.35 + 0.5*(1-math.Exp(-float64(max(k-1, 0))/3))
		flat := 0.42 * math.Exp(-float64(k)/6)
		norm := func(a, b float64) analysis.Num { return analysis.Num((a - b) / (1 - b)) }
		measured := g + 0.03*math.Sin(float64(3*k))
		b.Diffusion = analysis.Diffusion{Panel: analysis.Num(measured), Flat: analysis.Num(flat), Normalised: norm(measured, flat),
			PredictedPanel: analysis.Num(g), PredictedFlat: analysis.Num(flat + 0.01), PredictedNormalised: norm(g, flat+0.01),
			PanelInterval:      &analysis.Interval{Low: analysis.Num(measured - 0.03), High: analysis.Num(measured + 0.025)},
			FlatInterval:       &analysis.Interval{Low: analysis.Num(flat - 0.01), High: analysis.Num(flat + 0.015)},
			NormalisedInterval: &analysis.Interval{Low: norm(measured-0.03, flat), High: norm(measured+0.025, flat)}}
		b.CorrelationScattering, b.PredictedCorrelation = analysis.Num(0.3+0.05*float64(k)), analysis.Num(0.32+0.05*float64(k))
		b.LevelDifferenceRMSDB, b.ToleranceDB, b.ResidualDB = analysis.Num(0.6+0.1*float64(k%4)), 0.9, analysis.Num(-24+float64(k))
		if !b.Usable {
			b.Why = "the gate is too short"
			if k >= 10 {
				b.Why = "the subtraction leaves too much noise"
				b.Diffusion.Panel, b.Diffusion.Normalised, b.Diffusion.PanelInterval, b.Diffusion.NormalisedInterval = nan, nan, nil, nil
				b.CorrelationScattering, b.LevelDifferenceRMSDB = nan, nan
			}
			b.PositionsUsed = 0
		}
		r.Bands = append(r.Bands, b)
	}
	// A textbook array in the far field stands in for every level.
	field := func(f, deg, spread float64, wells bool) float64 {
		k := 2 * math.Pi * f / c
		var sum complex128
		for i, x := range r.Panel.WellCentreM {
			d := 0.0
			if wells {
				d = r.Panel.DesignDepthM[i] + spread*built[i+1]
			}
			sum += cmplx.Exp(complex(0, -2*k*d+k*x*math.Sin(deg*math.Pi/180)))
		}
		return 20 * math.Log10(cmplx.Abs(sum)/prime*math.Cos(deg*math.Pi/360)+0.01)
	}
	for i := range 33 {
		deg := float64(5*i - 80)
		sin, cos := math.Sincos(deg * math.Pi / 180)
		p := analysis.Position{Name: fmt.Sprintf("arc%+d", int(deg)), AngleDeg: deg, DistanceM: 1, MicM: [3]float64{sin, cos, 0}, Used: true}
		direct := math.Hypot(sin, 2-cos) / c
		p.DirectS, p.ArrivalS = analysis.Num(direct), analysis.Num(3/c)
		p.Gate = analysis.Gate{StartS: analysis.Num(3/c - 0.0005), EndS: analysis.Num(3/c + 0.0037), EndedBy: "floor"}
		for _, b := range r.Bands {
			f := b.CentreHz
			panel := analysis.Num(field(f, deg, 1, true) + 0.5*math.Sin(float64(7*i)+f))
			p.PanelDB = append(p.PanelDB, panel)
			p.PanelIntervalDB = append(p.PanelIntervalDB, analysis.Interval{Low: panel - 0.6, High: panel + 0.5})
			p.FlatDB = append(p.FlatDB, analysis.Num(field(f, deg, 0, false)))
			p.PredictedDB = append(p.PredictedDB, analysis.Num(field(f, deg, 0, true)))
			p.PredictedFlatDB = append(p.PredictedFlatDB, analysis.Num(field(f, deg, 0, false)+0.2))
			p.PanelResidualDB = append(p.PanelResidualDB, analysis.Num(-22+3*math.Sin(float64(i))))
			p.FlatResidualDB = append(p.FlatResidualDB, analysis.Num(-25))
		}
		delay := 3/c - direct
		first := 1 / (2 * delay)
		trace := func(depth, jitter float64) analysis.CombTrace {
			t := analysis.CombTrace{}
			for k := range r.Bands {
				t.ReflectionDB = append(t.ReflectionDB, analysis.Num(-10+float64(k%3)))
				t.PeakToNotchDB = append(t.PeakToNotchDB, analysis.Num(depth+1.5*math.Sin(float64(i+k)/3)))
			}
			for n := first; n < 2818; n += 2 * first {
				if n > 447 {
					t.NotchHz = append(t.NotchHz, analysis.Num(n*(1+jitter*math.Sin(n+float64(i)))))
				}
			}
			return t
		}
		p.Comb = analysis.Comb{DelayS: analysis.Num(delay), ReflectionDB: -9.5, PeakToNotchDB: 6.1, FirstNotchHz: analysis.Num(first),
			Panel: trace(6, 0.04), Flat: trace(14, 0.004), PredictedPanel: trace(6.5, 0.03), PredictedFlat: trace(14.5, 0)}
		for _, s := range []string{"panel", "flat"} {
			p.Alignment = append(p.Alignment, analysis.Alignment{State: s, File: "rear-wall/" + s + "/" + p.Name + ".wav", DelayS: analysis.Num(3e-6 * math.Sin(float64(i))), GainDB: 0.04,
				ResidualBefore: analysis.Num(-21 - 2*math.Sin(float64(i))), ResidualAfter: analysis.Num(-43 - 3*math.Cos(float64(i))), ClockPPM: 12})
		}
		switch p.Name {
		case "arc-65":
			p.PanelDB[4], p.PanelIntervalDB[4] = nan, analysis.Interval{Low: nan, High: nan}
		case "arc+75":
			p.Used, p.Why = false, "the take is clipped"
		case "arc-80":
			p.Used, p.Why = false, "direct sound and reflection overlap"
			p.Comb = analysis.Comb{DelayS: nan, ReflectionDB: nan, PeakToNotchDB: nan, FirstNotchHz: nan}
		}
		r.Positions = append(r.Positions, p)
	}
	r.Recordings = &analysis.Recordings{}
	for k := range 18 {
		r.Recordings.BandCentreHz = append(r.Recordings.BandCentreHz, 100*math.Pow(10, float64(k)/10))
	}
	for i, p := range r.Positions {
		for j, state := range []string{"empty", "flat", "panel"} {
			s := analysis.RecordedSweep{StartS: 0.8, ClockPPM: analysis.Num(12 - j), ClockFrom: "loopback", ClockCorrected: true, SNRMedianDB: 52, SNRLowestDB: analysis.Num(31 + i%5), SNRLowestHz: 100}
			for k := range r.Recordings.BandCentreHz {
				s.SNRDB = append(s.SNRDB, analysis.Num(31+i%5+2*k))
			}
			for order := 2; order <= 5; order++ {
				d := analysis.DistortionOrder{Order: order, MedianDB: analysis.Num(-30 - 8*order)}
				for k := range r.Recordings.BandCentreHz {
					level := analysis.Num(-30 - 8*order + 3*(k%3) + i%4)
					if k > 10 && order > 3 {
						level = nan
					}
					d.LevelDB = append(d.LevelDB, level)
				}
				s.Distortion = append(s.Distortion, d)
			}
			f := analysis.RecordedFile{Position: p.Name, State: state, File: "rear-wall/" + state + "/" + p.Name + ".wav", SampleRateHz: 48000, Sweep: "50 to 20000 Hz in 2 s", Sweeps: []analysis.RecordedSweep{s}}
			if p.Name == "arc+75" && state == "panel" {
				f.Faults = append(f.Faults, analysis.Warning{Code: "clipped", Where: p.Name, Text: "panel/arc+75.wav, at 1.25 s: it reaches full scale. Cure: lower the gain by 6 dB and record again."})
			}
			r.Recordings.Files = append(r.Recordings.Files, f)
		}
	}
	ff := &analysis.FarField{}
	for deg := -90.0; deg <= 90; deg += 2.5 {
		ff.AngleDeg = append(ff.AngleDeg, deg)
	}
	for _, b := range r.Bands {
		fb := analysis.FarFieldBand{CentreHz: b.CentreHz, Panel: 0.71, Flat: 0.12, Normalised: 0.67, Textbook: 0.78}
		for _, deg := range ff.AngleDeg {
			fb.PanelDB = append(fb.PanelDB, analysis.Num(field(b.CentreHz, deg, 0, true)+1.5*math.Sin(deg/9)))
			fb.FlatDB = append(fb.FlatDB, analysis.Num(field(b.CentreHz, deg, 0, false)))
			fb.TextbookDB = append(fb.TextbookDB, analysis.Num(field(b.CentreHz, deg, 0, true)))
		}
		ff.Bands = append(ff.Bands, fb)
	}
	r.FarField = ff
	p := r.Positions[20] // 20 degrees
	tv := &analysis.TimeView{Position: p.Name, Gate: p.Gate, DirectS: p.DirectS, ArrivalS: p.ArrivalS}
	pulse := func(t, at, width float64) float64 {
		u := (t - at) / width
		return (1 - u*u) * math.Exp(-u*u/2)
	}
	for i := range 720 {
		t := float64(i) / 48000
		direct := pulse(t, float64(p.DirectS), 6e-5) + 0.12*pulse(t, float64(p.DirectS)+0.0004, 1e-4)
		floor := 0.3 * pulse(t, float64(p.Gate.EndS)+0.0008, 7e-5)
		flat := 0.38 * pulse(t, float64(p.ArrivalS), 7e-5)
		var panel float64
		for n, d := range r.Panel.DesignDepthM {
			panel += 0.07 * pulse(t, float64(p.ArrivalS)+2*d/c, 7e-5) * (1 - 0.02*float64(n))
		}
		window := 0.0
		if t > float64(p.Gate.StartS) && t < float64(p.Gate.EndS) {
			window = math.Min(1, math.Min((t-float64(p.Gate.StartS))/0.0003, (float64(p.Gate.EndS)-t)/0.0012))
		}
		noise := 0.002 * math.Sin(float64(i*i%97))
		tv.TimeS = append(tv.TimeS, analysis.Num(t))
		tv.Empty = append(tv.Empty, analysis.Num(direct+floor+noise))
		tv.Panel = append(tv.Panel, analysis.Num(direct+floor+panel-noise))
		tv.PanelDiff = append(tv.PanelDiff, analysis.Num(panel-2*noise))
		tv.FlatDiff = append(tv.FlatDiff, analysis.Num(flat+noise))
		tv.Window = append(tv.Window, analysis.Num(0.5-0.5*math.Cos(math.Pi*window)))
	}
	r.TimeView = tv
	r.Responses = inventedResponses(r)
	r.Seen = []analysis.Seen{{Picture: "section", Text: "9 of 13 wells are where the design has them, within 3 mm; well 5 is 10.5 mm too deep and well 9 is 8.2 mm too shallow; 2 can't be told."},
		{Picture: "diffusion", Text: "The panel spreads sound clearly more evenly than a flat board in 8 of 8 bands (normalised diffusion coefficient above 0.2), best at 1 kHz (0.71)."}}
	r.Seating = inventedSeats()
	r.Row = inventedRow()
	return r
}

// inventedResponses has three takes of the panel at each position, a source of one strength everywhere, and a gate that ends with the floor's echo.
func inventedResponses(r *analysis.Result) *analysis.Responses {
	out := &analysis.Responses{StepHz: 25}
	for k := range 261 {
		power := analysis.Unknown()
		if k >= 4 {
			power = 0.25
		}
		out.SourcePower = append(out.SourcePower, power)
	}
	const rate, samples = 48000, 420
	for i, p := range r.Positions {
		open, closed := float64(p.Gate.StartS), float64(p.Gate.EndS)
		q := analysis.PositionResponses{SampleRateHz: rate, StartS: open - 0.001, LimitS: analysis.Num(closed),
			Window: analysis.Window{OpenS: open, FullS: open + 0.0005, FallS: closed - 0.28*(closed-open-0.0005), ClosedS: closed}}
		for take := range 3 {
			x, flat := make(analysis.Samples, samples), make(analysis.Samples, samples)
			for n := range x {
				t := q.StartS + float64(n)/rate - float64(p.ArrivalS)
				for w, d := range r.Panel.DesignDepthM {
					u := (t - 2*d/344.1 - 2e-6*float64(w*i)) / 7e-5
					x[n] += float32(0.03 * (1 - u*u) * math.Exp(-u*u/2) * (1 + 0.01*float64(take)))
				}
				u := t / 7e-5
				flat[n] = float32(0.2 * (1 - u*u) * math.Exp(-u*u/2) * math.Cos(p.AngleDeg*math.Pi/200))
			}
			q.Panel = append(q.Panel, x)
			if take == 0 {
				q.Flat = append(q.Flat, flat)
			}
		}
		out.Positions = append(out.Positions, q)
	}
	return out
}
