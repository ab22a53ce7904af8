package motion

import (
	"errors"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// lifting is a program that is retracted after a stop.
func lifting() Program {
	p := iso()
	p.Retract, p.Stopped, p.RetractTime = []string{"G91", "G0 Z20"}, regexp.MustCompile(`^(?:stopped|ok)$`),
		10*time.Second
	return p
}

// underway is a program in its first move, the second command of it asked.
func underway() *script {
	s := begin(lifting())
	s.ack()
	s.ack()
	s.ack()
	return s
}

func (s *script) hear(text string) { s.take(s.m.Line(s.now, text)) }

func outside(s *script) { s.take(s.m.Readings(s.now, 0, one(1.2))) }

func TestItIsRetractedOnlyOnceTheControllerSaysThatItStands(t *testing.T) {
	s := underway()
	outside(s)
	s.hear("ok") // may be of the move that was under way
	s.hear("stopping")
	if s.last() != "M0" {
		t.Fatalf("sent %q", s.sent)
	}
	s.wait(2*time.Second, 1.2) // it is outside still, and that is no reason against it
	s.hear("stopped")
	if s.last() != "G91" {
		t.Fatalf("sent %q", s.sent)
	}
	s.wait(8*time.Second, 1.2)
	s.hear("stopped") // twice is no more than once
	s.ack()
	if s.last() != "G0 Z20" || !strings.Contains(s.m.Say(), "keep clear") {
		t.Fatalf("sent %q, says %q", s.sent, s.m.Say())
	}
	s.wait(8*time.Second, 0)
	s.ack()
	if s.ended == nil || !strings.Contains(s.ended.Why, "outside its travel") ||
		!strings.HasSuffix(s.ended.Why, "; then it was retracted") {
		t.Fatalf("ended %+v", s.ended)
	}
	n := len(s.sent)
	s.hear("stopped")
	s.ack()
	s.take(s.m.Stop(s.now, "too late"))
	s.wait(10*time.Second, 5)
	if len(s.sent) != n {
		t.Errorf("sent %q after the end", s.sent[n:])
	}
}

func TestWhatIsNotSafeToRetractFromIsNot(t *testing.T) {
	settling := func(s *script) { s.ack(); s.wait(time.Second, 0) }
	for name, c := range map[string]struct {
		do   func(s *script)
		want string // empty: it is retracted
	}{
		"out of travel": {outside, ""},
		"gone silent":   {func(s *script) { s.hush(1500 * time.Millisecond) }, ""},
		"a sleep": {func(s *script) { s.now += 5 * time.Second; s.take(s.m.Tick(s.now)) },
			"the computer stood still"},
		"a broken line": {func(s *script) { s.take(s.m.Lost(s.now, errors.New("gone"))) },
			"use the machine's own stop"},
		"not settled": {func(s *script) { settling(s); s.wait(20*time.Second, 0) }, ""},
		"a person":    {func(s *script) { s.take(s.m.Stop(s.now, "given up")) }, "a stop was asked for"},
		"somebody at it": {func(s *script) { s.take(s.m.Barred(s.now, "the spindle runs", false)) },
			"the machine may be in use"},
		"late":        {func(s *script) { s.wait(40*time.Second, 0) }, "does not acknowledge in time"},
		"refused":     {func(s *script) { s.hear("error:9") }, "in trouble or out of step"},
		"trouble":     {func(s *script) { settling(s); s.hear("error: limit") }, "in trouble or out of step"},
		"out of step": {func(s *script) { settling(s); s.ack() }, "in trouble or out of step"},
		"then a person": {func(s *script) { outside(s); s.take(s.m.Stop(s.now, "given up")) },
			"a stop was asked for"},
		"then trouble": {func(s *script) { outside(s); s.hear("error: emergency") }, "in trouble or out of step"},
		"then somebody": {func(s *script) { outside(s); s.take(s.m.Barred(s.now, "the spindle runs", false)) },
			"the machine may be in use"},
		"no word of a stop": {func(s *script) { outside(s); s.wait(5*time.Second, 0) },
			"did not say that it has stopped"},
		"an ok for a word": {func(s *script) { outside(s); s.ack(); s.ack(); s.wait(5*time.Second, 0) },
			"did not say that it has stopped"},
		"a word out of time": {func(s *script) { outside(s); s.wait(2100*time.Millisecond, 0) },
			"did not say that it has stopped"},
	} {
		t.Run(name, func(t *testing.T) {
			s := underway()
			c.do(s)
			s.hear("stopped")
			if c.want == "" {
				if s.last() != "G91" {
					t.Errorf("sent %q", s.sent)
				}
				return
			}
			s.wait(4*time.Second, 0)
			if s.last() != "M0" || s.ended == nil || !strings.HasSuffix(s.ended.Why, c.want) ||
				!strings.Contains(s.ended.Why, "; not retracted: ") {
				t.Errorf("sent %q, ended %+v, want %q", s.sent, s.ended, c.want)
			}
		})
	}
}

func TestARetractThatGoesWrongIsStopped(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(s *script)
		want string
	}{
		"a person": {func(s *script) { s.take(s.m.Stop(s.now, "given up")) },
			"the retract was stopped too: given up"},
		"refused": {func(s *script) {
			s.hear("error:2")
		}, `the retract was stopped too: the controller refused "G91"`},
		"late": {func(s *script) { s.wait(13*time.Second, 0) },
			`the retract was stopped too: no acknowledgement of "G91"`},
		"somebody": {func(s *script) { s.take(s.m.Barred(s.now, "the spindle runs", false)) },
			"the retract was stopped too: the spindle runs"},
		"a lost line": {func(s *script) { s.take(s.m.Lost(s.now, errors.New("gone"))) }, "use the machine's own stop"},
		"twice wanted": {func(s *script) { s.hear("error:2"); s.hear("stopped"); s.take(s.m.Stop(s.now, "x")) },
			"the retract was stopped too"},
	} {
		t.Run(name, func(t *testing.T) {
			s := underway()
			outside(s)
			s.hear("stopped")
			n := len(s.sent)
			c.do(s)
			s.hear("stopped")
			s.wait(5*time.Second, 0)
			got := strings.Join(s.sent[n:], "|")
			if s.ended == nil || !strings.Contains(s.ended.Why, c.want) ||
				strings.Contains(s.ended.Why, "not retracted") {
				t.Errorf("ended %+v, want %q", s.ended, c.want)
			}
			if want := "M0"; got != want {
				t.Errorf("sent %q after the retract had begun, want %q", got, want)
			}
		})
	}
}

