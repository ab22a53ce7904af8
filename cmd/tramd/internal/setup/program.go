package setup

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// program is the motion controller in the making.
type program struct {
	port, frame      string
	lineEnd          string
	begin, move, end []string
	stop             string
	done, refused    string // regular expressions
	feed, low, high  string
	travel, dwell    string
	retract          []string
	stopped          string // regular expression
}

// newProgram is right until the questions come to it; no station lies outside its limits.
func newProgram() program {
	return program{
		port: "/dev/controller", frame: "baud = 115200\n", lineEnd: "\n", move: []string{"{deg}"}, stop: "stop",
		done: "ok",
		feed: "180", low: "-720", high: "720", travel: "-1, 1", dwell: "0.5",
	}
}

const programCautions = `Caution, stepped motion: what tramd will write to the controller's port moves a machine.
  - Keep hands, sleeves and tools clear of the arm, and stay where you reach the machine's own stop: tramd cannot see a collision.
  - Isolate the spindle's own power: an arm is on it, and it must not start.
  - The machine's manual and local rules come first; the commands are those of your controller's manual.
These questions only write a file: the port is not opened, and nothing moves.`

func (g *program) text(b *strings.Builder) {
	fmt.Fprintf(b, `
# What is written to this port moves a machine. Keep clear, isolate the spindle's own power (an arm is on it), stay at the
# machine's own stop; its manual and local rules come first.
# `+"`tramd program --config FILE --dry-run`"+` prints every command and moves nothing: compare it with the controller's manual.
[program]
port = %s
%sline_end = %s
`, quote(g.port), g.frame, quote(g.lineEnd))
	fmt.Fprintf(b, "begin = %s   # once, before the first move\n", quotes(g.begin))
	fmt.Fprintf(b, "move = %s   # for each station; the last must be acknowledged only once the arm stands\n",
		quotes(g.move))
	fmt.Fprintf(b, "end = %s   # once, after the last station\n", quotes(g.end))
	fmt.Fprintf(b, "stop = %s   # what stops the controller at once, as its manual says\n", quote(g.stop))
	fmt.Fprintf(b, "done = %s   # a whole line that acknowledges a command, as a regular expression\n", quote(g.done))
	if g.refused != "" {
		fmt.Fprintf(b, "refused = %s   # one that refuses, or tells of trouble\n", quote(g.refused))
	}
	if len(g.retract) > 0 {
		fmt.Fprintf(
			b,
			"retract = %s   # after a stop, where that is safe\nstopped = %s   # a whole line by which the controller says that it has stopped\n", quotes(g.retract), quote(g.stopped))
	}
	fmt.Fprintf(b, "feed_deg_per_min = %s\nlow_deg = %s   # soft limits of the spindle angle\nhigh_deg = %s\n", g.feed,
		g.low, g.high)
	fmt.Fprintf(b, "travel_mm = [%s]   # readings outside it stop the arm\nboth_ways = true   # there and back\n",
		g.travel)
	fmt.Fprintf(b, "dwell_s = %s   # from the arrival to the first reading that counts\n", g.dwell)
}

