package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
)

// errNoZero ends the questions when the answers do.
var errNoZero = errors.New("the answers ended before the zero was set; nothing was swept")

// establishZero has the person show where 0 degrees is: the arm to the right, a press, towards the back, a press. It
// asks where the zero is not known and a person is at the terminal, or where a flag asks for it.
func establishZero(e *env, cl *client.Client, asked bool) error {
	snap, err := cl.Snapshot(e.ctx)
	if err != nil {
		return err
	}
	zero := snap.Angle.Zero
	switch {
	case zero == nil && asked:
		return errors.New("no encoder tells the angle of this machine, so it has no zero to set")
	case zero == nil || zero.Known && !asked:
		return nil
	case !asked && !isTerminal(e.in):
		fmt.Fprintf(
			e.err,
			"Note: %s The result has a size and no direction. Set the zero on the page, or with `tramd sweep --set-zero`.\n", zero.Why)
		return nil
	}
	if !zero.Known {
		fmt.Fprintln(e.err, zero.Why)
	}
	lines := answers(e)
	for step, say := api.ZeroRight,
		"Point the arm right, hold it still and press Enter (s and Enter: sweep without a direction)."; ; {
		fmt.Fprintln(e.err, say)
		var answer string
		var more bool
		select {
		case answer, more = <-lines:
		case <-e.ctx.Done():
			return e.ctx.Err()
		}
		if !more {
			return errNoZero
		}
		if strings.EqualFold(strings.TrimSpace(answer), "s") && !asked {
			return nil
		}
		st, err := cl.PointZero(e.ctx, step)
		switch {
		case e.ctx.Err() != nil:
			return e.ctx.Err()
		case errors.Is(err, client.ErrNoDaemon):
			return err
		case err != nil:
			say = err.Error() // the press is due again
			step = stepAfter(e, cl, step)
		case st.Next == api.ZeroBack:
			step, say = api.ZeroBack, "Now turn the arm about a quarter turn towards the back, and press Enter."
		default:
			fmt.Fprintf(e.err, "The zero is set: %s.\n", zeroWords(st))
			return nil
		}
	}
}

// stepAfter returns the press that is due after a refusal: the encoder may have gone away in between.
func stepAfter(e *env, cl *client.Client, step api.ZeroStep) api.ZeroStep {
	snap, err := cl.Snapshot(e.ctx)
	if err != nil || snap.Angle.Zero == nil {
		return step
	}
	return snap.Angle.Zero.Next
}

// zeroWords says what a zero is and how long it lasts.
func zeroWords(z api.ZeroState) string {
	way := "the encoder counts up as the arm turns from right to back"
	if z.Reversed {
		way = "the encoder counts down as the arm turns from right to back"
	}
	if z.IndexDeg != nil {
		return fmt.Sprintf("%s; its index mark at %.1f° keeps the zero over a power cut", way, *z.IndexDeg)
	}
	return way +
		"; it lasts until the encoder or the daemon is switched off, unless the encoder has an index mark that the arm passes"
}

func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// answers reads lines a byte at a time, so that what follows them is left to the next reader.
func answers(e *env) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		if e.in == nil {
			return
		}
		var line []byte
		var b [1]byte
		for {
			if n, err := e.in.Read(b[:]); n == 0 && err != nil {
				return
			} else if n == 0 {
				continue
			}
			if b[0] != '\n' && b[0] != '\r' {
				line = append(line, b[0])
				continue
			}
			select {
			case lines <- string(line):
				line = line[:0]
			case <-e.ctx.Done():
				return
			}
		}
	}()
	return lines
}
