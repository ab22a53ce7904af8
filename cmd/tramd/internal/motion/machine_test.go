package motion

import (
	"errors"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"
)

// iso is a program in the words of ISO 6983-1 (addresses G, F and P from memory): G90 absolute, G94 feed a minute, G1
// straight line, G4 dwell, which a controller acknowledges only once the move before it has ended.
func iso() Program {
	return Program{
		Targets: []float64{0, 90, 180, 90, 0},
		Begin:   []string{"G90", "G94"}, Move: []string{"G1 A{deg} F{feed}", "G4 P{dwell_s}"}, Stop: "M0", LineEnd: "\n",
		Done: regexp.MustCompile(`^ok$`), Refused: regexp.MustCompile(`^error`),
		FeedDegPerMin: 600, LowDeg: -5, HighDeg: 185, Dwell: 500 * time.Millisecond, Settle: 20 * time.Second, Ack: 2 * time.Second,
		Silent: time.Second, Indicators: []Travel{{Name: "arm", LowMM: -1, HighMM: 1}},
	}
}

// script plays the controller and the indicator against a machine, step by step, in made-up time.
type script struct {
	m     *Machine
	now   time.Duration
	sent  []string
	acts  []Act
	ended *Act
}

func begin(p Program) *script {
	s := &script{m: NewMachine(p)}
	s.take(s.m.Start(0))
	return s
}

func (s *script) take(acts []Act) {
	for _, a := range acts {
		if s.ended != nil {
			panic("something after the end")
		}
		s.acts = append(s.acts, a)
		if a.Send != "" {
			s.sent = append(s.sent, strings.TrimSpace(a.Send))
		}
		if a.End {
			s.ended = &a
		}
	}
}

// wait lets time pass with the indicator speaking ten times a second.
func (s *script) wait(d time.Duration, mm float64) {
	for end := s.now + d; s.now < end; s.now += 100 * time.Millisecond {
		s.take(s.m.Reading(s.now, 0, mm))
		s.take(s.m.Tick(s.now))
	}
}

func (s *script) ack() { s.take(s.m.Line(s.now, "ok")) }

func (s *script) last() string {
	if len(s.sent) == 0 {
		return ""
	}
	return s.sent[len(s.sent)-1]
}

// station acknowledges a move, waits for the dwell and takes the reading.
func (s *script) station(t *testing.T) {
	t.Helper()
	s.ack() // of the move
	s.wait(10*time.Second, 0.1)
	s.ack() // of the dwell: the arm stands
	s.wait(time.Second, 0.1)
	if a := s.acts[len(s.acts)-1]; !a.Arrive {
		t.Fatalf("not arrived: %+v after %q", a, s.sent)
	}
	s.take(s.m.Taken(s.now))
}

func TestAProgramGoesThereAndBackAndSaysWhatItSends(t *testing.T) {
	s := begin(iso())
	s.ack()
	s.ack()
	for range 5 {
		s.station(t)
	}
	want, stop, err := iso().Lines()
	if err != nil || stop != "M0" {
		t.Fatal(stop, err)
	}
	if got := strings.Join(s.sent, "|"); got != strings.Join(want, "|") {
		t.Errorf("sent %q, said before %q", s.sent, want)
	}
	if want[2] != "G1 A0.000 F600" || want[3] != "G4 P0.5" || len(want) != 12 {
		t.Errorf("%q", want)
	}
	if s.ended == nil || s.ended.Why != "" || !s.m.Over() {
		t.Errorf("%+v", s.ended)
	}
}

