package stack

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"tramd/sweep/units"
)

// Relations between two bodies.
const (
	SpindleToTable  = "spindle_to_table"
	SpindleToTravel = "spindle_to_travel"
	TravelToTable   = "travel_to_table"
	CrossToTable    = "cross_to_table"
	SpindleToCross  = "spindle_to_cross"
	TravelToCross   = "travel_to_cross"
)

// Bodies, each against the table.
const (
	spindle = iota
	travel
	cross
	bodies
)

// relation is a difference of bodies.
type relation struct {
	name   string
	weight [bodies]float64
	say    string
	joint  bool // one joint of the machine, not a sum of several
}

var relations = []relation{
	{SpindleToTable, [bodies]float64{1, 0, 0}, "spindle against table", false},
	{SpindleToTravel, [bodies]float64{1, -1, 0}, "spindle against head travel", true},
	{TravelToTable, [bodies]float64{0, 1, 0}, "head travel against table", true},
	{CrossToTable, [bodies]float64{0, 0, 1}, "cross travels against table", true},
	{SpindleToCross, [bodies]float64{1, 0, -1}, "spindle against cross travels", false},
	{TravelToCross, [bodies]float64{0, 1, -1}, "head travel against cross travels", false},
}

func find(name string) *relation {
	for i := range relations {
		if relations[i].name == name {
			return &relations[i]
		}
	}
	return nil
}

// Words returns a relation in words; its name where it is not known.
func Words(name string) string {
	if r := find(name); r != nil {
		return r.say
	}
	return name
}

// Names lists the relations that are known.
func Names() []string {
	var out []string
	for _, r := range relations {
		out = append(out, r.name)
	}
	return out
}

// Measured is one measured relation; an axis that was not measured is nil.
type Measured struct {
	Relation string   `json:"relation"`
	Tilt     *float64 `json:"tilt_mm_per_m,omitempty"`
	TiltU    *float64 `json:"tilt_u_mm_per_m,omitempty"`
	TiltDoF  *float64 `json:"tilt_dof,omitempty"` // degrees of freedom behind the uncertainty; without it, it is taken as known
	Nod      *float64 `json:"nod_mm_per_m,omitempty"`
	NodU     *float64 `json:"nod_u_mm_per_m,omitempty"`
	NodDoF   *float64 `json:"nod_dof,omitempty"`
	Run      int64    `json:"run,omitempty"` // of the record, where it comes from there
}

// Stack is what was measured.
type Stack struct {
	Tolerance units.Tolerance
	Relations []Measured
}

const (
	mostRelations = 1000
	leastU        = 1e-9 // mm/m: nothing is measured that well
)

// Read reads a stack as JSON.
func Read(r io.Reader) (*Stack, error) {
	text, err := io.ReadAll(io.LimitReader(r, 4<<20))
	if err != nil {
		return nil, err
	}
	var in struct {
		Tolerance string     `json:"tolerance"`
		Relations []Measured `json:"relations"`
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return nil,
			fmt.Errorf(
				`the stack cannot be read: %w; write {"tolerance":"0.02/300","relations":[{"relation":"spindle_to_table",`+
					`"tilt_mm_per_m":0.1,"tilt_u_mm_per_m":0.01}]}`, err)
	}
	if d.More() {
		return nil, fmt.Errorf("something follows the stack: write one JSON object")
	}
	s := &Stack{Relations: in.Relations}
	if s.Tolerance, err = units.ParseTolerance(in.Tolerance); err != nil {
		return nil, err
	}
	return s, s.Validate()
}

// Validate refuses what cannot be weighed.
func (s *Stack) Validate() error {
	if len(s.Relations) == 0 {
		return fmt.Errorf("relations: there are none: give one measured relation at least, of %s",
			strings.Join(Names(), ", "))
	}
	if len(s.Relations) > mostRelations {
		return fmt.Errorf("relations: %d of them; %d are the most", len(s.Relations), mostRelations)
	}
	for i, m := range s.Relations {
		at := fmt.Sprintf("relations[%d]", i)
		if find(m.Relation) == nil {
			return fmt.Errorf("%s: %q is no relation: write one of %s", at, m.Relation, strings.Join(Names(), ", "))
		}
		if m.Tilt == nil && m.Nod == nil {
			return fmt.Errorf(
				"%s (%s): neither tilt_mm_per_m nor nod_mm_per_m: give what was measured, or leave the relation out",
				at, m.Relation)
		}
		for _, a := range []struct {
			name string
			v, u *float64
			dof  *float64
		}{{"tilt", m.Tilt, m.TiltU, m.TiltDoF}, {"nod", m.Nod, m.NodU, m.NodDoF}} {
			switch {
			case a.v == nil:
			case math.Abs(*a.v) > 1000:
				return fmt.Errorf("%s (%s): %s_mm_per_m %v is no lean of a machine: give it in mm/m", at, m.Relation,
					a.name, *a.v)
			case a.u == nil:
				return fmt.Errorf(
					"%s (%s): %s_u_mm_per_m is missing: give the standard uncertainty, or nothing can be weighed", at,
					m.Relation, a.name)
			case !(*a.u > leastU):
				return fmt.Errorf(
					"%s (%s): %s_u_mm_per_m is %v: no measurement is exact; give its standard uncertainty", at,
					m.Relation, a.name, *a.u)
			case *a.u > 1000:
				return fmt.Errorf("%s (%s): %s_u_mm_per_m %v is no uncertainty of a lean: give it in mm/m", at,
					m.Relation, a.name, *a.u)
			case a.dof != nil && !(*a.dof > 0):
				return fmt.Errorf("%s (%s): %s_dof %v must be more than 0", at, m.Relation, a.name, *a.dof)
			}
		}
	}
	return nil
}
