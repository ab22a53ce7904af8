package bar

import (
	"fmt"
	"math"
	"slices"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// Columns of a recorded bar test.
var Columns = []sweep.Column{
	{Name: "t_s", Required: true, Say: "a time in seconds such as 12.345"},
	{Name: "angle_deg", Required: true, Say: "an angle in degrees such as 271.5"},
	{Name: "height_mm", Required: true, Say: "a height in mm such as 20"},
	{Name: "reading_mm", Required: true, Say: "a reading in mm such as -0.012, or take the row out"},
	{Name: "turned_deg", Say: "0, or 180 once the bar was put back turned in the collet"},
}

// Options is how a bar test is to be judged.
type Options struct {
	Indicator sweep.Indicator // its radius does not matter
	Tolerance units.Tolerance // of the angle between bar and axis
	RunOutMM  float64         // limit of the run-out at each height; 0 = none
	NoseMM    *float64        // height of the spindle's nose
}

// Reading is one reading of a bar.
type Reading struct{ T, Angle, Height, MM float64 } // radians; mm

// Split parts a table into the bar as it was put in first and as it was put back turned by 180 degrees.
func Split(t *sweep.Table) (first, turned []Reading, err error) {
	first = make([]Reading, 0, t.Rows)
	for i := range t.Rows {
		x := Reading{t.Numbers["t_s"][i], sweep.Radians(t.Numbers["angle_deg"][i]), t.Numbers["height_mm"][i],
			t.Numbers["reading_mm"][i]}
		switch v := t.Number("turned_deg", i, 0); v {
		case 0:
			first = append(first, x)
		case 180:
			turned = append(turned, x)
		default:
			return nil, nil, fmt.Errorf("reading %d, column turned_deg: %v is neither 0 nor 180", i+1, v)
		}
	}
	return first, turned, nil
}

// armMM makes a lean in mm/m an eccentricity in mm.
const armMM = 1000

// mostHeights bounds a file in which the columns are mixed up.
const mostHeights = 200

// Fit fits a bar test, and with the readings of the same bar put back turned by 180 degrees, if there are any, tells
// bar and collet apart.
func Fit(in, rechucked []Reading, opt Options) (*Result, error) {
	r := &Result{Kind: sweep.KindBar, Model: Model, ModelVersion: ModelVersion, Warnings: []sweep.Warning{}}
	hs, err := fitHeights(in, opt, r)
	if err != nil {
		return nil, err
	}
	r.Set = r.whole(hs, opt, true)
	verdicts := []sweep.Verdict{}
	for _, h := range r.Heights {
		verdicts = append(verdicts, h.Verdict)
	}
	if r.Angle != nil {
		verdicts = append(verdicts, r.Angle.Verdict)
	} else if opt.Tolerance.Given() {
		verdicts = append(verdicts, sweep.Undecided)
	}
	r.Verdict = line.Worst(verdicts...)
	if len(rechucked) == 0 {
		return r, nil
	}
	again, err := fitHeights(rechucked, opt, r)
	if err != nil {
		return nil, fmt.Errorf("rechucked: %w", err)
	}
	return r, r.apart(hs, again, opt)
}

// fitHeights fits each height. Few stations borrow the scatter of the other heights.
func fitHeights(in []Reading, opt Options, r *Result) ([]Height, error) {
	if len(in) == 0 {
		return nil, fmt.Errorf("nothing to fit: there are no readings")
	}
	by := map[float64][]sweep.Point{}
	for i, x := range in {
		if math.Abs(x.Height) > 1e5 {
			return nil, fmt.Errorf("reading %d: height %v mm is longer than any bar", i+1, x.Height)
		}
		by[x.Height] = append(by[x.Height], sweep.Point{T: x.T, Angle: x.Angle, Reading: x.MM})
		if len(by) > mostHeights {
			return nil, fmt.Errorf("reading %d: %d heights are the most of one bar: is the column right?", i+1,
				mostHeights)
		}
	}
	ind := opt.Indicator
	ind.RadiusMM, ind.RadiusUMM, ind.PhaseDeg = armMM, 0, 0
	setup := sweep.Setup{Indicators: []sweep.Indicator{ind}}
	var at []float64
	for h := range by {
		at = append(at, h)
	}
	slices.Sort(at)
	first := make([]sweep.Result, len(at))
	var square, dof float64
	few := false
	for i, h := range at {
		res, err := mixed.FitWith(by[h], setup, mixed.Options{Settled: len(by[h]) <= byHand})
		if err != nil {
			return nil, fmt.Errorf("at height %v mm: %w", h, err)
		}
		if res.Tilt == nil || res.Nod == nil {
			return nil,
				fmt.Errorf(
					"at height %v mm: two opposite angles do not show where the bar lies: read at three angles at least, better all round", h)
		}
		first[i] = res
		if n := float64(res.Readings - 3); n > 0 && !math.IsNaN(res.ResidualRMSMM) {
			square += n * res.ResidualRMSMM * res.ResidualRMSMM
			dof += n
		}
		few = few || res.Readings < fewReadings
	}
	var out []Height
	for i, h := range at {
		res := first[i]
		if few && res.Readings < fewReadings && len(at) > 1 && dof > 1 && square > 0 {
			again, err := mixed.FitWith(by[h], setup,
				mixed.Options{Settled: true, RepeatabilityMM: math.Sqrt(square / dof), RepeatabilityDoF: dof})
			if err == nil && again.Tilt != nil && again.Nod != nil {
				res = again
			}
		}
		r.Readings += res.Readings
		r.Rejected += res.Rejected
		for _, w := range res.Warnings {
			r.warnOnce(w, h)
		}
		out = append(out, height(h, res, opt))
	}
	return out, nil
}

// byHand is how many readings of a height are taken one by one, the spindle turned on by hand and let go; more come
// while it turns.
const byHand = 72

// fewReadings is where a height shows its own scatter badly.
const fewReadings = 12

func height(at float64, res sweep.Result, opt Options) Height {
	h := Height{AtMM: at, Readings: res.Readings, Roundness: line.Known(res.FormPVMM)}
	v := vector{x: res.Tilt.Slope.MMPerM(), y: res.Nod.Slope.MMPerM(), dof: res.DoF}
	v.xx, v.yy = sq(res.Tilt.U.MMPerM()), sq(res.Nod.U.MMPerM())
	v.xy = res.Covariance[0][1] * 1e6
	h.set(v, opt)
	return h
}

func (h *Height) set(v vector, opt Options) {
	h.at = v
	h.Eccentricity, h.TowardsDeg = math.Hypot(v.x, v.y), v.towards()
	_, h.U = v.size()
	h.RunOut = 2 * h.Eccentricity
	h.Verdict = line.JudgeMM(h.RunOut, 2*h.U, opt.RunOutMM)
}

// warnOnce takes a warning of one height over, unless it speaks of a sweep alone.
func (r *Result) warnOnce(w sweep.Warning, at float64) {
	for _, have := range r.Warnings {
		if have.Code == w.Code {
			return
		}
	}
	w.Text = fmt.Sprintf("at height %v mm: %s", at, w.Text)
	r.Warnings = append(r.Warnings, w)
}

func (r *Result) warn(code, format string, args ...any) {
	r.Warnings = append(r.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}

// Codes of warnings.
const (
	WarnOneHeight = "one_height" // no angle without a second height
	WarnBent      = "bent"       // the heights do not lie on one straight bar
	WarnUnmatched = "height_unmatched"
)
