package drift

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

var (
	studyOn   = flag.Bool("study", false, "run the long study of alarms and dates")
	studySize = flag.Int("study.size", 400, "machines of each kind in the long study")
	studySeed = flag.Uint64("study.seed", 1, "seed of the long study")
	studyOut  = flag.String("study.out", "", "file for the study's markdown")
)

// ramp returns the mean number of checks until an even movement of so many standard deviations a check is reported
// after quiet checks, the share first reported as a trend, and the share reported as one 50 checks after it began.
func ramp(t testing.TB, quiet int, perCheck float64, machines int, seed uint64) (mean, asTrend, later float64) {
	r := rand.New(rand.NewPCG(seed, 4))
	var n, sum, trends, laterTrends float64
machine:
	for range machines {
		next, tr := healthy{}.stream(r), New()
		for range quiet {
			row, err := tr.Check(next(0))
			if err != nil {
				t.Fatal(err)
			}
			if row.Alarm != None {
				continue machine
			}
		}
		took := 0.0
		for k := 1; k <= 400; k++ {
			row, err := tr.Check(next(perCheck * float64(k)))
			if err != nil {
				t.Fatal(err)
			}
			if row.Alarm != None && took == 0 {
				took = float64(k)
				if row.Alarm == Trend {
					trends++
				}
			}
			if took > 0 && float64(k) >= took+50 {
				if row.Alarm == Trend {
					laterTrends++
				}
				break
			}
		}
		if took == 0 {
			took = 400
		}
		n++
		sum += took
	}
	return sum / n, trends / n, laterTrends / n
}

