package travel

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/mixed"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
	"tramd/sweep/zone"
)

// Options is how a travel is to be judged.
type Options struct {
	line.Setup
	Of string // bar, square or table
	// Artefact is how far a bar may lean against the spindle, or a square against the table's normal, where it was not
	// turned; 0 takes a general value.
	Artefact units.Slope
}

// How far an artefact that was not turned may lean, either way (common practice, no source): a shank in a collet 0.05
// mm over 25 mm, a square of a workshop 0.06 mm over 300 mm.
const (
	barLean    = 2.0 // mm/m
	squareLean = 0.2
)

// problem is a travel laid out as curves. Slopes and forms stand in the order: relation by axis, artefact by axis,
// taper.
type problem struct {
	mixed.Lines
	sides    [][2]float64 // cos and sin of each curve's side
	signs    []float64    // +1, -1 once turned
	axes     [2]bool
	artefact [2]bool
	slope    [2]int // index of the relation's slope, -1 where there is none
	own      [2]int // the artefact's
	taper    int
}

// alongDeg is how far a side may lie from X or Y where there is but one direction.
const alongDeg = 3.0

// Fit fits a travel. It refuses what shows neither axis, and says by code what cannot be known.
func Fit(in *line.Readings, opt Options) (*Result, error) {
	if Relation(opt.Of) == "" {
		return nil, fmt.Errorf("say what the indicator touched: --of bar, square or table")
	}
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if err := in.Match(&opt.Setup); err != nil {
		return nil, err
	}
	p, err := layOut(in, opt)
	if err != nil {
		return nil, err
	}
	fit, err := mixed.FitLines(p.Lines)
	if err != nil {
		return nil, err
	}
	r := &Result{
		Kind: sweep.KindTravel, Of: opt.Of, Relation: Relation(opt.Of), Model: Model, ModelVersion: ModelVersion,
		LengthMM: fit.ToMM - fit.FromMM,
		Readings: fit.Readings, Rejected: fit.Rejected, Rejections: line.Rejections(fit),
		RMSMM: line.Known(fit.ResidualRMSMM), Profile: []Place{},
	}
	if opt.Of == OfTable {
		r.Kind = sweep.KindCross
	}
	p.describe(r, fit, opt)
	r.Warnings = line.Warnings(fit, in.Rows)
	p.warn(r, opt)
	return r, nil
}

func layOut(in *line.Readings, opt Options) (*problem, error) {
	p := &problem{taper: -1}
	p.Indicators, p.Options = opt.Indicators, opt.Setup.Options
	var by [2]spread
	var whole spread
	opposite := false
	for i := range in.Runs {
		run := &in.Runs[i]
		if opt.Of == OfTable && run.Turned {
			return nil,
				fmt.Errorf(
					"turned_deg: a table is not turned by 180 degrees in such a measurement; leave the column out, or say --of bar or square")
		}
		sin, cos := math.Sincos(sweep.Radians(run.Side))
		c := [2]float64{clip(cos), clip(sin)}
		for _, q := range p.sides {
			opposite = opposite || c[0]*q[0]+c[1]*q[1] < -0.9
		}
		sign := 1.0
		if run.Turned {
			sign = -1
			by[1].add(c)
		} else {
			by[0].add(c)
		}
		whole.add(c)
		p.sides, p.signs = append(p.sides, c), append(p.signs, sign)
	}
	if err := p.whichAxes(whole, in); err != nil {
		return nil, err
	}
	for a := range 2 {
		p.artefact[a] = opt.Of != OfTable && p.axes[a] && by[0].shows(a) && by[1].shows(a)
	}
	next := func() int { p.Slopes++; return p.Slopes - 1 }
	for a := range 2 {
		p.slope[a], p.own[a] = -1, -1
		if p.axes[a] {
			p.slope[a] = next()
		}
	}
	for a := range 2 {
		if p.artefact[a] {
			p.own[a] = next()
		}
	}
	p.Forms = p.Slopes
	if opposite && opt.Of != OfTable {
		p.taper = next()
	}
	way, own := -1.0, -1.0 // signs of the relation and of the artefact in a reading
	switch opt.Of {
	case OfSquare:
		own = 1
	case OfTable:
		way = 1
	}
	for i := range in.Runs {
		run := &in.Runs[i]
		c := mixed.Curve{T: run.T, X: run.X, Z: run.Z, Indicator: run.Indicator, Slope: make([]float64, p.Slopes),
			Form: make([]float64, p.Forms)}
		for a := range 2 {
			if k := p.slope[a]; k >= 0 {
				c.Slope[k], c.Form[k] = way*p.sides[i][a], way*p.sides[i][a]
			}
			if k := p.own[a]; k >= 0 {
				c.Slope[k], c.Form[k] = own*p.signs[i]*p.sides[i][a], own*p.signs[i]*p.sides[i][a]
			}
		}
		if p.taper >= 0 {
			c.Slope[p.taper] = 1
		}
		p.Curves = append(p.Curves, c)
	}
	for k := range p.Slopes {
		one := make([]float64, p.Slopes)
		one[k] = 1
		p.Sums = append(p.Sums, mixed.Sum{Slopes: one})
	}
	return p, nil
}

