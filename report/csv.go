package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/leadline/leadline/analysis"
)

// CSVFile is one table of numbers for other programs.
type CSVFile struct {
	Name string // such as levels.csv
	Data []byte
}

// csvTable collects rows: text as it is, but for what a spreadsheet would take for a formula; numbers unrounded, in the unit that the header names; nothing for an unknown one.
type csvTable struct {
	head []string
	rows [][]string
}

func newCSV(head string) *csvTable { return &csvTable{head: strings.Fields(head)} }

func (t *csvTable) row(values ...any) {
	row := make([]string, 0, len(values))
	for _, v := range values {
		switch v := v.(type) {
		case string:
			row = append(row, csvText(v))
		case bool:
			row = append(row, map[bool]string{true: "yes", false: "no"}[v])
		case int:
			row = append(row, strconv.Itoa(v))
		case float64:
			row = append(row, csvNumber(v))
		case analysis.Num:
			row = append(row, csvNumber(float64(v)))
		case *analysis.Interval:
			if v == nil {
				row = append(row, "", "")
				continue
			}
			row = append(row, csvNumber(float64(v.Low)), csvNumber(float64(v.High)))
		}
	}
	t.rows = append(t.rows, row)
}

func csvNumber(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// csvText keeps a cell from being run as a formula: one that begins as a formula does, and is no number, gets an apostrophe before it.
func csvText(s string) string {
	s = clean(s)
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		if _, err := strconv.ParseFloat(s, 64); err != nil {
			return "'" + s
		}
	}
	return s
}

// bytes is the table as RFC 4180 has it: a header, lines that end in CR LF, quotes where a field needs them. UTF-8.
func (t *csvTable) bytes() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	_ = w.WriteAll(append([][]string{t.head}, t.rows...)) // a buffer takes everything
	return b.Bytes()
}

// CSV returns the numbers behind every picture of the report, unrounded, as one table each (RFC 4180); the headers name the units, an unknown number is an empty field.
// A table that would have no rows is left out. The same r gives the same bytes; nil gives nothing.
func CSV(r *analysis.Result) []CSVFile {
	if r == nil {
		return nil
	}
	var out []CSVFile
	for _, t := range []struct {
		name  string
		table *csvTable
	}{
		{"places", placesCSV(r)}, {"wells", wellsCSV(r)}, {"bands", bandsCSV(r)}, {"levels", levelsCSV(r)}, {"combs", combsCSV(r)}, {"notches", notchesCSV(r)}, {"time", timeCSV(r)},
		{"alignment", alignmentCSV(r)}, {"recordings", recordingsCSV(r)}, {"far-field", farFieldCSV(r)},
		{"seat-bands", seatBandsCSV(r)}, {"seat-distances", seatDistancesCSV(r)}, {"seat-maps", seatMapsCSV(r)}, {"seat-curves", seatCurvesCSV(r)}, {"seat-tuning", seatTuningCSV(r)},
		{"row-bands", rowBandsCSV(r)}, {"row-boxes", rowBoxesCSV(r)}, {"row-wells", rowWellsCSV(r)}, {"row-orders", rowOrdersCSV(r)}, {"row-polar", rowPolarCSV(r)}, {"row-lobes", rowLobesCSV(r)},
	} {
		if len(t.table.rows) > 0 {
			out = append(out, CSVFile{t.name + ".csv", t.table.bytes()})
		}
	}
	return out
}

func placesCSV(r *analysis.Result) *csvTable {
	t := newCSV("name kind x_m y_m z_m angle_deg distance_m direct_s arrival_s gate_start_s gate_end_s gate_ended_by used why")
	nan := analysis.Unknown()
	if s := r.SourceM; len(r.Positions) > 0 {
		t.row("source", "source", s[0], s[1], s[2], math.Atan2(s[0], s[1])*180/math.Pi, math.Sqrt(s[0]*s[0]+s[1]*s[1]+s[2]*s[2]), nan, nan, nan, nan, "", true, "")
	}
	for _, p := range r.Positions {
		t.row(p.Name, "microphone", p.MicM[0], p.MicM[1], p.MicM[2], p.AngleDeg, p.DistanceM, p.DirectS, p.ArrivalS, p.Gate.StartS, p.Gate.EndS, p.Gate.EndedBy, p.Used, p.Why)
	}
	return t
}

