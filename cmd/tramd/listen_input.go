package main

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/device/input"
)

// input returns the input line that is to be listened to; nil where it is a port. One over Modbus is a port's.
func (c *listenCmd) input() (*input.Spec, error) {
	if c.Config == "" || c.Port == "" {
		return nil, nil
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	for _, in := range cfg.Inputs {
		if in.Name == c.Port && in.Source != input.SourceModbus {
			s := in.Spec()
			return &s, nil
		}
	}
	return nil, nil
}

// watchInput writes a row for each change of a line, until it is stopped.
func watchInput(e *env, spec *input.Spec, seconds float64, asJSON bool) error {
	if spec == nil {
		return nil
	}
	l, err := input.New(*spec, e.log)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel()
	if seconds > 0 {
		ctx, cancel = context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
		defer cancel()
	}
	var reading sync.WaitGroup
	reading.Go(func() { l.Run(ctx) })
	defer reading.Wait()
	fmt.Fprintf(e.err, "Watching input %s. Ctrl-C stops.\n", l.Name())
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
			if asJSON {
				row = jsonLine(listenedInput{time.Since(began).Seconds(), text})
			}
			if _, err := io.WriteString(e.out, row); err != nil {
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
