package analysis

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/leadline/leadline/dsp"
)

// Samples is a stretch of a response. In JSON it is one base64 string (RFC 4648, with padding) of 32-bit little-endian floats (IEEE 754).
type Samples []float32

// MarshalJSON writes the samples as base64.
func (s Samples) MarshalJSON() ([]byte, error) {
	raw := make([]byte, 4*len(s))
	for i, v := range s {
		binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(v))
	}
	return json.Marshal(base64.StdEncoding.EncodeToString(raw))
}

// UnmarshalJSON reads what MarshalJSON writes, or null as no samples. It errs where that is no base64, no whole number of samples, or holds NaN or infinity.
func (s *Samples) UnmarshalJSON(b []byte) error {
	var text string
	if err := json.Unmarshal(b, &text); err != nil {
		return fmt.Errorf("samples: expected a base64 string: %w", err)
	}
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return fmt.Errorf("samples: %w", err)
	}
	if len(raw)%4 != 0 {
		return fmt.Errorf("samples: %d bytes: expected four for each sample", len(raw))
	}
	out := make(Samples, len(raw)/4)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		if v := float64(out[i]); math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("samples: sample %d is not a finite number", i)
		}
	}
	*s = out
	return nil
}

// Responses holds, around the gate, what was gated: enough to gate it anew. The mean of a position's takes times the window, its spectrum
// X(f) = Σ x[n] e^{+j2πf t_n} at f = k·StepHz, |X|²/SourcePower[k], and the mean of that over a band's hertz is, in dB and but for one number per band, the reflected level.
type Responses struct {
	StepHz      float64             `json:"step_hz"`
	SourcePower []Num               `json:"source_power"` // |S(k·StepHz)|² of the loudspeaker, in the samples' unit squared at 1 m; unknown outside the bands
	Positions   []PositionResponses `json:"positions"`    // follow Result.Positions
}

// PositionResponses are one position's responses, aligned in time and level. Sample n stands at StartS + n/SampleRateHz seconds after the emission.
type PositionResponses struct {
	SampleRateHz float64   `json:"sample_rate_hz"`
	StartS       float64   `json:"start_s"`
	Window       Window    `json:"window"`
	LimitS       Num       `json:"limit_s"`    // the latest end of the gate: there the first echo that isn't the panel's comes in, or the recording ends
	Subtracted   float64   `json:"subtracted"` // share of Empty that was taken off; 0 without an empty room
	Empty        Samples   `json:"empty"`      // mean of the takes; empty without an empty room
	Panel        []Samples `json:"panel"`      // each take less Subtracted × Empty, not yet windowed
	Flat         []Samples `json:"flat"`
}

// Window is the gate's shape: 0 up to OpenS, half a Blackman–Harris window up to FullS, 1 up to FallS, another half down to ClosedS, 0 from there; seconds after the emission.
type Window struct {
	OpenS   float64 `json:"open_s"`
	FullS   float64 `json:"full_s"`
	FallS   float64 `json:"fall_s"`
	ClosedS float64 `json:"closed_s"`
}

// keptPositions is the largest number of positions of which a result keeps the responses: some 5 megabytes.
var keptPositions = 200

// keepGated drops the samples that a gate doesn't see.
func (m *measuredPosition) keepGated(g dsp.GateWindow) {
	const beside = 2 // samples, so that rounding of times takes none away
	from := max(0, int((g.OpenS-m.startS)*m.sampleRateHz)-beside)
	to := int((g.ClosedS-m.startS)*m.sampleRateHz) + beside + 1
	cut := func(x []float64) []float64 {
		return slices.Clone(x[min(from, len(x)):max(min(from, len(x)), min(to, len(x)))])
	}
	if m.empty != nil {
		m.empty = cut(m.empty)
	}
	for _, set := range [][][]float64{m.panel, m.flat} {
		for n := range set {
			set[n] = cut(set[n])
		}
	}
	m.startS += float64(from) / m.sampleRateHz
	m.gatedOnly = true
}

