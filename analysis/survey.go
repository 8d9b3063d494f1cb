package analysis

import "errors"

// Survey is one survey file, read and checked. Lengths in metres, times in seconds, frequencies in hertz, temperatures
// in degrees Celsius; axes with the origin in the middle of the panel's front face, x to the right along the front as
// drawn from above, y out of the panel, z up.
type Survey struct {
	Path       string // as given
	Title      string
	ToleranceM float64
	Air        AirInput
	Panel      Panel
	SourceM    [3]float64
	Room       []Surface // in the order floor, ceiling, left, right, behind; only those given
	Sweep      *Sweep    // nil where the recordings are impulse responses
	Gate       GateInput
	Channel    int // 1-based channel of the microphone in the WAV files
	Positions  []SurveyPosition
	Warnings   []Warning
}

// Panel is the panel as designed.
type Panel struct {
	Sequence          string // "quadratic residue", "primitive root" or "explicit depths"
	Prime             int    // 0 for explicit depths
	Periods           int
	DesignFrequencyHz Num
	DepthsM           []float64 // well by well over all periods, from the lowest x
	WellWidthM        float64
	FinThicknessM     float64
	HeightM           float64 // outer
	CapM              float64 // thickness of the closed top and bottom of the wells
	BackM             float64 // what stands behind the deepest well
}

// WidthM is the outer width: the wells, a fin between each two, and one at either end.
func (p *Panel) WidthM() float64 {
	n := float64(len(p.DepthsM))
	return n*p.WellWidthM + (n+1)*p.FinThicknessM
}

// OuterDepthM is the deepest well and the back behind it.
func (p *Panel) OuterDepthM() float64 {
	deepest := 0.0
	for _, d := range p.DepthsM {
		deepest = max(deepest, d)
	}
	return deepest + p.BackM
}

// WellCentreM is the x of the middle of well i, counted from 0 at the lowest x.
func (p *Panel) WellCentreM(i int) float64 {
	return -p.WidthM()/2 + p.FinThicknessM + p.WellWidthM/2 + float64(i)*(p.WellWidthM+p.FinThicknessM)
}

// Sweep is the exponential sweep that was played, or the file or channel that holds it.
type Sweep struct {
	LowHz, HighHz, Seconds float64 // 0 where File is given
	File                   string  // resolved path; empty where the three are given
	LoopbackChannel        int     // 1-based; 0 for none
}

// GateInput is the optional [gate] table, an addition to the contract: start_s and end_s set the gate by hand,
// in seconds after the emission of the sound. Unknown where not given.
type GateInput struct {
	StartS, EndS Num
}

// SurveyPosition is one microphone place and its recordings.
type SurveyPosition struct {
	Name    string
	MicM    [3]float64
	Empty   []string // resolved paths, one per take
	Flat    []string
	Panel   []string
	Channel int // 1-based
	Line    int // of its [[position]] in the survey file
}

// SurveyError is one fault of a survey file.
type SurveyError struct {
	File         string
	Line, Column int // 1-based; 0 where the fault has no place in the file
	Key          string
	Found        string
	Expected     string
	Do           string
}

func (e *SurveyError) Error() string { return e.File + ": " + e.Found }

// LoadSurvey reads and checks a survey file.
func LoadSurvey(path string) (*Survey, error) { return nil, errors.New("survey: not written yet") }

// ParseSurvey reads and checks a survey held in memory.
func ParseSurvey(data []byte, path string) (*Survey, error) {
	return nil, errors.New("survey: not written yet")
}

// CheckFiles reports the first named file that is missing or not a regular file.
func (s *Survey) CheckFiles() error { return errors.New("survey: not written yet") }
