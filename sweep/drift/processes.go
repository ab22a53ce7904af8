package drift

// tausInGaps are the time constants of a swing, in typical gaps between checks.
var tausInGaps = [...]float64{1.5, 5, 15, 45}

// processes is the bank's list: wander and rate in steps of two to five, from what a few hundred checks could just show
// to what outdoes the scatter between two checks. Weights before anything was seen are our own choice; study.md shows
// what they do. What trends without any wander is the rarer kind: a few dozen checks cannot show a wander of a tenth of
// sigma, but it moves the date, and who trusts in an even trend until the wander shows is late twice as often as he
// says.
//
// Where the spindle's hours are known, whatever moves for good may as well go by them: the same again, half as likely
// each. Where temperatures are known, everything may lean with them besides.
func processes(gap float64, hours, warm bool) []process {
	root := sqrt(gap)
	var out []process
	add := func(k Kind, wander, rate, swing float64, tau int, alive bool, prior float64) {
		slow := wander < slowest && rate == 0 && swing == 0
		out = append(out, process{kind: k, wander: wander / root, steep: rate / gap, reach: swing, tau: tau, alive: alive, slow: slow, prior: prior})
	}
	add(Steady, 0, 0, 0, -1, false, 0.38)
	for _, q := range []float64{0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.6} {
		add(Wandering, q, 0, 0, -1, false, 0.023)
	}
	for _, b := range []float64{0.01, 0.1, 0.5} {
		add(Trending, 0, b, 0, -1, false, 0.055)
	}
	for _, b := range []float64{0.03, 0.3} {
		for _, q := range []float64{0.06, 0.2, 0.64} {
			add(Trending, q, b, 0, -1, false, 0.26/6)
		}
	}
	for tau := range tausInGaps[:3] { // the slowest look like a trend for too long
		add(Settling, 0, 0, 6, tau, false, 0.04)
		add(Settling, 0.04, 0, 6, tau, false, 0.025/3)
		add(Settling, 0.2, 0, 6, tau, false, 0.025/3)
	}
	for tau := 1; tau < len(tausInGaps); tau++ {
		for _, v := range []float64{0.7, 2} {
			add(Wandering, 0, 0, v, tau, true, 0.05/6)
		}
	}
	sum := 0.0
	for i := range out {
		sum += out[i].prior
	}
	for i := range out {
		out[i].prior /= sum
	}
	if hours {
		out = byHours(out)
	}
	if warm {
		for _, p := range out {
			p.prior *= warmChance
			p.warm = true
			out = append(out, p)
		}
		for i := range out[:len(out)/2] {
			out[i].prior *= 1 - warmChance
		}
	}
	return out
}

func byHours(out []process) []process {
	for i := range out {
		if p := out[i]; (p.kind == Wandering || p.kind == Trending) && !p.alive {
			p.prior /= 2
			out[i].prior = p.prior
			p.used = true
			out = append(out, p)
		}
	}
	return out
}
