package analysis

// Row is the prediction of several panels side by side as one finite structure. Lengths in metres, angles in degrees from the normal, frequencies in hertz.
// Letters: D as designed, I inverted, M mirrored, B both.
type Row struct {
	Order       string     `json:"order"`  // a letter per panel, from the lowest x
	Chosen      string     `json:"chosen"` // "survey" or "search": who chose the order
	Kinds       []RowKind  `json:"kinds"`
	Panels      []RowPanel `json:"panels"`
	Boxes       []RowBox   `json:"boxes"` // to be built, from the lowest x
	WidthM      float64    `json:"width_m"`
	DepthM      float64    `json:"depth_m"` // outer, of all boxes
	GapM        float64    `json:"gap_m"`
	WellCentreM []float64  `json:"well_centre_m"`
	WellDepthM  []float64  `json:"well_depth_m"`
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
