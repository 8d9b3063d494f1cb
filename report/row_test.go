package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/leadline/leadline/analysis"
)

// inventedRow is a row of four panels of two boxes each made up for the tests; nothing in it was predicted.
func inventedRow() *analysis.Row {
	row := &analysis.Row{
		Order: "DDID", Chosen: "search", WidthM: 2.4, DepthM: 0.1, WellWidthM: 0.1, PitchM: 0.6, PeriodM: analysis.Unknown(), Times: 1,
		SourceAngleDeg: 0, SourceM: 10.5, ReceiverM: 5.25, LinesPerBand: 5, DesignLowHz: 500, DesignHighHz: 1700, Mean: 0.52, MeanEqual: 0.37, MeanFlat: 0.14,
		Kinds: []analysis.RowKind{{Letter: "D", Name: "as designed", DepthM: []float64{0, 0.02, 0.08, 0.08, 0.02}}, {Letter: "I", Name: "inverted", DepthM: []float64{0, 0.08, 0.02, 0.02, 0.08}}},
		Text:  []string{"4 panels that touch, 2.4 m wide in all.", "Equal panels repeat every 0.6 m."},
		Search: &analysis.RowSearch{Kinds: "DI", Possible: 16, Tried: 16, Close: 2, Suggested: "DDID", Exhaustive: true, Text: "The search compared 16 orders.", Orders: []analysis.RowOrder{
			{Order: "DDID", Rank: 1, Mean: 0.52, Far: 0.44, Lowest: 0.3, LowestHz: 1000, Suggested: true},
			{Order: "DDDI", Rank: 4, Mean: 0.45, Far: 0.42, Lowest: 0.2, LowestHz: 794.328, What: "every fourth inverted (common practice, no source)"},
			{Order: "DDDD", Rank: 16, Mean: 0.37, Far: 0.3, Lowest: 0.1, LowestHz: analysis.Unknown(), What: "all as designed"},
		}},
	}
	for i, kind := range row.Order {
		x := -1.2 + 0.6*float64(i)
		row.Panels = append(row.Panels, analysis.RowPanel{Kind: string(kind), X0M: x, X1M: x + 0.6})
		row.Boxes = append(row.Boxes, analysis.RowBox{Panel: i + 1, FirstWell: 1, Wells: 2, LeftFinM: 0.02, RightFinM: 0.01, X0M: x, X1M: x + 0.24},
			analysis.RowBox{Panel: i + 1, FirstWell: 3, Wells: 3, LeftFinM: 0.01, RightFinM: 0.02, X0M: x + 0.24, X1M: x + 0.6})
		for j := range 5 {
			row.WellCentreM = append(row.WellCentreM, x+0.07+0.115*float64(j))
			row.WellDepthM = append(row.WellDepthM, row.Kinds[map[rune]int{'D': 0, 'I': 1}[kind]].DepthM[j])
		}
	}
	for k := range 18 {
		hz := 100 * math.Pow(10, float64(k)/10)
		b := analysis.RowBand{CentreHz: hz, Design: hz > 490 && hz < 1700, Row: analysis.Num(0.5 + 0.2*math.Sin(float64(k))), Equal: analysis.Num(0.4 + 0.2*math.Cos(float64(k))), Flat: 0.14, Normalised: 0.4, Built: 0.45}
		if k == 17 {
			b.Row, b.Equal, b.Flat, b.Normalised, b.Built, b.Why = analysis.Unknown(), analysis.Unknown(), analysis.Unknown(), analysis.Unknown(), analysis.Unknown(), "the row takes too many elements"
		}
		row.Bands = append(row.Bands, b)
	}
	for _, hz := range []float64{1000, 1584.893} {
		p := analysis.RowPolar{FrequencyHz: hz}
		for a := -90.0; a <= 90; a++ {
			sin := math.Sin(a * math.Pi / 180)
			p.AngleDeg = append(p.AngleDeg, a)
			p.RowDB = append(p.RowDB, analysis.Num(-8+4*math.Sin(20*sin)))
			p.EqualDB = append(p.EqualDB, analysis.Num(-12+10*math.Cos(2*math.Pi*hz*0.6/344*sin)))
			p.FlatDB = append(p.FlatDB, analysis.Num(-30*math.Abs(sin)))
		}
		for m := -2; m <= 2; m++ {
			if s := float64(m) * 344 / hz / 0.6; math.Abs(s) <= 1 {
				p.Lobes = append(p.Lobes, analysis.RowLobe{M: m, AngleDeg: math.Asin(s) * 180 / math.Pi, RowDB: -8, EqualDB: -2})
				p.Own = append(p.Own, analysis.RowLobe{M: 2 * m, AngleDeg: math.Asin(s/2) * 180 / math.Pi, RowDB: -8, EqualDB: -2})
			}
		}
		row.Polars = append(row.Polars, p)
	}
	return row
}

// The row's pictures: every panel with its letter, a stroke at the rim for every lobe, the orders with what they are known for.
func TestRow(t *testing.T) {
	page := parse(t, render(t, invented()))
	plan := page.inside("row")
	if len(plan) != 2 {
		t.Fatalf("%d drawings of the row", len(plan))
	}
	letters := ""
	for _, text := range plan[0].all("text") {
		if text.attr["class"] == "t-strong" {
			letters += text.text
		}
	}
	if letters != "DDID" {
		t.Errorf("letters %q", letters)
	}
	if n := len(plan[0].classed("well")); n != 16 { // the first well of each panel has no depth
		t.Errorf("%d wells drawn", n)
	}
	row := inventedRow()
	for i, polar := range page.inside("rowpolar") {
		lobes := polar.classed("lobe")
		if len(lobes) != len(row.Polars[i].Lobes) || len(polar.classed("ownlobe")) != len(row.Polars[i].Own) {
			t.Fatalf("%d lobes drawn, %d in the data", len(lobes), len(row.Polars[i].Lobes))
		}
		for j, l := range lobes {
			v := numbers(t, strings.NewReplacer("M", " ", "L", " ").Replace(l.attr["d"]))
			got := math.Atan2(v[2]-polarX, polarY-v[3]) * 180 / math.Pi
			if want := row.Polars[i].Lobes[j].AngleDeg; math.Abs(got-want) > 0.1 {
				t.Errorf("lobe drawn at %.2f°, want %.2f°: a tenth of a pixel is 0.05° at the rim", got, want)
			}
		}
	}
	var b bytes.Buffer
	if err := HTML(&b, invented()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"every fourth inverted (common practice, no source)", "D D I D", "suggested", "Boxes to build", "I: inverted", "yes", "no: the row takes too many elements", "lobes of equal panels at −35°, 0°, "} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	without := invented()
	without.Row = nil
	if p := parse(t, render(t, without)); len(p.inside("row"))+len(p.inside("rowpolar")) != 0 {
		t.Error("pictures of a row that is not there")
	}
	equal := invented()
	equal.Row.Order = "DDDD"
	if p := parse(t, render(t, equal)); len(p.inside("rowpolar")[0].classed("c-textbook")) != 0 {
		t.Error("panels as designed are compared with themselves")
	}
}
