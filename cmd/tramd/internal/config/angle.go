package config

// Angle is where the spindle angle comes from.
type Angle struct {
	Framing
	Source  string  `toml:"source"`
	Port    string  `toml:"port"`
	Baud    int     `toml:"baud"`
	DelayMS float64 `toml:"delay_ms" zero:"meant"`
	Capture string  `toml:"capture"`

	// Encoder.
	CountsPerTurn int64 `toml:"counts_per_turn"`
	CounterBits   int   `toml:"counter_bits"` // 16, 24 or 32; 0 = wraps after one turn, or counts on
	// of the wheels that drive the encoder; both 0 = it sits on the spindle
	SpindleTeeth int64   `toml:"spindle_teeth"`
	EncoderTeeth int64   `toml:"encoder_teeth"`
	Reversed     bool    `toml:"reversed"`
	ZeroUDeg     float64 `toml:"zero_u_deg" zero:"meant"` // standard uncertainty of ZeroDeg
	// spindle angle at which the encoder shows 0; nil: a person points it out
	ZeroDeg           *float64 `toml:"zero_deg"`
	MaxGapMS          float64  `toml:"max_gap_ms"`
	IndexMark         string   `toml:"index_mark"` // the word in the encoder's line for its index mark
	IndexDeg          *float64 `toml:"index_deg"`  // spindle angle at the mark
	IndexToleranceDeg float64  `toml:"index_tolerance_deg"`

	// Stations.
	StationsDeg []float64 `toml:"stations_deg"`
	Closing     *bool     `toml:"closing"`
	SettleS     float64   `toml:"settle_s"`
	SettleMM    float64   `toml:"settle_mm"`
	TriggerPort string    `toml:"trigger_port"` // a foot switch or button: whatever it sends takes the station
	TriggerBaud int       `toml:"trigger_baud"`
	TypedUnit   string    `toml:"typed_unit"` // of a typed reading without one

	// Constant turning.
	// spindle angle at the index pulse, or where the start is marked; nil: 0, known only where a person marks it
	MarkDeg     *float64 `toml:"mark_deg"`
	Clockwise   bool     `toml:"clockwise"`       // seen from above
	TurnsPerMin float64  `toml:"turns_per_min"`   // roughly
	Pulses      int      `toml:"pulses_per_turn"` // on the port; 0: one
}

// Angle sources.
const (
	SourceEncoder  = "encoder"
	SourceStations = "stations" // the arm is turned by hand from station to station
	SourceTyped    = "typed"    // the same, and a person reads the indicator too
	SourceSteady   = "steady"   // the spindle is turned at a constant speed
	SourceProgram  = "program"  // a motion controller turns the arm from station to station
)
