package report

import (
	_ "embed"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"github.com/leadline/leadline/analysis"
)

// live.js is the one script of a page. Without it, and on paper, the page is complete.
//
//go:embed live.js
var liveScript string

// liveData is what live.js reads: the points of the charts, and what the check kept of the responses. Names are short since they repeat.
type liveData struct {
	Charts []liveChart `json:"charts"`
	Gate   *liveGate   `json:"gate,omitempty"`
}

// liveChart is one drawn chart: where its axes lie in the drawing and the points of its named curves.
type liveChart struct {
	ID     string      `json:"id"`
	Area   [4]number   `json:"area"` // left, top, right, bottom, in units of the drawing
	X      [2]number   `json:"x"`    // the values at left and right
	LogX   bool        `json:"log,omitempty"`
	XName  string      `json:"xn"`
	XUnit  string      `json:"xu"`
	YUnit  string      `json:"yu"`
	Digits int         `json:"d"` // after the point, of y
	Curves []liveCurve `json:"s"`
}

type liveCurve struct {
	Name string   `json:"n"`
	X    []number `json:"x,omitempty"` // none where they are those of the curve before
	Y    []number `json:"y"`
}

// number is written to five digits, which no drawing shows; null where it isn't known.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if !finite(float64(n)) {
		return []byte("null"), nil
	}
	return []byte(strconv.FormatFloat(float64(n), 'g', 5, 64)), nil
}

// liveGate holds the responses and what is needed to gate them anew: see analysis.Responses for the formula.
type liveGate struct {
	StepHz    float64        `json:"step"`
	Power     []analysis.Num `json:"power"`
	Reference string         `json:"re"`   // what levels refer to
	Flat      bool           `json:"flat"` // levels refer to the flat board's strongest position in the band
	Bands     []liveBand     `json:"bands"`
	Positions []livePosition `json:"pos"`
}

type liveBand struct {
	Name   string  `json:"n"`
	MidHz  float64 `json:"c"`
	LowHz  float64 `json:"l"`
	HighHz float64 `json:"h"`
	Usable bool    `json:"u"`
}

type livePosition struct {
	Name      string         `json:"n"`
	AngleDeg  number         `json:"a"`
	Used      bool           `json:"u"`
	RateHz    float64        `json:"r"`
	StartS    float64        `json:"s"`
	Window    [4]float64     `json:"w"` // opens, full, falls, closed
	LimitS    analysis.Num   `json:"m"`
	Panel     []shortSamples `json:"p"`
	Flat      []shortSamples `json:"f"`
	Predicted []number       `json:"q"` // level per band
}

// shortSamples is a response in 16 bits: a base64 string of little-endian integers, times Scale. The rounding lies 98 dB below the response's peak.
type shortSamples struct {
	Scale float64 `json:"k"`
	Data  string  `json:"d"`
}

func shortened(x analysis.Samples) shortSamples {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(float64(v)))
	}
	if peak == 0 || !finite(peak) {
		return shortSamples{}
	}
	scale := peak / math.MaxInt16
	raw := make([]byte, 2*len(x))
	for i, v := range x {
		binary.LittleEndian.PutUint16(raw[2*i:], uint16(int16(math.Round(float64(v)/scale))))
	}
	return shortSamples{scale, base64.StdEncoding.EncodeToString(raw)}
}

// remember keeps the points of c's named curves for the script. area is where the axes lie.
func (s *sheet) remember(c *chart, area [4]float64) {
	name, unit := nameAndUnit(c.xLabel)
	l := liveChart{ID: c.id, X: [2]number{number(c.x.low), number(c.x.high)}, LogX: strings.HasPrefix(c.xLabel, "Frequency"), XName: name, XUnit: unit, Digits: 1}
	for i, v := range area {
		l.Area[i] = number(math.Round(10*v) / 10)
	}
	_, l.YUnit = nameAndUnit(c.yLabel)
	if c.y.high-c.y.low < 4 {
		l.Digits = 2
	}
	var before []float64
	for _, curve := range c.series {
		if curve.name == "" || !curve.drawn() {
			continue
		}
		k := liveCurve{Name: curve.name}
		if !same(before, curve.x) {
			k.X, before = toNumbers(curve.x), curve.x
		}
		k.Y = toNumbers(curve.y)
		l.Curves = append(l.Curves, k)
	}
	if l.Curves != nil {
		s.charts = append(s.charts, l)
	}
}

