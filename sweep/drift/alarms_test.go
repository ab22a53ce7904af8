package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// healthy is a machine that holds still and how its checks are described to the model.
type healthy struct {
	name     string
	stated   float64 // u told, as a multiple of the truth
	clamping float64 // unstated scatter of each new clamping, in u
	uneven   bool    // every other check is five times as uncertain
	adjusted bool    // the record begins with an adjustment
	warm     bool    // a temperature is recorded, which does nothing
}

func healthies() []healthy {
	return []healthy{
		{name: "u right"},
		{name: "u stated a quarter too small", stated: 0.75},
		{name: "u stated a quarter too large", stated: 1.25},
		{name: "u not stated", stated: math.NaN()},
		{name: "each clamping scatters by 3 u", clamping: 3},
		{name: "every other check five times as uncertain", uneven: true},
		{name: "the same, each clamping scatters by 3 u", uneven: true, clamping: 3},
		{name: "begins with an adjustment", adjusted: true},
		{name: "a temperature is recorded that does nothing", warm: true},
	}
}

const trueU = 0.004

// stream gives checks of a healthy machine one after the other; step is added to tilt, in units of the scatter.
func (h healthy) stream(r *rand.Rand) func(step float64) Check {
	day := 0.0
	k := 0
	stated := h.stated
	if stated == 0 {
		stated = 1
	}
	var air func(float64) float64
	if h.warm {
		air = weather(r)
	}
	return func(step float64) Check {
		u := trueU
		if h.uneven && k%2 == 1 {
			u *= 5
		}
		scatter := math.Hypot(u, h.clamping*trueU)
		c := Check{Time: at(day), SpindleHours: math.NaN(), Axis: [2]*Value{
			{0.01 + scatter*(step+r.NormFloat64()), u * stated},
			{-0.02 + scatter*r.NormFloat64(), u * stated},
		}}
		if air != nil {
			celsius := air(day)
			c.TemperatureC = &celsius
		}
		k++
		day += 0.5 + r.Float64()
		return c
	}
}

// falseAlarms gives the mean number of checks to the first alarm of a healthy machine, each watched for so many checks
// at most, the standard error of that, and how many alarms began in a check when machines are watched on.
func falseAlarms(t testing.TB, h healthy, machines, checks int, seed uint64) (toFirst, se, aCheck float64) {
	r := rand.New(rand.NewPCG(seed, 2))
	var firsts, watched, begun, all float64
	for range machines {
		next, tr := h.stream(r), New()
		if h.adjusted {
			if err := tr.Event(Event{Time: at(0), Kind: "adjusted"}); err != nil {
				t.Fatal(err)
			}
		}
		alarmed, on := false, false
		for range checks {
			row, err := tr.Check(next(0))
			if err != nil {
				t.Fatal(err)
			}
			all++
			if !alarmed {
				watched++
			}
			if row.Alarm != None {
				if !alarmed {
					firsts++
				}
				if !on {
					begun++
				}
				alarmed = true
			}
			on = row.Alarm != None
		}
	}
	toFirst = watched / firsts // alarms come at random, so their number has its root as a standard error
	return toFirst, toFirst / math.Sqrt(firsts), begun / all
}

// delay returns the mean number of checks until the chart reports a step of so many standard deviations after quiet
// checks, its standard error, and the share reported as a shift. It leaves out a machine with an earlier false alarm. A
// step that is never reported counts as 300.
func delay(t testing.TB, h healthy, quiet int, step float64, machines int, seed uint64) (mean, se, asShift float64) {
	r := rand.New(rand.NewPCG(seed, 3))
	var n, sum, squares, shifts float64
machine:
	for range machines {
		next, tr := h.stream(r), New()
		for range quiet {
			row, err := tr.Check(next(0))
			if err != nil {
				t.Fatal(err)
			}
			if row.Alarm != None {
				continue machine
			}
		}
		took := 300.0
		for k := range 300 {
			row, err := tr.Check(next(step))
			if err != nil {
				t.Fatal(err)
			}
			if row.Alarm != None {
				took = float64(k + 1)
				if row.Alarm == Shift {
					shifts++
				}
				break
			}
		}
		n++
		sum += took
		squares += took * took
	}
	mean = sum / n
	return mean, math.Sqrt((squares/n - mean*mean) / (n - 1)), shifts / n
}

// The short form of the study's first tables.
func TestAlarmsAreRareAndSoon(t *testing.T) {
	for _, h := range []healthy{{name: "u right"}, {name: "u a quarter too small, clamping scatters", stated: 0.75,
		clamping: 2}} {
		// About 130 alarms are expected, so the figure is known to some 9 %.
		toFirst, _, aCheck := falseAlarms(t, h, 100, 500, 1)
		t.Logf("%s: %.0f checks to the first false alarm, 1 in %.0f checks begins one", h.name, toFirst, 1/aCheck)
		if toFirst < 340 || aCheck > 1.0/340 {
			t.Errorf("%s: %.0f checks to the first false alarm, want 370 (less two standard errors)", h.name, toFirst)
		}
	}
	for _, x := range []struct{ step, most float64 }{{1, 13.4}, {2, 4.8}} { // 12 and 4.5, and two standard errors
		mean, _, _ := delay(t, healthy{}, 100, x.step, 150, 2)
		t.Logf("a step of %.0f standard deviations after 100 checks is reported after %.1f", x.step, mean)
		if mean > x.most {
			t.Errorf("a step of %.0f standard deviations is reported after %.1f checks, want %.1f at most", x.step,
				mean, x.most)
		}
	}
}
