package drift

import (
	"fmt"
	"math"
)

// A temperature beyond these is no machine's in a shop, whatever a sensor or a person says of it.
const (
	ColdestC = -40.0
	HottestC = 80.0
)

// JudgeTemperature is an error where a machine in a shop cannot have such a temperature.
func JudgeTemperature(celsius float64) error {
	if !(celsius >= ColdestC && celsius <= HottestC) {
		return fmt.Errorf("temperature %.6g: write the machine's in degrees Celsius, %.0f to %.0f", celsius,
			ColdestC, HottestC)
	}
	return nil
}

// warm is what is known of a check's temperature.
type warm struct {
	z     float64 // kelvin above the record's first temperature; where it is not known, the best guess
	blind float32 // variance of that guess, K squared; 0: it was measured
}

// climate is what is known of temperatures at a moment.
type climate struct {
	usual  float64 // the reference: the median so far, counted likewise
	spread float64 // variance of those recorded, K squared
	days   float64 // from the first of them to the last
}

// What a year makes of a shop's temperature, as long as the record has not seen a whole one (common practice, no
// source; the study's shops have 2 to 8 K): a wave of so many kelvin at most, and no more than so many times the
// variance seen.
const (
	yearWaveK = 6.5
	yearTimes = 12.0
	year      = 365.25
)

// ahead is the variance about the reference to be reckoned with h days on: what was seen, and what of a year was not.
func (c *climate) ahead(h float64) float64 {
	unseen := 1 - c.days/year
	if unseen <= 0 {
		return c.spread
	}
	wave := math.Min(sq(yearWaveK), yearTimes*c.spread)
	return c.spread + unseen*wave*(1-math.Cos(2*math.Pi*math.Min(h/year, 0.5)))
}

// temperatures keeps what was recorded so far.
type temperatures struct {
	n          int
	began      float64 // days
	first      float64
	mean, ss   float64
	last, at   float64  // the latest
	pairs      float64  // times two followed each other
	gap, apart float64  // sums over them: days, and kelvin squared
	counts     []uint32 // by steps of stepK from ColdestC
	below, bin int      // how many lie in lower steps than the one that holds the median
}

// stepK is how finely the median is known; sensors for a shop resolve no better (1/16 K) and are off by more.
const stepK = 0.1

func (t *temperatures) add(at, celsius float64) {
	bin := int(math.Round((celsius - ColdestC) / stepK))
	if t.n == 0 {
		t.began, t.first, t.bin = at, celsius, bin
		t.counts = make([]uint32, int((HottestC-ColdestC)/stepK)+2)
	}
	if t.n > 0 {
		t.pairs++
		t.gap += at - t.at
		t.apart += sq(celsius - t.last)
	}
	t.last, t.at = celsius, at
	t.n++
	d := celsius - t.mean
	t.mean += d / float64(t.n)
	t.ss += d * (celsius - t.mean)
	t.counts[bin]++
	if bin < t.bin {
		t.below++
	}
	for half := t.n / 2; ; {
		switch {
		case t.below > half:
			for t.bin--; t.counts[t.bin] == 0; t.bin-- {
			}
			t.below -= int(t.counts[t.bin])
		case t.below+int(t.counts[t.bin]) <= half:
			t.below += int(t.counts[t.bin])
			for t.bin++; t.counts[t.bin] == 0; t.bin++ {
			}
		default:
			return
		}
	}
}

// median is the temperature that levels are stated at; NaN where none was recorded.
func (t *temperatures) median() float64 {
	if t.n == 0 {
		return math.NaN()
	}
	return ColdestC + stepK*float64(t.bin)
}

// now is what is known when a check comes in; nil is for one of unknown temperature.
func (t *temperatures) now(at float64, celsius *float64) (warm, climate) {
	if celsius != nil {
		t.add(at, *celsius)
	}
	const guessed = 1e-9 // a guess is never called measured
	check, out := warm{blind: guessed}, climate{}
	if t.n == 0 {
		return check, out
	}
	out.days = at - t.began
	out.usual = t.median() - t.first
	if t.n > 1 {
		out.spread = t.ss / float64(t.n-1)
	}
	if celsius != nil {
		check = warm{z: *celsius - t.first}
	} else {
		z, variance := t.guess(at, out.usual, out.spread)
		check = warm{z, float32(max(guessed, variance))}
	}
	return check, out
}

