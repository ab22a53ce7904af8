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
		Begin:   []string{"G90", "G94"}, Move: []string{"G1 A{deg} F{feed}", "G4 P{dwell_s}"}, Stop: "M0",
		LineEnd: "\n",
		Done:    regexp.MustCompile(`^ok$`), Refused: regexp.MustCompile(`^error`),
		Feed: 600, Low: -5, High: 185, Dwell: 500 * time.Millisecond, Settle: 20 * time.Second,
		Ack:    2 * time.Second,
		Silent: time.Second, Indicators: []Indicator{{Name: "arm", LowMM: -1, HighMM: 1}},
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
		s.take(s.m.Readings(s.now, 0, one(mm+0.001*float64(s.now/(100*time.Millisecond)%2))))
		s.take(s.m.Tick(s.now))
	}
}

// hush lets time pass without a word of the indicator.
func (s *script) hush(d time.Duration) {
	for end := s.now + d; s.now < end; {
		s.now += 100 * time.Millisecond
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
		"no acknowledgement at all": {func(s *script) { s.wait(time.Minute, 0) },
			`no acknowledgement of "G1 A0.000 F600"`},
		"refused": {func(s *script) { s.take(s.m.Line(s.now, "error:9")) },
			`refused "G1 A0.000 F600": "error:9"`},
		"acknowledged twice": {func(s *script) { s.ack(); s.ack(); s.ack() }, "out of step"},
		"acknowledged too soon": {func(s *script) {
			s.ack()
			s.ack()
			s.wait(time.Second, 0)
			s.take(s.m.Taken(s.now))
			s.ack()
			s.ack()
		}, "sooner than the move takes"},
		"trouble while it settles": {func(s *script) {
			s.ack()
			s.ack()
			s.wait(time.Second, 0)
			s.take(s.m.Line(s.now, "error: limit"))
		}, `says "error: limit"`},
		"an indicator out of travel": {func(s *script) { s.ack(); s.take(s.m.Readings(s.now, 0, one(1.2))) },
			"arm reads 1.200 mm, outside its travel"},
		"an indicator that is no one": {func(s *script) { s.take(s.m.Readings(s.now, 0, one(nan()))) },
			"outside its travel"},
		"an indicator gone silent": {func(s *script) { s.hush(1500 * time.Millisecond) },
			"arm has said nothing for 1.1 s"},
		"a person": {func(s *script) { s.take(s.m.Stop(s.now, "given up by the person")) },
			"given up by the person"},
		"nothing settles": {func(s *script) { s.ack(); s.ack(); s.wait(30*time.Second, 0) },
			"did not settle in 20 s"},
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

// one is a single reading.
func one(mm float64) Readings { return Readings{1, mm, mm, mm} }

func nan() float64 { zero := 0.0; return zero / zero }

// A line may be broken one way only, so the stop is tried on one that says nothing more; what became of it is said.
func TestTheStopIsTriedOnALineThatBroke(t *testing.T) {
	end := func(s *script, sent int, want string) {
		t.Helper()
		if s.ended == nil || !strings.Contains(s.ended.Why, want) ||
			!strings.HasSuffix(s.ended.Why, "use the machine's own stop") || len(s.sent) != sent {
			t.Errorf("%+v, want %q; sent %q", s.ended, want, s.sent)
		}
	}
	closed := errors.New("the far end went away")
	s := begin(iso())
	s.take(s.m.Lost(s.now, closed))
	if s.last() != "M0" || s.ended != nil {
		t.Fatalf("sent %q, ended %+v", s.sent, s.ended)
	}
	s.hush(100 * time.Millisecond)
	end(s, 2, "broke (the far end went away); the stop command was sent, but nothing more can be heard")

	s = begin(iso())
	s.take(s.m.Lost(s.now, closed))
	s.take(s.m.Unsent(s.now, errors.New("input/output error")))
	end(s, 2, "broke (the far end went away); the stop command could not be sent (input/output error)")

	s = begin(iso())
	acts := s.m.Unsent(s.now, errors.New("i/o timeout"))
	if len(acts) != 1 || acts[0].Send != "\nM0\n" { // half of the command before may have gone out
		t.Fatalf("%+v", acts)
	}
	s.take(acts)
	s.hush(1600 * time.Millisecond)
	if s.ended == nil || s.ended.Why != `"G90" could not be sent to the motion controller (i/o timeout)` {
		t.Errorf("%+v", s.ended)
	}

	s = begin(iso())
	s.take(s.m.Stop(s.now, "given up"))
	s.take(s.m.Lost(s.now, closed))
	end(s, 2, "given up; the stop command was sent, but nothing more")
	if m := NewMachine(iso()); len(m.Lost(0, closed)) != 1 || !m.Over() {
		t.Error("a line that broke before the start")
	}
}

// Whatever comes first after the computer stood still, it is answered by the stop and not by the next move.
func TestAGapStopsTheArm(t *testing.T) {
	for name, wake := range map[string]func(s *script){
		"an acknowledgement": func(s *script) { s.ack() },
		"a reading":          func(s *script) { s.take(s.m.Readings(s.now, 0, one(0.1))) },
		"a station taken":    func(s *script) { s.take(s.m.Taken(s.now)) },
		"a tick":             func(s *script) { s.take(s.m.Tick(s.now)) },
	} {
		for phase, lead := range phases() {
			s := begin(iso())
			lead(s)
			n := len(s.sent)
			s.now += 6 * time.Second
			wake(s)
			if s.last() != "M0" || len(s.sent) != n+1 {
				t.Errorf("%s while %s: sent %q", name, phase, s.sent[n:])
			}
			s.wait(2*time.Second, 0)
			if s.ended == nil || !strings.Contains(s.ended.Why, "this computer stood still for 6.") {
				t.Errorf("%s while %s: %+v", name, phase, s.ended)
			}
		}
	}
	s := begin(iso())
	s.now += 300 * time.Millisecond // a busy computer
	s.take(s.m.Tick(s.now))
	if s.last() != "G90" {
		t.Errorf("sent %q", s.sent)
	}
}

// phases leads a script into each phase in which the arm may move.
func phases() map[string]func(*script) {
	return map[string]func(*script){
		"preparing": func(*script) {},
		"moving":    func(s *script) { s.ack(); s.ack() },
		"dwelling":  func(s *script) { s.ack(); s.ack(); s.ack(); s.ack() },
		"settling":  func(s *script) { s.ack(); s.ack(); s.ack(); s.ack(); s.wait(time.Second, 0.1) },
	}
}

// A program has ended when the arm stands: the commands of the end are stopped as any other, and by the same things.
func TestTheWayBackIsStoppedToo(t *testing.T) {
	home := func(t *testing.T) *script {
		p := iso()
		p.End, p.Targets = []string{"G1 A0 F600", "G4 P0"}, []float64{0, 90}
		s := begin(p)
		s.ack()
		s.ack()
		s.station(t)
		s.station(t)
		if s.last() != "G1 A0 F600" || s.ended != nil || s.m.Stage() != Returning ||
			!strings.Contains(s.m.Say(), "keep clear") {
			t.Fatalf("sent %q, ended %+v, says %q", s.sent, s.ended, s.m.Say())
		}
		return s
	}
	for want, do := range map[string]func(s *script){
		"given up":              func(s *script) { s.take(s.m.Stop(s.now, "given up")) },
		"the button was let go": func(s *script) { s.take(s.m.Barred(s.now, "the button was let go", true)) },
		"outside its travel":    func(s *script) { s.take(s.m.Readings(s.now, 0, one(-1.2))) },
		"has said nothing":      func(s *script) { s.hush(1200 * time.Millisecond) },
		"refused":               func(s *script) { s.take(s.m.Line(s.now, "error:9")) },
		"came in its time":      func(s *script) { s.wait(time.Minute, 0) },
	} {
		s := home(t)
		do(s)
		s.wait(2*time.Second, 0)
		if s.last() != "M0" || s.ended == nil || !strings.Contains(s.ended.Why, want) ||
			!strings.HasPrefix(s.ended.Why, "every reading was taken, but") {
			t.Errorf("%s: sent %q, ended %+v", want, s.sent, s.ended)
		}
	}
	s := home(t)
	s.wait(20*time.Second, 0) // far longer than an indicator may be silent: it is not
	s.ack()
	s.ack()
	if s.ended == nil || s.ended.Why != "" || s.m.Stage() != Done {
		t.Errorf("sent %q, ended %+v", s.sent, s.ended)
	}
}

// The plunger of an arm that is turned does not show one number for long; one of an arm that stands may.
func TestANumberThatStaysStopsTheArm(t *testing.T) {
	p := iso()
	p.Indicators[0].Frozen, p.Settle = 30, time.Hour
	stay := func(s *script, d time.Duration, mm float64) {
		for end := s.now + d; s.now < end; s.now += 100 * time.Millisecond {
			s.take(s.m.Readings(s.now, 0, one(mm)))
			s.take(s.m.Tick(s.now))
		}
	}
	s := begin(p)
	s.ack()
	s.ack()
	stay(s, 10*time.Second, 0.5) // the first move may be none at all
	s.ack()
	s.ack()
	stay(s, time.Minute, 0.5) // it stands
	s.take(s.m.Taken(s.now))
	stay(s, 2900*time.Millisecond, 0.5) // 600 degrees a minute: 29
	if s.last() != "G1 A90.000 F600" {
		t.Fatalf("sent %q, %+v", s.sent, s.ended)
	}
	stay(s, 200*time.Millisecond, 0.5)
	if s.last() != "M0" {
		t.Fatalf("sent %q", s.sent)
	}
	stay(s, 2*time.Second, 0.5)
	if s.ended == nil || !strings.Contains(s.ended.Why,
		"arm has read 0.500 mm without a change over 30° of motion") {
		t.Errorf("%+v", s.ended)
	}
	s = begin(p)
	for range 2 {
		s.ack()
	}
	for range 5 { // one digit now and then is enough
		for range 5 {
			stay(s, 2*time.Second, 0.5)
			stay(s, 100*time.Millisecond, 0.501)
		}
		s.ack()
		s.ack()
		stay(s, 2*time.Second, 0.5)
		s.take(s.m.Taken(s.now))
	}
	if s.ended == nil || s.ended.Why != "" {
		t.Errorf("sent %q, %+v", s.sent, s.ended)
	}
}

// An acknowledgement too many in the second half of a move is no leave to go on: nothing is sent until the arm can be
// there.
func TestAnAcknowledgementTooManyMovesNothing(t *testing.T) {
	s := begin(iso())
	s.ack()
	s.ack()
	s.station(t)
	s.ack() // of the next move, which takes 9 s
	s.wait(5*time.Second, 0)
	s.ack() // too many
	s.wait(3900*time.Millisecond, 0)
	if a := s.acts[len(s.acts)-1]; a.Arrive {
		t.Fatalf("arrived after %v", s.now)
	}
	s.ack() // the true one
	if s.last() != "M0" {
		t.Errorf("sent %q", s.sent)
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
				s.take(s.m.Readings(s.now, 0, one(0.9+0.11*rng.Float64())))
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
		"a feed of 5000":          func(p *Program) { p.Feed = 5000 },
		"a feed of NaN":           func(p *Program) { p.Feed = nan() },
		"must be below":           func(p *Program) { p.Low = 200 },
		"no acknowledgement":      func(p *Program) { p.Done = nil },
		"{angle} is not known":    func(p *Program) { p.Move[0] = "G1 A{deg} B{angle}" },
		"{deg.x} is not known":    func(p *Program) { p.Move[0] = "G1 A{deg.x}" },
		"holds a line end":        func(p *Program) { p.Begin[0] = "G90\nG1 A9999" },
		"an empty command":        func(p *Program) { p.End = []string{" "} },
		"times of the program":    func(p *Program) { p.Ack = 0 },
		"place at NaN°":           func(p *Program) { p.Targets[0] = nan() },
	} {
		p := iso()
		p.Targets, p.Move, p.Begin = append([]float64(nil), p.Targets...), append([]string(nil), p.Move...),
			append([]string(nil), p.Begin...)
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
