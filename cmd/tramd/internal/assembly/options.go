package assembly

import (
	"encoding/json"
	"fmt"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/travel"
	"tramd/sweep/units"
)

// Kinds are the kinds of measurement that this package knows.
var Kinds = []string{sweep.KindTraverse, sweep.KindBar, sweep.KindTravel, sweep.KindCross}

// Knows reports whether a run of a kind is fitted by this package.
func Knows(kind string) bool {
	for _, k := range Kinds {
		if k == kind {
			return true
		}
	}
	return false
}

// Options are what a measurement needs beside its setup to be fitted. They are stored with the run, as JSON.
type Options struct {
	// what a travel's indicator touched: bar, square or table
	Of             string  `json:"of,omitempty"`
	StraightnessMM float64 `json:"straightness_mm,omitempty"` // limit of the form; 0: none
	Same           bool    `json:"same,omitempty"`            // positions are judged against each other
	EdgeMPEMM      float64 `json:"edge_mpe_mm,omitempty"`     // permissible error of the edge; 0: not stated
	// how far a bar or square may lean itself, as written; empty: a general value
	Artefact string   `json:"artefact,omitempty"`
	RunOutMM float64  `json:"run_out_mm,omitempty"` // limit of a bar's run-out; 0: none
	NoseMM   *float64 `json:"nose_mm,omitempty"`    // height of the spindle's nose; nil: not known
}

// ParseOptions reads what JSON made of options. No text means none.
func ParseOptions(text []byte) (Options, error) {
	var o Options
	if len(text) == 0 {
		return o, nil
	}
	if err := json.Unmarshal(text, &o); err != nil {
		return o, fmt.Errorf("options of the measurement: %w", err)
	}
	return o, o.Validate()
}

// Validate refuses limits that no measurement can have.
func (o Options) Validate() error {
	if !(o.RunOutMM >= 0 && o.RunOutMM <= 100) {
		return fmt.Errorf("--run-out %v mm: must lie between 0 and 100", o.RunOutMM)
	}
	if n := o.NoseMM; n != nil && !(*n >= -1e5 && *n <= 1e5) {
		return fmt.Errorf("--nose-height %v mm is no height on a bar", *n)
	}
	if o.Of != "" && travel.Relation(o.Of) == "" {
		return fmt.Errorf("--of %q: write bar, square or table", o.Of)
	}
	if o.Artefact != "" {
		if _, err := units.ParseTolerance(o.Artefact); err != nil {
			return fmt.Errorf("--artefact: %w", err)
		}
	}
	for flag, mm := range map[string]float64{"--straightness": o.StraightnessMM, "--edge-mpe": o.EdgeMPEMM} {
		if !(mm >= 0 && mm <= 100) {
			return fmt.Errorf("%s %v mm: must lie between 0 and 100", flag, mm)
		}
	}
	return nil
}

// of returns what a travel's indicator touched, for its kind.
func (o Options) of(kind string) (string, error) {
	switch {
	case kind == sweep.KindCross && o.Of == "":
		return travel.OfTable, nil
	case kind == sweep.KindCross && o.Of != travel.OfTable:
		return "", fmt.Errorf("a cross is measured at the table: leave --of away, or write --of table")
	case o.Of == "":
		return "",
			fmt.Errorf(
				"a header with side_deg fits a travel at a bar, at a square, and over the table: say which with --of bar, square or table")
	}
	return o.Of, nil
}

func (o Options) line(s sweep.Setup) line.Setup {
	return line.Setup{Indicators: s.Indicators, Tolerance: s.Tolerance, EdgeMPEMM: o.EdgeMPEMM,
		StraightnessMM: o.StraightnessMM}
}