// guess is the temperature at a moment without one, and the variance of that: the last one, drawn to the usual by how
// fast temperatures forget.
func (t *temperatures) guess(at, usual, spread float64) (z, variance float64) {
	kept := 0.0
	if t.gap > 0 && spread > 0 {
		apart := t.apart / t.pairs * math.Max(1, (at-t.at)*t.pairs/t.gap)
		kept = math.Max(0, 1-apart/(2*spread))
	}
	return usual + kept*(t.last-t.first-usual), spread * (1 - kept*kept)
}

// perKelvin is what is believed of the lean per kelvin before anything was seen: mean in mm/m, variance in units of
// sigma.
type perKelvin struct{ mean, variance float64 }

// What is believed of the temperature before anything was seen, and of its say on the machine after an event.
const (
	warmChance  = 0.2 // that the axis leans with it at all
	warmPrior   = 0.4 // standard deviation of the lean per kelvin, in units of sigma
	warmAnew    = 4.0 // by so much wider is what was learned of it after the machine became another one
	warmDiffers = 0.1 // and by this part of itself
)

// Warmth is how an axis leans with the temperature.
type Warmth struct {
	Chance float64 // that it does
	PerK   float64 // mm/m for one kelvin, if it does
	U      float64 // standard uncertainty of that
}

// warmth is what the hypotheses that lean with the temperature say of it; nil where there are none.
func (b *bank) warmth() *Warmth {
	if !b.warm {
		return nil
	}
	var out Warmth
	for i := range b.h {
		if h := &b.h[i]; h.warm {
			out.Chance += h.weight
			out.PerK += h.weight * h.perK
		}
	}
	if out.Chance == 0 {
		return nil
	}
	out.PerK /= out.Chance
	v, wide := 0.0, b.student()
	for i := range b.h {
		if h := &b.h[i]; h.warm {
			v += h.weight * (h.kk*h.square/b.dof*wide + sq(h.perK-out.PerK))
		}
	}
	out.U = math.Sqrt(v / out.Chance)
	return &out
}

// felt is what is kept of it when the machine becomes another one.
func (b *bank) felt() perKelvin {
	none := perKelvin{0, sq(warmPrior)}
	w := b.warmth()
	if w == nil || w.Chance < 0.5 {
		return none
	}
	v := b.sigma().variance()
	return perKelvin{w.PerK, math.Min(none.variance+sq(w.PerK)/v, (warmAnew*sq(w.U)+sq(warmDiffers*w.PerK))/v)}
}

// swings is the variance that temperatures so scattered give a hypothesis, in units of sigma.
func (b *bank) swings(h *hypothesis, spread float64) float64 {
	if !h.warm || spread == 0 {
		return 0
	}
	return spread * (sq(h.perK)*b.dof/h.square + h.kk)
}

// warms reports whether the temperature of a segment's checks can tell anything.
func (l *latest) warms() bool {
	const (
		least  = 6   // checks with a temperature
		across = 0.5 // kelvin between the coldest and the warmest
	)
	n, low, high := 0, math.Inf(1), math.Inf(-1)
	for i := range l.o {
		if z := l.o[i].z; l.o[i].blind == 0 {
			n++
			low, high = math.Min(low, z), math.Max(high, z)
		}
	}
	return n >= least && high-low >= across
}

// dim is the variance, in units of sigma, that not knowing a check's temperature adds to it.
func (a *axis) dim(o *observation) float32 {
	if a.bank == nil || !a.bank.warm || o.blind == 0 {
		return 0
	}
	sum := 0.0
	for i := range a.bank.h {
		sum += a.bank.h[i].weight * a.bank.swings(&a.bank.h[i], float64(o.blind))
	}
	return float32(sum)
}
