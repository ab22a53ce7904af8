package drift

import (
	"math/rand/v2"
	"testing"
)

// calibration is what became of next-check dates: how many were decided by the chance itself, and how many of those found
// the machine outside; and the same where the record bore no further.
type calibration struct {
	due, outside, bounded, boundedOutside, now int
	ahead                                      float64 // days, as a multiple of the record, summed
}

func (c *calibration) add(o calibration) {
	c.due += o.due
	c.outside += o.outside
	c.bounded += o.bounded
	c.boundedOutside += o.boundedOutside
	c.now += o.now
	c.ahead += o.ahead
}

func (c calibration) share() float64 { return float64(c.outside) / float64(max(1, c.due)) }

// calibrate asks for the next date after n checks of many machines and looks at the truth on that date. Machines that are
// outside already are left out.
func calibrate(t testing.TB, m machine, n, machines int, stated float64, seed uint64) calibration {
	r := rand.New(rand.NewPCG(seed, uint64(n)))
	var out calibration
	for range machines {
		h := draw(r, m, n, stated)
		last := h.days[n-1]
		if h.outside(last) {
			continue
		}
		tr := New()
		play(t, tr, h.checks)
		f := tr.Forecast(0.95)
		if f.Next == nil {
			continue
		}
		is := h.outside(last + f.Next.Days)
		switch f.Next.LimitedBy {
		case "":
			out.due++
			out.ahead += f.Next.Days / last
			if is {
				out.outside++
			}
		case "now":
			out.now++
		default:
			out.bounded++
			if is {
				out.boundedOutside++
			}
		}
	}
	return out
}

// The short form of the study's table of dates.
func TestDatesAreCalibrated(t *testing.T) {
	var all calibration
	for _, m := range machines() {
		for _, n := range []int{30, 60} {
			c := calibrate(t, m, n, 60, 1, 3)
			t.Logf("%s, %d checks: %d of %d outside on the date; %d of %d where the record bore no further", m.name, n, c.outside, c.due, c.boundedOutside, c.bounded)
			all.add(c)
		}
	}
	if all.due < 200 {
		t.Fatalf("only %d dates", all.due)
	}
	// Some 300 dates: a share of 5 % is known to 1.3 %.
	if s := all.share(); s < 0.02 || s > 0.08 {
		t.Errorf("%.1f %% of %d machines were outside on the date, want 3 to 7 %% (and a standard error)", 100*s, all.due)
	}
	if all.boundedOutside > all.bounded/10 {
		t.Errorf("%d of %d were outside where the date was cut short", all.boundedOutside, all.bounded)
	}
}