func wellsCSV(r *analysis.Result) *csvTable {
	t := newCSV("well centre_m design_m built_m built_low_m built_high_m difference_m other_m loss_db loss_low_db loss_high_db gain_in_diffusion verdict why")
	for i, w := range r.Wells {
		centre, other := math.NaN(), math.NaN()
		if i < len(r.Panel.WellCentreM) {
			centre = r.Panel.WellCentreM[i]
		}
		if r.Fit != nil && len(r.Fit.Explanations) > 1 && i < len(r.Fit.Explanations[1].DepthM) {
			other = r.Fit.Explanations[1].DepthM[i]
		}
		t.row(w.Number, centre, w.DesignM, w.BuiltM, w.LowM, w.HighM, w.DifferenceM, other, w.Loss, w.LossLow, w.LossHigh, w.GainInDiffusion, w.Verdict, w.Why)
	}
	return t
}

func bandsCSV(r *analysis.Result) *csvTable {
	t := newCSV("centre_hz low_hz high_hz usable why diffusion_panel diffusion_panel_low diffusion_panel_high diffusion_flat diffusion_flat_low diffusion_flat_high " +
		"diffusion_normalised diffusion_normalised_low diffusion_normalised_high predicted_diffusion_panel predicted_diffusion_flat predicted_diffusion_normalised " +
		"correlation_scattering correlation_scattering_low correlation_scattering_high predicted_correlation_scattering level_difference_rms_db tolerance_db residual_db positions")
	for _, b := range r.Bands {
		d := b.Diffusion
		t.row(b.CentreHz, b.LowHz, b.HighHz, b.Usable, b.Why, d.Panel, d.PanelInterval, d.Flat, d.FlatInterval, d.Normalised, d.NormalisedInterval,
			d.PredictedPanel, d.PredictedFlat, d.PredictedNormalised, b.CorrelationScattering, b.CorrelationInterval, b.PredictedCorrelation,
			b.LevelDifferenceRMSDB, b.ToleranceDB, b.ResidualDB, b.PositionsUsed)
	}
	return t
}

// interval is entry i of a list that may be shorter.
func interval(list []analysis.Interval, i int) *analysis.Interval {
	if i >= len(list) {
		return nil
	}
	return &list[i]
}

func levelsCSV(r *analysis.Result) *csvTable {
	t := newCSV("centre_hz position angle_deg panel_db panel_low_db panel_high_db flat_db flat_low_db flat_high_db predicted_panel_db predicted_flat_db panel_residual_db flat_residual_db")
	for i, b := range r.Bands {
		for _, p := range r.Positions {
			values := []float64{at(p.PanelDB, i), at(p.FlatDB, i), at(p.PredictedDB, i), at(p.PredictedFlatDB, i)}
			if !slices.ContainsFunc(values, func(v float64) bool { return finite(v) }) {
				continue
			}
			t.row(b.CentreHz, p.Name, p.AngleDeg, values[0], interval(p.PanelIntervalDB, i), values[1], interval(p.FlatIntervalDB, i), values[2], values[3],
				at(p.PanelResidualDB, i), at(p.FlatResidualDB, i))
		}
	}
	return t
}

func combsCSV(r *analysis.Result) *csvTable {
	t := newCSV("centre_hz position angle_deg panel_peak_to_notch_db flat_peak_to_notch_db predicted_panel_peak_to_notch_db predicted_flat_peak_to_notch_db " +
		"panel_reflection_re_direct_db flat_reflection_re_direct_db predicted_panel_reflection_re_direct_db predicted_flat_reflection_re_direct_db")
	for i, b := range r.Bands {
		if !b.Usable {
			continue
		}
		for _, p := range r.Positions {
			traces := []analysis.CombTrace{p.Comb.Panel, p.Comb.Flat, p.Comb.PredictedPanel, p.Comb.PredictedFlat}
			row, known := []any{b.CentreHz, p.Name, p.AngleDeg}, false
			for _, values := range []func(analysis.CombTrace) []analysis.Num{
				func(c analysis.CombTrace) []analysis.Num { return c.PeakToNotchDB }, func(c analysis.CombTrace) []analysis.Num { return c.ReflectionDB }} {
				for _, c := range traces {
					v := at(values(c), i)
					row, known = append(row, v), known || finite(v)
				}
			}
			if known {
				t.row(row...)
			}
		}
	}
	return t
}

