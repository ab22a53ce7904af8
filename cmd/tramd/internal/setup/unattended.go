package setup

import (
	"errors"
	"fmt"
	"strings"

	"tramd/cmd/tramd/internal/config"
)

// unattended is what a program needs beside the angle to take checks by itself, and to know the spindle's hours. Each
// part is asked for only by who wants it.
type unattended struct {
	at                  string // "06:00"; empty: never
	idleAsk, idleAnswer string
	idleFile, idleState string // an input that says that the machine does nothing; no file: none
	hoursFile           string // one that is 1 while the spindle runs
}

func (u *unattended) text(b *strings.Builder) {
	if u.idleFile != "" {
		fmt.Fprintf(
			b,
			"\n# It is no safety device: isolate the spindle's power all the same.\n[[input]]\nname = \"idle\"\nsource = \"file\"\nfile = %s\n", quote(u.idleFile))
	}
	if u.hoursFile != "" {
		fmt.Fprintf(
			b,
			"\n[[input]]\nname = \"running\"\nsource = \"file\"\nfile = %s\n[hours]\ninput = \"running\"   # on while the spindle runs\n", quote(u.hoursFile))
	}
	if u.at == "" {
		return
	}
	fmt.Fprintf(b, "\n[check]\nat = [%s]   # local time\n", quote(u.at))
	if u.idleAsk != "" {
		fmt.Fprintf(
			b,
			"idle_ask = %s   # what the controller is asked before it is moved\nidle_answer = %s   # the whole line by which it says that the machine does nothing\n",
			quote(u.idleAsk), quote(u.idleAnswer))
	}
	if u.idleFile != "" {
		fmt.Fprintf(b, "idle_input = \"idle\"   # watched while the arm moves, too\nidle_state = %s\n",
			quote(u.idleState))
	}
}

// askUnattended asks whether checks are taken unattended, and what makes that safe.
func (p *plan) askUnattended(a *Prompter) error {
	u := &p.unattended
	if p.source != config.SourceEncoder && p.source != config.SourceProgram {
		return nil
	}
	wanted, err := a.yes("Take checks unattended, at set times", false)
	if err != nil || !wanted {
		return err
	}
	if p.source == config.SourceProgram {
		a.say(
			"Caution: then the arm moves while no person is there. It does so only while somebody has armed it (`tramd arm`), and only while the machine")
		a.say("says that it does nothing. That is no safety device: isolate the spindle's power, and keep people away.")
		// Until the time is asked for, nothing hangs on these.
		err := a.ask("What the controller is asked for its state (- if an input says that the machine does nothing)",
			"", func(s string) error {
				u.idleAsk = s
				if s == "-" {
					u.idleAsk = ""
				} else if s == "" {
					return errors.New("write the question as the controller's manual has it, for example STATE, or -")
				}
				return nil
			})
		if err != nil {
			return err
		}
		if u.idleAsk != "" {
			u.at = usualAt
			err = a.ask("Whole line by which it says that the machine does nothing, as a regular expression", "",
				p.set("check.idle_answer", &u.idleAnswer, nil, "check.idle_ask"))
		} else {
			err = p.askIdleInput(a)
		}
		if err != nil {
			return err
		}
	}
	return a.ask("Time of day", usualAt, p.set("check.at", &u.at, nil))
}

const usualAt = "06:00"

func (p *plan) askIdleInput(a *Prompter) error {
	u := &p.unattended
	a.say("Not one that the arm's own moves change, such as \"in cycle\": take the spindle, a door, a release.")
	u.idleState, u.at = "on", usualAt
	if err := a.ask("File that says 0 or 1, for example /sys/class/gpio/gpio529/value", "",
		p.set("input.0.file", &u.idleFile, nil, "check.idle_ask")); err != nil {
		return err
	}
	return a.ask("What it is while the machine does nothing; a wire that breaks is off (on/off)", u.idleState,
		p.set("check.idle_state", &u.idleState, nil))
}

// askHours asks where the spindle's hours come from.
func (p *plan) askHours(a *Prompter) error {
	u := &p.unattended
	key := "input.0.file"
	if u.idleFile != "" {
		key = "input.1.file"
	}
	return a.ask("File that says 1 while the spindle runs (- if its hours are typed)", "-",
		p.set(key, &u.hoursFile, textOrNone))
}

// askRetract asks for what takes the arm away after a stop.
func (p *plan) askRetract(a *Prompter) error {
	g := &p.program
	wanted,
		err := a.yes(
		"Take the arm away by itself after a stop (only where the controller says for sure that it has stopped)", false)
	if err != nil || !wanted {
		return err
	}
	a.say(
		"Caution: that is motion after the stop. Write only what is safe from wherever the arm may be, straight up and slowly.")
	g.retract = []string{"up"} // until it is asked for
	if err := a.ask("Line by which the controller says that it has stopped, as a regular expression", "",
		p.set("program.stopped", &g.stopped, nil)); err != nil {
		return err
	}
	return p.askList(a, "To take it away", &g.retract)
}