// clip makes the cosine of 90 degrees nothing.
func clip(x float64) float64 {
	if math.Abs(x) < 1e-12 {
		return 0
	}
	return x
}

// spread is the scatter of directions.
type spread struct{ xx, xy, yy float64 }

func (s *spread) add(c [2]float64) {
	s.xx, s.xy, s.yy = s.xx+c[0]*c[0], s.xy+c[0]*c[1], s.yy+c[1]*c[1]
}

func (s *spread) both() bool { return s.xx*s.yy-s.xy*s.xy > 0.05*s.xx*s.yy && s.xx > 0.1 && s.yy > 0.1 }

// shows reports whether the directions tell an axis: both of them, or all along it.
func (s *spread) shows(axis int) bool {
	own, other := s.xx, s.yy
	if axis == 1 {
		own, other = other, own
	}
	along := math.Tan(sweep.Radians(alongDeg))
	return own > 0 && (s.both() || other <= along*along*own)
}

func (p *problem) whichAxes(s spread, in *line.Readings) error {
	for a := range 2 {
		p.axes[a] = s.shows(a)
	}
	if !p.axes[0] && !p.axes[1] {
		return fmt.Errorf(
			"the side at %v degrees alone shows neither axis: measure at 0 or 180 for tilt, at 90 or 270 for nod, best at both", in.Runs[0].Side)
	}
	return nil
}

func (p *problem) describe(r *Result, fit *mixed.LineFit, opt Options) {
	pair := &Pair{}
	axis := [2]**sweep.Axis{&r.Tilt, &r.Nod}
	artefact := [2]**sweep.Axis{&pair.Tilt, &pair.Nod}
	straight, u := [2]**float64{&r.StraightMM.Tilt, &r.StraightMM.Nod},
		[2]**float64{&r.StraightUMM.Tilt, &r.StraightUMM.Nod}
	for a := range 2 {
		if !p.axes[a] {
			continue
		}
		var more []uncertainty.Component
		if opt.Of != OfTable && !p.artefact[a] {
			more = append(more, notTurned(opt))
		}
		*axis[a] = line.Slope(fit, fit.Sums[p.slope[a]], r.LengthMM, opt.Setup, opt.Tolerance, more...)
		if p.artefact[a] {
			*artefact[a] = line.Slope(fit, fit.Sums[p.own[a]], r.LengthMM, opt.Setup, units.Tolerance{})
		}
		pr := p.profile(fit, a)
		heights := line.Heights(fit)
		edge := opt.EdgeMPEMM
		if p.artefact[a] {
			edge = 0
		}
		if _, s := line.StraightnessOf(fit, []*line.Profile{pr}, heights, edge); s != nil {
			*straight[a], *u[a] = &s.MinimumZone, &s.U
		}
		z := pr.Values(heights, nil)
		l := zone.LeastSquares(pr.X, z)
		for i, x := range pr.X {
			r.Profile = append(r.Profile, Place{[2]string{"tilt", "nod"}[a], x, z[i] - l.At - l.Slope*x})
		}
	}
	if opt.Of != OfTable {
		r.Artefact = pair
	}
	if p.taper >= 0 {
		taper := -1000 * fit.Sums[p.taper].Value
		r.TaperMMPerM = &taper
	}
	r.Verdict = sweep.JudgeBoth(r.Tilt, r.Nod, opt.Tolerance)
	if opt.StraightnessMM > 0 {
		for a := range 2 {
			switch {
			case *straight[a] != nil:
				r.Verdict = line.Worst(r.Verdict, line.JudgeMM(**straight[a], **u[a], opt.StraightnessMM))
			case p.axes[a]: // two positions show nothing of it
				r.Verdict = line.Worst(r.Verdict, sweep.Undecided)
			}
		}
	}
}

