package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tramd/sweep"
)

// change is a way to write the same sweep down otherwise; back brings its lean back.
type change struct {
	name string
	do   func(t trial) trial
	back func(tilt, nod float64) (float64, float64)
}

func sameLean(tilt, nod float64) (float64, float64) { return tilt, nod }

// remapped is a trial with its points and indicators changed one by one.
func remapped(t trial, point func(p *sweep.Point), ind func(i *sweep.Indicator)) trial {
	t.pts, t.setup.Indicators = slices.Clone(t.pts), slices.Clone(t.setup.Indicators)
	for i := range t.pts {
		point(&t.pts[i])
	}
	for i := range t.setup.Indicators {
		ind(&t.setup.Indicators[i])
	}
	return t
}

func changes() []change {
	turn := sweep.Radians(37.3)
	return []change{
		{"turned by 37.3 degrees", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Angle += turn }, func(*sweep.Indicator) {})
		}, func(a, b float64) (float64, float64) {
			s, c := math.Sincos(turn)
			return a*c + b*s, b*c - a*s
		}},
		{"angles from 0 to 360 degrees", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Angle = sweep.Wrap(p.Angle) }, func(*sweep.Indicator) {})
		}, sameLean},
		{"indicators in the other order", func(t trial) trial {
			n := len(t.setup.Indicators) - 1
			t = remapped(t, func(p *sweep.Point) { p.Indicator = n - p.Indicator }, func(*sweep.Indicator) {})
			slices.Reverse(t.setup.Indicators)
			return t
		}, sameLean},
	}
}

// Where angles begin, whether they go on over 360 degrees and which indicator comes first change neither lean nor interval. (Units
// and the way time runs still do; see decisions.md.)
func TestWrittenOtherwise(t *testing.T) {
	t.Parallel()
	worst := map[string]float64{}
	for i, f := range append(families(), unseen()...) {
		if i%3 != 1 { // a third of the kinds, of all sorts
			continue
		}
		r := rand.New(rand.NewPCG(71, 5))
		tr := f.draw(r)
		a, err := Fit(tr.pts, tr.setup)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range changes() {
			ch := c.do(tr)
			b, err := Fit(ch.pts, ch.setup)
			if err != nil {
				t.Errorf("%s, %s: %v", f.name, c.name, err)
				continue
			}
			x, y := c.back(float64(b.Tilt.Slope), float64(b.Nod.Slope))
			u := math.Max(float64(a.Tilt.U), float64(a.Nod.U))
			off := math.Max(math.Abs(x-float64(a.Tilt.Slope)), math.Abs(y-float64(a.Nod.Slope))) / u
			wide := math.Hypot(float64(b.Tilt.U), float64(b.Nod.U)) / math.Hypot(float64(a.Tilt.U), float64(a.Nod.U))
			worst[c.name] = math.Max(worst[c.name], off)
			same := 0.001
			if c.name == "turned by 37.3 degrees" { // other axes, each with its own interval
				same = 0.3
			}
			if off > 0.001 || math.Abs(wide-1) > same {
				t.Errorf("%s, %s: the lean moves by %.3f u, the interval is %.4f times as wide", f.name, c.name, off, wide)
			}
		}
	}
	t.Logf("%.3v", worst)
}
