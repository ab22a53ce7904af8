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

// Program is a stepped sweep as the configuration describes it. Commands are templates: {deg} is the target in degrees,
// {feed} the feed in degrees a minute, {dwell_s} and {dwell_ms} the dwell; {deg.3} asks for three decimals, which is
// what {deg} has. Each goes out with LineEnd behind it.
type Program struct {
	Targets []float64 // spindle angles in degrees, in order, unwrapped

	Begin []string // sent once before the first move
	Move  []string // sent for each target; the last must be acknowledged only once the arm stands
	End   []string // sent once after the last station
	Stop  string   // sent as it is when anything is wrong, LineEnd behind it
	// sent after a stop, where that is safe to say: see the package's words. None: nothing is sent
	Retract []string
	// a line by which the controller says that it has stopped; needed for Retract, and none that Done is
	Stopped *regexp.Regexp
	LineEnd string         // "\n" or "\r\n" or "\r"
	Done    *regexp.Regexp // a line that acknowledges a command
	Refused *regexp.Regexp // a line that refuses one, or tells of trouble at any time; nil = none

	FeedDegPerMin float64
	LowDeg        float64 // soft limits
	HighDeg       float64
	Dwell         time.Duration // between the arrival and the first reading that counts
	Settle        time.Duration // how long a station may take to settle after that
	Ack           time.Duration // how long an acknowledgement may take beyond the time of the move
	RetractTime   time.Duration // how long each command of Retract may take
	Open          time.Duration // quiet after the line was opened, for a controller that restarts with it

	Silent     time.Duration // an indicator that says nothing this long is silent
	Indicators []Indicator
}

// FeedMost is the fastest feed that is accepted: an arm on a spindle is swept slowly.
const FeedMost = 1800 // degrees a minute

// Check says what is wrong with a program.
func (p Program) Check() error {
	var bad []error
	say := func(format string, args ...any) { bad = append(bad, fmt.Errorf(format, args...)) }
	if len(p.Targets) < 2 {
		say("%d stations: a program needs two at least", len(p.Targets))
	}
	if !(p.LowDeg < p.HighDeg) {
		say("soft limits from %v to %v degrees: the low one must be below the high one", p.LowDeg, p.HighDeg)
	}
	for _, d := range p.Targets {
		if !(d >= p.LowDeg && d <= p.HighDeg) {
			say("the station at %v degrees lies outside the soft limits, %v to %v", d, p.LowDeg, p.HighDeg)
		}
	}
	if !(p.FeedDegPerMin > 0 && p.FeedDegPerMin <= FeedMost) {
		say("a feed of %v degrees a minute: write one above 0 and up to %v", p.FeedDegPerMin, FeedMost)
	}
	if p.Stop == "" {
		say("no stop command: without one nothing is moved")
	}
	if len(p.Move) == 0 || !strings.Contains(strings.Join(p.Move, "\n"), "{deg") {
		say("no move command with {deg} in it")
	}
	if p.Done == nil {
		say("no acknowledgement is described")
	}
	if len(p.Retract) > 0 && (p.Stopped == nil || p.RetractTime <= 0) {
		say("a retract needs the line by which the controller says that it has stopped, and a time for it")
	}
	if strings.Contains(strings.Join(p.Retract, "\n"), "{deg") {
		say(
			"a retract with {deg} in it: after a stop the arm's place is not known; write commands that do not depend on it")
	}
	for _, t := range slices.Concat([]string{p.Stop}, p.Begin, p.Move, p.End, p.Retract) {
		if _, err := p.fill(t, 0); err != nil {
			bad = append(bad, err)
		}
	}
	for _, i := range p.Indicators {
		if !(i.FrozenDeg >= 0) {
			say("indicator %s: a number that stays for %v degrees: write 0 or more", i.Name, i.FrozenDeg)
		}
	}
	if p.Ack <= 0 || p.Settle <= 0 || p.Silent <= 0 || p.Dwell < 0 || p.Open < 0 {
		say("the times of the program are not all above 0")
	}
	return errors.Join(bad...)
}

var holes = regexp.MustCompile(`\{([^{}]*)\}`)

// fill writes a command for a target.
func (p Program) fill(template string, deg float64) (string, error) {
	var bad error
	out := holes.ReplaceAllStringFunc(template, func(hole string) string {
		name, digits, dotted := strings.Cut(strings.Trim(hole, "{}"), ".")
		values := map[string]float64{"deg": deg, "feed": p.FeedDegPerMin, "dwell_s": p.Dwell.Seconds(),
			"dwell_ms": float64(p.Dwell.Milliseconds())}
		x, ok := values[name]
		places := 3
		if name != "deg" {
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
				"command %q: %s is not known; write {deg}, {feed}, {dwell_s} or {dwell_ms}, with decimals as in {deg.2}", template, hole)
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
	add := func(templates []string, deg float64) {
		for _, t := range templates {
			text, _ := p.fill(t, deg) // checked
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

// moveTime is how long the arm needs for a move at the feed.
func (p Program) moveTime(deg float64) time.Duration {
	return time.Duration(math.Abs(deg) / p.FeedDegPerMin * float64(time.Minute))
}

// turnedIn is by how many degrees the arm turns in a time at the feed.
func (p Program) turnedIn(d time.Duration) float64 { return max(0, d.Minutes()) * p.FeedDegPerMin }

// Duration is about how long the whole takes, settling left out.
func (p Program) Duration() time.Duration {
	d := p.Open
	for i := 1; i < len(p.Targets); i++ {
		d += p.moveTime(p.Targets[i]-p.Targets[i-1]) + p.Dwell
	}
	return d
}
