package traverse

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/mixed"
	"tramd/sweep/zone"
)

// Options is how a traverse is to be judged.
type Options struct {
	line.Setup
	Same bool // there is no edge: positions are judged against each other
}

// problem is a traverse laid out as curves.
type problem struct {
	mixed.Lines
	at     []float64  // where each line lies across, rising
	curves [][2][]int // of each line, as laid and turned
	turned bool
}

// Fit fits a traverse. It refuses what has no slope, and warns by code where a result rests on little.
func Fit(in *line.Readings, opt Options) (*Result, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if err := in.Match(&opt.Setup); err != nil {
		return nil, err
	}
	p := layOut(in, opt)
	var warnings []sweep.Warning
	own := make([]bool, len(p.at)) // lines with a slope of their own
	some := false
	for k := range p.at {
		own[k] = distinct(p.Curves, p.all(k)) > 1
		some = some || own[k]
		if !own[k] && len(p.at) > 1 {
			warnings = append(warnings, sweep.Warning{Code: line.WarnPoint, Text: fmt.Sprintf(
				"the line at %v mm has a single position, so no slope of its own: read it at two at least, better five or more", p.at[k])})
		}
	}
	if !some {
		return nil, fmt.Errorf("all readings are at one position: a slope needs two at least, better five or more")
	}
	p.want(own)
	fit, err := mixed.FitLines(p.Lines)
	if err != nil {
		return nil, err
	}
	r := &Result{
		Kind: sweep.KindTraverse, Model: Model, ModelVersion: ModelVersion, LengthMM: fit.ToMM - fit.FromMM,
		Readings: fit.Readings, Rejected: fit.Rejected, Rejections: line.Rejections(fit),
		ClosureMM: line.Known(fit.ClosureMM()), RMSMM: line.Known(fit.ResidualRMSMM), EdgeForm: []EdgeForm{},
	}
	p.describe(r, fit, opt, own)
	r.Warnings = append(warnings, line.Warnings(fit, in.Rows)...)
	r.warn(p, in, own)
	return r, nil
}

func layOut(in *line.Readings, opt Options) *problem {
	p := &problem{}
	p.Indicators, p.Options = opt.Indicators, opt.Setup.Options
	for i := range in.Runs {
		if at := in.Runs[i].LineMM; !slices.Contains(p.at, at) {
			p.at = append(p.at, at)
		}
		p.turned = p.turned || in.Runs[i].Turned
	}
	slices.Sort(p.at)
	both := false
	if p.turned {
		for i := range in.Runs {
			both = both || !in.Runs[i].Turned
		}
	}
	p.turned = p.turned && both
	n := len(p.at)
	p.Slopes, p.Forms = n, n
	if p.turned { // the edge's slope differs from line to line, since it is laid again; its form does not
		p.Slopes, p.Forms = 2*n, n+1
	}
	p.curves = make([][2][]int, n)
	for i := range in.Runs {
		run := &in.Runs[i]
		k := slices.Index(p.at, run.LineMM)
		c := mixed.Curve{T: run.T, X: run.X, Z: run.Z, Indicator: run.Indicator, Slope: make([]float64, p.Slopes),
			Form: make([]float64, p.Forms)}
		c.Slope[k], c.Form[k] = 1, 1
		way := 0
		if p.turned {
			sign := 1.0
			if run.Turned {
				sign, way = -1, 1
			}
			c.Slope[n+k], c.Form[n] = sign, sign
		}
		p.curves[k][way] = append(p.curves[k][way], len(p.Curves))
		p.Curves = append(p.Curves, c)
	}
	return p
}

func (p *problem) all(k int) []int {
	return append(slices.Clone(p.curves[k][0]), p.curves[k][1]...)
}

// distinct counts positions of curves, two being enough.
func distinct(curves []mixed.Curve, of []int) int {
	first, any := 0.0, false
	for _, c := range of {
		for _, x := range curves[c].X {
			if !any {
				first, any = x, true
			} else if x != first {
				return 2
			}
		}
	}
	if any {
		return 1
	}
	return 0
}

// Sums that are wanted: the common slope, those of the lines, the twist, the cross slope, and the edge's slope.
const (
	sumSlope = iota
	sumTwist
	sumCross
	sumEdge
	sumLines
)

