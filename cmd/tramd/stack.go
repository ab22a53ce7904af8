package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/sweep/stack"
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
	if err := printStack(e.text(), a); err != nil {
		return err
	}
	return verdictStatus(a.Verdict)
}

func (c *stackCmd) read(e *env) (*stack.Stack, error) {
	switch {
	case c.File != "" && c.Config != "":
		return nil, usageError{errors.New("give a file or --config FILE, not both")}
	case c.File == "":
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

// ofRecord returns the newest of each relation and axis since the last event, from the record.
func (c *stackCmd) ofRecord(e *env) (*stack.Stack, error) {
	cfg, rec, err := c.openRecord(e)
	if err != nil {
		return nil, err
	}
	defer rec.Close()
	s, warnings, err := assembly.StackOf(e.ctx, rec, cfg)
	if err != nil {
		return nil, err
	}
	for _, n := range warnings { // an event without a date ends nothing
		fmt.Fprintf(e.err, "tramd: note: %s [%s]\n", n.Text, n.Code)
	}
	if len(s.Relations) == 0 {
		return nil,
			errors.New(
				"the record holds no check since the last event: sweep, or import a travel or a cross, or give a file of measured relations")
	}
	return s, nil
}