func (p *plan) askProgram(a *Prompter, o Options) error {
	a.say(programCautions)
	g := &p.program
	key := func(k string) string { return "program." + k }
	put := func(question, usual, k string, at *string, form func(string) (string, error)) func() error {
		return func() error { return a.ask(question, usual, p.set(key(k), at, form, "program")) }
	}
	for _, step := range []func() error{
		// None is proposed: what is written to a wrong port may move something else.
		func() error { return p.askPort(a, o, "Port of the motion controller", "", key("port"), &g.port) },
		func() error { return p.askBaud(a, key("baud"), &g.frame) },
		put("What ends a line (LF, CR or CRLF)", "LF", "line_end", &g.lineEnd, lineEnd),
		func() error { return p.askCommands(a) },
		put("Command that stops the controller at once, as its manual says", "", "stop", &g.stop, nil),
		put(`Line that acknowledges a command, as a regular expression`, "ok", "done", &g.done, nil),
		put(`Line that refuses one, as a regular expression (- for none)`, "error.*", "refused", &g.refused,
			textOrNone),
		func() error { return p.askStations(a) },
		put("Feed, deg a minute", "180", "feed_deg_per_min", &g.feed, number),
		func() error { return p.askLimits(a) },
		put("Lowest and highest reading, mm; one outside stops the arm", g.travel, "travel_mm", &g.travel, numbers),
		put("Dwell from the arrival to the first reading that counts, s", "0.5", "dwell_s", &g.dwell, number),
		func() error { return p.askRetract(a) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	a.say(
		"Before the first motion read what `tramd program --config FILE --dry-run` prints beside the controller's manual; it moves nothing.")
	return nil
}

// askCommands asks for the commands of a move. No stop command is proposed with the words of ISO 6983: a controller may
// take a program stop (M0) up only after the block that moves (common practice, no source).
func (p *plan) askCommands(a *Prompter) error {
	a.say("Which command moves the arm?")
	a.say("  1  words of ISO 6983: G90 and G94 once, then G1 A{deg} F{feed} and G4 P{dwell_s} for each station")
	a.say("  2  commands of your own, with {deg}, {feed}, {dwell_s} or {dwell_ms} where the numbers go")
	own := false
	err := a.ask("Number", "1", func(s string) error {
		if s != "1" && s != "2" {
			return errors.New("write 1 or 2")
		}
		own = s == "2"
		return nil
	})
	if err != nil {
		return err
	}
	g := &p.program
	if own {
		if err := p.askList(a, "Once, before the first move", &g.begin); err != nil {
			return err
		}
		if err := p.askList(a, "For each station", &g.move, "{deg}"); err != nil {
			return err
		}
		return p.askList(a, "Once, after the last station", &g.end)
	}
	return a.ask("Letter of the axis that turns the spindle", "A", func(s string) error {
		s = strings.ToUpper(s)
		if len(s) != 1 || !strings.Contains("ABCDEUVWXYZ", s) {
			return errors.New("write the letter of an axis, for example A, B or C")
		}
		g.begin, g.move, g.end = []string{"G90", "G94"}, []string{"G1 " + s + "{deg} F{feed}", "G4 P{dwell_s}"}, nil
		return nil
	})
}

// commandsMost is more than any station needs.
const commandsMost = 20

// askList asks for commands one by one, so that none needs a mark between it and the next. Until the list is whole it
// is judged with the rest behind it.
func (p *plan) askList(a *Prompter, what string, at *[]string, rest ...string) error {
	a.say("%s, a command a line:", what)
	var list []string
	for whole := false; !whole; {
		err := a.ask(fmt.Sprintf("Command %d (- for no more)", len(list)+1), "-", func(s string) error {
			before := *at
			if s == "-" {
				*at = list
				if err := p.wrong("program"); err != nil {
					*at, list = before, nil
					return fmt.Errorf("%w; the list begins again", err)
				}
				whole = true
				return nil
			}
			if len(list) == commandsMost {
				return fmt.Errorf("that are more than %d commands; write -", commandsMost)
			}
			longer := append(slices.Clone(list), s)
			*at = append(slices.Clone(longer), rest...)
			err := p.wrong("program")
			if err != nil {
				*at = before
				return err
			}
			list = longer
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// askLimits asks for the soft limits. What is usual lets the first station be taken again a turn on.
func (p *plan) askLimits(a *Prompter) error {
	g := &p.program
	low, high := usualLimits(p.stations)
	if err := a.ask("Lowest spindle angle the arm may be moved to, deg", low,
		p.set("program.low_deg", &g.low, number, "program")); err != nil {
		return err
	}
	return a.ask("Highest spindle angle the arm may be moved to, deg", high,
		p.set("program.high_deg", &g.high, number, "program"))
}

func usualLimits(stations string) (low, high string) {
	var at []float64
	for _, s := range strings.Split(stations, ", ") {
		x, _ := strconv.ParseFloat(s, 64) // written by numbers
		at = append(at, x)
	}
	lo, hi := slices.Min(at), slices.Max(at)
	if first, last := at[0], at[len(at)-1]; len(at) > 2 && last > first {
		hi = max(hi, first+360)
	} else if len(at) > 2 {
		lo = min(lo, first-360)
	}
	text := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	return text(lo), text(hi)
}

func lineEnd(s string) (string, error) {
	end, ok := map[string]string{"LF": "\n", "CR": "\r", "CRLF": "\r\n"}[strings.ToUpper(s)]
	if !ok {
		return "", errors.New("write LF, CR or CRLF")
	}
	return end, nil
}

// textOrNone takes "-" for none.
func textOrNone(s string) (string, error) {
	if s == "-" {
		s = ""
	}
	return s, nil
}