func notchesCSV(r *analysis.Result) *csvTable {
	t := newCSV("position angle_deg of notch_hz")
	for _, p := range r.Positions {
		for _, c := range []struct {
			of string
			hz []analysis.Num
		}{{"panel", p.Comb.Panel.NotchHz}, {"flat", p.Comb.Flat.NotchHz}, {"predicted panel", p.Comb.PredictedPanel.NotchHz}, {"predicted flat", p.Comb.PredictedFlat.NotchHz}} {
			for i := range c.hz {
				t.row(p.Name, p.AngleDeg, c.of, at(c.hz, i))
			}
		}
	}
	return t
}

func timeCSV(r *analysis.Result) *csvTable {
	t := newCSV("time_s empty_re_direct_peak panel_re_direct_peak panel_reflection_re_direct_peak flat_reflection_re_direct_peak window")
	if v := r.TimeView; v != nil {
		for i := range v.TimeS {
			t.row(at(v.TimeS, i), at(v.Empty, i), at(v.Panel, i), at(v.PanelDiff, i), at(v.FlatDiff, i), at(v.Window, i))
		}
	}
	return t
}

func alignmentCSV(r *analysis.Result) *csvTable {
	t := newCSV("position angle_deg state file delay_s gain_db clock_ppm shaped_db residual_before_db residual_after_db")
	for _, p := range r.Positions {
		for _, a := range p.Alignment {
			t.row(p.Name, p.AngleDeg, a.State, a.File, a.DelayS, a.GainDB, a.ClockPPM, a.ShapedDB, a.ResidualBefore, a.ResidualAfter)
		}
	}
	return t
}

func recordingsCSV(r *analysis.Result) *csvTable {
	t := newCSV("position state file sweep centre_hz signal_to_noise_db distortion_2_db distortion_3_db distortion_4_db distortion_5_db")
	if r.Recordings == nil {
		return t
	}
	for _, f := range r.Recordings.Files {
		for n, s := range f.Sweeps {
			for k, hz := range r.Recordings.BandCentreHz {
				order := [4]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
				for _, d := range s.Distortion {
					if d.Order >= 2 && d.Order <= 5 {
						order[d.Order-2] = at(d.LevelDB, k)
					}
				}
				t.row(f.Position, f.State, f.File, n+1, hz, at(s.SNRDB, k), order[0], order[1], order[2], order[3])
			}
		}
	}
	return t
}

func farFieldCSV(r *analysis.Result) *csvTable {
	t := newCSV("centre_hz angle_deg panel_db flat_db textbook_db")
	if f := r.FarField; f != nil {
		for _, b := range f.Bands {
			for i, deg := range f.AngleDeg {
				if panel, flat, textbook := at(b.PanelDB, i), at(b.FlatDB, i), at(b.TextbookDB, i); finite(panel) || finite(flat) || finite(textbook) {
					t.row(b.CentreHz, deg, panel, flat, textbook)
				}
			}
		}
	}
	return t
}

// ResponsesCSV lists response files with what a WAV file can't say: when its first sample stands, in seconds after the emission.
func ResponsesCSV(list []analysis.AlignedResponse) []byte {
	t := newCSV("file position state take gated sample_rate_hz start_s samples")
	for _, a := range list {
		take := strconv.Itoa(a.Take)
		if a.Take == 0 {
			take = "mean"
		}
		t.row(a.Path, a.Position, a.State, take, a.Gated, a.SampleRateHz, a.StartS, len(a.Samples))
	}
	return t.bytes()
}
