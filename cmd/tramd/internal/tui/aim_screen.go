package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/display"
)

// Aim leads a person at a terminal through one aim: the way to go in large figures and by the terminal's bell, Enter
// for each step. Keys come from in. It logs the move where the person says so, and returns when the aim is left.
func Aim(ctx context.Context, w io.Writer, u display.Units, in io.Reader, cl *client.Client, aim api.JointAim) error {
	ctx, leave := context.WithCancel(ctx)
	defer leave()
	s := &aimScreen{screen: newScreen(w, u), a: newAiming(aim), step: aimDone}
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		defer singleKeys(int(f.Fd()))()
	}
	if s.tty {
		defer s.leave()
	}
	if in != nil {
		go func() {
			defer leave()
			eachKey(ctx, in, func(k byte) {
				if !s.press(k) {
					leave()
				}
			})
		}()
	}
	err := cl.Live(ctx, func(snap *api.Snapshot) bool {
		s.see(snap)
		return true
	})
	if err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	by, logged := s.moved()
	if !logged {
		return nil
	}
	return cl.LogEvent(context.WithoutCancel(ctx), "adjusted", "", map[string]float64{aim.Adjuster: by})
}

// aimScreen shows an aim. A key counts at once, with what is shown when it is pressed: what comes later is not what the
// person went by.
type aimScreen struct {
	*screen

	mu          sync.Mutex
	a           *aiming
	logged      bool
	said        string
	step        aimStep // when it was said
	bell, shown time.Time
}

// press takes a key; more is false where the person leaves.
func (s *aimScreen) press(k byte) (more bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case k == 'q' || k == 'Q':
		return false
	case s.a.step == aimDone && (k == 'l' || k == 'L'):
		s.logged = true
		return false
	case s.a.step == aimDone && (k == 'a' || k == 'A'):
		s.a.once()
	case k == '\r' || k == '\n' || k == ' ':
		s.a.next()
	default:
		return true
	}
	s.show()
	return true
}

func (s *aimScreen) see(snap *api.Snapshot) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.a.see(snap)
	s.show()
}

// moved returns the amount to log; logged is false where the person did not ask for it.
func (s *aimScreen) moved() (by float64, logged bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return math.Round(s.a.moved()*1e4) / 1e4, s.logged
}

func (s *aimScreen) show() {
	now := time.Now()
	if every := s.a.bellAfter(); s.tty && every > 0 && now.Sub(s.bell) >= every {
		s.bell = now
		fmt.Fprint(s.w, "\a")
	}
	line := s.a.line()
	switch {
	case s.tty:
		width, height := s.size()
		s.paint(aimView(s.a, width, s.units), height)
	case line != s.said && (s.a.step != s.step || now.Sub(s.shown) >= 300*time.Millisecond):
		s.said, s.step, s.shown = line, s.a.step, now
		fmt.Fprintln(s.w, s.units.Words(line))
	}
}

// aimView returns what a terminal of that width shows of an aim.
func aimView(a *aiming, width int, u display.Units) string {
	text := wrapped(u.Words(a.aim.Say), width, 0) + "\n\n" + wrapped(u.Words(a.say()), width, 0) + "\n\n"
	if a.blind() || a.step != aimMove {
		if a.reading != nil {
			text += u.Words(fmt.Sprintf("%s reads %+.4f mm", a.aim.Indicator, *a.reading)) + "\n"
			if a.moves {
				text += "It moves. Enter takes it when it lies still.\n"
			}
		}
		return text
	}
	toGo, way := a.toGo(), "up"
	switch {
	case a.there():
		way = "there"
	case toGo < 0:
		way = "down"
	}
	figure, unit, _ := strings.Cut(u.Words(fmt.Sprintf("%+.3f mm", toGo)), " ")
	rows := beside("", figure, unit, u.Words(fmt.Sprintf("± %.3f mm", 2*math.Sqrt2*a.u)), way)
	return text + strings.Join(rows, "\n") + "\n"
}
