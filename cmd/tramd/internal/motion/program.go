package motion

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Program is a stepped sweep or traverse as the configuration describes it. Commands are templates: {deg} is the target
// in degrees, or {mm} in millimetres, {feed} the feed in these a minute, {dwell_s} and {dwell_ms} the dwell; {deg.3}
// asks for three decimals, which is what {deg} has. Each goes out with LineEnd behind it.
type Program struct {
	Axis    Axis
	Targets []float64 // of the axis, in order; spindle angles are unwrapped

	Begin []string // sent once before the first move
	Move  []string // sent for each target; the last must be acknowledged only once the arm stands
	End   []string // sent once after the last station
	Stop  string   // sent when anything is wrong, with nothing filled in, and LineEnd behind it
	// sent after a stop, where that is safe to say: see the package's words. None: nothing is sent
	Retract []string
	// a line by which the controller says that it has stopped; needed for Retract, and none that Done is
	Stopped *regexp.Regexp
	LineEnd string         // "\n" or "\r\n" or "\r"
	Done    *regexp.Regexp // a line that acknowledges a command
	Refused *regexp.Regexp // a line that refuses one, or tells of trouble at any time; nil = none

	Feed        float64 // degrees or millimetres a minute
	Low         float64 // soft limits
	High        float64
	Dwell       time.Duration // between the arrival and the first reading that counts
	Settle      time.Duration // how long a station may take to settle after that
	Ack         time.Duration // how long an acknowledgement may take beyond the time of the move
	RetractTime time.Duration // how long each command of Retract may take
	Open        time.Duration // quiet after the line was opened, for a controller that restarts with it

	Silent     time.Duration // an indicator that says nothing this long is silent
	Indicators []Indicator
}

// Check says what is wrong with a program.
func (p Program) Check() error {
	var bad []error
	say := func(format string, args ...any) { bad = append(bad, fmt.Errorf(format, args...)) }
	if len(p.Targets) < 2 {
		say("%d stations: a program needs two at least", len(p.Targets))
	}
	if !(p.Low < p.High) {
		say("soft limits from %v to %v %s: the low one must be below the high one", p.Low, p.High, p.Axis.unit())
	}
	for _, d := range p.Targets {
		if !(d >= p.Low && d <= p.High) {
			say("the place at %s lies outside the soft limits, %v to %v", p.Axis.Text(d), p.Low, p.High)
		}
	}
	if most := p.Axis.FeedMost(); !(p.Feed > 0 && p.Feed <= most) {
		say("a feed of %v %s a minute: write one above 0 and up to %v", p.Feed, p.Axis.unit(), most)
	}
	if p.Stop == "" {
		say("no stop command: without one nothing is moved")
	}
	if hole := "{" + p.Axis.hole(); len(p.Move) == 0 || !strings.Contains(strings.Join(p.Move, "\n"), hole) {
		say("no move command with %s} in it", hole)
	}
	if p.Done == nil {
		say("no acknowledgement is described")
	}
	if len(p.Retract) > 0 && (p.Stopped == nil || p.RetractTime <= 0) {
		say("a retract needs the line by which the controller says that it has stopped, and a time for it")
	}
	if hole := "{" + p.Axis.hole(); strings.Contains(strings.Join(p.Retract, "\n"), hole) {
		say("a retract with %s} in it: after a stop its place is not known; write commands that do not depend on it",
			hole)
	}
	for _, t := range slices.Concat([]string{p.Stop}, p.Begin, p.Move, p.End, p.Retract) {
		if _, err := p.fill(t, 0); err != nil {
			bad = append(bad, err)
		}
	}
	for _, i := range p.Indicators {
		if !(i.Frozen >= 0) {
			say("indicator %s: a number that stays for %v %s: write 0 or more", i.Name, i.Frozen, p.Axis.unit())
		}
	}
	if p.Ack <= 0 || p.Settle <= 0 || p.Silent <= 0 || p.Dwell < 0 || p.Open < 0 {
		say("the times of the program are not all above 0")
	}
	return errors.Join(bad...)
}

var holes = regexp.MustCompile(`\{([^{}]*)\}`)

// fill writes a command for a target.
func (p Program) fill(template string, target float64) (string, error) {
	var bad error
	out := holes.ReplaceAllStringFunc(template, func(hole string) string {
		name, digits, dotted := strings.Cut(strings.Trim(hole, "{}"), ".")
		values := map[string]float64{p.Axis.hole(): target, "feed": p.Feed, "dwell_s": p.Dwell.Seconds(),
			"dwell_ms": float64(p.Dwell.Milliseconds())}
		x, ok := values[name]
		places := 3
		if name != p.Axis.hole() {
			places = -1
		}
		if dotted {
			n, err := strconv.Atoi(digits)
			if err != nil || n < 0 || n > 9 {
				ok = false
			}
			places = n
		}
		if !ok {
			bad = fmt.Errorf(
				"command %q: %s is not known; write {%s}, {feed}, {dwell_s} or {dwell_ms}, with decimals as in {%[3]s.2}",
				template, hole, p.Axis.hole())
			return hole
		}
		if x == 0 {
			x = 0 // no -0.000
		}
		return strconv.FormatFloat(x, 'f', places, 64)
	})
	if bad == nil && strings.ContainsAny(out, "\r\n") {
		bad = fmt.Errorf("command %q holds a line end: write one command an entry; the line end is added", template)
	}
	if bad == nil && strings.TrimSpace(out) == "" {
		bad = errors.New("an empty command")
	}
	return out, bad
}

// Lines returns every command that a whole program would send, in order, and the stop command. What a retract sends is
// not among them.
func (p Program) Lines() (lines []string, stop string, err error) {
	if err := p.Check(); err != nil {
		return nil, "", err
	}
	add := func(templates []string, target float64) {
		for _, t := range templates {
			text, _ := p.fill(t, target) // checked
			lines = append(lines, text)
		}
	}
	add(p.Begin, p.Targets[0])
	for _, d := range p.Targets {
		add(p.Move, d)
	}
	add(p.End, p.Targets[len(p.Targets)-1])
	stop, _ = p.fill(p.Stop, 0)
	return lines, stop, nil
}

// moveTime is how long a move takes at the feed.
func (p Program) moveTime(far float64) time.Duration {
	return time.Duration(math.Abs(far) / p.Feed * float64(time.Minute))
}

// turnedIn is how far the axis goes in a time at the feed.
func (p Program) turnedIn(d time.Duration) float64 { return max(0, d.Minutes()) * p.Feed }

// Duration is about how long the whole takes, settling left out.
func (p Program) Duration() time.Duration {
	d := p.Open
	for i := 1; i < len(p.Targets); i++ {
		d += p.moveTime(p.Targets[i]-p.Targets[i-1]) + p.Dwell
	}
	return d
}
