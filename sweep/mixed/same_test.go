package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tramd/sweep"
)

// change is a way to write the same sweep down otherwise; back brings its lean back.
type change struct {
	name string
	do   func(t trial) trial
	back func(tilt, nod float64) (float64, float64)

	unit, backwards bool // it is another unit; it runs the other way in time
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
		}, false, false},
		{"angles from 0 to 360 degrees", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Angle = sweep.Wrap(p.Angle) }, func(*sweep.Indicator) {})
		}, sameLean, false, false},
		{"in inches", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Reading /= 25.4 }, func(i *sweep.Indicator) {
				i.RadiusMM, i.RadiusUMM, i.ResolutionMM = i.RadiusMM/25.4, i.RadiusUMM/25.4, i.ResolutionMM/25.4
			})
		}, sameLean, true, false},
		{"readings ten times as large", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Reading *= 10 }, func(i *sweep.Indicator) {
				i.ResolutionMM *= 10
			})
		}, func(a, b float64) (float64, float64) { return a / 10, b / 10 }, true, false},
		{"negated", func(t trial) trial {
			return remapped(t, func(p *sweep.Point) { p.Reading = -p.Reading }, func(*sweep.Indicator) {})
		}, func(a, b float64) (float64, float64) { return -a, -b }, false, false},
		{"backwards in time", func(t trial) trial {
			t = remapped(t, func(p *sweep.Point) { p.T = -p.T }, func(*sweep.Indicator) {})
			slices.Reverse(t.pts)
			return t
		}, sameLean, false, true},
		{"indicators in the other order", func(t trial) trial {
			n := len(t.setup.Indicators) - 1
			t = remapped(t, func(p *sweep.Point) { p.Indicator = n - p.Indicator }, func(*sweep.Indicator) {})
			slices.Reverse(t.setup.Indicators)
			return t
		}, sameLean, false, false},
	}
}

// reversible says whether a sweep run backwards is a sweep too: a plunger with play does not follow the way back as it
// came.
func reversible(name string) bool {
	return !strings.Contains(name, "both ways") && !strings.Contains(name, "there and back") &&
		!strings.Contains(name, "late encoder")
}

// What a sweep is written in changes neither lean nor interval: where angles begin and whether they go on over 360
// degrees, which indicator comes first, the unit of the readings (but for stations, whose repeatability is thought to
// be some micrometres before they have shown it), and the sign of the readings. Run backwards, a sweep is cut at other
// places, so its lean moves by a part of u, and its u may double.
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
			if c.unit && !f.long || c.backwards && !reversible(f.name) {
				continue
			}
			ch := c.do(tr)
			b, err := Fit(ch.pts, ch.setup)
			if err != nil {
				t.Errorf("%s, %s: %v", f.name, c.name, err)
				continue
			}
			x, y := c.back(float64(b.Tilt.Slope), float64(b.Nod.Slope))
			u := math.Max(float64(a.Tilt.U), float64(a.Nod.U))
			off := math.Max(math.Abs(x-float64(a.Tilt.Slope)), math.Abs(y-float64(a.Nod.Slope))) / u
			v, w := c.back(float64(b.Tilt.U), float64(b.Nod.U))
			wide := math.Hypot(v, w) / math.Hypot(float64(a.Tilt.U), float64(a.Nod.U))
			worst[c.name] = math.Max(worst[c.name], off)
			most, same := 0.001, 0.001
			if c.name == "indicators in the other order" &&
				(math.Abs(a.FormPVMM-b.FormPVMM) > 1e-7 || math.Abs(a.ClosureMM-b.ClosureMM) > 1e-7) {
				t.Errorf("%s, %s: form %v and %v mm, closure %v and %v mm", f.name, c.name, a.FormPVMM, b.FormPVMM,
					a.ClosureMM, b.ClosureMM)
			}
			switch {
			case c.name == "turned by 37.3 degrees": // other axes, each with its own interval
				same = 0.3
			case c.backwards:
				most, same = 1, 1.1
			}
			if off > most || math.Abs(wide-1) > same {
				t.Errorf("%s, %s: the lean moves by %.3f u, the interval is %.4f times as wide", f.name,
					c.name, off, wide)
			}
		}
	}
	t.Logf("%.3v", worst)
}
