package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/display"
)

// Watch shows the present state until ctx ends, over a slow line too: only the latest state is ever drawn. A daemon
// that goes away is waited for, and what was last seen is marked as old. With once, or where w is no terminal, it shows
// the state of now and ends.
func Watch(ctx context.Context, w io.Writer, u display.Units, cl *client.Client, once bool) error {
	s := newScreen(w, u)
	if once || !s.tty {
		return cl.Live(ctx, func(snap *api.Snapshot) bool {
			fmt.Fprint(w, View(snap, 80, 0, u))
			return false
		})
	}
	defer s.leave()
	for ctx.Err() == nil {
		err := cl.Live(ctx, func(snap *api.Snapshot) bool {
			s.draw(snap, 0)
			return true
		})
		if err != nil && !errors.Is(err, client.ErrNoDaemon) && !errors.Is(err, context.Canceled) && s.last == nil {
			return err
		}
		s.lost(err)
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
	return nil
}

// screen is a terminal that is drawn over and over.
type screen struct {
	w    io.Writer
	tty  bool
	fd   int
	at   time.Time
	last *api.Snapshot

	units display.Units

	coloured bool // the terminal shows colours, and NO_COLOR is not set
}

func newScreen(w io.Writer, u display.Units) *screen {
	s := &screen{w: w, units: u}
	if f, ok := w.(*os.File); ok {
		s.fd = int(f.Fd())
		s.tty = term.IsTerminal(s.fd)
		s.coloured = s.tty && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	}
	return s
}

// Control sequences of ECMA-48: cursor home, erase to the end of line and of page, cursor off and on.
const (
	home     = "\x1b[H"
	endLine  = "\x1b[K"
	endPage  = "\x1b[J"
	noCursor = "\x1b[?25l"
	cursor   = "\x1b[?25h"
)

func (s *screen) draw(snap *api.Snapshot, age time.Duration) {
	now := time.Now()
	if age == 0 && now.Sub(s.at) < 40*time.Millisecond {
		return
	}
	s.at, s.last = now, snap
	width, height := s.size()
	s.paint(View(snap, width, age, s.units), height)
}

// size returns the columns and lines of the terminal.
func (s *screen) size() (width, height int) {
	width, height, err := term.GetSize(s.fd)
	if err != nil {
		return 80, 24
	}
	return width, height
}

// paint writes over what stands there.
func (s *screen) paint(text string, height int) {
	text = cut(text, height)
	if s.coloured {
		text = verdictColours.Replace(text)
	}
	fmt.Fprint(s.w, noCursor+home+strings.ReplaceAll(text, "\n", endLine+"\r\n")+endPage)
}

// cut keeps the rows that a terminal of that height shows; what matters least stands last.
func cut(text string, height int) string {
	rows := strings.SplitAfter(text, "\n")
	return strings.Join(rows[:min(len(rows), max(1, height-1))], "")
}

// verdictColours are those of ECMA-48. The word says the same.
var verdictColours = strings.NewReplacer("within", "\x1b[36mwithin\x1b[0m", "outside", "\x1b[1;31moutside\x1b[0m",
	"undecided", "\x1b[35mundecided\x1b[0m")

// lost draws what was last seen, with its age.
func (s *screen) lost(err error) {
	if s.last == nil {
		fmt.Fprintf(s.w, "%sWaiting for the daemon: %v%s", home, err, endPage)
		return
	}
	s.draw(s.last, max(time.Second, time.Since(s.last.At)))
}

func (s *screen) leave() { fmt.Fprint(s.w, cursor+"\r\n") }
