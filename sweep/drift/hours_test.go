package drift

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// worn is a machine whose tilt moves by the spindle's hours or by the calendar, and that is used unevenly: some weeks
// hard, some not at all.
type worn struct {
	checks      []Check
	limit       float64
	truth, used []float64 // at each quarter of a day, for far longer than the record
	last        int       // quarter of the last check
}

func wear(r *rand.Rand, byHours bool, checks int) worn {
	const u = 0.004
	w := worn{limit: 0.0667}
	var aDay float64
	hours, tilt := 100.0, 0.02*(r.Float64()-0.5)
	rate := 0.15 * u * math.Pow(3, r.Float64()-0.5) // of a usual day, which has 4 hours
	for q := range 40 * checks {
		if q%20 == 0 {
			aDay = []float64{0, 0, 2, 6, 12}[r.IntN(5)]
		}
		w.truth, w.used = append(w.truth, tilt), append(w.used, hours)
		if byHours {
			tilt += rate / 4 * aDay / 4
		} else {
			tilt += rate / 4
		}
		hours += aDay / 4
	}
	for k := range checks {
		w.last = 4*k + r.IntN(3)
		w.checks = append(w.checks, Check{Time: at(float64(w.last) / 4), Limit: w.limit, SpindleHours: w.used[w.last],
			Axis: [2]*Value{{w.truth[w.last] + u*r.NormFloat64(), u}, {u * r.NormFloat64(), u}}})
	}
	return w
}

// foretold is the density at which the bank expects an observation.
func foretold(b *bank, o *observation) float64 {
	dt := o.t - b.last
	ran := dt
	if b.aDay > 0 {
		ran = (o.used.hours - b.used.hours) * b.aDay
	}
	b.decays(dt)
	sum := 0.0
	for i := range b.h {
		h := b.h[i]
		decay := 0.0
		if h.tau >= 0 {
			decay = b.decay[h.tau]
		}
		if h.process.used {
			h.predict(&h.process, ran, decay)
		} else {
			h.predict(&h.process, dt, decay)
		}
		m, v := h.lean(0)
		sum += h.weight * distuv.StudentsT{Mu: m, Sigma: math.Sqrt((v + o.r) * h.square / b.dof), Nu: b.dof}.Prob(o.y)
	}
	return sum
}

// worked is what came of machines with the counter read, or not.
type worked struct {
	density float64 // mean log of that at which checks were foretold, from the 20th on
	byHours float64 // mean chance given to the hours
	dates   calibration
}

func work(t testing.TB, byHours, counted bool, machines, checks int, seed uint64) worked {
	r := rand.New(rand.NewPCG(seed, 21))
	var out worked
	var n, m float64
	for range machines {
		w := wear(r, byHours, checks)
		tr := asked()
		for k, c := range w.checks {
			if !counted {
				c.SpindleHours = math.NaN()
			}
			a := tr.axes[0]
			var before *bank
			if k >= 20 {
				before = a.bank.copyInto(&bank{})
			}
			if _, err := tr.Check(c); err != nil {
				t.Fatal(err)
			}
			if before != nil && before.aDay == a.bank.aDay {
				out.density += math.Log(foretold(before, a.segment.last()))
				n++
			}
		}
		if p := tr.axes[0].bank.byHours(); finite(p) {
			out.byHours += p
			m++
		}
		f := tr.Forecast(0.95)
		if math.Abs(w.truth[w.last]) > w.limit || f.Next == nil || f.Next.LimitedBy != ByChance {
			continue
		}
		q := min(w.last+int(4*f.Next.Days), len(w.truth)-1)
		if f.Next.ByHours { // due when the counter says so
			for q = w.last; q < len(w.used)-1 && w.used[q] < w.used[w.last]+f.Next.SpindleHours; q++ {
			}
		}
		out.dates.due++
		out.dates.ahead += float64(q-w.last) / 4
		if math.Abs(w.truth[q]) > w.limit {
			out.dates.outside++
		}
	}
	out.density /= n
	out.byHours /= m
	return out
}

// Where wear follows the hours, their clock forecasts better. Where it follows the calendar, both are equal.
func TestHoursAreAClock(t *testing.T) {
	t.Parallel()
	const machines, checks = 15, 60
	for _, x := range []struct {
		byHours  bool
		gain     float64 // of the log density of a check, at least
		low, top float64 // of the chance given to the hours
	}{{true, 0.01, 0.8, 1}, {false, -0.03, 0, 0.2}} {
		with, without := work(t, x.byHours, true, machines, checks, 1), work(t, x.byHours, false, machines, checks, 1)
		t.Logf("by hours %v: density %.3f, by the calendar alone %.3f; chance of hours %.2f; dates %+v %+v",
			x.byHours, with.density, without.density, with.byHours, with.dates, without.dates)
		if g := with.density - without.density; g < x.gain {
			t.Errorf("by hours %v: the log density gains %.3f, want %.3f at least", x.byHours, g, x.gain)
		}
		if p := with.byHours; !(p >= x.low && p <= x.top) {
			t.Errorf("by hours %v: hours are given %.2f, want %.1f to %.1f", x.byHours, p, x.low, x.top)
		}
	}
}

// The answer says so: hours first, and the rate for 100 of them.
func TestAnswerByHours(t *testing.T) {
	var relative float64
	const records = 8
	var b strings.Builder
	for seed := range uint64(records) {
		w := wear(rand.New(rand.NewPCG(2+seed, 2)), true, 60)
		h := &History{}
		for i := range w.checks {
			h.Entries = append(h.Entries, Entry{Check: &w.checks[i]})
		}
		b.Reset()
		a, err := WorkJSON(&b, h, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		rate, u, ok := a.RatePer100Hours(0)
		truth := 100 * (w.truth[w.last] - w.truth[0]) / (w.used[w.last] - w.used[0])
		if !ok || math.Abs(rate-truth) > 3*u {
			t.Errorf("%v ± %v (%v) mm/m for 100 hours, truth %v", rate, u, ok, truth)
		}
		relative += u / truth / records
	}
	if relative > 0.4 {
		t.Errorf("rates are known to %.2f of themselves on average", relative)
	}
	for _, want := range []string{`"by_hours":true`, `"rate_mm_per_m_per_100_h":`, `after so many spindle hours`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in the answer", want)
		}
	}
}

// Between readings of the counter use goes on as before, and a counter that went back takes nothing back.
func TestUseBetweenReadings(t *testing.T) {
	var h hours
	for _, x := range []struct{ day, count, want float64 }{
		{0, 50, 0}, {10, 90, 40}, {15, math.NaN(), 60}, {16, 100, 60}, {20, 130, 80}, {21, 5, 80}, {23, 13, 88},
	} {
		h.add(x.day, x.count)
		near(t, "hours", h.now(x.day).hours, x.want, 1e-9)
	}
	if got := h.now(23 + usageDays + 1).hours; finite(got) {
		t.Errorf("long after the last reading: %v hours", got)
	}
}
