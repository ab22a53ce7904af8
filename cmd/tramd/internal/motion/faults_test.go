package motion

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/interlock"
)

// fault is one thing that goes wrong on the floor.
type fault struct {
	name   string
	do     func(f *floor)
	within time.Duration // the stop command must be out so long after it shows; 0: soonAfter
	shows  time.Duration // it shows so long after it was done
	says   string        // in the reason
	moves  int           // commands that may go out meanwhile: what nobody can know yet
	lost   bool          // the stop command cannot get through: the end says so

	notIn       []Stage // stages in which it is nothing, or shows as nothing
	notAtStart  bool    // nor while the controller is made ready
	notRetract  bool    // nor in a retract: readings are what it gets away from
	outOfReach  bool    // it shows at the next command only, if one is due at all
	planned     bool    // of a planned check
	runsOut     bool    // its arming runs out at the moment
	whileMoving bool    // only an arm on its way between stations shows it
}

// soonAfter is how soon the stop command must be out after something shows.
const soonAfter = 100 * time.Millisecond

// untilDue is as long as a program may wait for what its controller owes: the rest at a station, and then the longest
// command.
const untilDue = 11 * time.Second

func faults() []fault {
	set := func(do func(f *floor)) func(*floor) { return func(f *floor) { f.locked(func() { do(f) }) } }
	reads := func(i int, mm float64) func(*floor) { return set(func(f *floor) { f.readings[i].add = mm }) }
	return []fault{
		{name: "a person stops it", do: func(f *floor) { f.r.Stop("given up") }, says: "given up"},
		{name: "the button is let go", do: func(f *floor) { f.lock.LetGo(f.key) }, says: "was let go"},
		{name: "no sign of life any more", do: set(func(f *floor) { f.held = false }), within: interlock.HoldFor +
			soonAfter, says: "no sign came", moves: 5},
		{name: "disarmed", do: func(f *floor) { f.lock.Disarm() }, says: "disarmed"},
		{name: "a planned check is disarmed", do: func(f *floor) { f.lock.Disarm() }, says: "disarmed", planned: true},
		{name: "the arming of planned checks runs out", do: func(*floor) {}, says: "ran out", planned: true,
			runsOut: true},
		{name: "somebody starts the machine", do: set(func(f *floor) { f.input = "input spindle is on" }),
			says: "input spindle is on"},
		{name: "the input line is unknown", do: set(func(f *floor) { f.input = "input spindle is unknown" }),
			says: "is unknown"},
		{name: "the daemon ends", do: func(f *floor) { f.stop() }, says: "called off"},

		{name: "a reading below its travel", do: reads(0, -2), shows: 30 * time.Millisecond, says: "outside its travel",
			notRetract: true},
		{name: "a reading above its travel", do: reads(1, 2), shows: 30 * time.Millisecond, says: "far reads",
			notRetract: true},
		{name: "a reading outside, for a moment", do: func(f *floor) { f.r.Reading(0, 1.5); f.r.Reading(0, 0.2) },
			says: "arm reads 1.500 mm", notRetract: true},
		{name: "a reading that is no number", do: func(f *floor) { f.r.Reading(0, math.NaN()) }, says: "arm reads NaN",
			notRetract: true},
		{name: "the indicator falls silent", do: set(func(f *floor) { f.readings[0].silent = true }),
			within: 500*time.Millisecond + soonAfter, says: "arm has said nothing", moves: 3, notRetract: true},
		{name: "the other indicator falls silent", do: set(func(f *floor) { f.readings[1].silent = true }),
			within: 500*time.Millisecond + soonAfter, says: "far has said nothing", moves: 3, notRetract: true},
		{name: "both fall silent", do: set(func(f *floor) { f.readings[0].silent, f.readings[1].silent = true, true }),
			within: 500*time.Millisecond + soonAfter, says: "has said nothing", moves: 3, notRetract: true},
		{name: "an indicator repeats one number", do: set(func(f *floor) { f.readings[0].frozen = true }),
			within: 6 * time.Second, says: "without a change", moves: 5, notRetract: true, whileMoving: true},
		{name: "the other repeats one number", do: set(func(f *floor) { f.readings[1].frozen = true }),
			within: 6 * time.Second, says: "far has read", moves: 5, notRetract: true, whileMoving: true},

		{name: "the controller reports trouble", do: func(f *floor) { f.say("error: limit") }, says: "error: limit",
			notAtStart: true},
		{name: "the controller starts again", do: func(f *floor) { f.say("ready 2.1") }, says: "ready 2.1",
			notAtStart: true},
		{name: "an acknowledgement too many", do: func(f *floor) { f.say("ok") }, within: 4 * time.Second, says: "",
			notAtStart: true, notIn: []Stage{Returning}, notRetract: true},
		{name: "acknowledgements come twice", do: set(func(f *floor) { f.twice = true }), within: untilDue, says: "",
			moves: 3, notIn: []Stage{Returning}, notRetract: true},
		{name: "acknowledgements stay away", do: set(func(f *floor) { f.mute = true }), within: untilDue,
			says: "no acknowledgement", moves: 1},
		{name: "an acknowledgement is damaged", do: set(func(f *floor) { f.spoilt = 1 }), within: untilDue,
			says: "no acknowledgement", moves: 1},
		{name: "the controller is deaf", do: set(func(f *floor) { f.deaf = true }), within: untilDue,
			says: "no acknowledgement", moves: 1},
		{name: "the line is half closed", do: func(f *floor) { close(f.eof) },
			says: "the stop command was sent, but nothing more can be heard"},
		{name: "the line breaks", do: func(f *floor) { f.locked(func() { f.writing = errGone }); close(f.eof) },
			says: "could not be sent", lost: true},
		{name: "the line breaks towards the controller", do: set(func(f *floor) { f.writing = errGone }),
			within: untilDue, says: "could not be sent", lost: true, outOfReach: true},
		{name: "the line takes nothing any more", do: set(func(f *floor) { f.hangs = true }), within: untilDue,
			says: "could not be sent", lost: true, outOfReach: true},

		{name: "the program stands still for 6 s", do: set(func(f *floor) { f.frozen = 6 * time.Second }),
			shows: 6*time.Second + 20*time.Millisecond, says: "stood still for 6"},
		{name: "the program stands still for 0.7 s", do: set(func(f *floor) { f.frozen = 700 * time.Millisecond }),
			shows: 720 * time.Millisecond, says: "stood still for 0.7"},
		{name: "the computer sleeps for 6 s", do: set(func(f *floor) { f.skew += 6 * time.Second }),
			says: "stood still for 6"},

		{name: "a person stops it while the controller babbles", do: func(f *floor) {
			for range 1000 {
				f.say("position 12.345")
			}
			f.r.Stop("given up")
		}, says: "given up"},
		{name: "a person stops it while the owner is busy", do: func(f *floor) {
			f.owner <- struct{}{}
			time.AfterFunc(5*time.Second, func() { <-f.owner })
			f.r.Stop("given up")
		}, says: "given up"},
	}
}

