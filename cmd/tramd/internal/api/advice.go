package api

import (
	"time"

	"tramd/sweep/advice"
	"tramd/sweep/finish"
)

// Advice is what to do next to the machine, with all a page needs to show it.
type Advice struct {
	advice.Answer
	Machine   string     `json:"machine"`
	Tolerance string     `json:"tolerance"`
	Limit     *float64   `json:"limit_mm_per_m"` // null without a tolerance
	Run       int64      `json:"run,omitempty"`  // the sweep it rests on
	MustSweep bool       `json:"must_sweep"`     // something was changed since that sweep: sweep before the next move
	Adjusters []Adjuster `json:"adjusters"`      // from the configuration
	Job       []Stage    `json:"job"`            // how the lean travelled, oldest first, this one last
	Aims      []Aim      `json:"aims"`           // of a parked arm, for each move in turn

	// what tightening is expected to add to a parked arm's reading: aim so much short
	TighteningMM   float64         `json:"tightening_mm"`
	TighteningSDMM *float64        `json:"tightening_sd_mm"` // how much that scatters; null before two were seen
	Cutters        []finish.Report `json:"cutters"`          // what the present lean leaves on the work
}

// Adjuster is one thing that can be moved.
type Adjuster struct {
	Name    string    `json:"name"`
	Unit    string    `json:"unit"`
	Tilt    float64   `json:"tilt_mm_per_m"` // of one unit, as described
	Nod     float64   `json:"nod_mm_per_m"`
	Step    float64   `json:"step"` // 0: any
	StockMM []float64 `json:"stock_mm"`
	Plus    string    `json:"plus"` // words for a positive amount; {} stands for it
	Minus   string    `json:"minus"`
	Notes   string    `json:"notes"`
}

// Adjusters returns what the adviser knows of each adjuster.
func Adjusters(all []advice.Adjuster) []Adjuster {
	out := make([]Adjuster, len(all))
	for i, x := range all {
		out[i] = Adjuster{
			Name: x.Name, Unit: x.Unit, Tilt: x.Tilt, Nod: x.Nod, Step: x.Step,
			StockMM: append([]float64{}, x.StockMM...),
			Plus:    x.Words.Plus, Minus: x.Words.Minus, Notes: x.Words.Notes,
		}
	}
	return out
}

// Stage is one sweep of the job and what was done after it.
type Stage struct {
	Run       int64              `json:"run"`
	StartedAt time.Time          `json:"started_at"`
	Purpose   string             `json:"purpose"`
	Verdict   string             `json:"verdict"`
	Tilt      *float64           `json:"tilt_mm_per_m"` // null: not measured
	TiltHalf  *float64           `json:"tilt_U_mm_per_m"`
	Nod       *float64           `json:"nod_mm_per_m"`
	NodHalf   *float64           `json:"nod_U_mm_per_m"`
	Moved     map[string]float64 `json:"moved"` // after it, by adjuster
	Logged    []string           `json:"told"`  // what was logged after it, in words
}

// Changed reports whether something was done to the machine after this sweep.
func (s *Stage) Changed() bool { return len(s.Moved) > 0 || len(s.Logged) > 0 }

// Aim is how far a parked arm's reading must go while one adjuster is loose.
type Aim struct {
	Adjuster  string  `json:"adjuster"`
	By        float64 `json:"by"`
	Indicator string  `json:"indicator"`
	// a second indicator whose reading is taken off: the pivot then falls out
	Less       string  `json:"less,omitempty"`
	SpindleDeg float64 `json:"spindle_deg"` // where to park the arm, 0 right, 90 back
	ChangeMM   float64 `json:"change_mm"`   // of the reading, by what the adjuster is believed to do
	UMM        float64 `json:"u_mm"`        // standard uncertainty of that
	Point      string  `json:"point"`       // SpindleDeg in words: "to the right"
	Say        string  `json:"say"`

	// The change at any spindle angle a is cos_mm cos(a) + sin_mm sin(a) + rest_mm: the arm may stand elsewhere.
	CosMM  float64 `json:"cos_mm"`
	SinMM  float64 `json:"sin_mm"`
	RestMM float64 `json:"rest_mm"`
}

// JointAim is how a move shows at an indicator that is taken from a near end to a far one and parked there: the reading
// at the far end less that at the near one.
type JointAim struct {
	Adjuster  string  `json:"adjuster"`
	By        float64 `json:"by"`
	Indicator string  `json:"indicator"`
	Near      string  `json:"near"` // in words: "100 mm on the line at 40 mm"
	Far       string  `json:"far"`
	NearMM    float64 `json:"near_mm"` // along the line, or how far the head is up
	FarMM     float64 `json:"far_mm"`
	Scale     bool    `json:"scale"` // the scale of [position] shows where the indicator stands along this way
	// the difference as it was measured; null where a bar or a square leans by itself
	NowMM    *float64 `json:"now_mm"`
	TargetMM *float64 `json:"target_mm"` // what this move is to make of it; at the last one both ends read alike
	ChangeMM float64  `json:"change_mm"` // of the difference, by what the adjuster is believed to do
	UMM      float64  `json:"u_mm"`      // standard uncertainty of that
	Say      string   `json:"say"`
}

// JointAdvice is what to move next at a joint.
type JointAdvice struct {
	advice.Answer
	Name       string     `json:"name"`
	Kind       string     `json:"kind"`
	Joint      string     `json:"joint"`      // to be loosened, as the configuration calls it; empty: it does not say
	Quantities []string   `json:"quantities"` // what tilt and nod stand for: slope, or slope and twist; tilt and nod
	Tolerance  string     `json:"tolerance"`
	Run        int64      `json:"run"` // the measurement it rests on
	Adjusters  []Adjuster `json:"adjusters"`
	Aims       []JointAim `json:"aims"`  // how each move shows at the indicator
	Chain      []string   `json:"chain"` // what all relations together say; none where this joint is in no relation
}
