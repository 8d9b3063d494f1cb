package analysis

import (
	"encoding/json"
	"math"
)

// Schema names the version of the result that this package writes.
const Schema = "leadline/result/1"

// Num is a number that may be unknown: NaN inside the program, null in JSON, never 0 for want of knowledge.
type Num float64

// Unknown is the Num that can't be known.
func Unknown() Num { return Num(math.NaN()) }

// Known reports whether n holds a finite number.
func (n Num) Known() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

// MarshalJSON writes the number unrounded, or null where it is unknown or not finite.
func (n Num) MarshalJSON() ([]byte, error) {
	if !n.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// UnmarshalJSON reads a number, or null as unknown.
func (n *Num) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Unknown()
		return nil
	}
	var f float64
	if err := json.Unmarshal(b, &f); err != nil {
		return err
	}
	*n = Num(f)
	return nil
}

// Interval is a 95 % interval, in the unit of the value it belongs to.
type Interval struct {
	Low  Num `json:"low"`
	High Num `json:"high"`
}

// Verdict is the outcome of a check; each maps to one exit code.
type Verdict string

// The three outcomes of a check.
const (
	AsDesigned Verdict = "as designed" // exit 0
	Differs    Verdict = "differs"     // exit 1
	Undecided  Verdict = "undecided"   // exit 3
)

// Result is everything a run found. JSON, HTML and text all render this one value and compute nothing.
// Levels are in dB, lengths in metres, times in seconds after the emission of the sound, frequencies in hertz,
// angles in degrees from the panel's normal, positive towards +x.
type Result struct {
	Schema   string   `json:"schema"`
	Kind     string   `json:"kind"` // "check" (measured and predicted) or "predict" (predicted only)
	Title    string   `json:"title"`
	Survey   string   `json:"survey"` // path of the survey file as given
	Verdict  Verdict  `json:"verdict"`
	Headline string   `json:"headline"` // the verdict in one plain sentence
	Reasons  []string `json:"reasons"`  // why, the weightiest first, in plain sentences
	ToDo     []string `json:"to_do"`    // what to do next, in the order of what it gains
	HowSure  []string `json:"how_sure"` // what the verdict rests on and what weakens it

	Air            Air         `json:"air"`
	Panel          PanelResult `json:"panel"`
	SourceM        [3]float64  `json:"source_m"`
	ToleranceM     float64     `json:"tolerance_m"`
	LevelReference string      `json:"level_reference"` // what the levels of positions refer to: "flat board's strongest position" or "direct sound at 1 m"
	Room           []Surface   `json:"room"`
	Spectrum       Range       `json:"spectrum"`
	Bands          []Band      `json:"bands"`
	Positions      []Position  `json:"positions"`
	Wells          []Well      `json:"wells"`
	Fit            *DepthFit   `json:"fit"`       // nil where no depths could be recovered
	Patterns       []string    `json:"patterns"`  // what several wrong wells have in common: exchanged, filled, mirrored
	FarField       *FarField   `json:"far_field"` // nil where no prediction was possible
	Row            *Row        `json:"row"`       // nil where the survey has no [row]
	TimeView       *TimeView   `json:"time_view"` // nil without measurements
	Seating        *Seating    `json:"seating"`   // nil where the survey names no seat
	Receivers      Receivers   `json:"receivers"`
	Warnings       []Warning   `json:"warnings"`
	Drift          []Drift     `json:"drift"`      // how the states with something there differ from the empty room; empty without one
	Recordings     *Recordings `json:"recordings"` // nil where the files are impulse responses

	LoudspeakerDivided bool     `json:"loudspeaker_divided"` // its colour and ringing were taken out before gating
	Method             []Note   `json:"method"`              // how each figure is made, with its source
	Caution            []string `json:"caution"`             // safety, in plain sentences
	Seen               []Seen   `json:"seen"`                // what each picture shows, in one sentence

	Responses *Responses `json:"responses"` // what was gated, around the gate; nil without measurements
}

// Air is the medium the run assumed.
type Air struct {
	SpeedOfSoundMS  float64 `json:"speed_of_sound_m_s"`
	TemperatureC    Num     `json:"temperature_c"`
	HumidityPercent Num     `json:"humidity_percent"`
	Source          string  `json:"source"` // "ISO 9613-1", "Cramer 1993" or "survey"
}

// PanelResult is the panel as the survey designs it, ready to be drawn.
type PanelResult struct {
	Sequence        string    `json:"sequence"` // "quadratic residue", "primitive root" or "explicit depths"
	Prime           int       `json:"prime"`    // 0 for explicit depths
	Periods         int       `json:"periods"`
	DesignFrequency Num       `json:"design_frequency_hz"`
	WidthM          float64   `json:"width_m"`  // outer
	HeightM         float64   `json:"height_m"` // outer
	DepthM          float64   `json:"depth_m"`  // outer: deepest well plus back
	WellWidthM      float64   `json:"well_width_m"`
	FinThicknessM   float64   `json:"fin_thickness_m"`
	WellCentreM     []float64 `json:"well_centre_m"` // x of each well's middle
	DesignDepthM    []float64 `json:"design_depth_m"`
}