// notTurned is what not knowing the artefact's own lean costs.
func notTurned(opt Options) uncertainty.Component {
	most, note := opt.Artefact.MMPerM(),
		"as stated: the artefact was not turned by 180 degrees, so its own lean is in the value"
	if most == 0 {
		most, note = barLean,
			"the bar was not turned by 180 degrees, so its own lean against the spindle is in the value: 0.05 mm over 25 mm either way"
		if opt.Of == OfSquare {
			most, note = squareLean,
				"the square was not turned by 180 degrees, so its own lean is in the value: 0.06 mm over 300 mm either way"
		}
	}
	return uncertainty.Component{Name: "artefact", Type: uncertainty.B, U: most / math.Sqrt(3), Unit: "mm/m",
		Sensitivity: 1, DoF: math.Inf(1), Note: note}
}

// profile is how the travel departs from straight in one plane: the sides along it, each turn of the artefact alike.
func (p *problem) profile(fit *mixed.LineFit, axis int) *line.Profile {
	var use [2][]int
	for i, c := range p.sides {
		if math.Abs(c[axis]) > 0.7 {
			k := 0
			if p.signs[i] < 0 {
				k = 1
			}
			use[k] = append(use[k], i)
		}
	}
	turns := 0
	for _, u := range use {
		if len(u) > 0 {
			turns++
		}
	}
	var parts []line.Part
	for _, u := range use {
		for _, i := range u {
			parts = append(parts, line.Part{Curves: []int{i}, Share: 1 / p.sides[i][axis] / float64(
				len(u)) / float64(turns)})
		}
	}
	return line.NewProfile(fit, parts)
}

func (p *problem) warn(r *Result, opt Options) {
	add := func(code, format string, args ...any) {
		r.Warnings = append(r.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	names, sides := [2]string{"tilt", "nod"}, [2]string{"0 or 180", "90 or 270"}
	for a := range 2 {
		if !p.axes[a] {
			add(sweep.WarnAxisNotMeasured, "%s was not measured: it needs a side at %s degrees", names[a], sides[a])
			continue
		}
		if opt.Of != OfTable && !p.artefact[a] {
			what := "the bar with the spindle"
			if opt.Of == OfSquare {
				what = "the square"
			}
			add(line.WarnOneTurn,
				"%s: the %s was measured as it stood at one turn only, so its own lean cannot be told from the machine's and the interval is wide: "+
					"turn %s by 180 degrees and measure again", names[a], opt.Of, what)
		}
	}
	for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
		if a != nil && math.Abs(a.Slope.MMPerM()) > steepMMPerM {
			add(mixed.WarnSteep, "a lean of more than %d mm/m: are the readings and the positions in mm?", steepMMPerM)
			break
		}
	}
	if r.Warnings == nil {
		r.Warnings = []sweep.Warning{}
	}
}

const steepMMPerM = 20
