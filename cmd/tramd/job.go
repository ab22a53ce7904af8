package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
)

type jobCmd struct {
	configFlag
	Out  string `placeholder:"FILE.html" help:"Where to write the page; standard output without it."`
	Text bool   `help:"Lead through the assembly in the terminal: what is done, what was upset, what comes next."`
	JSON bool   `name:"json" help:"The same as one JSON object."`
}

func (c *jobCmd) Run(e *env) error {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	defer s.Close()
	if c.Text || c.JSON {
		return c.lead(e, s, cfg)
	}
	write := func(w io.Writer) error { return runs.WriteJobSheet(e.ctx, w, s, cfg, version) }
	if c.Out == "" {
		return write(e.out)
	}
	return writeFile(c.Out, write)
}

// lead says how far the assembly has come.
func (c *jobCmd) lead(e *env, s *store.Store, cfg *config.Config) error {
	job, err := assembly.JobOf(e.ctx, s, cfg)
	if err != nil {
		return err
	}
	if c.JSON {
		out, err := json.Marshal(job)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "%s\n", out)
		return err
	}
	return printJob(e.text(), job)
}

func printJob(w io.Writer, job *api.Job) error {
	var t text
	t.line("%s: the assembly, step by step", job.Machine)
	for i, s := range job.Steps {
		state := s.State
		if s.Upset != "" {
			state += ": " + s.Upset
		}
		t.line("%2d %s: %s", i+1, s.Name, state)
		for k, f := range s.Now {
			line := "     " + f.String() + judged(f.Verdict)
			if k < len(s.Before) && s.Before[k].Name == f.Name {
				line += fmt.Sprintf(" (before: %s)", strings.TrimPrefix(s.Before[k].String(), f.Name+" "))
			}
			t.line("%s", line)
		}
		if s.Run != 0 {
			when := fmt.Sprintf("     run %d, %s", s.Run, s.At.Local().Format("2006-01-02 15:04"))
			if s.Due != nil {
				when += ", next check by " + s.Due.Local().Format("2006-01-02")
			}
			t.line("%s", when)
		}
		for _, a := range s.Alarms {
			t.line("     alarm: %s", a)
		}
	}
	if job.Stack != nil {
		for _, say := range job.Stack.Say {
			t.line("%s", say)
		}
	}
	t.line("%s", job.Say)
	_, err := io.WriteString(w, t.String())
	return err
}
