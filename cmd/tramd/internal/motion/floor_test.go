package motion

import (
	"context"
	"errors"
	"io"
	"math"
	"os"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"tramd/cmd/tramd/internal/interlock"
)

// floor is a machine in made-up time: a controller on a line, an arm, two indicators, an input line, a person and the
// computer's own clock. Each can be made to fail.
type floor struct {
	began time.Time
	r     *Runner
	lock  *interlock.Interlock
	key   string
	stop  context.CancelFunc

	mu       sync.Mutex
	skew     time.Duration // how far the clock jumped
	frozen   time.Duration // the runner's next look at the bar takes this long
	input    string
	held     bool
	readings [2]gauge
	owner    chan struct{} // full: who listens to the runner is busy

	toHost  chan byte
	eof     chan struct{}
	closed  chan struct{}
	once    sync.Once
	rest    string
	writing error // of each write; nil: it goes through
	hangs   bool  // a write takes until its deadline
	limit   time.Time
	mute    bool // nothing is acknowledged
	deaf    bool // nothing is heard either
	twice   bool // each acknowledgement comes twice
	spoilt  int  // so many acknowledgements are damaged
	from    float64
	to      float64
	left    time.Time
	there   time.Time
	pending *time.Timer

	got    []sent
	before []sent // cut off from got
	stage  []staged
	ends   []ending
}

type gauge struct {
	silent, frozen bool
	add            float64
}

type sent struct {
	at   time.Duration
	text string
}

type staged struct {
	at    time.Duration
	stage Stage
	text  string
}

type ending struct {
	at    time.Duration
	why   string
	asked bool
}

// floorProgram goes to three stations and home, and is retracted after some stops.
func floorProgram() Program {
	return Program{
		Targets: []float64{0, 90, 0}, Begin: []string{"G90"}, Move: []string{"G1 A{deg} F{feed}", "G4 P{dwell_s}"},
		End:     []string{"G1 A-90 F{feed}", "G4 P0.1"},
		Retract: []string{"G91", "G0 Z20"}, Stop: "M0", LineEnd: "\n", Done: regexp.MustCompile(`^ok$`),
		Refused: regexp.MustCompile(`^(?:error.*|ready.*)$`), Stopped: regexp.MustCompile(`^stopped$`),
		Feed: 1800, Low: -90, High: 90, Dwell: 200 * time.Millisecond, Settle: 10 * time.Second,
		Ack: time.Second, RetractTime: 3 * time.Second,
		Open: 300 * time.Millisecond, Silent: 500 * time.Millisecond,
		Indicators: []Indicator{{Name: "arm", LowMM: -1, HighMM: 1, Frozen: 30},
			{Name: "far", LowMM: -1, HighMM: 1, Frozen: 30}},
	}
}

// play runs a program on a floor of its own until it has ended and for ten seconds more. At a moment after the start
// something is done to it.
func play(t *testing.T, planned time.Duration, what map[time.Duration]func(*floor)) (f *floor) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		f = newFloor(t, planned)
		ctx, stop := context.WithCancel(context.Background())
		f.stop = stop
		defer stop()
		for at, do := range what {
			time.AfterFunc(at, func() { do(f) })
		}
		speaking, hush := context.WithCancel(context.Background())
		go f.speak(speaking)
		f.r.Run(ctx, f)
		time.Sleep(10 * time.Second) // whatever is still on its way, nothing is sent
		hush()
		time.Sleep(time.Second)
	})
	return f
}

