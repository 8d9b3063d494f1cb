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

const polarWidth, polarHeight, polarX, polarY = 300.0, 172.0, 150.0, 152.0

// dial is the half circle on which levels are drawn: 0° (the panel's normal) points up, positive angles to the right, the rim is 0 dB (or a multiple of 5 above it where a
// level stands more than 0.5 dB over the rim), the centre 30 dB less.
type dial struct {
	pen
	angle []float64 // degrees
	top   float64   // dB at the rim
}

// newDial draws the rings and rays for levels over the angles.
func newDial(angle []float64, levels ...[]analysis.Num) *dial {
	d := &dial{angle: angle}
	for _, v := range levels {
		for i := range v {
			if x := at(v, i); finite(x) {
				d.top = math.Max(d.top, 5*math.Ceil((x-0.5)/5))
			}
		}
	}
	for db := 0.0; db > polarFloorDB; db -= 10 {
		r := d.radius(d.top + db)
		d.path("grid", fmt.Sprintf("M%s %sA%s %s 0 0 1 %s %s", coord(polarX-r), coord(polarY), coord(r), coord(r), coord(polarX+r), coord(polarY)))
		label := plainTick(d.top + db)
		if db == 0 {
			label += " dB"
		}
		d.text("t-quiet", "middle", polarX+r, polarY+12, label)
	}
	for deg := -90.0; deg <= 90; deg += 30 {
		x, y := d.point(deg, polarRadius)
		d.line("grid", polarX, polarY, x, y)
		x, y = d.point(deg, polarRadius+9)
		if math.Abs(deg) < 90 {
			d.text("t-quiet", "middle", x, y+3.5, degrees(deg)+"°")
		}
	}
	return d
}

func (d *dial) radius(db float64) float64 {
	return polarRadius * math.Max(0, (db-d.top-polarFloorDB)/-polarFloorDB)
}

func (d *dial) point(deg, r float64) (x, y float64) {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return polarX + r*sin, polarY - r*cos
}

// curve draws levels over the dial's angles.
func (d *dial) curve(class string, level []analysis.Num) {
	var pts [][2]float64
	for i, deg := range d.angle {
		db := at(level, i)
		if !finite(deg, db) || math.Abs(deg) > 90 {
			pts = append(pts, [2]float64{math.NaN(), 0})
			continue
		}
		x, y := d.point(deg, d.radius(db))
		pts = append(pts, [2]float64{x, y})
	}
	if path := polyline(pts, false); path != "" {
		d.path(class, path)
	}
}

// source draws an arrowhead at the rim where the sound comes from.
func (d *dial) source(deg float64) {
	if !finite(deg) || math.Abs(deg) > 90 {
		return
	}
	x1, y1 := d.point(deg, polarRadius-14)
	x2, y2 := d.point(deg-2.5, polarRadius-2)
	x3, y3 := d.point(deg+2.5, polarRadius-2)
	d.path("source", polyline([][2]float64{{x1, y1}, {x2, y2}, {x3, y3}}, true))
}

// polar draws one band's far field.
func polar(id string, ff *analysis.FarField, b analysis.FarFieldBand) template.HTML {
	d := newDial(ff.AngleDeg, b.PanelDB, b.FlatDB, b.TextbookDB)
	d.curve("c-flat", b.FlatDB)
	d.curve("c-textbook", b.TextbookDB)
	d.curve("c-panel", b.PanelDB)
	d.source(ff.SourceAngleDeg)
	return wrap(id, "Predicted polar response at "+hertz(b.CentreHz),
		"Half-circle chart of levels in decibels over the angle, 0 degrees up, for the panel, the flat board and the textbook formula. The numbers are in the table below the pictures.",
		polarWidth, polarHeight, d.String())
}