func (p *problem) want(own []bool) {
	n := len(p.at)
	slope, twist, cross, edge := make([]float64, p.Slopes), make([]float64, p.Slopes),
		mixed.Sum{Slopes: make([]float64, p.Slopes)}, make([]float64, p.Slopes)
	weights, total := make([]float64, n), 0.0
	for k := range n {
		if own[k] {
			weights[k] = p.scatter(k)
			total += weights[k]
		}
	}
	for k := range n {
		slope[k] = weights[k] / total
		if p.turned {
			edge[n+k] = weights[k] / total
		}
	}
	if n > 1 && own[0] && own[n-1] {
		twist[n-1], twist[0] = 1, -1
	}
	// Heights against the place across, by least squares.
	heights := make([]float64, len(p.Curves))
	mean, square, with := 0.0, 0.0, 0.0
	for k, y := range p.at {
		if own[k] {
			mean, with = mean+y, with+1
		}
	}
	mean /= with
	for k, y := range p.at {
		if own[k] {
			square += (y - mean) * (y - mean)
		}
	}
	for k, y := range p.at {
		curves := p.all(k)
		for _, c := range curves {
			if own[k] && square > 0 {
				heights[c] = (y - mean) / square / float64(len(curves))
			}
		}
	}
	cross.Heights = heights
	p.Sums = []mixed.Sum{{Slopes: slope}, {Slopes: twist}, cross, {Slopes: edge}}
	for k := range n {
		one := make([]float64, p.Slopes)
		one[k] = 1
		p.Sums = append(p.Sums, mixed.Sum{Slopes: one})
	}
}

// scatter is how well a line's positions are spread.
func (p *problem) scatter(k int) float64 {
	var n, sum, square float64
	for _, c := range p.all(k) {
		for _, x := range p.Curves[c].X {
			n++
			sum += x
		}
	}
	mean := sum / n
	for _, c := range p.all(k) {
		for _, x := range p.Curves[c].X {
			square += (x - mean) * (x - mean)
		}
	}
	return square
}

func (p *problem) length(k int) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range p.all(k) {
		for _, x := range p.Curves[c].X {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	return hi - lo
}

// describe fills a result in.
func (p *problem) describe(r *Result, fit *mixed.LineFit, opt Options, own []bool) {
	n := len(p.at)
	limit, form := opt.Tolerance, opt.StraightnessMM
	if opt.Same {
		limit.Limit, form = 0, 0
	}
	var together [][]int
	for k := range n {
		together = append(together, p.curves[k][0], p.curves[k][1])
	}
	heights := line.Heights(fit, slices.DeleteFunc(together, func(c []int) bool { return len(c) < 2 })...)
	way := func(k int) *line.Profile {
		if !p.turned || len(p.curves[k][0]) == 0 || len(p.curves[k][1]) == 0 {
			return line.NewProfile(fit, []line.Part{{Curves: p.all(k), Share: 1}})
		}
		return line.NewProfile(fit, []line.Part{{Curves: p.curves[k][0], Share: 0.5},
			{Curves: p.curves[k][1], Share: 0.5}})
	}
	edge := opt.EdgeMPEMM
	if p.turned {
		edge = 0 // its form was measured
		opt.EdgeMPEMM = 0
	}
	r.Slope = line.Slope(fit, fit.Sums[sumSlope], r.LengthMM, opt.Setup, limit)
	profiles := make([]*line.Profile, n)
	for k := range n {
		profiles[k] = way(k)
	}
	each, most := line.StraightnessOf(fit, profiles, heights, edge)
	judged := func(s *line.Straightness) *Straightness {
		if s == nil {
			return nil
		}
		return &Straightness{s.LeastSquares, s.MinimumZone, s.EndPoints, s.U, line.JudgeMM(s.MinimumZone, s.U, form)}
	}
	for k, pr := range profiles {
		z := pr.Values(heights, nil)
		l := Line{AtMM: p.at[k], BendMM: line.Bend(pr.X, z), Straightness: judged(each[k])}
		if own[k] {
			l.Slope = line.Slope(fit, fit.Sums[sumLines+k], p.length(k), opt.Setup, limit)
		}
		r.Lines = append(r.Lines, l)
		ls := zone.LeastSquares(pr.X, z)
		for i, x := range pr.X {
			r.Profile = append(r.Profile, Place{p.at[k], x, z[i], z[i] - ls.At - ls.Slope*x})
		}
	}
	r.Straightness = judged(most)
	r.BendMM = slices.MaxFunc(r.Lines, func(a, b Line) int {
		return cmp.Compare(math.Abs(a.BendMM), math.Abs(b.BendMM))
	}).BendMM
	if n > 1 {
		p.plane(r, fit, opt, own, profiles, heights, form, edge)
	}
	if p.turned {
		r.EdgeSlope = line.Slope(fit, fit.Sums[sumEdge], r.LengthMM, opt.Setup, zeroTolerance)
		p.edgeForm(r, fit, heights)
	}
	verdicts := []sweep.Verdict{r.Slope.Verdict}
	for _, l := range r.Lines {
		switch {
		case l.Straightness != nil:
			verdicts = append(verdicts, l.Straightness.Verdict)
		case form > 0: // two places show nothing of it
			verdicts = append(verdicts, sweep.Undecided)
		}
		if l.Slope != nil {
			verdicts = append(verdicts, l.Slope.Verdict)
		}
	}
	if r.Flatness != nil {
		verdicts = append(verdicts, r.Flatness.Verdict)
	}
	if opt.Same {
		p.same(r, fit, opt, profiles, heights)
		verdicts = []sweep.Verdict{r.Same.Verdict}
	}
	r.Verdict = line.Worst(verdicts...)
}