func same(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func toNumbers(v []float64) []number {
	out := make([]number, len(v))
	for i, x := range v {
		out[i] = number(x)
	}
	return out
}

// nameAndUnit parts "Angle (°)".
func nameAndUnit(label string) (name, unit string) {
	name, unit, _ = strings.Cut(strings.TrimSuffix(label, ")"), " (")
	return name, unit
}

// gate is what the script needs to gate the responses anew; nil where the result keeps none, or none that can be used.
func (m *maker) gate() *liveGate {
	r := m.r.Responses
	if r == nil || len(m.r.Bands) == 0 || len(r.Positions) == 0 || !finite(r.StepHz) || r.StepHz <= 0 {
		return nil
	}
	g := &liveGate{StepHz: r.StepHz, Power: r.SourcePower, Reference: m.levelReference(), Flat: strings.HasPrefix(m.r.LevelReference, "flat board")}
	for _, b := range m.r.Bands {
		if !finite(b.CentreHz, b.LowHz, b.HighHz) {
			return nil
		}
		g.Bands = append(g.Bands, liveBand{hertz(b.CentreHz), b.CentreHz, b.LowHz, b.HighHz, b.Usable})
	}
	for i := range min(len(m.r.Positions), len(r.Positions)) {
		p, q := m.r.Positions[i], r.Positions[i]
		w := q.Window
		if len(q.Panel) == 0 || !finite(q.SampleRateHz, q.StartS, w.OpenS, w.FullS, w.FallS, w.ClosedS) || q.SampleRateHz <= 0 || w.ClosedS <= w.FullS {
			continue // nothing was measured there
		}
		// What lies long before the gate can't come into it.
		skip := 0
		if early := (w.OpenS - 0.001 - q.StartS) * q.SampleRateHz; early > 0 && early < 1e6 {
			skip = int(early)
		}
		l := livePosition{Name: clean(p.Name), AngleDeg: number(p.AngleDeg), Used: p.Used, RateHz: q.SampleRateHz, StartS: q.StartS + float64(skip)/q.SampleRateHz,
			Window: [4]float64{w.OpenS, w.FullS, w.FallS, w.ClosedS}, LimitS: q.LimitS}
		for _, x := range q.Panel {
			l.Panel = append(l.Panel, shortened(x[min(skip, len(x)):]))
		}
		for _, x := range q.Flat {
			l.Flat = append(l.Flat, shortened(x[min(skip, len(x)):]))
		}
		for b := range m.r.Bands {
			l.Predicted = append(l.Predicted, number(at(p.PredictedDB, b)))
		}
		g.Positions = append(g.Positions, l)
	}
	if len(g.Positions) == 0 {
		return nil
	}
	return g
}

// try is the live part as the template sees it.
type try struct {
	Bands     []choice
	Positions []choice
	Takes     int
	Flat      bool
	Predicted bool
}

type choice struct {
	Value int
	Text  string
	First bool // chosen at first
}

// newTry lists the choices of the live part; nil where there is nothing to choose from.
func (m *maker) newTry(g *liveGate) *try {
	if g == nil {
		return nil
	}
	t := &try{}
	usable := m.usableBands()
	for i, b := range g.Bands {
		c := choice{i, b.Name, len(usable) > 0 && i == usable[len(usable)/2]}
		if !b.Usable {
			c.Text += " (not usable)"
		}
		t.Bands = append(t.Bands, c)
	}
	nearest := -1
	for i, p := range g.Positions {
		if nearest < 0 || math.Abs(float64(p.AngleDeg)) < math.Abs(float64(g.Positions[nearest].AngleDeg)) {
			nearest = i
		}
		t.Takes, t.Flat = max(t.Takes, len(p.Panel)), t.Flat || len(p.Flat) > 0
		for _, q := range p.Predicted {
			t.Predicted = t.Predicted || finite(float64(q))
		}
	}
	for i, p := range g.Positions {
		t.Positions = append(t.Positions, choice{i, fmt.Sprintf("%s (%s°)", shorten(p.Name, 40), degrees(float64(p.AngleDeg))), i == nearest})
	}
	return t
}

// TakeNumbers are 1 up to the largest number of takes that a position has.
func (t *try) TakeNumbers() []int {
	out := make([]int, t.Takes)
	for i := range out {
		out[i] = i + 1
	}
	return out
}

// dataBlock is d as JSON that can stand in a script element: encoding/json writes <, > and & as escapes, so that nothing in it ends the element.
func dataBlock(d liveData) (template.JS, error) {
	b, err := json.Marshal(d)
	if err != nil {
		return "", fmt.Errorf("report: the page's data: %w", err)
	}
	return template.JS(b), nil
}