// stages are the spans of an undisturbed program, in order.
func stages(f *floor) (names []string, at map[string][][2]time.Duration) {
	at = map[string][][2]time.Duration{}
	for i, s := range f.stage {
		end := f.ends[0].at
		if i+1 < len(f.stage) {
			end = f.stage[i+1].at
		}
		name := "at a station"
		switch {
		case s.stage == Returning:
			name = "on its way back"
		case strings.Contains(s.text, "made ready"):
			name = "being made ready"
		case strings.Contains(s.text, "A motor moves to"):
			name = "on its way"
		}
		if at[name] == nil {
			names = append(names, name)
		}
		at[name] = append(at[name], [2]time.Duration{s.at, end})
	}
	return names, at
}

// After each of these faults, at random moments of every phase, nothing moves, and the stop command is out in its time.
func TestNothingMovesAfterAnyFault(t *testing.T) {
	clean := play(t, 0, nil)
	names, spans := stages(clean)
	if want := []string{"being made ready", "on its way", "at a station", "on its way back"}; !slices.Equal(
		names, want) {
		t.Fatalf("phases %q, want %q", names, want)
	}
	all := faults()
	if len(all) < 30 {
		t.Fatalf("%d faults", len(all))
	}
	for i, x := range all {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(13, uint64(i)))
			tried := 0
			for _, phase := range names {
				stage := map[string]Stage{"on its way back": Returning}[phase]
				if x.notAtStart && phase == "being made ready" || slices.Contains(x.notIn, stage) || x.whileMoving &&
					stage == Returning {
					continue
				}
				for range 10 {
					span := spans[phase][rng.IntN(len(spans[phase]))]
					x.tryAt(t, phase, span[0]+time.Duration(rng.Int64N(int64(span[1]-span[0]))))
					tried++
				}
			}
			if !x.notRetract {
				for range 10 {
					x.tryInRetract(t, time.Duration(rng.Int64N(int64(1900*time.Millisecond))))
					tried++
				}
			}
			if tried < 20 {
				t.Errorf("tried at %d moments only", tried)
			}
		})
	}
}

