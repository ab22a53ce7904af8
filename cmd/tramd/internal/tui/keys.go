package tui

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
)

// Steer lets a person at a terminal steer a sweep by stations: single keys where the indicator speaks by itself, lines
// where its readings are typed. The result puts the terminal back as it was.
func Steer(ctx context.Context, source string, cl *client.Client, run int64, in io.Reader, show *Progress) (
	restore func()) {
	restore = func() {}
	if in == nil {
		return restore
	}
	f, isFile := in.(*os.File)
	tty := isFile && term.IsTerminal(int(f.Fd()))
	switch {
	case source == config.SourceTyped: // readings may come through a pipe too
		show.note(
			"Type each reading as the dial shows it (0.12, -3 um, 0.0005 in); larger is the plunger pushed further in. u: the last again, s: skip.")
		go typeLines(ctx, cl, run, in, show)
	case source == config.PositionScale || source == config.PositionFeed:
		if tty {
			restore = singleKeys(int(f.Fd()))
		}
		show.note(
			"Enter or space: the axis is where the line begins; once more: the line ends here. s: skip the line. r: the last again. Ctrl-C: give up.")
		go pressKeys(ctx, cl, run, in, show)
	case source == config.SourceSteady && tty:
		restore = singleKeys(int(f.Fd()))
		show.note("Enter or space: the arm passes the mark now (where no index pulse says so). Ctrl-C: give up.")
		go pressKeys(ctx, cl, run, f, show)
	case source == config.SourceStations && tty:
		restore = singleKeys(int(f.Fd()))
		show.note("Enter or space: take this station now. s: skip it. r: the last again. Ctrl-C: give up.")
		go pressKeys(ctx, cl, run, f, show)
	}
	return restore
}

// singleKeys has the terminal hand over each key at once. Ctrl-C goes on being a signal.
func singleKeys(fd int) (restore func()) {
	before, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return func() {} // then Enter has to follow each key
	}
	raw := *before
	raw.Lflag &^= unix.ICANON | unix.ECHO
	raw.Cc[unix.VMIN], raw.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, &raw); err != nil {
		return func() {}
	}
	return func() { _ = unix.IoctlSetTermios(fd, unix.TCSETS, before) } // the program ends: there is no reader
}

// eachKey does what a key asks for, until in or ctx ends. It may end with the program only: a read of the terminal
// cannot be called off.
func eachKey(ctx context.Context, in io.Reader, do func(key byte)) {
	keys := bufio.NewReader(in)
	for {
		k, err := keys.ReadByte()
		if err != nil || ctx.Err() != nil {
			return
		}
		do(k)
	}
}

// pressKeys steers a run by keys.
func pressKeys(ctx context.Context, cl *client.Client, run int64, in io.Reader, show *Progress) {
	eachKey(ctx, in, func(k byte) {
		var err error
		switch k {
		case '\r', '\n', ' ':
			err = cl.TakeStation(ctx, run)
		case 's', 'S':
			err = cl.SkipStation(ctx, run)
		case 'r', 'R', 'u', 'U':
			err = cl.RedoStation(ctx, run)
		}
		if err != nil && ctx.Err() == nil {
			show.note(err.Error())
		}
	})
}

func typeLines(ctx context.Context, cl *client.Client, run int64, in io.Reader, show *Progress) {
	lines := bufio.NewScanner(in)
	for lines.Scan() && ctx.Err() == nil {
		text := strings.TrimSpace(lines.Text())
		var err error
		switch strings.ToLower(text) {
		case "":
			continue
		case "u", "undo", "r", "redo":
			err = cl.RedoStation(ctx, run)
		case "s", "skip":
			err = cl.SkipStation(ctx, run)
		default:
			err = cl.PutReading(ctx, run, text)
		}
		if err != nil && ctx.Err() == nil {
			show.note(fmt.Sprintf("%s: %v", text, err))
		}
	}
}
