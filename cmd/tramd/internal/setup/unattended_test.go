package setup

import (
	"slices"
	"strings"
	"testing"
)

// A program that nobody watches gets what makes it safe: a question, or an input, by which the machine says that it
// does nothing.
func TestAProgramThatRunsByItself(t *testing.T) {
	program := []string{"", "1", "2", "", "", "", "", "halt", "", "", "", "", "", "", "", ""}
	retract := []string{"y", "ok", "halted", "away {deg}", "G0 Z50", "-"}
	_, text, said, err := interview(t, Options{Ports: bench}, slices.Concat(arm("program"), program, retract,
		[]string{"y", "", "STATE", "state (", "state idle", "6 pm", "06:30", "relative", "/run/spindle", "", ""})...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	if !slices.Equal(c.Program.Retract, []string{"G0 Z50"}) || c.Program.Stopped != "halted" ||
		!slices.Equal(c.Check.At, []string{"06:30"}) ||
		c.Check.IdleAsk != "STATE" || c.Check.IdleAnswer != "state idle" || c.Hours.Input != "running" ||
		c.Inputs[0].File != "/run/spindle" {
		t.Errorf("%s", text)
	}
	for _, want := range []string{"is what acknowledges a command too", "after a stop its place is not known",
		"Take checks unattended", "is not a regular expression",
		"is not a time of day", "write the whole path", "safe from wherever the arm may be", "`tramd arm`"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q was not said:\n%s", want, said)
		}
	}

	_, text, said, err = interview(t, Options{Ports: bench}, slices.Concat(arm("program"), program,
		[]string{"", "y", "-", "gpio", "/run/idle", "shut", "off", "", "/run/spindle", "", ""})...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c = parsed(t, text)
	if c.Check.IdleInput != "idle" || c.Check.IdleState != "off" || len(c.Inputs) != 2 ||
		c.Inputs[1].File != "/run/spindle" || !slices.Equal(c.Check.At, []string{usualAt}) ||
		!strings.Contains(text, "It is no safety device") || len(c.Program.Retract) != 0 {
		t.Errorf("%s", text)
	}
}

func TestAWheelOfSeveralMagnets(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench},
		slices.Concat(arm("3"), []string{"2", "9600", "0", "4", "", "500", "6", "", ""}, last)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if a := parsed(t, text).Angle; a.Pulses != 4 || a.IndexMark != "" || a.TurnsPerMin != 6 {
		t.Errorf("%s\n%s", text, said)
	}
	_, text, said, err = interview(t, Options{Ports: bench},
		slices.Concat(arm("3"), []string{"2", "9600", "4", "no 1", "start", "", "", ""}, last)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if a := parsed(t, text).Angle; a.Pulses != 4 || a.IndexMark != "start" || a.TurnsPerMin != 0 {
		t.Errorf("%s\n%s", text, said)
	}
}
