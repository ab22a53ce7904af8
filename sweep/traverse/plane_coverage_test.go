package traverse

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/line/linetest"
	"tramd/sweep/zone"
)

// surface makes up a plane of known truth: a slope, a cross slope, a twist and a bow.
type surface struct{ slope, cross, twist, bow float64 } // mm per mm; mm per mm of each mm across; mm

func (s surface) at(x, y, long, wide float64) float64 {
	u := 2*x/long - 1
	return s.slope*x + s.cross*y + s.twist*(x-long/2)*(y-wide/2)/wide + s.bow*(1-u*u)
}

// scan is how a plane is read.
type scan struct {
	name       string
	lines      []float64
	places     int
	long       float64
	white      float64
	seconds    float64
	edge, back bool // the edge is turned; each line is read there and back
	slow, tau  float64
}

var scans = []scan{
	{name: "two lines of five", lines: []float64{0, 160}, places: 5, long: 400, white: 0.001, seconds: 8},
	{name: "two lines of nine, there and back", lines: []float64{0, 160}, places: 9, long: 400, white: 0.001,
		seconds: 6, back: true},
	{name: "grid of three by seven", lines: []float64{0, 200, 400}, places: 7, long: 600, white: 0.001, seconds: 6},
	{name: "grid of five by nine", lines: []float64{0, 100, 200, 300, 400}, places: 9, long: 600, white: 0.0015,
		seconds: 6},
	{name: "edge turned, nine", lines: []float64{0}, places: 9, long: 600, white: 0.001, seconds: 6, edge: true},
	{name: "edge turned, twenty there and back", lines: []float64{0}, places: 20, long: 600, white: 0.001, seconds: 4,
		edge: true, back: true},
	{name: "two lines moving", lines: []float64{0, 160}, places: 400, long: 400, white: 0.001, seconds: 0.05,
		back: true, slow: 0.0007, tau: 1},
}

func (s scan) read(r *rand.Rand, z func(x, y, sign float64) float64) *line.Readings {
	in := &line.Readings{}
	t, slow, fade := 0.0, s.slow*r.NormFloat64(), math.Exp(-s.seconds/math.Max(s.tau, 1e-9))
	ways := []float64{1}
	if s.edge {
		ways = append(ways, -1)
	}
	curve := 0
	for _, sign := range ways {
		height := r.NormFloat64() * 0.1
		for _, y := range s.lines {
			run := line.Run{LineMM: y, Turned: sign < 0}
			var xs []float64
			for k := range s.places {
				xs = append(xs, s.long*float64(k)/float64(s.places-1))
			}
			back := slices.Clone(xs)
			slices.Reverse(back)
			switch {
			case s.back:
				xs = append(xs, back[1:]...)
			case curve%2 == 1:
				xs = back
			}
			for _, x := range xs {
				v := height + z(x, y, sign) + s.white*r.NormFloat64() + slow
				run.T, run.X, run.Z = append(run.T, t), append(run.X, x), append(run.Z, math.Round(v*1000)/1000)
				slow = fade*slow + s.slow*math.Sqrt(1-fade*fade)*r.NormFloat64()
				t += s.seconds
				in.Rows++
			}
			in.Runs = append(in.Runs, run)
			t += 5 * s.seconds
			curve++
		}
	}
	return in
}

// Each estimate of several lines, and of an edge that was turned, holds the truth.
func TestIntervalsOfPlanesHoldTheTruth(t *testing.T) {
	n := 12
	if *study > 0 {
		n = *study
	}
	for k, s := range scans {
		if *only != "" && s.name != *only {
			continue
		}
		r := rand.New(rand.NewPCG(uint64(k), 23))
		tallies := map[string]*linetest.Tally{}
		add := func(name string, off, half float64) {
			if tallies[name] == nil {
				tallies[name] = &linetest.Tally{}
			}
			tallies[name].Add(off, half)
		}
		wide := s.lines[len(s.lines)-1]
		for range n {
			f := surface{0.2e-3 * r.NormFloat64(), 0.2e-3 * r.NormFloat64(), 0.1e-3 * r.NormFloat64(),
				0.003 * r.NormFloat64()}
			if s.edge { // there is one line
				f.twist = 0
			}
			bow := 0.004 * r.NormFloat64()
			edge := func(x float64) float64 { u := 2*x/s.long - 1; return bow * (u*u*u*u - u*u) }
			tilt := 0.1e-3 * r.NormFloat64()
			in := s.read(r, func(x, y, sign float64) float64 {
				z := f.at(x, y, s.long, math.Max(wide, 1))
				if s.edge {
					z += sign * (edge(x) + tilt*x)
				}
				return z
			})
			res, err := Fit(in, Options{Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: 0.001}}}})
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			add("slope", float64(res.Slope.Slope)-f.slope, float64(res.Slope.Expanded))
			add("straightness", res.Straightness.MinimumZone-math.Abs(f.bow), res.Straightness.U)
			if len(s.lines) > 1 {
				add("twist", float64(res.Twist.Slope)-f.twist, float64(res.Twist.Expanded))
				add("cross slope", float64(res.CrossSlope.Slope)-f.cross, float64(res.CrossSlope.Expanded))
				var x, y, z []float64
				for i := range 41 {
					for _, l := range s.lines {
						x, y = append(x, s.long*float64(i)/40), append(y, l)
						z = append(z, f.at(x[len(x)-1], l, s.long, wide))
					}
				}
				truth, _ := zone.FitPlane(x, y, z)
				add("flatness", res.Flatness.MinimumZone-truth.Height, res.Flatness.U)
			}
			if s.edge {
				var xs, zs []float64
				for _, e := range res.EdgeForm {
					xs, zs = append(xs, e.PositionMM), append(zs, edge(e.PositionMM))
				}
				straighten(xs, zs)
				for i, e := range res.EdgeForm {
					add("edge form", e.MM-zs[i], 1.96*e.U)
				}
				add("edge slope", float64(res.EdgeSlope.Slope)-tilt, float64(res.EdgeSlope.Expanded))
			}
		}
		for _, name := range slices.Sorted(maps.Keys(tallies)) {
			judge(t, s.name, name, tallies[name])
		}
	}
}
