package unattended

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// hindrance is why a check cannot be begun now. One that waiting cannot cure ends it at once.
type hindrance struct {
	text  string
	final bool
}

// sort is the text without its figures, which may change each second.
func (h hindrance) sort() string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '-' {
			return -1
		}
		return r
	}, h.text)
}

// hindered returns the first condition that does not hold; nil when all do.
func (p Plan) hindered(f Facts) *hindrance {
	switch {
	case !f.ClockSet:
		return &hindrance{text: "the clock is not set"}
	case p.Moves && f.Barred.Final:
		return &hindrance{f.Barred.Why, true}
	case f.Busy != "":
		return &hindrance{text: f.Busy}
	case p.Moves && f.Barred.Why != "":
		return &hindrance{text: f.Barred.Why}
	case len(f.Gauges) == 0:
		return &hindrance{"there is no indicator", true}
	}
	for _, g := range f.Gauges {
		if why := p.gauge(g); why != "" {
			return &hindrance{text: why}
		}
		if p.StillMM > 0 && math.IsInf(g.SpanMM, 0) {
			return &hindrance{text: fmt.Sprintf("indicator %s has not been watched for long enough", g.Name)}
		}
		if p.StillMM > 0 && !(g.SpanMM <= p.StillMM) {
			return &hindrance{text: fmt.Sprintf(
				"indicator %s is not still: it wandered by %.3f mm, at most %.3f mm is still", g.Name, g.SpanMM,
				p.StillMM)}
		}
	}
	return nil
}

// Outlook says what would keep the check of a slot to come from being taken, if all stayed as it is; empty when nothing
// would. Whether the machine is idle and the indicators lie still is seen only when the time has come.
func (p Plan) Outlook(f Facts, slot time.Time) (why []string) {
	then := f
	then.Now = slot
	if ok, text := p.wanted(then); !ok {
		why = append(why, text)
	}
	if !f.ClockSet {
		why = append(why, "the clock is not set")
	}
	switch {
	case !p.Moves:
	case !f.ArmedUntil.After(f.Now):
		why = append(why, "it is not armed: tramd arm")
	case !f.ArmedUntil.After(slot):
		why = append(why, fmt.Sprintf("the arming runs out before, at %s: tramd arm",
			f.ArmedUntil.Format(time.DateTime)))
	}
	if len(f.Gauges) == 0 {
		why = append(why, "there is no indicator")
	}
	for _, g := range f.Gauges {
		if text := p.gauge(g); text != "" {
			why = append(why, text)
		}
	}
	return why
}

// gauge says what is wrong with an indicator; "" when nothing is. A reading that is no number is outside every travel.
func (p Plan) gauge(g Gauge) string {
	switch {
	case !g.Live:
		return fmt.Sprintf("indicator %s sends nothing", g.Name)
	case (p.MinMM != 0 || p.MaxMM != 0) && !(g.MM >= p.MinMM && g.MM <= p.MaxMM):
		return fmt.Sprintf("indicator %s is outside its travel: %.3f mm, allowed are %.3f to %.3f mm", g.Name, g.MM,
			p.MinMM, p.MaxMM)
	}
	return ""
}

// wanted reports whether a slot brings a check, and why not.
func (p Plan) wanted(f Facts) (bool, string) {
	if p.When != WhenDue && p.Hours == 0 {
		return true, ""
	}
	if p.Hours > 0 && f.Hours != nil && *f.Hours >= p.Hours {
		return true, ""
	}
	if p.When == WhenDue {
		switch {
		case f.NextCheck == nil: // too little is known, which more checks cure
			return true, ""
		case !f.Now.Before(*f.NextCheck):
			return true, ""
		}
		return false, "the next check is due at " + f.NextCheck.Format(time.DateTime)
	}
	if f.Hours == nil {
		return true, "" // not known is no reason to leave the machine unchecked
	}
	return false, fmt.Sprintf("the spindle has turned %.1f h since the last check, one is due after %.1f h",
		*f.Hours, p.Hours)
}