// TestStudy is the long study; it runs only when asked for by -study, and then fails on what the package promises.
func TestStudy(t *testing.T) {
	if !*studyOn {
		tableHasEveryKind(t)
		t.Log("the long study runs with -study; TestAlarmsAreRareAndSoon and TestDatesAreCalibrated are its short form")
		return
	}
	var b strings.Builder
	p := func(format string, args ...any) {
		line := fmt.Sprintf(format, args...)
		fmt.Print(line)
		b.WriteString(line)
	}
	n, seed := *studySize, *studySeed
	alarms := 4 * n // they cost little
	p(
		"# What the alarms cost and the dates are worth\n\nSimulated machines, both axes checked, gaps between checks uneven; what makes them (`simulate_test.go`, `alarms_test.go`;\n"+
			"a second workshop that shares nothing with the first: `unseen_test.go`) "+
			"shares no code with the model. Made by `go test ./sweep/drift -run TestStudy -study -study.size %d -study.seed %d -study.out FILE`.\n\nOf each kind and number of checks %d machines, and of each kind of alarm %d; what lies within two standard errors of the simulation is no miss.\n\n", n, seed, n, alarms)

	p(
		"## False alarms\n\nHealthy machines, watched for 500 checks each. Wanted: one false alarm in 370 checks or fewer, both axes together.\n\n" +
			"| checks | mean checks to the first | one begins in |\n|---|---|---|\n")
	for _, h := range healthies() {
		toFirst, se, aCheck := falseAlarms(t, h, alarms, 500, seed)
		p("| %s | %.0f ± %.0f | %.0f |\n", h.name, toFirst, se, 1/aCheck)
		if clearly(370-toFirst, se) {
			t.Errorf("%s: %.0f (± %.0f) checks to the first false alarm, want 370", h.name, toFirst, se)
		}
	}

	p(
		"\nWhere every other check is five times as uncertain only the better half tells much, so fewer checks raise an alarm.\n")

	p(
		"\n## Steps\n\nOne axis moves by a step, in standard deviations of the scatter from check to check, after so many quiet checks. Nothing is known\n" +
			"beforehand of mean or scatter: what few checks know of the old level, no chart can make up for. Wanted after 100: 12 and 4.5.\n\n" +
			"| quiet checks before | step 1: checks until reported | called a shift | step 2 | called a shift |\n|---|---|---|---|---|\n")
	for _, quiet := range []int{25, 50, 100, 200} {
		one, se1, shift1 := delay(t, healthy{}, quiet, 1, alarms, seed)
		two, se2, shift2 := delay(t, healthy{}, quiet, 2, alarms, seed)
		p("| %d | %.1f ± %.1f | %.0f %% | %.2f ± %.2f | %.0f %% |\n", quiet, one, se1, 100*shift1, two, se2, 100*shift2)
		if quiet >= 100 && (clearly(one-12, se1) || clearly(two-4.5, se2)) {
			t.Errorf("steps after %d checks are reported after %.1f (± %.1f) and %.1f (± %.1f), want 12 and 4.5", quiet,
				one, se1, two, se2)
		}
	}

	studyOptimum(p)

	p(
		"\n## Slow ramps\n\nOne axis begins to move evenly after 50 quiet checks, by so many standard deviations a check.\n\n" +
			"| a check | checks until reported | the axis had come by then | called a trend at once | 50 checks later |\n|---|---|---|---|---|\n")
	for _, per := range []float64{0.02, 0.05, 0.1, 0.2} {
		mean, trend, later := ramp(t, 50, per, alarms, seed)
		p("| %.2f | %.1f | %.1f | %.0f %% | %.0f %% |\n", per, mean, mean*per, 100*trend, 100*later)
	}

	p(
		"\n## Temperature\n\nMachines that lean with a shop's temperature, by 0.2 to 1 scatter a kelvin, or not at all; its days and its year differ from shop to shop\n" +
			"(`warmth_test.go`). Alarms of shift and trend; of one that wanders they are right. The rate is that of what the temperature does not explain: by how\n" +
			"much it is missed, in scatters a gap. Told: on how many axes the temperature is likelier to act than not; held: in how many of them its\n" +
			"interval of 95 %% held the truth. Outside on the date: with the temperature that was to come.\n\n" +
			"| machine | temperature recorded | checks | an alarm begins in one check of | rate missed by | told | held | dates by chance | outside | cut short | outside |\n|---|---|---|---|---|---|---|---|---|---|---|\n")
	var leaning calibration
	for _, moves := range []string{"still", "wandering", "trending"} {
		for _, x := range []struct {
			says     string
			perK     float64
			recorded float64
			as       string
		}{{"", 0, 0, "no"}, {"", 0, 1, "yes"}, {", leaning", 1, 0, "no"}, {", leaning", 1, 1, "yes"},
			{", leaning", 1, 0.5, "at every other check"}} {
			for _, checks := range []int{20, 80} {
				s := studyWarmth(t, warmKind{perK: x.perK, recorded: x.recorded, moves: moves}, checks, n, seed)
				often, missed, held := "–", "–", "–"
				if s.alarms > 0 {
					often = fmt.Sprintf("%.0f", 1/s.alarms)
				}
				if moves != "wandering" {
					missed = fmt.Sprintf("%.4f", s.off)
				}
				if s.told > 0.05 {
					held = fmt.Sprintf("%.0f %%", 100*s.held)
				}
				d := s.dates
				p("| %s%s | %s | %d | %s | %s | %.0f %% | %s | %d | %.1f %% | %d | %.1f %% |\n", moves, x.says, x.as,
					checks, often, missed, 100*s.told, held,
					d.due, 100*d.share(), d.bounded, 100*float64(d.boundedOutside)/float64(max(1, d.bounded)))
				if x.perK > 0 && x.recorded == 1 {
					leaning.add(d)
				}
			}
		}
	}
	p("\nMachines that lean with a temperature recorded at every check, together: %d dates, **%.1f %%** outside.\n",
		leaning.due, 100*leaning.share())
	if s := leaning.share(); clearly(s-0.08, shareError(0.08, leaning.due)) {
		t.Errorf("%.1f %% of %d outside on the date where the temperature acts, want 3 to 7 %%", 100*s, leaning.due)
	}

	studyDates(t, n, seed, p)
	studyBestDates(p)
	if *studyOut != "" {
		if err := os.WriteFile(*studyOut, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
