package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
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
	s := newScreen(w, u)
	if f, ok := in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		defer singleKeys(int(f.Fd()))()
	}
	if s.tty {
		defer s.leave()
	}
	keys := make(chan byte)
	go readKeys(ctx, in, keys)
	a, logged := newAiming(aim), false
	said, step := "", aimDone
	var bell, shown time.Time
	err := cl.Live(ctx, func(snap *api.Snapshot) bool {
		a.see(snap)
		for more := true; more; {
			select {
			case k, open := <-keys:
				switch {
				case !open || k == 'q' || k == 'Q':
					return false
				case a.step == aimDone && (k == 'l' || k == 'L'):
					logged = true
					return false
				case a.step == aimDone && (k == 'a' || k == 'A'):
					a.once()
				case k == '\r' || k == '\n' || k == ' ':
					a.next()
				}
			default:
				more = false
			}
		}
		now := time.Now()
		if every := a.bellAfter(); s.tty && every > 0 && now.Sub(bell) >= every {
			bell = now
			fmt.Fprint(w, "\a")
		}
		switch {
		case s.tty:
			width, height := s.size()
			s.paint(aimView(a, width, u), height)
		case a.line() != said && (a.step != step || now.Sub(shown) >= 300*time.Millisecond):
			said, step, shown = a.line(), a.step, now
			fmt.Fprintln(w, u.Words(said))
		}
		return true
	})
	if err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	if !logged {
		return nil
	}
	return cl.LogEvent(context.WithoutCancel(ctx), "adjusted", "",
		map[string]float64{aim.Adjuster: math.Round(a.moved()*1e4) / 1e4})
}

// readKeys sends keys until in or ctx ends, and closes them then.
func readKeys(ctx context.Context, in io.Reader, keys chan<- byte) {
	defer close(keys)
	if in == nil {
		<-ctx.Done()
		return
	}
	eachKey(ctx, in, func(k byte) {
		select {
		case keys <- k:
		case <-ctx.Done():
		}
	})
}

// aimView returns what a terminal of that width shows of an aim.
func aimView(a *aiming, width int, u display.Units) string {
	text := wrapped(u.Words(a.aim.Say), width, 0) + "\n\n" + wrapped(u.Words(a.say()), width, 0) + "\n\n"
	if a.reading == nil || a.step != aimMove {
		if a.reading != nil {
			text += u.Words(fmt.Sprintf("%s reads %+.4f mm", a.aim.Indicator, *a.reading)) + "\n"
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
