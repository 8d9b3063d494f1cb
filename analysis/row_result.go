package analysis

// Row is the prediction of several panels side by side as one finite structure. Lengths in metres, angles in degrees from the normal, frequencies in hertz.
// Letters: D as designed, I inverted, M mirrored, B both.
type Row struct {
	Order       string     `json:"order"`  // a letter per panel, from the lowest x
	Chosen      string     `json:"chosen"` // who chose the order: "survey" or "search"
	Kinds       []RowKind  `json:"kinds"`
	Panels      []RowPanel `json:"panels"`
	Boxes       []RowBox   `json:"boxes"` // to be built, from the lowest x
	WidthM      float64    `json:"width_m"`
	DepthM      float64    `json:"depth_m"` // outer, of all boxes
	GapM        float64    `json:"gap_m"`
	WellWidthM  float64    `json:"well_width_m"`
	WellCentreM []float64  `json:"well_centre_m"`
	WellDepthM  []float64  `json:"well_depth_m"`

	PitchM  float64 `json:"pitch_m"`  // from one panel to the next
	PeriodM Num     `json:"period_m"` // after which the row's wells repeat themselves; unknown where they don't
	Times   int     `json:"times"`    // how often the period is there; 1 without repetition

	SourceAngleDeg float64    `json:"source_angle_deg"`
	SourceM        float64    `json:"source_distance_m"` // of the diffusion coefficients
	ReceiverM      float64    `json:"receiver_distance_m"`
	LinesPerBand   int        `json:"lines_per_band"` // frequencies averaged in a band
	DesignLowHz    float64    `json:"design_low_hz"`  // the band over which orders are judged
	DesignHighHz   float64    `json:"design_high_hz"`
	Bands          []RowBand  `json:"bands"` // follows Result.Bands
	Mean           Num        `json:"mean"`  // of the row's diffusion coefficient over the bands of the design band
	MeanEqual      Num        `json:"mean_equal"`
	MeanBuilt      Num        `json:"mean_built"` // unknown without recovered depths
	MeanFlat       Num        `json:"mean_flat"`
	Polars         []RowPolar `json:"polars"`

	Search *RowSearch `json:"search"` // nil where the survey asks for none
	Text   []string   `json:"text"`   // what the figures say, in plain sentences
}

// RowBand holds diffusion coefficients of one band, in the arrangement of Row. Unknown where the row is too large to be predicted at the band's frequencies.
type RowBand struct {
	CentreHz   float64 `json:"centre_hz"`
	Design     bool    `json:"design"` // counts in the means
	Row        Num     `json:"row"`
	Equal      Num     `json:"equal"` // as many panels as designed
	Flat       Num     `json:"flat"`  // a flat board of the row's size
	Normalised Num     `json:"normalised"`
	Built      Num     `json:"built"` // the row with the recovered depths in its panels D and M; unknown without
	Why        string  `json:"why"`   // why unknown
}

// RowPolar is the response far away at one frequency, a band's centre: levels in dB re the flat board's strongest angle.
type RowPolar struct {
	FrequencyHz float64   `json:"frequency_hz"`
	AngleDeg    []float64 `json:"angle_deg"`
	RowDB       []Num     `json:"row_db"`
	EqualDB     []Num     `json:"equal_db"` // as many panels as designed
	FlatDB      []Num     `json:"flat_db"`
	Lobes       []RowLobe `json:"lobes"`     // of equal panels, from the lowest angle
	Own         []RowLobe `json:"own_lobes"` // of the row's own repetition, where it has another period; at most 60
}

// RowLobe is a direction in which repeated parts add up: sin θ = mλ/period − sin ψ, ψ the source's direction.
type RowLobe struct {
	M        int     `json:"m"`
	AngleDeg float64 `json:"angle_deg"`
	RowDB    Num     `json:"row_db"` // there, in the scale of the polar responses
	EqualDB  Num     `json:"equal_db"`
}

// RowSearch says how the order was searched.
type RowSearch struct {
	Kinds      string     `json:"kinds"`      // the letters that were tried
	Possible   float64    `json:"possible"`   // orders of these letters, mirror images counted once where they act alike
	Screened   int        `json:"screened"`   // orders judged by the wells' phases alone; 0 where all went to the wave equation
	Tried      int        `json:"tried"`      // orders judged by the wave equation
	Close      int        `json:"close"`      // of them so near the best mean that they count as equal
	Suggested  string     `json:"suggested"`  // of these the most even far away
	Exhaustive bool       `json:"exhaustive"` // all possible ones were tried
	Orders     []RowOrder `json:"orders"`     // the best, the suggested, those of the trade and the worst of the tried, the best first
	Text       string     `json:"text"`
}

// RowOrder is one order with its figures.
type RowOrder struct {
	Order     string `json:"order"`
	Rank      int    `json:"rank"`      // among the tried, from 1
	Mean      Num    `json:"mean"`      // diffusion coefficient, mean over the bands of the design band
	Lowest    Num    `json:"lowest"`    // of one of these bands
	LowestHz  Num    `json:"lowest_hz"` // its centre
	Far       Num    `json:"far"`       // the same mean with source and 181 receivers far away
	Suggested bool   `json:"suggested"`
	What      string `json:"what"` // what the order is known for; empty for most
}

// RowKind is what one letter of an order stands for.
type RowKind struct {
	Letter string    `json:"letter"`
	Name   string    `json:"name"`
	DepthM []float64 `json:"depth_m"` // from the lowest x
}

// RowPanel is one panel of a row.
type RowPanel struct {
	Kind string  `json:"kind"`
	X0M  float64 `json:"x0_m"`
	X1M  float64 `json:"x1_m"`
}

// RowBox is one box of a row: a panel, or a part of one. Where parts meet, each has half a fin.
type RowBox struct {
	Panel     int     `json:"panel"`      // from 1
	FirstWell int     `json:"first_well"` // of the panel, from 1
	Wells     int     `json:"wells"`
	LeftFinM  float64 `json:"left_fin_m"`
	RightFinM float64 `json:"right_fin_m"`
	X0M       float64 `json:"x0_m"`
	X1M       float64 `json:"x1_m"`
}
