package analysis

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"
)

// BenchmarkRowPrime43 predicts a prime-43 structure of six boxes, 0.37 m deep, from 200 Hz to 4 kHz: coefficients in all third octaves and polar responses. The metric panels/row is
// its time over that of a panel of 13 wells in the same run. Six whole panels, a wall of 258 wells, take many times as long; -short leaves them out.
func BenchmarkRowPrime43(b *testing.B) {
	bands := thirds(177, 4500)
	predict := func(b *testing.B, p *Panel, row *SurveyRow) (*Row, time.Duration) {
		began := time.Now()
		out, err := predictRow(context.Background(), &Survey{Panel: *p, Row: row, SourceM: [3]float64{0, 2, 0}}, nil, bands, 343.2, func(float64) {})
		if err != nil {
			b.Fatal(err)
		}
		for _, band := range out.Bands {
			if !band.Row.Known() {
				b.Fatalf("%g Hz: %s", band.CentreHz, band.Why)
			}
		}
		return out, time.Since(began)
	}
	deep, small := rowPanelOf(43, 442), rowPanelOf(13, 1000)
	deep.WellWidthM, small.WellWidthM, deep.FinThicknessM, small.FinThicknessM = 0.04, 0.04, 0.005, 0.005
	if d := slices.Max(deep.DepthsM); d < 0.369 || d > 0.371 {
		b.Fatalf("%g m deep", d)
	}
	for _, c := range []struct {
		name string
		row  SurveyRow
	}{{"six boxes", SurveyRow{Order: "D", Parts: []int{7, 7, 7, 7, 7, 8}}}, {"wall", SurveyRow{Order: strings.Repeat("D", 6)}}} {
		b.Run(c.name, func(b *testing.B) {
			if c.name == "wall" && testing.Short() {
				b.Skip("long")
			}
			var whole, one time.Duration
			for b.Loop() {
				row, took := predict(b, deep, &c.row)
				if len(row.Boxes) != 6 {
					b.Fatalf("%d boxes", len(row.Boxes))
				}
				_, single := predict(b, small, &SurveyRow{Order: "D"})
				whole, one = whole+took, one+single
			}
			b.ReportMetric(float64(whole)/float64(one), "panels/row")
		})
	}
}