func (x fault) tryAt(t *testing.T, phase string, at time.Duration) {
	t.Helper()
	planned := time.Duration(0)
	switch {
	case x.runsOut:
		planned = at
	case x.planned:
		planned = time.Hour
	}
	f := play(t, planned, map[time.Duration]func(*floor){at: x.do})
	if why := x.judge(f, at); why != "" {
		t.Errorf("%s, at %v: %s\n%s", phase, at, why, f.story())
	}
}

// tryInRetract has the fault come so long after the stop command that a reading outside brought.
func (x fault) tryInRetract(t *testing.T, after time.Duration) {
	t.Helper()
	const outside = 1500 * time.Millisecond
	at := outside + 80*time.Millisecond + after // the controller has said that it stands
	planned := time.Duration(0)
	switch {
	case x.runsOut:
		planned = at
	case x.planned:
		planned = time.Hour
	}
	f := play(t, planned, map[time.Duration]func(*floor){outside: func(f *floor) { f.r.Reading(0, 5) }, at: x.do})
	first := slices.IndexFunc(f.got, func(s sent) bool { return s.text == "M0" })
	if first < 0 || f.got[first].at > outside+soonAfter {
		t.Fatalf("the first stop did not come:\n%s", f.story())
	}
	f.before, f.got = f.got[:first+1], f.got[first+1:]
	if why := x.judge(f, at); why != "" {
		t.Errorf("in the retract, at %v: %s\n%s", at, why, f.story())
	}
}

// judge holds what was sent against what may be, and says what is wrong.
func (x fault) judge(f *floor, at time.Duration) string {
	shows := at + x.shows
	within := max(x.within, soonAfter)
	if len(f.ends) != 1 {
		return fmt.Sprintf("ended %d times", len(f.ends))
	}
	end := f.ends[0]
	stop := slices.IndexFunc(f.got, func(s sent) bool { return s.text == "M0" })
	known := at + min(x.shows, 30*time.Millisecond) // the next reading, or the next look at the clock
	moves := 0
	for i, s := range f.got {
		if s.at > known && s.text != "M0" && (stop < 0 || i < stop) {
			moves++
		}
	}
	// Commands between the fault and the stop; what follows a stop is the retract, whole or not at all.
	if moves > x.moves {
		return fmt.Sprintf("%d commands went out after it, at most %d may", moves, x.moves)
	}
	if stop >= 0 {
		if after := f.got[stop+1:]; len(after) > 0 &&
			!(after[0].text == "G91" && strings.HasSuffix(end.why, "; then it was retracted")) {
			return fmt.Sprintf("%q went out after the stop", after[0].text)
		}
	}
	switch {
	case end.why == "" || stop < 0 && strings.HasSuffix(end.why, "; then it was retracted"):
		if x.outOfReach || end.at < shows+within {
			return "" // the arm stood before it could show
		}
		return "it ended as if nothing were wrong"
	case x.lost:
		if end.at > shows+within || !strings.HasSuffix(end.why, "use the machine's own stop") {
			return fmt.Sprintf("ended %v after it with %q", end.at-shows, end.why)
		}
	case stop < 0:
		return "no stop command went out"
	case f.got[stop].at > shows+within:
		return fmt.Sprintf("the stop command went out %v after it showed, at most %v may pass",
			f.got[stop].at-shows, within)
	}
	if !strings.Contains(end.why, x.says) {
		return fmt.Sprintf("it says %q, and not %q", end.why, x.says)
	}
	return ""
}

func (f *floor) story() string {
	var b strings.Builder
	for _, s := range append(f.before, f.got...) {
		fmt.Fprintf(&b, "  %v %s\n", s.at, s.text)
	}
	for _, e := range f.ends {
		fmt.Fprintf(&b, "  %v ended: %s\n", e.at, e.why)
	}
	return b.String()
}