// keepResponses cuts the responses of every position around its gate.
func (r *run) keepResponses() {
	if len(r.positions) > keptPositions {
		r.warn(Warning{"responses", "", fmt.Sprintf("there are more than %d positions, so the result keeps no responses: they can't be gated anew in the report", keptPositions)})
		return
	}
	out := &Responses{StepHz: r.grid.stepHz}
	for k := range r.source {
		power := Unknown()
		if k >= r.grid.first && k <= r.grid.last && r.source[k] != 0 {
			power = Num(squared(r.source[k]))
		}
		out.SourcePower = append(out.SourcePower, power)
	}
	for i, m := range r.positions {
		g := r.gates[i]
		w := g.window
		after := max(0.003, 0.5*(w.ClosedS-w.OpenS)) // room to move the gate's end
		from := max(0, int((min(m.directS-0.001, w.OpenS)-m.startS)*m.sampleRateHz))
		to := min(len(m.panel[0]), int((w.ClosedS+after-m.startS)*m.sampleRateHz))
		cut := func(x []float64) Samples {
			s := make(Samples, 0, max(0, to-from))
			for n := from; n < min(to, len(x)); n++ {
				s = append(s, float32(x[n]))
			}
			return s
		}
		p := PositionResponses{SampleRateHz: m.sampleRateHz, StartS: m.startS + float64(from)/m.sampleRateHz,
			Window: Window{w.OpenS, w.FullS, w.FallS, w.ClosedS}, LimitS: Num(w.FullS + g.limitS), Subtracted: m.subtracted}
		if m.empty != nil {
			p.Empty = cut(m.empty)
		}
		for _, x := range m.panel {
			p.Panel = append(p.Panel, cut(x))
		}
		for _, x := range m.flat {
			p.Flat = append(p.Flat, cut(x))
		}
		out.Positions = append(out.Positions, p)
	}
	r.result.Responses = out
}

// AlignedResponse is one response ready to be written as a WAV file of its own. Sample n stands at StartS + n/SampleRateHz seconds after the emission.
type AlignedResponse struct {
	Path         string // folder/name.wav, with / whatever the system; safe on common file systems, no two alike
	Position     string
	State        string // empty, flat or panel
	Take         int    // from 1; 0 for a mean of takes
	Gated        bool   // empty room subtracted and the gate's window applied; otherwise as aligned, nothing subtracted
	SampleRateHz float64
	StartS       float64
	Samples      []float64
}

// Aligned lists the responses that a check kept: as aligned (folder aligned), and with the empty room subtracted and the gate applied (folder gated), around the gate.
// Empty where r holds none.
func (r *Result) Aligned() []AlignedResponse {
	if r.Responses == nil {
		return nil
	}
	var out []AlignedResponse
	taken := map[string]bool{}
	for i := range min(len(r.Positions), len(r.Responses.Positions)) {
		p := &r.Responses.Positions[i]
		name := fileName(r.Positions[i].Name)
		for n := 2; taken[strings.ToLower(name)]; n++ {
			name = fmt.Sprintf("%s_%d", fileName(r.Positions[i].Name), n)
		}
		taken[strings.ToLower(name)] = true
		add := func(state string, take int, gated bool, sample func(n int) float64, count int) {
			a := AlignedResponse{Position: r.Positions[i].Name, State: state, Take: take, Gated: gated, SampleRateHz: p.SampleRateHz, StartS: p.StartS, Samples: make([]float64, count)}
			folder, suffix := "aligned", ""
			if gated {
				folder = "gated"
			}
			if take > 1 {
				suffix = fmt.Sprintf(".take%d", take)
			}
			a.Path = folder + "/" + name + "-" + state + suffix + ".wav"
			for n := range a.Samples {
				a.Samples[n] = sample(n)
			}
			out = append(out, a)
		}
		if len(p.Empty) > 0 {
			add("empty", 0, false, func(n int) float64 { return float64(p.Empty[n]) }, len(p.Empty))
		}
		w := dsp.GateWindow(p.Window)
		for _, set := range []struct {
			state string
			takes []Samples
		}{{"flat", p.Flat}, {"panel", p.Panel}} {
			for k, x := range set.takes {
				add(set.state, k+1, false, func(n int) float64 {
					whole := float64(x[n])
					if n < len(p.Empty) {
						whole += p.Subtracted * float64(p.Empty[n])
					}
					return whole
				}, len(x))
				add(set.state, k+1, true, func(n int) float64 { return float64(x[n]) * w.At(p.StartS+float64(n)/p.SampleRateHz) }, len(x))
			}
		}
	}
	return out
}