func TestWhateverIsWrongStopsItAndNothingIsSentAfterTheStop(t *testing.T) {
	ready := func() *script {
		s := begin(iso())
		s.ack()
		s.ack()
		return s
	}
	for name, c := range map[string]struct {
		do   func(s *script)
		want string
	}{
		"no acknowledgement at all": {func(s *script) { s.wait(time.Minute, 0) }, `no acknowledgement of "G1 A0.000 F600"`},
		"refused":                   {func(s *script) { s.take(s.m.Line(s.now, "error:9")) }, `refused "G1 A0.000 F600": "error:9"`},
		"acknowledged twice":        {func(s *script) { s.ack(); s.ack(); s.ack() }, "out of step"},
		"acknowledged too soon": {func(s *script) {
			s.ack()
			s.ack()
			s.wait(time.Second, 0)
			s.take(s.m.Taken(s.now))
			s.ack()
			s.ack()
		}, "sooner than the arm can be there"},
		"trouble while it settles":    {func(s *script) { s.ack(); s.ack(); s.wait(time.Second, 0); s.take(s.m.Line(s.now, "error: limit")) }, `says "error: limit"`},
		"an indicator out of travel":  {func(s *script) { s.ack(); s.take(s.m.Reading(s.now, 0, 1.2)) }, "arm reads 1.200 mm, outside its travel"},
		"an indicator that is no one": {func(s *script) { s.take(s.m.Reading(s.now, 0, nan())) }, "outside its travel"},
		"an indicator gone silent":    {func(s *script) { s.now += 1500 * time.Millisecond; s.take(s.m.Tick(s.now)) }, "arm has said nothing for 1.5 s"},
		"a person":                    {func(s *script) { s.take(s.m.Stop(s.now, "given up by the person")) }, "given up by the person"},
		"nothing settles":             {func(s *script) { s.ack(); s.ack(); s.wait(30*time.Second, 0) }, "did not settle in 20 s"},
	} {
		t.Run(name, func(t *testing.T) {
			s := ready()
			c.do(s)
			if s.last() != "M0" {
				t.Fatalf("sent %q, and no stop", s.sent)
			}
			n := len(s.sent)
			s.ack() // whatever it says now
			s.take(s.m.Line(s.now, "error"))
			s.take(s.m.Taken(s.now))
			s.take(s.m.Stop(s.now, "again"))
			s.wait(3*time.Second, 5)
			if len(s.sent) != n || s.ended == nil || !strings.Contains(s.ended.Why, c.want) {
				t.Errorf("sent %q after the stop; ended %+v, want %q", s.sent[n:], s.ended, c.want)
			}
		})
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestALineThatBreaksIsSaidToBeOutOfReach(t *testing.T) {
	s := begin(iso())
	s.take(s.m.Lost(s.now, errors.New("input/output error")))
	if s.ended == nil || !strings.Contains(s.ended.Why, "use the machine's own stop") {
		t.Errorf("%+v", s.ended)
	}
	s = begin(iso())
	s.take(s.m.Stop(s.now, "given up"))
	s.take(s.m.Lost(s.now, errors.New("gone")))
	if s.ended == nil || !strings.Contains(s.ended.Why, "given up; the line") {
		t.Errorf("%+v", s.ended)
	}
}

func TestNothingIsSentWhileTheControllerStarts(t *testing.T) {
	p := iso()
	p.Open = 2 * time.Second
	s := begin(p)
	s.take(s.m.Line(0, "ok")) // its greeting
	s.take(s.m.Line(0, "error: not ready"))
	s.wait(1900*time.Millisecond, 0)
	if len(s.sent) != 0 || s.ended != nil {
		t.Fatalf("sent %q", s.sent)
	}
	s.wait(300*time.Millisecond, 0)
	if s.last() != "G90" {
		t.Errorf("sent %q", s.sent)
	}
	m := NewMachine(p)
	if acts := m.Stop(0, "not wanted"); len(acts) != 1 || !acts[0].End || m.Start(0) != nil {
		t.Error("stopped before it began, and begun after")
	}
}

// However events fall, a stop is the last thing that is sent, and the machine ends once.
func TestNoOrderOfEventsMovesAfterAStop(t *testing.T) {
	for seed := range uint64(3000) {
		rng := rand.New(rand.NewPCG(seed, 1))
		s := begin(iso())
		for range 200 {
			s.now += time.Duration(rng.IntN(400)) * time.Millisecond
			switch rng.IntN(12) {
			case 0:
				s.take(s.m.Line(s.now, []string{"error", "hello", ""}[rng.IntN(3)]))
			case 1:
				s.take(s.m.Stop(s.now, "x"))
			case 2:
				s.take(s.m.Lost(s.now, errors.New("x")))
			case 3, 4, 5:
				s.ack()
			case 6:
				s.take(s.m.Taken(s.now))
			case 7:
				s.take(s.m.Tick(s.now))
			default:
				s.take(s.m.Reading(s.now, 0, 0.9+0.11*rng.Float64()))
			}
			_ = s.m.Say()
		}
		stops := 0
		for i, text := range s.sent {
			if text == "M0" {
				stops++
				if i != len(s.sent)-1 {
					t.Fatalf("seed %d: sent after the stop: %q", seed, s.sent)
				}
			}
		}
		if stops > 1 {
			t.Fatalf("seed %d: %d stops", seed, stops)
		}
	}
}

func TestAProgramThatIsNotSafeIsRefused(t *testing.T) {
	for want, spoil := range map[string]func(p *Program){
		"outside the soft limits": func(p *Program) { p.Targets[1] = 200 },
		"needs two":               func(p *Program) { p.Targets = p.Targets[:1] },
		"no stop command":         func(p *Program) { p.Stop = "" },
		"no move command":         func(p *Program) { p.Move = []string{"G1"} },
		"a feed of 5000":          func(p *Program) { p.FeedDegPerMin = 5000 },
		"a feed of NaN":           func(p *Program) { p.FeedDegPerMin = nan() },
		"must be below":           func(p *Program) { p.LowDeg = 200 },
		"no acknowledgement":      func(p *Program) { p.Done = nil },
		"{angle} is not known":    func(p *Program) { p.Move[0] = "G1 A{deg} B{angle}" },
		"{deg.x} is not known":    func(p *Program) { p.Move[0] = "G1 A{deg.x}" },
		"holds a line end":        func(p *Program) { p.Begin[0] = "G90\nG1 A9999" },
		"an empty command":        func(p *Program) { p.End = []string{" "} },
		"times of the program":    func(p *Program) { p.Ack = 0 },
		"station at NaN degrees":  func(p *Program) { p.Targets[0] = nan() },
	} {
		p := iso()
		p.Targets, p.Move, p.Begin = append([]float64(nil), p.Targets...), append([]string(nil), p.Move...), append([]string(nil), p.Begin...)
		spoil(&p)
		if err := p.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
		if _, _, err := p.Lines(); err == nil {
			t.Errorf("%s: listed all the same", want)
		}
	}
	if err := iso().Check(); err != nil {
		t.Error(err)
	}
}
