package report

import (
	"fmt"
	"html/template"
	"math"

	"github.com/leadline/leadline/analysis"
)

const (
	polarRadius  = 128.0
	polarFloorDB = -30.0
)

// polar draws one band's far field on a half circle: 0° (the panel's normal) points up, positive angles to the right, the rim is 0 dB
// (or a multiple of 5 above it where a level stands more than 0.5 dB over the rim), the centre 30 dB less.
func polar(id string, ff *analysis.FarField, b analysis.FarFieldBand) template.HTML {
	const w, cx, cy = 300.0, 150.0, 152.0
	top := 0.0
	for _, v := range [][]analysis.Num{b.PanelDB, b.FlatDB, b.TextbookDB} {
		for i := range v {
			if x := at(v, i); finite(x) {
				top = math.Max(top, 5*math.Ceil((x-0.5)/5))
			}
		}
	}
	radius := func(db float64) float64 {
		return polarRadius * math.Max(0, (db-top-polarFloorDB)/-polarFloorDB)
	}
	point := func(deg, r float64) (x, y float64) {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		return cx + r*sin, cy - r*cos
	}
	p := &pen{}
	for db := 0.0; db > polarFloorDB; db -= 10 {
		r := radius(top + db)
		p.path("grid", fmt.Sprintf("M%s %sA%s %s 0 0 1 %s %s", coord(cx-r), coord(cy), coord(r), coord(r), coord(cx+r), coord(cy)))
		label := plainTick(top + db)
		if db == 0 {
			label += " dB"
		}
		p.text("t-quiet", "middle", cx+r, cy+12, label)
	}
	for deg := -90.0; deg <= 90; deg += 30 {
		x, y := point(deg, polarRadius)
		p.line("grid", cx, cy, x, y)
		x, y = point(deg, polarRadius+9)
		if math.Abs(deg) < 90 {
			p.text("t-quiet", "middle", x, y+3.5, degrees(deg)+"°")
		}
	}
	curve := func(class string, level []analysis.Num) {
		var pts [][2]float64
		for i, deg := range ff.AngleDeg {
			db := at(level, i)
			if !finite(deg, db) || math.Abs(deg) > 90 {
				pts = append(pts, [2]float64{math.NaN(), 0})
				continue
			}
			x, y := point(deg, radius(db))
			pts = append(pts, [2]float64{x, y})
		}
		if d := polyline(pts, false); d != "" {
			p.path(class, d)
		}
	}
	curve("c-flat", b.FlatDB)
	curve("c-textbook", b.TextbookDB)
	curve("c-panel", b.PanelDB)
	if finite(ff.SourceAngleDeg) && math.Abs(ff.SourceAngleDeg) <= 90 {
		// An arrowhead at the rim shows where the sound comes from.
		x1, y1 := point(ff.SourceAngleDeg, polarRadius-14)
		x2, y2 := point(ff.SourceAngleDeg-2.5, polarRadius-2)
		x3, y3 := point(ff.SourceAngleDeg+2.5, polarRadius-2)
		p.path("source", polyline([][2]float64{{x1, y1}, {x2, y2}, {x3, y3}}, true))
	}
	centre := hertz(b.CentreHz)
	return wrap(id, "Predicted polar response at "+centre,
		"Half-circle chart of levels in decibels over the angle, 0 degrees up, for the panel, the flat board and the textbook formula. The numbers are in the table below the pictures.",
		w, 172, p.String())
}
