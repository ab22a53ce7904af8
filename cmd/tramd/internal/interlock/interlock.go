package interlock

import (
	"context"
	"crypto/rand"
	"fmt"
	"sync"
	"time"
)

// How long things hold.
const (
	HoldFor     = 2 * time.Second    // a motion, after a sign of the person who started it
	KeyFor      = time.Minute        // a key, from the arming to the start
	PlannedMost = 7 * 24 * time.Hour // an arming of the planned checks, at most
)

// Bar is why the arm may not be moved; the zero Bar lets it.
type Bar struct {
	Why   string
	Asked bool // a person, or the end of what a person allowed, wants it so; else the machine may be in use
	Final bool // of a planned check: waiting does not cure it
}

// Shut reports whether nothing may move.
func (b Bar) Shut() bool { return b.Why != "" }

// Options are what the answer depends on besides armings and holds.
type Options struct {
	// why the machine is not known to do nothing, by its input line; "" while it is. nil: no line tells
	Input    func() string
	Question *Question            // nil: the controller is not asked
	Clock    func() time.Duration // runs on while the computer sleeps
}

// Interlock knows what is armed and who holds it.
type Interlock struct {
	o Options

	mu      sync.Mutex
	keyed   *grant // the last arming of one motion, started or not
	planned *grant // of the planned checks
}

// grant is what a person allowed.
type grant struct {
	key    string        // empty: of planned checks
	moves  string        // what a key may move
	until  time.Duration // of a key: until when it starts a motion
	shows  time.Time     // the same by the wall clock, to be shown
	begun  bool          // a motion was started with the key
	over   bool          // and has ended
	signed bool          // a sign of life came
	held   time.Duration // until when the motion goes on without another
	ended  string        // why it no longer allows anything; empty while it does
}

// New makes an interlock with nothing armed.
func New(o Options) *Interlock { return &Interlock{o: o} }

// Arm returns a key whose owner may start one motion of the arm, or of the axis that moves names. Earlier keys start
// nothing any more.
func (l *Interlock) Arm(moves string) (key string, until time.Time, b Bar) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.keyed != nil && l.keyed.begun && !l.keyed.over {
		return "", time.Time{}, Bar{Why: "a motion is under way; arm again once it has ended"}
	}
	l.keyed = &grant{key: rand.Text(), moves: moves, until: l.o.Clock() + KeyFor, shows: time.Now().Add(KeyFor)}
	return l.keyed.key, l.keyed.shows, Bar{}
}

// ArmPlanned allows planned checks to move the arm for so long.
func (l *Interlock) ArmPlanned(d time.Duration) (until time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	end, shows := l.o.Clock()+d, time.Now().Add(d)
	if g := l.planned; g != nil && g.ended == "" {
		g.until, g.shows = end, shows // a check in hand goes on with it
	} else {
		l.planned = &grant{until: end, shows: shows}
	}
	return shows
}

// Disarm takes everything back that was allowed. A motion in hand is barred from now on.
func (l *Interlock) Disarm() {
	l.mu.Lock()
	defer l.mu.Unlock()
	const why = "the motion was disarmed, so it was stopped"
	l.keyed.takeBack(why)
	l.planned.takeBack(why)
	l.planned = nil
}

func (g *grant) takeBack(why string) {
	if g != nil && g.ended == "" {
		g.ended = why
	}
}

// PlannedUntil says until when planned checks may move the arm; zero when they may not.
func (l *Interlock) PlannedUntil() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	if g := l.planned; g != nil && l.o.Clock() < g.until {
		return g.shows
	}
	return time.Time{}
}

// Input says why nothing may be moved by the machine's input line; "" while it may.
func (l *Interlock) Input() string {
	if l.o.Input == nil {
		return ""
	}
	return l.o.Input()
}

// Planned says why no planned check may move the arm now. Where the controller's last answer grows old it is asked
// again.
func (l *Interlock) Planned(ctx context.Context) Bar {
	l.mu.Lock()
	g := l.planned
	var b Bar
	switch {
	case g == nil:
		b = Bar{Why: "it is not armed: tramd arm", Final: true}
	case l.o.Clock() >= g.until:
		b = Bar{Why: ranOut(g), Final: true}
	}
	l.mu.Unlock()
	if b.Shut() {
		return b
	}
	if why := l.idle(ctx); why != "" {
		return Bar{Why: "the machine does not say that it is idle: " + why}
	}
	return Bar{}
}

func ranOut(g *grant) string {
	return fmt.Sprintf("the arming ran out at %s: tramd arm", g.shows.Local().Format(time.DateTime))
}

// idle says why the machine is not known to do nothing, by its input line and by the controller.
func (l *Interlock) idle(ctx context.Context) string {
	if why := l.Input(); why != "" || l.o.Question == nil {
		return why
	}
	return l.o.Question.state(ctx, l.o.Clock())
}

// Begin uses up a key and gives the permit for its motion, if that moves what the key was armed for. The start is the
// first sign of life.
func (l *Interlock) Begin(key, moves string) (*Permit, Bar) {
	l.mu.Lock()
	defer l.mu.Unlock()
	g := l.keyed
	switch {
	case g == nil || key == "" || g.key != key || g.begun:
		return nil, Bar{Why: "the motion is not armed with this key; arm it first"}
	case g.moves != moves:
		return nil, Bar{Why: fmt.Sprintf("this key was armed for %s, not for %s; arm that first", g.moves, moves)}
	case g.ended != "":
		return nil, Bar{Why: g.ended, Asked: true}
	case l.o.Clock() > g.until:
		return nil, Bar{Why: "the arming has run out; arm it again"}
	case g.signed && l.o.Clock() > g.held:
		return nil, Bar{Why: lostHold, Asked: true}
	}
	g.begun, g.held = true, l.o.Clock()+HoldFor
	return &Permit{l, g}, Bar{}
}

// BeginPlanned returns the permit for a planned check, once no question to the controller is under way.
func (l *Interlock) BeginPlanned(ctx context.Context) (*Permit, Bar) {
	b := l.Planned(ctx)
	if q := l.o.Question; q != nil && !b.Final { // the answer may just have grown old, and is asked for again then
		q.settle()
		b = l.Planned(ctx)
		q.settle()
	}
	if b.Shut() {
		return nil, b
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.planned == nil {
		return nil, Bar{Why: "it is not armed: tramd arm", Final: true}
	}
	return &Permit{l, l.planned}, Bar{}
}
