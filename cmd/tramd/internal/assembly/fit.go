package assembly

import (
	"encoding/json"
	"errors"
	"fmt"

	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/bar"
	"tramd/sweep/line"
	"tramd/sweep/travel"
	"tramd/sweep/traverse"
	"tramd/sweep/units"
)

// Result is what one measurement says; one of its parts is set.
type Result struct {
	Traverse *traverse.Result
	Bar      *bar.Result
	Travel   *travel.Result // of a cross, too
}

// Value returns the result of the measurement's kind, for JSON.
func (r Result) Value() any {
	switch {
	case r.Traverse != nil:
		return r.Traverse
	case r.Bar != nil:
		return r.Bar
	}
	return r.Travel
}

// MarshalJSON writes the part that is set.
func (r Result) MarshalJSON() ([]byte, error) { return json.Marshal(r.Value()) }

// Verdict returns the verdict on the whole.
func (r Result) Verdict() sweep.Verdict {
	switch {
	case r.Traverse != nil:
		return r.Traverse.Verdict
	case r.Bar != nil:
		return r.Bar.Verdict
	}
	return r.Travel.Verdict
}

// Warn adds a warning.
func (r Result) Warn(w sweep.Warning) {
	switch {
	case r.Traverse != nil:
		r.Traverse.Warnings = append(r.Traverse.Warnings, w)
	case r.Bar != nil:
		r.Bar.Warnings = append(r.Bar.Warnings, w)
	default:
		r.Travel.Warnings = append(r.Travel.Warnings, w)
	}
}

// Model returns what concluded the result, and its version.
func (r Result) Model() (name string, version int) {
	switch {
	case r.Traverse != nil:
		return r.Traverse.Model, r.Traverse.ModelVersion
	case r.Bar != nil:
		return r.Bar.Model, r.Bar.ModelVersion
	}
	return r.Travel.Model, r.Travel.ModelVersion
}

// Finding returns the result as the record keeps it.
func (r Result) Finding() (store.Finding, error) {
	text, err := json.Marshal(r)
	if err != nil {
		return store.Finding{}, fmt.Errorf("result: %w", err)
	}
	f := store.Finding{JSON: text}
	f.Model, f.Version = r.Model()
	return f, nil
}

// Decode reads a result of a kind as it was stored.
func Decode(kind string, text []byte) (Result, error) {
	var r Result
	var into any
	switch kind {
	case sweep.KindTraverse:
		r.Traverse = &traverse.Result{}
		into = r.Traverse
	case sweep.KindBar:
		r.Bar = &bar.Result{}
		into = r.Bar
	case sweep.KindTravel, sweep.KindCross:
		r.Travel = &travel.Result{}
		into = r.Travel
	default:
		return r, fmt.Errorf("a %s is no measurement along a line or at a bar", kind)
	}
	if err := json.Unmarshal(text, into); err != nil {
		return Result{}, fmt.Errorf("result of a %s: %w", kind, err)
	}
	if r.Traverse != nil && r.Traverse.Slope == nil {
		return Result{}, fmt.Errorf("result of a traverse: it has no slope")
	}
	return r, nil
}

// Fit fits readings of a kind.
func Fit(kind string, s store.Samples, setup sweep.Setup, o Options) (Result, error) {
	t, err := table(kind, s, setup)
	if err != nil {
		return Result{}, err
	}
	return FitTable(kind, t, nil, setup, o)
}

// FitTable fits a recorded file of a kind; with another one of the same bar, put back turned by 180 degrees, unless
// that is nil.
func FitTable(kind string, t, rechucked *sweep.Table, setup sweep.Setup, o Options) (Result, error) {
	if err := o.Validate(); err != nil {
		return Result{}, err
	}
	if kind == sweep.KindTravel || kind == sweep.KindCross {
		of, err := o.of(kind)
		if err != nil {
			return Result{}, err
		}
		o.Of = of
	}
	if kind == sweep.KindBar {
		return fitBar(t, rechucked, setup, o)
	}
	if rechucked != nil {
		return Result{}, fmt.Errorf("only a bar is put back turned in its collet, not a %s", kind)
	}
	in, err := line.Split(t)
	if err != nil {
		return Result{}, err
	}
	var r Result
	switch kind {
	case sweep.KindTraverse:
		r.Traverse, err = traverse.Fit(in, traverse.Options{Setup: o.line(setup), Same: o.Same})
	case sweep.KindTravel, sweep.KindCross:
		opt := travel.Options{Setup: o.line(setup), Of: o.Of}
		lean, bad := units.ParseTolerance(o.Artefact)
		if bad != nil {
			return Result{}, bad
		}
		opt.Artefact = lean.Limit
		r.Travel, err = travel.Fit(in, opt)
	default:
		err = fmt.Errorf("a %s is no measurement along a line or at a bar", kind)
	}
	return r, err
}

func fitBar(t, rechucked *sweep.Table, setup sweep.Setup, o Options) (Result, error) {
	first, turned, err := bar.Split(t)
	if err != nil {
		return Result{}, err
	}
	if rechucked != nil {
		other, again, err := bar.Split(rechucked)
		if err != nil {
			return Result{}, fmt.Errorf("the bar put back turned: %w", err)
		}
		if len(turned) > 0 || len(other) > 0 && len(again) > 0 {
			return Result{}, errors.New(
				"the column turned_deg holds both ways of the bar already: leave the second file away")
		}
		turned = append(other, again...)
	}
	ind := setup.Indicators[0]
	r, err := bar.Fit(first, turned, bar.Options{Indicator: ind, Tolerance: setup.Tolerance, RunOutMM: o.RunOutMM,
		NoseMM: o.NoseMM})
	return Result{Bar: r}, err
}
