package mixed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"testing"

	"tramd/sweep"
)

// looks is what a person saw of the sweeps of one kind while they went on.
type looks struct {
	n, held    int       // of the axes at every look
	scaled     []float64 // error over half width
	ends       int       // axes of sweeps
	within     int       // of those, final lean within the last interval
	jumps      []float64 // in units of the last expanded uncertainty
	refused    int
	worstSweep int // axes of one sweep of which no look held
}

// How a sweep is followed: a fit begins when the sweep has grown by a share since the fit before, and what it says comes so much
// later, as on a slow computer; between, the filter carries the last one on. A look is taken from 120 readings on, at so many
// places of the sweep.
const (
	lookLeast = 120
	lookCount = 16
	refitAt   = 1.3
	fitTakesS = 1.0
)

// follow plays one sweep as it comes. It counts from the first result on.
func (l *looks) follow(tr trial) error {
	pts := slices.Clone(tr.pts)
	slices.SortStableFunc(pts, func(a, b sweep.Point) int {
		switch {
		case a.T < b.T:
			return -1
		case a.T > b.T:
			return 1
		}
		return 0
	})
	var f *Filter
	var last sweep.Result
	var fits struct {
		f     *Filter
		n     int // readings it had
		ready float64
	}
	fitted, next := 0, 0
	least := min(lookLeast, len(pts)/4)
	step := max(1, (len(pts)-least)/lookCount)
	var seen, held [2]int
	for i := range pts {
		if f != nil {
			f.Add(pts[i])
		}
		n := i + 1
		if fits.f == nil && n >= next && n >= 4 {
			if g, _, err := Begin(pts[:n], tr.setup, Options{}); err == nil {
				fits.f, fits.n, fits.ready = g, n, pts[i].T+fitTakesS
				next = int(refitAt * float64(n))
			} else {
				next = n + max(1, len(pts)/50)
			}
		}
		if fits.f != nil && pts[i].T >= fits.ready {
			f, fitted = fits.f, fits.n
			fits.f = nil
			for _, p := range pts[fitted:n] {
				f.Add(p)
			}
		}
		if f == nil || n < least || (n-least)%step != 0 && n != len(pts) {
			continue
		}
		last = f.Result()
		if last.Readings+last.Rejected != n {
			return fmt.Errorf("the result counts %d readings of %d", last.Readings+last.Rejected, n)
		}
		if os.Getenv("BATCH") != "" {
			b, err := Fit(pts[:n], tr.setup)
			if err != nil {
				continue
			}
			for k, a := range []*sweep.Axis{b.Tilt, b.Nod} {
				truth := []float64{tr.tilt, tr.nod}[k]
				l.ends++
				e := math.Abs(float64(a.Slope)-truth) / float64(a.Expanded)
				if e <= 1 {
					l.within++
				}
				c := []*sweep.Axis{last.Tilt, last.Nod}[k]
				e2 := math.Abs(float64(c.Slope)-truth) / float64(c.Expanded)
				if max(e, e2) > 1.5 {
					fmt.Printf("   n %d of %d fitted %d axis %d: filter %.2f batch %.2f; U %.5f %.5f even %v off %d\n", n, len(pts), fitted, k, e2, e, c.Expanded*1000, a.Expanded*1000, f.f.even != nil, f.off)
				}
			}
		}
		for k, a := range []*sweep.Axis{last.Tilt, last.Nod} {
			if a == nil {
				continue
			}
			truth := []float64{tr.tilt, tr.nod}[k]
			l.n++
			seen[k]++
			e := math.Abs(float64(a.Slope)-truth) / float64(a.Expanded)
			if e <= 1 {
				l.held++
				held[k]++
			}
			l.scaled = append(l.scaled, e)
		}
	}
	final, err := Fit(pts, tr.setup)
	if err != nil || last.Tilt == nil || last.Nod == nil {
		l.refused++
		return nil
	}
	for k, a := range []*sweep.Axis{final.Tilt, final.Nod} {
		b := []*sweep.Axis{last.Tilt, last.Nod}[k]
		jump := math.Abs(float64(a.Slope-b.Slope)) / float64(b.Expanded)
		l.ends++
		if jump <= 1 {
			l.within++
		}
		if seen[k] > 0 && held[k] == 0 {
			l.worstSweep++
		}
		l.jumps = append(l.jumps, jump)
	}
	return nil
}

func (l *looks) row(name string) string {
	if l.n == 0 || l.ends == 0 || len(l.jumps) == 0 {
		return fmt.Sprintf("| %s | %d %d %d | no looks\n", name, l.n, l.ends, l.within)
	}
	return fmt.Sprintf("| %s | %d | %.1f %% | %.2f | %.1f %% | %.2f | %.2f |\n", name, l.n, 100*float64(l.held)/float64(l.n), 1/quantile(l.scaled, 0.95),
		100*float64(l.within)/float64(l.ends), quantile(l.jumps, 0.5), quantile(l.jumps, 0.95))
}

func TestLiveStudy(t *testing.T) {
	var all looks
	for _, f := range append(families(), append(unseen(), keptBack()...)...) {
		if !regexp.MustCompile(*studyOnly).MatchString(f.name) {
			continue
		}
		var l looks
		r := rand.New(rand.NewPCG(*studySeed, 7))
		for range 12 {
			if err := l.follow(f.draw(r)); err != nil {
				t.Errorf("%s: %v", f.name, err)
			}
		}
		fmt.Print(l.row(f.name))
		all.n, all.held, all.ends, all.within = all.n+l.n, all.held+l.held, all.ends+l.ends, all.within+l.within
		all.scaled, all.jumps = append(all.scaled, l.scaled...), append(all.jumps, l.jumps...)
	}
	fmt.Print(all.row("all"))
}
