package analysis

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis/scatter"
	"github.com/leadline/leadline/dsp"
)

// thirds returns the standard's third octaves from lowHz to highHz, all usable.
func thirds(lowHz, highHz float64) []Band {
	bands, err := dsp.FractionalOctaves(3, lowHz, highHz)
	if err != nil || len(bands) == 0 {
		panic("no bands")
	}
	var out []Band
	for _, b := range bands {
		out = append(out, Band{CentreHz: b.CentreHz, LowHz: b.LowHz, HighHz: b.HighHz})
	}
	return out
}

func rowOf(t *testing.T, p *Panel, row *SurveyRow, sourceXM float64, builtM []float64, bands []Band) *Row {
	t.Helper()
	out, err := predictRow(context.Background(), &Survey{Panel: *p, Row: row, SourceM: [3]float64{sourceXM, 2, 0}}, builtM, bands, 343.2, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A row of one panel is the panel, in one piece or in parts, and with recovered depths it is the panel that has them.
func TestRowOfOne(t *testing.T) {
	p, bands := rowPanelOf(7, 500), thirds(400, 2300)
	far := func(p *Panel) *FarField {
		f, err := predictFarField(context.Background(), &Survey{Panel: *p, SourceM: [3]float64{0.5, 2, 0}}, bands, 343.2, func(float64) {})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	built := *p
	built.DepthsM = slices.Clone(p.DepthsM)
	built.DepthsM[2] -= 0.01
	whole, differs := far(p), far(&built)
	row := rowOf(t, p, &SurveyRow{Order: "D", Parts: []int{3, 4}}, 0.5, built.DepthsM, bands)
	for i, b := range row.Bands {
		what := fmt.Sprintf("%.0f Hz", b.CentreHz)
		near(t, what+": row", float64(b.Row), float64(whole.Bands[i].Panel), 1e-9, "the same equations")
		near(t, what+": flat", float64(b.Flat), float64(whole.Bands[i].Flat), 1e-9, "the same equations")
		near(t, what+": built", float64(b.Built), float64(differs.Bands[i].Panel), 1e-9, "the outside does not depend on the depths")
	}
	if row.Times != 1 || row.PeriodM.Known() || row.Polars[0].Lobes != nil || len(row.Boxes) != 2 || row.Search != nil {
		t.Errorf("got %+v", row)
	}
}

// Lobes of a row of equal panels stand at the grating angles, sin θ = mλ/period − sin ψ (Schroeder, J. Acoust. Soc. Am. 65 (1979) 958), and hold nearly all the energy; a
// row modulated by inverted panels has it between them too (Angus and McManmon, J. Audio Eng. Soc. 46 (1998) 1109, and Angus's papers before it; from memory).
func TestRowLobes(t *testing.T) {
	p, found := rowPanelOf(7, 500), 0
	for _, c := range []struct {
		row     SurveyRow
		sourceX float64
		hz      float64
	}{
		{SurveyRow{HalfFins: true}, 0, 2000}, {SurveyRow{HalfFins: true}, 2 * math.Tan(math.Pi/6), 2000}, {SurveyRow{GapM: 0.05}, 0, 1250}, {SurveyRow{}, -1, 3150},
	} {
		c.row.Order = "DDDDDDDD"
		s := &Survey{Panel: *p, Row: &c.row, SourceM: [3]float64{c.sourceX, 2, 0}}
		response := func(order string) (RowPolar, float64) {
			g := newRowRig(s, thirds(900, 3500), 343.2)
			g.letters, g.kinds = "DI", [][]scatter.Well{wellsOf(kindDepthsM(p, 'D')), wellsOf(kindDepthsM(p, 'I'))}
			row := &Row{Order: order}
			g.describeLayout(row)
			polar, err := g.polar(row, c.hz)
			if err != nil {
				t.Fatal(err)
			}
			inside, all, half := 0.0, 0.0, 343.2/c.hz/row.WidthM // half a lobe's width in sin θ
			for i, a := range polar.AngleDeg {
				e := math.Pow(10, float64(polar.RowDB[i])/10)
				all += e
				for _, l := range polar.Lobes {
					if math.Abs(math.Sin(a*math.Pi/180)-math.Sin(l.AngleDeg*math.Pi/180)) < half {
						inside += e
						break
					}
				}
			}
			return polar, inside / all
		}
		what := fmt.Sprintf("gap %g m, source at x = %g m, %g Hz", c.row.GapM, c.sourceX, c.hz)
		polar, concentrated := response(c.row.Order)
		_, spread := response("DDDIDDID")
		t.Logf("%s: within lobes %.3f of the energy, modulated %.3f", what, concentrated, spread)
		if concentrated < 0.85 || spread > concentrated-0.1 {
			t.Errorf("%s: %.2f of the energy within the lobes, %.2f when modulated", what, concentrated, spread)
		}
		top := slices.Max(polar.RowDB)
		for _, l := range polar.Lobes {
			if math.Abs(l.AngleDeg) > 70 || l.RowDB < top-20 { // a lobe where a single panel sends nothing is none
				continue
			}
			best := -1
			for i, a := range polar.AngleDeg {
				if math.Abs(a-l.AngleDeg) < 3 && (best < 0 || polar.RowDB[i] > polar.RowDB[best]) {
					best = i
				}
			}
			found++
			near(t, fmt.Sprintf("%s: lobe %d", what, l.M), polar.AngleDeg[best], l.AngleDeg, 1, "the issue's figure; a lobe is 3° to 9° wide")
			near(t, fmt.Sprintf("%s: level of lobe %d, dB", what, l.M), float64(l.RowDB), float64(polar.RowDB[best]), 0.5, "within the step of the angles")
		}
	}
	if found < 12 {
		t.Errorf("only %d lobes found", found)
	}
}

// N = 7, f0 = 500 Hz, c = 343 m/s, wells 50 mm apart: the orders at 2 kHz, as check-values.md has them.
func TestGratingAngles(t *testing.T) {
	for incidence, want := range map[float64][]float64{0: {-78.522, -29.341, 0, 29.341, 78.522}, 30: {-81.89, -30, -0.573, 28.685, 75.93}} {
		got := lobes(343./2000, 0.35, incidence*math.Pi/180)
		if len(got) != len(want) {
			t.Fatalf("from %g°: %v", incidence, got)
		}
		for i := range want {
			near(t, fmt.Sprintf("from %g°: order %d", incidence, got[i].M), got[i].AngleDeg, want[i], 0.005, "the last digit")
		}
	}
}

// A row and its mirror image, heard from mirrored places, give mirrored responses.
func TestMirroredRow(t *testing.T) {
	p := rowPanelOf(7, 500)
	p.DepthsM[3] = 0.02 // not its own mirror image anywhere
	p.Sequence, p.Prime = "explicit depths", 0
	bands := thirds(880, 1450)
	row, image := rowOf(t, p, &SurveyRow{Order: "DIMB", GapM: 0.02}, 0.8, nil, bands), rowOf(t, p, &SurveyRow{Order: "IDBM", GapM: 0.02}, -0.8, nil, bands)
	if len(row.Polars) == 0 || len(row.Bands) != len(bands) {
		t.Fatalf("%d polars, bands %+v", len(row.Polars), row.Bands)
	}
	for b := range bands {
		near(t, "diffusion", float64(row.Bands[b].Row), float64(image.Bands[b].Row), 1e-9, "rounding")
	}
	for i, polar := range row.Polars {
		n := len(polar.AngleDeg)
		for a := range n {
			near(t, fmt.Sprintf("%g Hz, %g°, dB", polar.FrequencyHz, polar.AngleDeg[a]), float64(polar.RowDB[a]), float64(image.Polars[i].RowDB[n-1-a]), 1e-5, "rounding, in notches")
		}
	}
}

// The search finds what trying every order by itself finds, one complete prediction each.
func TestSearchAgainstBruteForce(t *testing.T) {
	p, bands := rowPanelOf(5, 700), thirds(690, 1700)
	for _, sourceX := range []float64{0, 0.9} {
		in := &SurveyRow{Panels: 3, Kinds: "DIM", GapM: 0.03}
		row := rowOf(t, p, in, sourceX, nil, bands)
		psi := math.Atan2(sourceX, 2)
		brute := func(sourceM, receiverM float64, step int) map[string]float64 {
			means := map[string]float64{}
			var receivers []scatter.Place
			for a := -90; a <= 90; a += step {
				angle := float64(a) * math.Pi / 180
				receivers = append(receivers, placeAt([3]float64{receiverM * math.Sin(angle), receiverM * math.Cos(angle), 0}))
			}
			for _, b := range bands {
				energies := map[string][]float64{}
				for i := range 5 {
					hz := b.LowHz * math.Pow(b.HighHz/b.LowHz, (float64(i)+0.5)/5)
					section := newRowLayout(p, in, "DDD").section(0)
					e, err := scatter.SolveExterior(2*math.Pi*hz/343.2, &section, placeAt([3]float64{sourceM * math.Sin(psi), sourceM * math.Cos(psi), 0}), receivers, scatter.DefaultMesh)
					if err != nil {
						t.Fatal(err)
					}
					for code := range 27 {
						order := orderOf(code, "DIM", 3)
						field, err := e.Panel(newRowLayout(p, in, order).wells(), scatter.AirLosses(2*math.Pi*hz), nil)
						if err != nil {
							t.Fatal(err)
						}
						energy := make([]float64, len(field))
						for r, z := range field {
							energy[r] = squared(z)
						}
						energies[order] = plus(energies[order], energy)
					}
				}
				for order, energy := range energies {
					means[order] += float64(DiffusionCoefficient(energy)) / float64(len(bands))
				}
			}
			return means
		}
		means, far := brute(10, 5, 5), brute(farAwayM, farAwayM, 1)
		top := slices.Max(slices.Collect(maps.Values(means)))
		best, within := "", map[string]bool{}
		for order, mean := range means {
			if mean >= top-0.02 {
				within[order] = true
				if best == "" || far[order] > far[best] {
					best = order
				}
			}
		}
		near(t, "the suggested order's figure far away", far[row.Order], far[best], 1e-9, "orders that act alike may stand for one another")
		near(t, "the row's mean", float64(row.Mean), means[row.Order], 1e-9, "the same equations")
		near(t, "the best mean", float64(row.Search.Orders[0].Mean), top, 1e-9, "the same equations")
		if !within[row.Order] || row.Search.Close > len(within) {
			t.Errorf("%s suggested of %d, which are not %v", row.Order, row.Search.Close, within)
		}
		for i, o := range row.Search.Orders {
			near(t, o.Order+": mean", float64(o.Mean), means[o.Order], 1e-9, "the same equations")
			near(t, o.Order+": far away", float64(o.Far), far[o.Order], 1e-9, "the same equations")
			if i > 0 && (o.Rank <= row.Search.Orders[i-1].Rank || o.Mean > row.Search.Orders[i-1].Mean) {
				t.Errorf("%s: rank %d after %d", o.Order, o.Rank, row.Search.Orders[i-1].Rank)
			}
		}
		if row.Chosen != "search" || !row.Search.Exhaustive || row.Search.Possible != 27 {
			t.Errorf("got %+v", row.Search)
		}
		for i, o := range row.Search.Orders {
			near(t, o.Order+": mean", float64(o.Mean), means[o.Order], 1e-9, "the same equations")
			if i > 0 && (o.Rank <= row.Search.Orders[i-1].Rank || o.Mean > row.Search.Orders[i-1].Mean) {
				t.Errorf("%s: rank %d after %d", o.Order, o.Rank, row.Search.Orders[i-1].Rank)
			}
		}
	}
}

// Where there are too many orders for the wave equation, the wells' phases choose: what they choose is nearly as good as the best of all.
func TestScreen(t *testing.T) {
	p, bands := rowPanelOf(7, 500), thirds(490, 2600)
	rig := func(panels int) *rowRig {
		return newRowRig(&Survey{Panel: *p, Row: &SurveyRow{Panels: panels, Kinds: "DIMB"}, SourceM: [3]float64{0, 2, 0}}, bands, 343.2)
	}
	g := rig(4)
	var orders [][]int
	var names []string
	seen := map[string]bool{}
	for code := range 256 {
		if name := g.canonical(orderOf(code, "DIMB", 4)); !seen[name] {
			seen[name] = true
			orders, names = append(orders, g.numbers(name)), append(names, name)
		}
	}
	if len(orders) != 136 { // (4⁴ + 4²)/2: mirror images act alike, 16 orders are their own
		t.Errorf("%d orders that differ, want 136", len(orders))
	}
	energies, err := g.energies(context.Background(), orders, func(b int) bool { return g.design[b] }, linesPerBand, scatter.DefaultMesh, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	mean, best := map[string]float64{}, 0.0
	for i, name := range names {
		m, _, _ := g.mean(func(b int) []float64 { return energies.orders[b][i] })
		mean[name], best = float64(m), max(best, float64(m))
	}
	screened, count := g.newScreen(g.searched()).best(context.Background(), true, nil)
	kept := 0.0
	for _, name := range screened[:34] {
		kept = max(kept, mean[name])
	}
	t.Logf("%d screened; the best of the first quarter %.3f, of all %.3f", count, kept, best)
	atMost(t, "what the screen misses, mean diffusion coefficient", best-kept, 0.02, "a fiftieth of the scale is what bands differ by anyway")
	for _, panels := range []int{5, 6} {
		g := rig(panels)
		all, _ := g.newScreen(g.searched()).best(context.Background(), true, nil)
		climbed, count := g.newScreen(g.searched()).best(context.Background(), false, g.candidates())
		t.Logf("%d panels: %d screened by climbs; best %s, of all %s", panels, count, climbed[0], all[0])
		if climbed[0] != all[0] {
			t.Errorf("%d panels: climbs find %s, the best of all is %s", panels, climbed[0], all[0])
		}
	}
}

// Too many orders for the wave equation: the screen's best and the trade's candidates go on to it.
func TestLongSearch(t *testing.T) {
	p, bands := rowPanelOf(3, 800), thirds(780, 1300)
	for _, panels := range []int{5, 10} {
		row := rowOf(t, p, &SurveyRow{Panels: panels, Kinds: "DIMB"}, 0.7, nil, bands)
		s := row.Search
		if s.Exhaustive || s.Screened <= s.Tried || s.Tried < shortlist || len(row.Order) != panels {
			t.Errorf("%d panels: %+v", panels, s)
		}
		fourth := slices.IndexFunc(s.Orders, func(o RowOrder) bool { return o.What == everyFourth })
		if fourth < 0 || strings.Count(s.Orders[fourth].Order, "I") != panels/4 || s.Orders[fourth].Mean > row.Mean+equalMeans {
			t.Errorf("%d panels: every fourth inverted is not compared: %+v", panels, s.Orders)
		}
	}
}

func TestRowCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, row := range []*SurveyRow{{Order: "DD"}, {Panels: 10, Kinds: "DIMB"}} {
		if _, err := predictRow(ctx, &Survey{Panel: *rowPanelOf(5, 700), Row: row, SourceM: [3]float64{0, 2, 0}}, nil, thirds(690, 1700), 343.2, func(float64) {}); !errors.Is(err, context.Canceled) {
			t.Errorf("%+v: %v", row, err)
		}
	}
}

// A row too large for a band says so there and goes on.
func TestRowTooLarge(t *testing.T) {
	p := rowPanelOf(7, 500)
	p.WellWidthM, p.FinThicknessM = 0.012, 0.002
	seq := make([]float64, 0, 420)
	for range 60 {
		seq = append(seq, p.DepthsM...)
	}
	p.DepthsM = seq
	row := rowOf(t, p, &SurveyRow{Order: "DD"}, 0, nil, thirds(440, 720))
	for _, b := range row.Bands {
		if b.Row.Known() || !strings.Contains(b.Why, "boundary") && !strings.Contains(b.Why, "elements") {
			t.Errorf("got %+v", b)
		}
	}
	if row.Mean.Known() || len(row.Text) == 0 {
		t.Errorf("got %+v", row)
	}
}
