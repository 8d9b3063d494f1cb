package analysis

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"testing"
)

// bandLevel computes the level of one position and band as the doc of Responses says, straight from its words: mean of takes, window, spectrum, source, mean over the band's hertz.
// shiftS moves the gate's end; the fall keeps its share of the gate.
func bandLevel(r *Responses, p *PositionResponses, takes []Samples, b Band, shiftS float64) float64 {
	w := p.Window
	share := (w.ClosedS - w.FallS) / (w.ClosedS - w.FullS)
	w.ClosedS += shiftS
	w.FallS = w.ClosedS - share*(w.ClosedS-w.FullS)
	shape := func(u float64) float64 { // half a Blackman–Harris window, 0 at u = 0 and 1 at u = 1
		a := math.Pi * u
		return 0.35875 - 0.48829*math.Cos(a) + 0.14128*math.Cos(2*a) - 0.01168*math.Cos(3*a)
	}
	sum := 0.0
	for k := range r.SourcePower {
		middle := float64(k) * r.StepHz
		hertz := math.Min(b.HighHz, middle+r.StepHz/2) - math.Max(b.LowHz, middle-r.StepHz/2)
		if hertz <= 0 || !r.SourcePower[k].Known() {
			continue
		}
		var x complex128
		for n := range takes[0] {
			t := p.StartS + float64(n)/p.SampleRateHz
			weight := 1.0
			switch {
			case t <= w.OpenS || t >= w.ClosedS:
				continue
			case t < w.FullS:
				weight = shape((t - w.OpenS) / (w.FullS - w.OpenS))
			case t > w.FallS:
				weight = shape((w.ClosedS - t) / (w.ClosedS - w.FallS))
			}
			mean := 0.0
			for _, take := range takes {
				mean += float64(take[n]) / float64(len(takes))
			}
			x += cmplx.Rect(weight*mean, 2*math.Pi*middle*t)
		}
		sum += hertz * (real(x)*real(x) + imag(x)*imag(x)) / float64(r.SourcePower[k])
	}
	return 10 * math.Log10(sum/(b.HighHz-b.LowHz))
}

// What the result keeps of the responses gives, gated anew by the doc's own words, the levels that the check found; and with the gate's end
// elsewhere those of a check whose survey ends the gate there.
func TestResponsesGiveTheLevels(t *testing.T) {
	first := benchResult(t, "room-b-panel-built-1")
	raw, err := json.Marshal(first.Responses)
	if err != nil {
		t.Fatal(err)
	}
	var kept Responses
	if err := json.Unmarshal(raw, &kept); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d positions in %d kB of JSON", len(kept.Positions), len(raw)/1000)
	s, err := LoadSurvey(filepath.Join("..", "fixtures", "virtual-bench", "room-b-panel-built-1.toml"))
	if err != nil {
		t.Fatal(err)
	}
	s.Gate.EndS = 0.0112
	second, err := Check(context.Background(), s, Options{BandsPerOctave: 3})
	if err != nil {
		t.Fatal(err)
	}
	for b, band := range second.Bands {
		if !band.Usable || !first.Bands[b].Usable {
			continue
		}
		for _, c := range []struct {
			name  string
			takes func(*PositionResponses) []Samples
			level func(*Position) Num
			r     *Result
			shift func(*PositionResponses) float64
		}{
			{"panel", func(p *PositionResponses) []Samples { return p.Panel }, func(p *Position) Num { return p.PanelDB[b] }, first, func(*PositionResponses) float64 { return 0 }},
			{"flat board", func(p *PositionResponses) []Samples { return p.Flat }, func(p *Position) Num { return p.FlatDB[b] }, first, func(*PositionResponses) float64 { return 0 }},
			{"panel, other gate", func(p *PositionResponses) []Samples { return p.Panel }, func(p *Position) Num { return p.PanelDB[b] }, second,
				func(p *PositionResponses) float64 { return 0.0112 - p.Window.ClosedS }},
		} {
			var offset float64
			for i := range c.r.Positions {
				p := &kept.Positions[i]
				d := float64(c.level(&c.r.Positions[i])) - bandLevel(&kept, p, c.takes(p), band, c.shift(p))
				if i == 0 {
					offset = d // the levels' reference in this band
				}
				near(t, fmt.Sprintf("%s at %s, %.0f Hz", c.name, c.r.Positions[i].Name, band.CentreHz), d, offset, 0.001, "samples are kept to seven digits")
			}
		}
	}
}

// The empty room put back gives what was recorded; the gated responses are silent outside the gate.
func TestAlignedResponses(t *testing.T) {
	r := benchResult(t, "room-b-panel-built-1")
	list := r.Aligned()
	if want := len(r.Positions) * 5; len(list) != want { // empty, flat and panel, the latter two gated too
		t.Fatalf("%d responses, want %d", len(list), want)
	}
	seen := map[string]bool{}
	v := r.TimeView
	for _, a := range list {
		if seen[a.Path] {
			t.Errorf("%s twice", a.Path)
		}
		seen[a.Path] = true
		if a.Position != v.Position {
			continue
		}
		want := v.Empty
		switch {
		case a.Gated && a.State == "panel":
			want = v.PanelDiff
		case a.Gated:
			want = v.FlatDiff
		case a.State == "panel":
			want = v.Panel
		case a.State == "flat":
			continue // its whole response isn't in the time view
		}
		first := int(math.Round((float64(v.TimeS[0]) - a.StartS) * a.SampleRateHz))
		scale := 0.0
		for i, y := range want {
			n := first + i
			if n < 0 || n >= len(a.Samples) {
				continue
			}
			w := 1.0
			if a.Gated {
				w = float64(v.Window[i])
			}
			if scale == 0 && math.Abs(float64(y)*w) > 0.05 {
				scale = a.Samples[n] / (float64(y) * w)
			}
		}
		for i, y := range want {
			n := first + i
			if n < 0 || n >= len(a.Samples) {
				continue
			}
			w := 1.0
			if a.Gated {
				w = float64(v.Window[i])
			}
			near(t, fmt.Sprintf("%s, sample %d", a.Path, n), a.Samples[n]/scale, float64(y)*w, 1e-5, "samples are kept to seven digits; the scale comes from one of them")
		}
	}
}

func TestSamplesJSON(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{`"AACAPwAAAMA="`, "[1 -2]"}, // IEEE 754: 1 is 0x3f800000, −2 is 0xc0000000
		{`""`, "[]"},
		{`null`, "[]"},
		{`"AACAPw"`, ""}, {`"AACA"`, ""}, {`"AADAfw=="`, ""}, {`12`, ""}, // no padding, three bytes, NaN, a number
	} {
		var s Samples
		err := json.Unmarshal([]byte(c.in), &s)
		if got := fmt.Sprint(s); err == nil && got != c.want || (err != nil) != (c.want == "") {
			t.Errorf("%s: %v, %v; want %s", c.in, s, err, c.want)
		}
	}
	b, err := json.Marshal(Samples{1, -2})
	if string(b) != `"AACAPwAAAMA="` {
		t.Errorf("%s, %v", b, err)
	}
}