// Surface is one flat surface of the room.
type Surface struct {
	Name   string  `json:"name"` // floor, ceiling, left, right, behind
	PlaceM float64 `json:"place_m"`
}

// Range says which frequencies can count and why they end where they do.
type Range struct {
	LowestUsableHz  Num    `json:"lowest_usable_hz"`
	HighestUsableHz Num    `json:"highest_usable_hz"`
	LowWhy          string `json:"low_why"`
	HighWhy         string `json:"high_why"`
	BandsPerOctave  int    `json:"bands_per_octave"` // 3 or 12
}

// Band is one fractional-octave band over all positions.
type Band struct {
	CentreHz              float64   `json:"centre_hz"`
	LowHz                 float64   `json:"low_hz"`
	HighHz                float64   `json:"high_hz"`
	Usable                bool      `json:"usable"`
	Why                   string    `json:"why"` // why not usable; empty where usable
	Diffusion             Diffusion `json:"diffusion"`
	CorrelationScattering Num       `json:"correlation_scattering"`
	CorrelationInterval   *Interval `json:"correlation_scattering_interval"`
	PredictedCorrelation  Num       `json:"predicted_correlation_scattering"`
	LevelDifferenceRMSDB  Num       `json:"level_difference_rms_db"` // predicted minus measured panel level, over the positions
	ToleranceDB           Num       `json:"tolerance_db"`            // what depth errors within tolerance and the model's own error would cause
	ResidualDB            Num       `json:"residual_db"`             // subtraction residual re the flat board's (or panel's) reflection, median over positions
	PositionsUsed         int       `json:"positions_used"`
}

// Diffusion holds directional diffusion coefficients (ISO 17497-2), 0 to 1; normalised ones may fall below 0.
type Diffusion struct {
	Panel               Num       `json:"panel"`
	Flat                Num       `json:"flat"`
	Normalised          Num       `json:"normalised"`
	PredictedPanel      Num       `json:"predicted_panel"`
	PredictedFlat       Num       `json:"predicted_flat"`
	PredictedNormalised Num       `json:"predicted_normalised"`
	PanelInterval       *Interval `json:"panel_interval"` // nil without repeated takes
	FlatInterval        *Interval `json:"flat_interval"`
	NormalisedInterval  *Interval `json:"normalised_interval"`
}

// Position is one microphone place. Slices over bands follow Result.Bands.
type Position struct {
	Name      string     `json:"name"`
	AngleDeg  float64    `json:"angle_deg"`
	DistanceM float64    `json:"distance_m"` // from the middle of the front face
	MicM      [3]float64 `json:"mic_m"`
	DirectS   Num        `json:"direct_s"`  // arrival of the direct sound
	ArrivalS  Num        `json:"arrival_s"` // arrival of the reflection off the middle of the front face
	Gate      Gate       `json:"gate"`
	Used      bool       `json:"used"` // counts in the figures over positions
	Why       string     `json:"why"`  // why not used; empty where used

	PanelDB         []Num       `json:"panel_db"`
	FlatDB          []Num       `json:"flat_db"`
	PredictedDB     []Num       `json:"predicted_panel_re_flat_db"`
	PredictedFlatDB []Num       `json:"predicted_flat_db"`
	PanelIntervalDB []Interval  `json:"panel_interval_db"` // empty without repeated takes
	FlatIntervalDB  []Interval  `json:"flat_interval_db"`
	PanelResidualDB []Num       `json:"panel_residual_db"` // what the subtraction leaves before the reflection, re that reflection
	FlatResidualDB  []Num       `json:"flat_residual_db"`
	Alignment       []Alignment `json:"alignment"` // one per take that was aligned to the reference state
	Comb            Comb        `json:"comb"`
}

// Gate is the time window on the reflection; times count from the emission.
type Gate struct {
	StartS  Num    `json:"start_s"`
	EndS    Num    `json:"end_s"`
	EndedBy string `json:"ended_by"` // floor, ceiling, left, right, behind, decay, recording, survey, ...
}

// Alignment is what was done to one take so that its direct sound matches that of the reference state.
type Alignment struct {
	State          string `json:"state"` // empty, flat or panel
	File           string `json:"file"`
	DelayS         Num    `json:"delay_s"`            // how much later the take was
	GainDB         Num    `json:"gain_db"`            // how much louder the take was
	ResidualBefore Num    `json:"residual_before_db"` // direct sound's residual re the direct sound
	ResidualAfter  Num    `json:"residual_after_db"`
	ClockPPM       Num    `json:"clock_ppm"` // by how much its recorder was the faster, re the reference take's; put right
	ShapedDB       Num    `json:"shaped_db"` // largest gain that depends on frequency, put right; 0 for none
}

