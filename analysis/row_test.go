package analysis

import (
	"context"
	"testing"
	"time"

	"github.com/leadline/leadline/dsp"
)

func thirds() []Band {
	bands, err := dsp.FractionalOctaves(3, lowestBandHz, predictionEndHz)
	if err != nil {
		panic(err)
	}
	var out []Band
	for _, b := range bands {
		out = append(out, Band{CentreHz: b.CentreHz, LowHz: b.LowHz, HighHz: b.HighHz})
	}
	return out
}

func surveyOf(p *Panel, row *SurveyRow, sourceM ...float64) *Survey {
	s := &Survey{Panel: *p, Row: row, SourceM: [3]float64{0, 2, 0}}
	copy(s.SourceM[:], sourceM)
	return s
}

func TestTry(t *testing.T) {
	p := rowPanelOf(7, 500)
	began := time.Now()
	row, err := predictRow(context.Background(), surveyOf(p, &SurveyRow{Panels: 4, Kinds: "DIMB"}), nil, thirds(), 343.2, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(time.Since(began))
	for _, x := range row.Text {
		t.Log(x)
	}
	for _, o := range row.Search.Orders {
		t.Logf("%+v", o)
	}
	for _, b := range row.Bands {
		t.Logf("%+v", b)
	}
}
