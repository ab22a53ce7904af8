package tui

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device/input"
)

// WatchInput writes a row for each change of an input, until ctx ends.
func WatchInput(ctx context.Context, out, notes io.Writer, spec input.Spec, o Listening, log *slog.Logger) error {
	l, err := input.New(spec, log)
	if err != nil {
		return err
	}
	ctx, cancel := o.until(ctx)
	defer cancel()
	var reading sync.WaitGroup
	reading.Go(func() { l.Run(ctx) })
	defer reading.Wait()
	fmt.Fprintf(notes, "Watching input %s. Ctrl-C stops.\n", l.Name())
	tick := time.NewTicker(listenFlush)
	defer tick.Stop()
	began, last := time.Now(), ""
	for {
		s := l.Status()
		text := s.State.String()
		if s.Err != "" {
			text += ": " + s.Err
		}
		if text != last && !(s.State == input.Unknown && s.Err == "" && last == "") { // not read yet is no news
			last = text
			row := fmt.Sprintf("%9.3f s  %s\n", time.Since(began).Seconds(), text)
			if o.JSON {
				row = jsonLine(api.ListenedInput{Seconds: time.Since(began).Seconds(), State: text})
			}
			if _, err := io.WriteString(out, row); err != nil {
				cancel()
				return err
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
