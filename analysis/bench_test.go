package analysis

import (
	"context"
	"math"
	"testing"
	"time"
)

// BenchmarkDepthFit times one fit with its hypotheses, 13 wells and 25 positions, against one plain prediction of the same panel
// at the same positions, in the same run: the metric predictions/fit is their ratio. The exterior is solved once, outside the fit.
func BenchmarkDepthFit(b *testing.B) {
	for _, name := range []string{"room-a-panel-as-designed", "room-a-panel-built-2"} {
		b.Run(name, func(b *testing.B) {
			s, err := LoadSurvey("../fixtures/virtual-bench/" + name + ".toml")
			if err != nil {
				b.Fatal(err)
			}
			var kept []SurveyPosition
			for _, p := range s.Positions {
				if math.Abs(math.Atan2(p.MicM[0], p.MicM[1])) < 61*math.Pi/180 {
					kept = append(kept, p)
				}
			}
			s.Positions = kept
			ctx := context.Background()
			r, err := newRun(s, Options{BandsPerOctave: 3}, "check")
			if err != nil {
				b.Fatal(err)
			}
			if err := r.measure(ctx); err != nil {
				b.Fatal(err)
			}
			r.chooseRange()
			var predicting, fitting time.Duration
			for b.Loop() {
				began := time.Now()
				if err := r.predict(ctx, s.Panel.DepthsM); err != nil {
					b.Fatal(err)
				}
				predicting += time.Since(began)
				if r.panel == nil {
					r.transferFunctions()
				}
				fit := r.fitData()
				began = time.Now()
				if _, err := fit.recoverDepths(ctx); err != nil {
					b.Fatal(err)
				}
				fitting += time.Since(began)
			}
			b.ReportMetric(float64(fitting)/float64(predicting), "predictions/fit")
		})
	}
}