// Comb is the signature of direct sound plus reflection at one microphone.
// The four scalars are those of the measured panel over the whole usable range (predicted where nothing was measured).
type Comb struct {
	DelayS         Num       `json:"delay_s"`
	ReflectionDB   Num       `json:"reflection_db"` // re the direct sound
	PeakToNotchDB  Num       `json:"peak_to_notch_db"`
	FirstNotchHz   Num       `json:"first_notch_hz"`
	Panel          CombTrace `json:"panel"`
	Flat           CombTrace `json:"flat"`
	PredictedPanel CombTrace `json:"predicted_panel"`
	PredictedFlat  CombTrace `json:"predicted_flat"`
}

// CombTrace is one comb signature per band; empty slices where there is none.
type CombTrace struct {
	ReflectionDB  []Num `json:"reflection_db"`    // per band, re the direct sound in the band
	PeakToNotchDB []Num `json:"peak_to_notch_db"` // per band
	NotchHz       []Num `json:"notch_hz"`         // notches found inside the usable range
}

// Well is one well: as designed and as built. Depths in metres.
type Well struct {
	Number          int     `json:"number"`
	DesignM         float64 `json:"design_m"`
	BuiltM          Num     `json:"built_m"`
	LowM            Num     `json:"low_m"`
	HighM           Num     `json:"high_m"`
	DifferenceM     Num     `json:"difference_m"` // built minus design
	Loss            Num     `json:"loss_db"`      // what the well swallows of its reflection, beside the walls' own air layers
	LossLow         Num     `json:"loss_low_db"`  // 95 % interval of the loss
	LossHigh        Num     `json:"loss_high_db"`
	GainInDiffusion Num     `json:"gain_in_diffusion"` // mean diffusion coefficient over the usable bands if this well alone were mended
	Verdict         string  `json:"verdict"`           // ok, shallow, deep, undecided
	Why             string  `json:"why"`               // why undecided, and what would decide it
}

// DepthFit says how the built depths were found.
type DepthFit struct {
	Misfit       float64       `json:"misfit"`        // rms of what the built depths leave unexplained, re the measured reflection
	DesignMisfit float64       `json:"design_misfit"` // the same for the design
	LowHz        float64       `json:"low_hz"`
	HighHz       float64       `json:"high_hz"`
	Positions    int           `json:"positions"`
	PathErrorM   float64       `json:"path_error_rms_m"` // of the reflection's path less that of the direct sound, as the fit finds it: positions, source, panel's front
	PanelOffsetM float64       `json:"panel_offset_x_m"` // how far the panel stands beside its place in the survey, as far as the paths tell
	Explanations []Explanation `json:"explanations"`     // the best first; a second one only where the data can't tell it from the first
}

// Explanation is one set of depths that fits the data, in words and figures.
type Explanation struct {
	Text   string    `json:"text"`
	Misfit float64   `json:"misfit"`
	DepthM []float64 `json:"depth_m"`
}

// FarField is the prediction far away from the panel (source and receivers at infinity on a half circle).
type FarField struct {
	SourceAngleDeg float64        `json:"source_angle_deg"`
	AngleDeg       []float64      `json:"angle_deg"`
	Bands          []FarFieldBand `json:"bands"` // follows Result.Bands
}

// FarFieldBand holds levels over the angles, in dB re the flat board's strongest angle.
type FarFieldBand struct {
	CentreHz   float64 `json:"centre_hz"`
	PanelDB    []Num   `json:"panel_db"`
	FlatDB     []Num   `json:"flat_db"`
	TextbookDB []Num   `json:"textbook_db"` // Fourier transform of the wells' phases, the textbook view
	Panel      Num     `json:"panel"`       // diffusion coefficients
	Flat       Num     `json:"flat"`
	Normalised Num     `json:"normalised"`
	Textbook   Num     `json:"textbook"`
}

// TimeView is the responses of one position around the gate, scaled to the direct sound's peak.
type TimeView struct {
	Position  string `json:"position"`
	TimeS     []Num  `json:"time_s"`
	Empty     []Num  `json:"empty"`
	Panel     []Num  `json:"panel"`
	PanelDiff []Num  `json:"panel_reflection"` // panel minus empty
	FlatDiff  []Num  `json:"flat_reflection"`  // empty without a flat board
	Window    []Num  `json:"window"`           // 0 to 1
	Gate      Gate   `json:"gate"`
	DirectS   Num    `json:"direct_s"`
	ArrivalS  Num    `json:"arrival_s"`
}

// Receivers says how the microphones stand, since the diffusion coefficient depends on it.
type Receivers struct {
	Count         int    `json:"count"`
	SmallestDeg   Num    `json:"smallest_deg"`
	LargestDeg    Num    `json:"largest_deg"`
	DistanceLowM  Num    `json:"distance_low_m"`
	DistanceHighM Num    `json:"distance_high_m"`
	Text          string `json:"text"` // in words: what differs from the standard's set-up and what that changes
}

// Warning is a doubt about the input or a figure: a stable code, a place and a sentence with the cure.
type Warning struct {
	Code  string `json:"code"`
	Where string `json:"where"`
	Text  string `json:"text"`
}

// Note is one line of the method: what is computed and where the way comes from.
type Note struct {
	Topic  string `json:"topic"`
	Text   string `json:"text"`
	Source string `json:"source"`
}
