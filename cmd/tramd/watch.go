package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/display"
	"tramd/cmd/tramd/internal/session"
)

type watchCmd struct {
	configFlag
	Once  bool `help:"Show the present state once and end."`
	JSON  bool `name:"json" help:"Print each new state as a JSON object on a line, as /api/v1/live sends it; with --once the present one."`
	Moved bool `name:"bar-moved" help:"First say that the bar of a pair of indicators was moved, or one of them touched: their zero counts no longer."`
}

// Run shows the present state until Ctrl-C, over a slow line too: only the latest state is ever drawn. A daemon that
// goes away is waited for, and what was last seen is marked as old.
func (c *watchCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	if c.Moved {
		if err := cl.ForgetPair(e.ctx); err != nil {
			return err
		}
	}
	if c.JSON {
		return c.states(e, cl)
	}
	s := newScreen(e.out, e.units)
	if c.Once || !s.tty {
		return cl.Live(e.ctx, func(snap *session.Snapshot) bool {
			fmt.Fprint(e.out, view(snap, 80, 0, e.units))
			return false
		})
	}
	defer s.leave()
	for e.ctx.Err() == nil {
		err := cl.Live(e.ctx, func(snap *session.Snapshot) bool {
			s.draw(snap, 0)
			return true
		})
		if err != nil && !errors.Is(err, client.ErrNoDaemon) && !errors.Is(err, context.Canceled) && s.last == nil {
			return err
		}
		s.lost(err)
		select {
		case <-e.ctx.Done():
		case <-time.After(time.Second):
		}
	}
	return nil
}

// states prints each state on a line until Ctrl-C, or the first alone. It ends when the daemon does.
func (c *watchCmd) states(e *env, cl *client.Client) error {
	out := json.NewEncoder(e.out)
	var failed error
	err := cl.Live(e.ctx, func(snap *session.Snapshot) bool {
		failed = out.Encode(snap)
		return failed == nil && !c.Once
	})
	switch {
	case failed != nil:
		return failed
	case errors.Is(err, context.Canceled):
		return nil
	}
	return err
}

// screen is a terminal that is drawn over and over.
type screen struct {
	w    io.Writer
	tty  bool
	fd   int
	at   time.Time
	last *session.Snapshot

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

func (s *screen) draw(snap *session.Snapshot, age time.Duration) {
	now := time.Now()
	if age == 0 && now.Sub(s.at) < 40*time.Millisecond {
		return
	}
	s.at, s.last = now, snap
	width, height, err := term.GetSize(s.fd)
	if err != nil {
		width, height = 80, 24
	}
	text := cut(view(snap, width, age, s.units), height)
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
var verdictColours = strings.NewReplacer("within", "\x1b[36mwithin\x1b[0m", "outside", "\x1b[1;31moutside\x1b[0m", "undecided", "\x1b[35mundecided\x1b[0m")

// lost draws what was last seen, with its age.
func (s *screen) lost(err error) {
	if s.last == nil {
		fmt.Fprintf(s.w, "%sWaiting for the daemon: %v%s", home, err, endPage)
		return
	}
	s.draw(s.last, max(time.Second, time.Since(s.last.At)))
}

func (s *screen) leave() { fmt.Fprint(s.w, cursor+"\r\n") }
