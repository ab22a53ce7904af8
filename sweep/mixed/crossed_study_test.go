package mixed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"testing"

	"tramd/sweep"
)

// crossedRow is what the sweeps of one disturbance, or of one kind of ground, came to.
type crossedRow struct {
	name string
	tally
}

// tail gives the 99th percentile and the largest of the errors in U.
func (t *tally) tail() (most99, most float64) { return quantile(t.scaled, 0.99), quantile(t.scaled, 1) }

// crossedStudy fits runs sweeps of each disturbance, each on a ground of its own, and tallies them by disturbance and
// by ground.
func crossedStudy(t testing.TB, runs int, seed uint64, only func(name string, g ground) bool) []*crossedRow {
	list := disturbances()
	rows := map[string]*crossedRow{}
	var order []string
	var lock sync.Mutex
	var work sync.WaitGroup
	room := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, d := range list {
		order = append(order, d.name)
		rows[d.name] = &crossedRow{name: d.name}
		room <- struct{}{}
		work.Go(func() {
			defer func() { <-room }()
			r := rand.New(rand.NewPCG(seed, uint64(100+i)))
			for range runs {
				g := drawGround(r)
				tr := g.draw(r, d)
				if only != nil && !only(d.name, g) {
					continue
				}
				got, err := Fit(tr.pts, tr.setup)
				plain, err2 := sweep.FitPlain(tr.pts, tr.setup)
				lock.Lock()
				for _, name := range append(g.names(), d.name) {
					row := rows[name]
					if row == nil {
						row = &crossedRow{name: name}
						rows[name] = row
					}
					row.add(tr, got, plain, err, err2)
				}
				lock.Unlock()
			}
		})
	}
	work.Wait()
	for _, name := range groundNames() {
		if rows[name] != nil {
			order = append(order, name)
		}
	}
	var out []*crossedRow
	for _, name := range order {
		if rows[name].n > 0 {
			out = append(out, rows[name])
		}
	}
	return out
}

func (g ground) names() []string {
	form, slow := "no form", "no slow noise"
	if g.form {
		form = "form"
	}
	if g.slow {
		slow = "slow noise"
	}
	out := []string{form, slow, fmt.Sprintf("turns: %.0f", g.turns), armNames[g.arms]}
	if g.slow && g.arms != oneIndicator {
		out = append(out, armNames[g.arms]+", slow noise")
	}
	if g.form {
		out = append(out, fmt.Sprintf("form, turns: %.0f", g.turns))
	}
	return out
}

func groundNames() []string {
	out := []string{"no form", "form", "no slow noise", "slow noise", "turns: 1", "turns: 2", "turns: 3",
		"form, turns: 1", "form, turns: 2", "form, turns: 3"}
	out = append(out, armNames[:]...)
	for _, a := range armNames[1:] {
		out = append(out, a+", slow noise")
	}
	return out
}

func (t *tally) add(tr trial, got, plain sweep.Result, err, err2 error) {
	if err != nil || err2 != nil {
		t.refused++
		return
	}
	for i, a := range []*sweep.Axis{got.Tilt, got.Nod} {
		truth, p := tr.tilt, plain.Tilt
		if i == 1 {
			truth, p = tr.nod, plain.Nod
		}
		e, half := math.Abs(float64(a.Slope)-truth), float64(a.Expanded)
		t.n++
		if e <= half {
			t.held++
		}
		off := math.Abs(float64(p.Slope) - truth)
		if off <= float64(p.Expanded) {
			t.plainHeld++
		}
		t.width, t.err, t.scaled, t.plain = append(t.width, half), append(t.err, e), append(t.scaled, e/half),
			append(t.plain, off)
	}
}

const crossedHead = "| sweeps | number | interval holds the truth | least squares' interval | wider than needed | 99th percentile of the error, in U | " +
	"largest error, in U | half width, median, mm/m | error against least squares |\n|---|---|---|---|---|---|---|---|---|\n"

func (c *crossedRow) line() string {
	p99, most := c.tail()
	return fmt.Sprintf("| %s | %d | %.1f %% | %.1f %% | %.2f | %.2f | %.2f | %.4f | %.2f |\n", c.name, c.n/2,
		100*c.coverage(),
		100*float64(c.plainHeld)/float64(c.n), c.wide(), p99, most, 1000*quantile(c.width, 0.5), c.against())
}

// crossedTable is the crossed part of the study's page.
func crossedTable(rows []*crossedRow) string {
	var b strings.Builder
	b.WriteString(crossedHead)
	for _, row := range rows {
		b.WriteString(row.line())
	}
	return b.String()
}

// TestCrossed is the short form of the crossed study, on the worst of what was found in it before knocks were judged by
// the model: one turn over a table with form, one indicator, with a knock.
func TestCrossed(t *testing.T) {
	t.Parallel()
	if *studyOn {
		rows := crossedStudy(t, *studyRuns, *studySeed, nil)
		fmt.Print(crossedTable(rows))
		return
	}
	r := rand.New(rand.NewPCG(77, 3))
	var c crossedRow
	for range 40 {
		tr := ground{form: true, turns: 1}.draw(r, disturbances()[1])
		got, err := Fit(tr.pts, tr.setup)
		plain, err2 := sweep.FitPlain(tr.pts, tr.setup)
		c.add(tr, got, plain, err, err2)
	}
	_, most := c.tail()
	t.Logf("held the truth in %d of %d, largest error %.2f U", c.held, c.n, most)
	if c.refused > 0 || c.held < fewest(c.n, 0.93, 0.01) || most > 4 {
		t.Errorf("a knock on a table with form: %d refused, held the truth in %d of %d, largest error %.2f U",
			c.refused, c.held, c.n, most)
	}
}
