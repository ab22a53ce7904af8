package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"tramd/cmd/tramd/internal/client"
)

type eventCmd struct {
	Log  eventLogCmd  `cmd:"" default:"withargs" help:"Log what happened: adjusted, crashed, serviced, moved, acknowledged, note; or the spindle's hours."`
	List eventListCmd `cmd:"" help:"List events, the last first."`
	Undo eventUndoCmd `cmd:"" help:"Take an event back: history and advice no longer count it. The list still shows it."`
}

type eventLogCmd struct {
	configFlag
	Kind string             `arg:"" enum:"adjusted,crashed,serviced,moved,acknowledged,note,hours" help:"adjusted, crashed, serviced, moved, acknowledged (accepted as it is: alarms start again from here), note, or hours."`
	Text string             `arg:"" optional:"" help:"A few words; for hours, what the spindle's hour counter shows."`
	Move map[string]float64 `placeholder:"NAME=BY" help:"For adjusted: an adjuster of the configuration and its signed amount; once for each."`
}

func (c *eventLogCmd) Run(e *env) error {
	if len(c.Move) > 0 && c.Kind != "adjusted" {
		return usageError{fmt.Errorf("--move belongs to the kind adjusted, not to %s", c.Kind)}
	}
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	return cl.LogEvent(e.ctx, c.Kind, c.Text, c.Move)
}

type eventListCmd struct {
	storeFlag
	Limit int  `default:"20" help:"How many."`
	JSON  bool `name:"json" help:"Print one JSON object a line."`
}

// Run reads the record itself, so that it works without the daemon too.
func (c *eventListCmd) Run(e *env) error {
	if c.Limit < 1 || c.Limit > 1000 {
		return usageError{fmt.Errorf("--limit %d: give 1 to 1000", c.Limit)}
	}
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	defer s.Close()
	unit := map[string]string{}
	for _, a := range cfg.Adjusters {
		unit[a.Name] = " " + a.Unit
	}
	events, err := s.Events(e.ctx, c.Limit)
	if err != nil {
		return err
	}
	if c.JSON {
		out := json.NewEncoder(e.out)
		for _, x := range events {
			if err := out.Encode(x); err != nil {
				return err
			}
		}
		return nil
	}
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "event\tat\tkind\ttext")
	for _, x := range events {
		text := x.Text
		if len(x.Moved) > 0 {
			var moves []string
			for _, name := range slices.Sorted(maps.Keys(x.Moved)) {
				moves = append(moves, e.units.Words(fmt.Sprintf("%s by %+g%s", name, x.Moved[name], unit[name])))
			}
			text = strings.TrimSpace(text + " (" + strings.Join(moves, ", ") + ")")
		}
		if x.Undone != nil {
			text = strings.TrimSpace(text + " [taken back " + localTime(*x.Undone) + "]")
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\n", x.ID, clockTime(x.At, !x.ClockUnset), x.Kind, text)
	}
	return w.Flush()
}

type eventUndoCmd struct {
	configFlag
	ID int64 `arg:"" help:"The event's number, as event list shows it."`
}

func (c *eventUndoCmd) Run(e *env) error {
	if c.ID < 1 {
		return usageError{errors.New("an event's number is 1 or more; tramd event list shows them")}
	}
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	return cl.UndoEvent(e.ctx, c.ID)
}