// However events fall: at most one retract, whole or cut off by a stop, only after a word that it stands; and none
// where something spoke against it before.
func TestNoOrderOfEventsRetractsWhereItMustNot(t *testing.T) {
	whole := []string{"M0", "G91", "G0 Z20"}
	retracts := 0
	for seed := range uint64(2000) {
		rng := rand.New(rand.NewPCG(seed, 2))
		s := begin(lifting())
		barred, said := false, false // after the first stop command, before the retract
		for range 200 {
			s.now += time.Duration(rng.IntN(400)) * time.Millisecond
			open := !slices.Contains(s.sent, "G91")
			switch rng.IntN(14) {
			case 0:
				if rng.IntN(4) == 0 {
					barred = barred || open
					s.hear("error")
				}
			case 1:
				if rng.IntN(8) == 0 {
					barred = barred || open
					s.take(s.m.Stop(s.now, "x"))
				}
			case 2:
				if rng.IntN(8) == 0 {
					barred = barred || open
					s.take(s.m.Barred(s.now, "x", false))
				}
			case 3, 4, 5:
				s.ack()
			case 6, 7:
				said = said || slices.Contains(s.sent, "M0")
				s.hear("stopped")
			case 8:
				s.take(s.m.Taken(s.now))
			case 9:
				s.take(s.m.Tick(s.now))
			default:
				s.take(s.m.Readings(s.now, 0, one(0.9+0.103*rng.Float64())))
			}
			_ = s.m.Say()
		}
		first := slices.Index(s.sent, "M0")
		if first < 0 {
			continue
		}
		after := s.sent[first:]
		retracted := slices.Contains(after, "G91")
		if retracted {
			retracts++
		}
		if barred && retracted || retracted && !said {
			t.Fatalf("seed %d: barred %v, said to stand %v, sent %q", seed, barred, said, after)
		}
		n := len(after)
		if n > 1 && after[n-1] == "M0" {
			after = after[:n-1]
		}
		if !slices.Equal(after, whole[:min(len(after), len(whole))]) {
			t.Fatalf("seed %d: sent %q after the stop", seed, s.sent[first:])
		}
	}
	if retracts < 30 {
		t.Errorf("only %d retracts in the whole", retracts)
	}
}

func TestARetractThatIsNotSafeIsRefused(t *testing.T) {
	for want, spoil := range map[string]func(p *Program){
		"the line by which":         func(p *Program) { p.Stopped = nil },
		"and a time for it":         func(p *Program) { p.RetractTime = 0 },
		"its place is not known":    func(p *Program) { p.Retract = []string{"G1 A{deg.1}"} },
		"holds a line end":          func(p *Program) { p.Retract = []string{"G91\nG0"} },
		"an empty command":          func(p *Program) { p.Retract = []string{""} },
		"{feeds} is not known":      func(p *Program) { p.Retract = []string{"G1 Z5 F{feeds}"} },
		"no stop command: without ": func(p *Program) { p.Stop = "" },
	} {
		p := lifting()
		spoil(&p)
		if err := p.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if err := lifting().Check(); err != nil {
		t.Error(err)
	}
}
