package drift

import "testing"

// studyDates is the study's table of dates, kind by kind.
func studyDates(t *testing.T, size int, seed uint64, p func(format string, args ...any)) {
	p(
		"\n## Dates\n\nThe date by which the chance of having been outside comes to 5 %%: how many machines were outside on that date, and how many at any\n" +
			"moment up to it. Where the record bore no date so far off, the share outside at any moment up to the last date it bore. A steady or a\n" +
			"settling machine is never outside by itself; its date comes of what it might have been. Wanted for every kind that moves: 3 to 7 %%,\n" +
			"none above 8 %%. How far ahead all dates lie on average is a multiple of the record. Last column: how often the level's interval of\n" +
			"95 %% after the last check held the truth; a wander too slow to be told from holding still makes it too narrow.\n\n" +
			"| machine | checks | dates by chance | outside then | outside up to then | cut short | outside up to then | mean ahead | level held |\n|---|---|---|---|---|---|---|---|---|\n")
	row := func(name, checks string, c calibration) {
		p("| %s | %s | %d | %.1f %% | %.1f %% | %d | %.1f %% | %.2f | %.1f %% |\n", name, checks, c.due, 100*c.share(),
			100*float64(c.passed)/float64(max(1, c.due)),
			c.bounded, 100*float64(c.boundedPassed)/float64(max(1, c.bounded)), c.mean(), 100*c.coverage())
	}
	var all calibration
	kind := func(name string, moves bool, dates func(checks int) (calibration, error)) {
		var sum calibration
		for _, checks := range []int{10, 20, 40, 80} {
			c, err := dates(checks)
			if err != nil {
				t.Fatal(err)
			}
			sum.add(c)
			row(name, number(float64(checks), 0), c)
		}
		row("**"+name+"**", "all", sum)
		if !moves || name == quickening {
			return
		}
		all.add(sum)
		if passed := float64(sum.passed) / float64(max(1, sum.due)); clearly(passed-0.08, shareError(0.08, sum.due)) {
			t.Errorf("%s: %.1f %% of %d outside by the date, want 8 %% at most", name, 100*passed, sum.due)
		}
	}
	for _, m := range movers() {
		kind(m.name, m.moves, func(checks int) (calibration, error) { return datesOf(m, checks, size, seed) })
	}
	for _, k := range otherKinds() {
		kind(k.name+" (second workshop)", k.moves, func(checks int) (calibration, error) {
			return otherDates(k, checks, size, seed)
		})
	}
	passed := float64(all.passed) / float64(max(1, all.due))
	p(
		"\nMachines that leave their tolerance by themselves together, without those that quicken: %d dates, **%.1f %%** outside by then. Ten checks do not\n"+
			"show that wear quickens, and a record of ten may be given a date three times its own length ahead; forty show it.\n", all.due, 100*passed)
	if clearly(passed-0.07, shareError(0.07, all.due)) || clearly(0.02-passed, shareError(0.02, all.due)) {
		t.Errorf("%.1f %% outside by the date, want 3 to 7 %%", 100*passed)
	}
}