func newFloor(t *testing.T, planned time.Duration) *floor {
	f := &floor{began: time.Now(), held: true, owner: make(chan struct{}, 1), toHost: make(chan byte, 1<<16),
		eof: make(chan struct{}), closed: make(chan struct{})}
	f.lock = interlock.New(interlock.Options{Clock: f.clock, Input: func() string {
		f.mu.Lock()
		defer f.mu.Unlock()
		return f.input
	}})
	var permit *interlock.Permit
	var bar interlock.Bar
	if planned > 0 {
		f.lock.ArmPlanned(planned)
		permit, bar = f.lock.BeginPlanned(t.Context())
	} else {
		f.key, _, bar = f.lock.Arm("the arm")
		if !bar.Shut() {
			permit, bar = f.lock.Begin(f.key, "the arm")
		}
	}
	if bar.Shut() {
		t.Fatal(bar.Why)
	}
	r, err := NewRunner(floorProgram(), f.clock, Hooks{
		Arrived: func(int) {
			f.owner <- struct{}{}
			defer func() { <-f.owner }()
			time.AfterFunc(300*time.Millisecond, f.r.Taken)
		},
		Said: func(stage Stage, text string) {
			f.owner <- struct{}{}
			defer func() { <-f.owner }()
			f.stage = append(f.stage, staged{time.Since(f.began), stage, text})
		},
		Ended: func(why string, asked bool) { f.ends = append(f.ends, ending{time.Since(f.began), why, asked}) },
		Bar: func() (string, bool) {
			f.mu.Lock()
			stall := f.frozen
			f.frozen = 0
			f.mu.Unlock()
			time.Sleep(stall)
			b := permit.Bar()
			return b.Why, b.Asked
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	f.r = r
	return f
}

func (f *floor) clock() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return time.Since(f.began) + f.skew
}

// speak has the indicators read, and the person hold.
func (f *floor) speak(ctx context.Context) {
	for n := 0; ctx.Err() == nil; n++ {
		f.mu.Lock()
		th := f.arm() * math.Pi / 180
		digit := 0.001 * float64(n%2)
		readings, held := f.readings, f.held
		f.mu.Unlock()
		for i, g := range readings {
			mm := 0.2 + 0.05*math.Cos(th+float64(i)*math.Pi) + digit
			if g.frozen {
				mm = 0.2
			}
			if !g.silent {
				f.r.Reading(i, math.Round(1000*(mm+g.add))/1000)
			}
		}
		if n%10 == 0 && held {
			f.lock.Hold(f.key)
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// arm is where the arm is.
func (f *floor) arm() float64 {
	now := time.Now()
	if !now.Before(f.there) {
		return f.to
	}
	return f.from + (f.to-f.from)*float64(now.Sub(f.left))/float64(f.there.Sub(f.left))
}

func (f *floor) Read(p []byte) (int, error) {
	select {
	case b := <-f.toHost:
		p[0] = b
		return 1, nil
	case <-f.eof:
		return 0, io.EOF
	case <-f.closed:
		return 0, os.ErrClosed
	}
}

func (f *floor) Close() error {
	f.once.Do(func() { close(f.closed) })
	return nil
}

func (f *floor) SetWriteDeadline(at time.Time) error { f.limit = at; return nil }

func (f *floor) Write(p []byte) (int, error) {
	f.mu.Lock()
	hangs, err := f.hangs, f.writing
	f.mu.Unlock()
	if hangs {
		time.Sleep(time.Until(f.limit))
		return 0, os.ErrDeadlineExceeded
	}
	if err != nil {
		return 0, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.rest += string(p)
	for {
		text, rest, ok := strings.Cut(f.rest, "\n")
		if !ok {
			return len(p), nil
		}
		f.rest = rest
		if text != "" {
			f.got = append(f.got, sent{time.Since(f.began), text})
			f.command(text)
		}
	}
}

// command does what a controller does. G4 is acknowledged when the move before it is over.
func (f *floor) command(text string) {
	if f.deaf {
		return
	}
	switch word, _, _ := strings.Cut(text, " "); word {
	case "M0":
		here := f.arm()
		f.from, f.to, f.there = here, here, time.Now()
		if f.pending != nil {
			f.pending.Stop()
		}
		time.AfterFunc(30*time.Millisecond, func() { f.say("stopped") })
	case "G1":
		f.from, f.left = f.arm(), time.Now()
		f.to = map[string]float64{"G1 A0.000 F1800": 0, "G1 A90.000 F1800": 90, "G1 A-90 F1800": -90}[text]
		f.there = f.left.Add(floorProgram().moveTime(f.to - f.from))
		f.acknowledge()
	case "G4":
		f.pending = time.AfterFunc(time.Until(f.there)+100*time.Millisecond, func() {
			f.mu.Lock()
			defer f.mu.Unlock()
			f.acknowledge()
		})
	case "G0":
		f.pending = time.AfterFunc(2*time.Second, func() {
			f.mu.Lock()
			defer f.mu.Unlock()
			f.acknowledge()
		})
	default:
		f.acknowledge()
	}
}

func (f *floor) acknowledge() {
	text := "ok"
	switch {
	case f.mute || f.deaf:
		return
	case f.spoilt > 0:
		f.spoilt--
		text = "o\xffk"
	case f.twice:
		f.say("ok")
	}
	f.say(text)
}

func (f *floor) say(text string) {
	for _, b := range []byte(text + "\r\n") {
		select {
		case f.toHost <- b:
		default: // nobody listens any more
		}
	}
}

// locked changes the floor.
func (f *floor) locked(do func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	do()
}

var errGone = errors.New("input/output error")

func TestTheFloorIsWalkedAsItShould(t *testing.T) {
	f := play(t, 0, nil)
	var texts []string
	for _, s := range f.got {
		texts = append(texts, s.text)
	}
	want := "G90|G1 A0.000 F1800|G4 P0.2|G1 A90.000 F1800|G4 P0.2|G1 A0.000 F1800|G4 P0.2|G1 A-90 F1800|G4 P0.1"
	if got := strings.Join(texts, "|"); got != want || len(f.ends) != 1 || f.ends[0].why != "" {
		t.Errorf("sent %q, ended %+v", got, f.ends)
	}
}
