package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"tramd/sweep/drift"
	"tramd/sweep/stack"
	"tramd/sweep/units"
)

type stackCmd struct {
	File string `arg:"" optional:"" name:"file" help:"Measured relations (JSON), or - for standard input."`
	configFlag
	JSON bool `name:"json" help:"Print one JSON object."`
}

func (c *stackCmd) Run(e *env) error {
	s, err := c.read(e)
	if err != nil {
		return err
	}
	a, err := stack.Solve(s)
	if err != nil {
		return err
	}
	if c.JSON {
		text, err := json.Marshal(a)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.out, "%s\n", text)
		return verdictStatus(a.Verdict)
	}
	if err := printStack(e.out, a); err != nil {
		return err
	}
	return verdictStatus(a.Verdict)
}

func (c *stackCmd) read(e *env) (*stack.Stack, error) {
	switch {
	case c.File == "" && c.Config == "":
		return nil, usageError{errors.New("give a file of measured relations, - for standard input, or --config FILE for those of the record")}
	case c.File != "" && c.Config != "":
		return nil, usageError{errors.New("give a file or --config FILE, not both")}
	case c.Config != "":
		return c.ofRecord(e)
	case c.File == "-":
		return stack.Read(e.in)
	}
	f, err := os.Open(c.File)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s, err := stack.Read(f)
	if err != nil {
		err = fmt.Errorf("%s: %w", c.File, err)
	}
	return s, err
}

func printStack(w io.Writer, a *stack.Answer) error {
	var t text
	for _, name := range []string{"tilt", "nod"} {
		x := a.Axes[name]
		if x == nil {
			t.line("%s: not measured", name)
			continue
		}
		t.line("%s", name)
		for _, rel := range stack.Names() {
			if v, ok := x.Adjusted[rel]; ok {
				t.line("  %-18s %+9.4f mm/m ± %.4f%s", rel, v.MMPerM, v.Expanded, judged(v.Verdict))
			}
		}
		if c := x.Closure; c != nil {
			t.line("  %-18s %+9.4f mm/m ± %.4f", "closure", c.MMPerM, c.Expanded)
		}
	}
	for _, s := range a.Say {
		t.line("%s", s)
	}
	for _, n := range a.Warnings {
		t.line("note: %s [%s]", n.Text, n.Code)
	}
	if a.Tolerance != "" {
		t.line("%s, %s: %s", a.Judged, a.Tolerance, a.Verdict)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

// ofRecord takes the newest of each relation since the last event from the record.
func (c *stackCmd) ofRecord(e *env) (*stack.Stack, error) {
	h, cfg, err := c.recorded(e, units.Tolerance{})
	if err != nil {
		return nil, err
	}
	s := &stack.Stack{Tolerance: cfg.Setup().Tolerance}
	var newest *drift.Check
	for _, x := range h.Entries {
		switch {
		case x.Event != nil && x.Event.EndsSegment():
			newest = nil
		case x.Check != nil:
			newest = x.Check
		}
	}
	if newest == nil {
		return nil, errors.New("the record holds no check since the last event: sweep first, or give a file of measured relations")
	}
	m := stack.Measured{Relation: stack.SpindleToTable}
	for k, to := range [2][2]**float64{{&m.Tilt, &m.TiltU}, {&m.Nod, &m.NodU}} {
		if v := newest.Axis[k]; v != nil && v.U > 0 {
			*to[0], *to[1] = &v.MMPerM, &v.U
		}
	}
	s.Relations = append(s.Relations, m)
	return s, nil
}
