package traverse

import (
	"fmt"
	"math"
	"slices"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
	"tramd/sweep/zone"
)

var zeroTolerance units.Tolerance

// plane adds what several lines say together.
func (p *problem) plane(r *Result, fit *mixed.LineFit, opt Options, own []bool, profiles []*line.Profile,
	heights []float64, form, edge float64) {
	n := len(p.at)
	if own[0] && own[n-1] {
		length := math.Min(p.length(0), p.length(n-1))
		r.Twist = line.Slope(fit, fit.Sums[sumTwist], length, opt.Setup, zeroTolerance)
	}
	if across := p.across(own); across > 0 {
		r.CrossSlope = line.Slope(fit, fit.Sums[sumCross], across, opt.Setup, zeroTolerance)
	}
	var x, y []float64
	for k, pr := range profiles {
		for _, v := range pr.X {
			x, y = append(x, v), append(y, p.at[k])
		}
	}
	z := together(profiles, heights, nil)
	ls, ok := zone.LeastSquaresPlane(x, y, z)
	if !ok || len(z) < 4 {
		return
	}
	mz, _ := zone.FitPlane(x, y, z)
	// The least-squares plane stands for both in the draws, since it costs a fiftieth and departs more.
	var drawn []float64
	line.Drawn(fit, func(looks []float64) {
		z = together(profiles, looks, z)
		plane, _ := zone.LeastSquaresPlane(x, y, z)
		drawn = append(drawn, plane.Height)
	})
	r.Flatness = &Flatness{LeastSquares: ls.Height, MinimumZone: mz.Height, U: line.Expand(fit, drawn, edge)}
	r.Flatness.Verdict = line.JudgeMM(mz.Height, r.Flatness.U, form)
}

// together returns the heights of all profiles, one after the other.
func together(profiles []*line.Profile, looks, out []float64) []float64 {
	out = out[:0]
	var one []float64
	for _, pr := range profiles {
		one = pr.Values(looks, one)
		out = append(out, one...)
	}
	return out
}

// across is how far apart the outermost lines lie whose height at the middle is known: those with a slope of their own.
func (p *problem) across(own []bool) float64 {
	first, last := slices.Index(own, true), 0
	for k := range own {
		if own[k] {
			last = k
		}
	}
	return p.at[last] - p.at[first]
}

// edgeForm is half the difference of the two ways in which the edge lay, less its straight line.
func (p *problem) edgeForm(r *Result, fit *mixed.LineFit, heights []float64) {
	var as, turned []line.Part
	for k := range p.at {
		if len(p.curves[k][0]) > 0 && len(p.curves[k][1]) > 0 {
			as = append(as, line.Part{Curves: p.curves[k][0]})
			turned = append(turned, line.Part{Curves: p.curves[k][1]})
		}
	}
	var parts []line.Part
	for i := range as {
		share := 0.5 / float64(len(as))
		parts = append(parts, line.Part{Curves: as[i].Curves, Share: share},
			line.Part{Curves: turned[i].Curves, Share: -share})
	}
	pr := line.NewProfile(fit, parts)
	if len(pr.X) == 0 {
		return
	}
	z := pr.Values(heights, nil)
	straighten(pr.X, z)
	square, n := make([]float64, len(z)), 0.0
	var first, drawn []float64
	line.Drawn(fit, func(looks []float64) {
		drawn = pr.Values(looks, drawn)
		straighten(pr.X, drawn)
		if first == nil {
			first = slices.Clone(drawn)
			return
		}
		n++
		for i, v := range drawn {
			square[i] += (v - first[i]) * (v - first[i])
		}
	})
	mpe := fit.IndicatorMPE() / math.Sqrt(3)
	for i, x := range pr.X {
		r.EdgeForm = append(r.EdgeForm, EdgeForm{x, z[i], math.Hypot(math.Sqrt(square[i]/n), mpe/2)})
	}
}

func straighten(x, z []float64) {
	l := zone.LeastSquares(x, z)
	for i := range z {
		z[i] -= l.At + l.Slope*x[i]
	}
}

// same compares positions: the largest reading less the smallest. The limit is that of the form, or the rise of the
// tolerance.
func (p *problem) same(r *Result, fit *mixed.LineFit, opt Options, profiles []*line.Profile, heights []float64) {
	var x []float64
	for _, pr := range profiles {
		x = append(x, pr.X...)
	}
	z := together(profiles, heights, nil)
	low, high := 0, 0
	for i := range z {
		if z[i] < z[low] {
			low = i
		}
		if z[i] > z[high] {
			high = i
		}
	}
	r.Same = &Same{RangeMM: z[high] - z[low], LargestAt: x[high], SmallestAt: x[low]}
	var drawn []float64
	line.Drawn(fit, func(looks []float64) {
		z = together(profiles, looks, z)
		drawn = append(drawn, slices.Max(z)-slices.Min(z))
	})
	r.Same.U = line.Expand(fit, drawn, 0)
	limit := opt.StraightnessMM
	if limit == 0 && opt.Tolerance.Given() {
		if limit = opt.Tolerance.Limit.Over(opt.Tolerance.Span.MM()); limit == 0 {
			limit = opt.Tolerance.Limit.Over(r.LengthMM)
		}
	}
	r.Same.Verdict = line.JudgeMM(r.Same.RangeMM, r.Same.U, limit)
}

func (r *Result) warn(p *problem, in *line.Readings, own []bool) {
	add := func(code, format string, args ...any) {
		r.Warnings = append(r.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	for k, l := range r.Lines {
		if own[k] && l.Straightness == nil {
			where := ""
			if len(r.Lines) > 1 {
				where = fmt.Sprintf("the line at %v mm: ", l.AtMM)
			}
			add(line.WarnTwo, "%stwo positions show a slope but not how straight it is; read five or more", where)
		}
	}
	if len(p.at) > 1 && r.CrossSlope == nil {
		add(line.WarnPoint,
			"one line alone has a slope, so how the lines lie across cannot be told: read each at two positions at least")
	}
	if x, ok := typedTwice(in); ok {
		add(line.WarnTwice,
			"the position %v mm stands there twice on end, the others once: both readings were used; correct it if a position was mistyped", x)
	}
	for k := range p.at {
		if own[k] && p.length(k) < r.LengthMM/2 {
			add(line.WarnShort, "the line at %v mm is %.0f mm long, the whole %.0f mm: its slope is less certain",
				p.at[k], p.length(k), r.LengthMM)
		}
	}
	anyTurned := false
	for i := range in.Runs {
		anyTurned = anyTurned || in.Runs[i].Turned
	}
	if anyTurned && !p.turned {
		add(line.WarnOneTurn,
			"the edge was read turned only: read it as it lay too, then its form and the way's can be told apart")
	}
	if r.Slope != nil && math.Abs(r.Slope.Slope.MMPerM()) > steepMMPerM {
		add(mixed.WarnSteep, "a slope of more than %d mm/m: are the readings and the positions in mm?", steepMMPerM)
	}
	if r.Warnings == nil {
		r.Warnings = []sweep.Warning{}
	}
}

const steepMMPerM = 20

// typedTwice finds a position that was read twice on end among few that were read once each.
func typedTwice(in *line.Readings) (float64, bool) {
	for i := range in.Runs {
		x := in.Runs[i].X
		if len(x) > 60 {
			continue
		}
		pairs, at := 0, 0.0
		for j := 1; j < len(x); j++ {
			if x[j] == x[j-1] {
				pairs++
				at = x[j]
			}
		}
		if pairs == 1 && len(x) > 3 {
			return at, true
		}
	}
	return 0, false
}
