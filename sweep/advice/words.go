package advice

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"tramd/sweep"
)

// Cautions that belong to every move.
const (
	cautionSpindle = "Isolate the spindle's power before a hand or an arm is near it, and keep clear of axes moved by a motor."
	cautionHead    = "Support the head before you loosen what holds it."
	cautionRules   = "Local rules and the machine's manual come first."
)

func (a *Answer) warn(code, format string, args ...any) {
	a.Warnings = append(a.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}

// moveWords puts a plan into moves and sentences.
func (a *Answer) moveWords(p *Problem, next plan) {
	a.Cautions = append(a.Cautions, cautionSpindle)
	loosens := false
	for j, by := range next.by {
		if by == 0 {
			continue
		}
		adj := p.Adjusters[j]
		m := Move{Adjuster: adj.Name, By: by, Unit: adj.unit(), Say: adj.say(by)}
		if len(adj.StockMM) > 0 {
			m.pack(adj, p.packed[adj.Name]+by)
		}
		a.Moves = append(a.Moves, m)
		loosens = loosens || adj.Words.Loosens
	}
	if loosens {
		a.Cautions = append(a.Cautions, cautionHead)
	}
	a.Cautions = append(a.Cautions, cautionRules)
	a.Why = fmt.Sprintf("Expected after it: %s; %swithin the tolerance in %s of 100 cases. Then %s.",
		p.Subject.values(next.x, next.y), p.Subject.one("", "both "),
		hundred(next.chance), p.Subject.again())
	switch {
	case next.trial:
		a.Why = "The log can be read in more than one way; this move tells which is right. Then " +
			p.Subject.again() + "."
	case next.chance < 0.3:
		a.Why += " One move is unlikely to be enough; this one also shows how the machine answers."
	}
}

func (a Adjuster) unit() string {
	if a.Unit == "" {
		return "mm"
	}
	return a.Unit
}

// pack says a stack of shims as what there is to be in the end: what was packed before may come out for it.
func (m *Move) pack(adj Adjuster, total float64) {
	total = math.Round(total*1e6) / 1e6
	m.PackedMM, m.StackMM = &total, compose(adj.StockMM, math.Abs(total))
	if total == 0 {
		m.Say = adj.noted(sentence(adj.Name + ": take out all the shims that were packed"))
		return
	}
	amount := plain(math.Abs(total)) + " " + adj.unit()
	if len(m.StackMM) > 1 {
		var parts []string
		for _, s := range m.StackMM {
			parts = append(parts, plain(s))
		}
		amount += " (" + strings.Join(parts, " + ") + ")"
	}
	if math.Abs(total-m.By) > 1e-9 {
		amount += " in all"
	}
	m.Say = adj.noted(adj.phrase(total, amount))
}

// say tells a person what to do, in the words of the machine's owner where there are some.
func (a Adjuster) say(by float64) string {
	return a.noted(a.phrase(by, plain(math.Abs(by))+" "+a.unit()))
}

func (a Adjuster) phrase(by float64, amount string) string {
	words, sign := a.Words.Plus, "+"
	if by < 0 {
		words, sign = a.Words.Minus, "-"
	}
	switch {
	case words == "" && len(a.StockMM) > 0:
		return sentence(fmt.Sprintf("%s: pack %s%s", a.Name, sign, amount))
	case words == "":
		return fmt.Sprintf("Move %s by %s%s.", a.Name, sign, amount)
	case strings.Contains(words, "{}"):
		return sentence(strings.ReplaceAll(words, "{}", amount))
	}
	return sentence(a.Name + ": " + amount + " " + words)
}

func (a Adjuster) noted(s string) string {
	if a.Words.Notes == "" {
		return s
	}
	return s + " " + sentence(a.Words.Notes)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// hundred says a chance as cases in a hundred, never none or all.
func hundred(p float64) string {
	switch {
	case p < 0.01:
		return "fewer than 1"
	case p > 0.99:
		return "more than 99"
	}
	return strconv.Itoa(int(math.Round(100 * p)))
}

func (a *Answer) stopWords(p *Problem, now, next plan) {
	if now.chance > tells {
		more := p.Subject.again() + " with more turns"
		if len(p.Subject.Quantities) > 0 {
			more = p.Subject.again() + ", there and back"
		}
		a.Why = fmt.Sprintf(
			"Stop here: %s within the tolerance in %s of 100 cases as %s, and in %s after the best move that can be made. To know more, %s.",
			p.Subject.both(), hundred(now.chance), p.Subject.one("it stands", "they stand"), hundred(next.chance), more)
		return
	}
	a.Why =
		"It is still outside, and no amount that can be set brings it nearer: the steps or shims on hand are too coarse."
	a.warn("no_better_move",
		"it is outside, and no amount that can be set brings it nearer; finer steps or thinner shims, or another adjuster, would help")
}

func (a *Answer) stuckWords(p *Problem) {
	if len(p.Adjusters) == 0 {
		a.Why = "No adjuster is described, so only the lean and its side are known."
		if len(p.Subject.Quantities) > 0 {
			a.Why = "No adjuster is described that moves it: name those that do in its adjusters."
		}
		return
	}
	a.Why = "Nothing that can be moved has an effect."
}

// afterUnmeasured answers a log that ends with a move: first see what it did.
func (c *chooser) afterUnmeasured(a *Answer, last Entry) {
	m, known := c.p.nominal(last, c.b)
	o := c.b.foresee(m, 1)
	if !known {
		o.chance = 0
	}
	a.Expected = expected(plan{outlook: o})
	a.Why = sentence(strings.TrimSuffix(c.p.Subject.again(), " again") +
		" before the next move: what was done last is not measured yet")
	a.warn("measure_first", "the last move was not measured yet: the figures here are what it should have done")
}
