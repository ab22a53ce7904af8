package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/runs"
	"tramd/sweep/advice"
	"tramd/sweep/finish"
)

type adviseCmd struct {
	configFlag
	Of   string `placeholder:"NAME" help:"Advise on the joint that this traverse, bar or square shows, instead of the head."`
	File string `arg:"" optional:"" help:"Log of what was measured and moved (JSON), or - for standard input. Without it: the record of the configuration."`
	JSON bool   `name:"json" help:"Print one JSON object."`
}

func (c *adviseCmd) Run(e *env) error {
	switch {
	case c.Config != "" && c.File != "":
		return usageError{fmt.Errorf("give a log or --config FILE, not both")}
	case c.Of != "" && c.File != "":
		return usageError{fmt.Errorf("give a log or --of NAME, not both")}
	case c.Of != "":
		return c.ofJoint(e)
	case c.File == "":
		return c.fromRecord(e)
	}
	in, name := e.in, "standard input"
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return err
		}
		defer f.Close()
		in, name = f, c.File
	}
	p, err := advice.ReadLog(in)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	a, err := advice.Advise(p)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(a)
	}
	return printAdvice(e.text(), a)
}

// fromRecord asks the record, beside a daemon that may be writing it.
func (c *adviseCmd) fromRecord(e *env) error {
	cfg, s, err := c.openRecord(e)
	if errors.Is(err, errNoConfig) {
		return usageError{fmt.Errorf("no log: name a JSON file, or - for standard input; and %w", err)}
	}
	if err != nil {
		return err
	}
	defer s.Close()
	a, err := runs.Advise(e.ctx, s, cfg)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(a)
	}
	if err := printEach(e.text(), a.Cutters, func(f finish.Report) string { return f.Say }); err != nil {
		return err
	}
	if err := printAdvice(e.text(), a.Answer); err != nil {
		return err
	}
	return printEach(e.text(), a.Aims, func(x api.Aim) string { return "  " + x.Say })
}

// ofJoint asks the record about a joint below the head.
func (c *adviseCmd) ofJoint(e *env) error {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	defer s.Close()
	a, err := assembly.Advise(e.ctx, s, cfg, c.Of)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(a)
	}
	if err := printAdviceOf(e.text(), a.Answer, a.Quantities); err != nil {
		return err
	}
	return printEach(e.text(), a.Aims, func(x api.JointAim) string { return "  " + x.Say })
}

// printEach writes a line for each of a list.
func printEach[T any](w io.Writer, list []T, line func(T) string) error {
	for _, x := range list {
		if _, err := fmt.Fprintln(w, line(x)); err != nil {
			return err
		}
	}
	return nil
}

func printAdvice(w io.Writer, a advice.Answer) error {
	return printAdviceOf(w, a, []string{"tilt", "nod"})
}

// printAdviceOf writes the advice for a person. names are the quantities that the moves change, such as tilt and nod.
func printAdviceOf(w io.Writer, a advice.Answer, names []string) error {
	var b strings.Builder
	for _, s := range a.Cautions {
		fmt.Fprintf(&b, "Caution: %s\n", s)
	}
	for i, m := range a.Moves {
		fmt.Fprintf(&b, "%d. %s\n", i+1, m.Say)
	}
	fmt.Fprintln(&b, a.Why)
	for _, l := range a.Learned {
		gives := fmt.Sprintf("%s %+.3g", names[0], l.Tilt)
		if len(names) > 1 {
			gives += fmt.Sprintf(", %s %+.3g", names[1], l.Nod)
		}
		fmt.Fprintf(&b, "  %s: one unit is believed to give %s mm/m (standard uncertainty %.2g)\n", l.Adjuster,
			gives, l.U)
	}
	for _, n := range a.Warnings {
		fmt.Fprintf(&b, "  note: %s [%s]\n", n.Text, n.Code)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
