package main

import (
	"bufio"
	"encoding/json"
	"io"
	"math"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// controller is a motion controller that shares no code with tramd: a script in Python on a pty.
type controller struct {
	in    io.WriteCloser
	Paths struct{ Indicator, Controller string }
	heard *shared // what it got, as JSON lines
}

func startController(t *testing.T, args ...string) *controller {
	t.Helper()
	cmd, in, out := startPeer(t, "controller.py", args...)
	c := &controller{in: in, heard: &shared{}}
	lines := bufio.NewReader(out)
	first, err := lines.ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(first, &c.Paths)
	}
	if err != nil {
		t.Fatalf("%v in %q", err, first)
	}
	c.Paths.Indicator, c.Paths.Controller = plugIn(t, c.Paths.Indicator), plugIn(t, c.Paths.Controller)
	done := make(chan struct{})
	go func() { defer close(done); _, _ = io.Copy(c.heard, lines) }() // ends with the script
	t.Cleanup(func() { _ = in.Close(); <-done; _ = cmd.Wait() })
	return c
}

// commands gives what the controller was sent.
func (c *controller) commands(t *testing.T) (out []string) {
	t.Helper()
	for line := range strings.Lines(c.heard.String()) {
		var x struct{ Got string }
		if err := json.Unmarshal([]byte(line), &x); err != nil {
			t.Fatalf("%v in %q", err, line)
		}
		out = append(out, x.Got)
	}
	return out
}

func (c *controller) shop(t *testing.T, more ...string) shop {
	return newShop(t, `[[indicator]]
name = "arm"
port = "`+c.Paths.Indicator+`"
radius_mm = 120.0
[angle]
source = "program"
stations_deg = [0, 90, 180, 270]
settle_s = 0.3
[program]
port = "`+c.Paths.Controller+`"
begin = ["G90", "G94"]
move = ["G1 A{deg} F{feed}", "G4 P{dwell_s}"]
stop = "M0"
done = "ok"
refused = "error.*"
feed_deg_per_min = 1800.0
low_deg = 0.0
high_deg = 360.0
travel_mm = [-1.0, 1.0]
dwell_s = 0.2
ack_s = 1.0
open_s = 0.3
silent_s = 1.5
settle_in_s = 10.0
`+strings.Join(more, ""))
}

func TestAProgramSweepsThereAndBack(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.shop(t)
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	_, want, _ := call(t, "program", "--config", s.config, "--dry-run")
	if n := len(c.commands(t)); n != 0 {
		t.Fatalf("a dry run sent %d commands", n)
	}
	if status, _, errOut := call(t, "sweep", "--config", s.config); status != exitFailed ||
		!strings.Contains(errOut, "tramd program") {
		t.Errorf("started without arming: %d %s", status, errOut)
	}
	p := programIn(t, "program", "--config", s.config, "--json")
	c.isNotMovedByHabit(t, p)
	p = programIn(t, "program", "--config", s.config, "--json")
	io.WriteString(p.in, "linnet\n")
	if got := p.wait(); got != exitOutside {
		t.Fatalf("status %d: %s\nsent %q", got, p.err.String(), c.commands(t))
	}
	var r swept
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil || r.Readings != 9 {
		t.Fatalf("%v %+v", err, r)
	}
	if math.Abs(r.Tilt.MMPerM-0.4) > 0.01 || math.Abs(r.Nod.MMPerM+0.3) > 0.01 {
		t.Errorf("tilt %+v nod %+v", r.Tilt, r.Nod)
	}
	dry, _, _ := strings.Cut(want, "#")
	if got := strings.Join(c.commands(t), "\n") + "\n"; got != dry {
		t.Errorf("sent\n%sthe dry run said\n%s", got, dry)
	}
	if !strings.Contains(p.err.String(), "Isolate the spindle's own power") {
		t.Errorf("no cautions: %s", p.err.String())
	}
}

func TestWhateverGoesWrongStopsTheArm(t *testing.T) {
	for _, tc := range []struct{ fault, want string }{
		{"late", `no acknowledgement of "G4 P0.2" came in its time`},
		{"deaf", `no acknowledgement of "G1 A180.000 F1800"`},
		{"refuse", `refused "G1 A180.000 F1800": "error:9"`},
		{"double", "sooner than the move takes"},
		{"silent", "arm has said nothing for"},
		{"travel", "outside its travel of -1 to 1 mm"},
	} {
		t.Run(tc.fault, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--fault", tc.fault)
			s := c.shop(t)
			s.daemon(t)
			waitState(t, s, "the indicator", func(snap *api.Snapshot) bool {
				return snap.Devices[0].State == "live"
			})
			p := programIn(t, "program", "--config", s.config)
			io.WriteString(p.in, "linnet\n")
			c.failsAfterTwo(t, s, p, tc.want)
		})
	}
}

const retracts = "retract = [\"G91\", \"G0 Z20\"]\nstopped = \"stopped\"\n"

// A reading outside its travel is got away from, once the controller stands; a person's stop moves nothing more.
func TestAfterAStopItIsRetractedWhereThatIsSafe(t *testing.T) {
	for name, x := range map[string]struct {
		fault, speedup, want, after string
	}{
		"a reading outside": {"travel", "2", "; then it was retracted", "M0 G91 G0 Z20"},
		"a person":          {"", "1", "", "M0"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--stands", "--fault", x.fault, "--speedup", x.speedup)
			s := c.shop(t, retracts)
			s.daemon(t)
			waitState(t, s, "the indicator", func(snap *api.Snapshot) bool {
				return snap.Devices[0].State == "live"
			})
			p := programIn(t, "program", "--config", s.config)
			io.WriteString(p.in, "linnet\n")
			if x.fault == "" {
				waitState(t, s, "the first station", func(snap *api.Snapshot) bool {
					return snap.Sweep.Readings == 1
				})
				if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
					t.Fatal(err)
				}
			}
			if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), x.want) ||
				!strings.Contains(p.err.String(), "to retract (G91; G0 Z20)") {
				t.Errorf("status %d, it said %s", got, p.err.String())
			}
			time.Sleep(2 * time.Second) // as long as it would wait for the word, and more
			got := strings.Join(c.commands(t), " ")
			if at := strings.Index(got, "M0"); at < 0 || got[at:] != x.after {
				t.Errorf("sent %q", got)
			}
			_, out, _ := call(t, "show", "1", "--config", s.config)
			if x.want != "" && !strings.Contains(out, "then it was retracted") {
				t.Errorf("stored: %s", out)
			}
		})
	}
}

// isNotMovedByHabit answers the question before a motion with "yes", which is not what it asks for.
func (c *controller) isNotMovedByHabit(t *testing.T, p programInput) {
	t.Helper()
	io.WriteString(p.in, "yes\n")
	if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), "nothing is moved") ||
		len(c.commands(t)) != 0 {
		t.Fatalf("status %d, %s, sent %q", got, p.err.String(), c.commands(t))
	}
}

// failsAfterTwo checks that a motion ends with the stop command for the reason that is wanted, and that its run is
// stored with the two readings before.
func (c *controller) failsAfterTwo(t *testing.T, s shop, p programInput, want string) {
	t.Helper()
	if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), want) {
		t.Errorf("status %d, it said %s", got, p.err.String())
	}
	c.endsWithStop(t)
	if _, out, _ := call(t, "show", "1", "--config", s.config); !strings.Contains(out, "failed") ||
		!strings.Contains(out, "2 readings") {
		t.Errorf("stored: %s", out)
	}
}

// diesUnder unplugs the controller in a motion, and checks that the person is sent to the machine's own stop.
func (c *controller) diesUnder(t *testing.T, p programInput) {
	t.Helper()
	pullOut(c.Paths.Controller)
	io.WriteString(c.in, "unplug\n")
	if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), "use the machine's own stop") {
		t.Errorf("status %d, it said %s", got, p.err.String())
	}
}

// endsWithStop checks that the stop command came, and nothing after it.
func (c *controller) endsWithStop(t *testing.T) {
	t.Helper()
	for range 3000 {
		if strings.Contains(c.heard.String(), `"M0"`) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	time.Sleep(300 * time.Millisecond)
	got := c.commands(t)
	if n := len(got); n == 0 || got[n-1] != "M0" || strings.Count(strings.Join(got, " "), "M0") != 1 {
		t.Errorf("sent %q, want one M0 at the end", got)
	}
}

func TestAStopThatIsAskedForAndAnEndOfTheDaemonStopTheArm(t *testing.T) {
	for name, do := range map[string]func(t *testing.T, d, p *process){
		"Ctrl-C": func(t *testing.T, _, p *process) {
			if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
		},
		"the daemon ends": func(t *testing.T, d, _ *process) {
			if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--speedup", "1")
			s := c.shop(t)
			d := s.daemon(t)
			waitState(t, s, "the indicator", func(snap *api.Snapshot) bool {
				return snap.Devices[0].State == "live"
			})
			p := programIn(t, "program", "--config", s.config)
			io.WriteString(p.in, "linnet\n")
			waitState(t, s, "the first station", func(snap *api.Snapshot) bool { return snap.Sweep.Readings == 1 })
			do(t, d, p.process)
			if got := p.wait(); got != exitFailed {
				t.Errorf("status %d, it said %s", got, p.err.String())
			}
			c.endsWithStop(t)
		})
	}
}

func TestCtrlCOnTheWayBackSaysThatTheArmDidNotArrive(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.shop(t, "end = [\"G1 A300 F900\", \"G4 P60\"]\n") // long enough to be seen on a busy computer
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	p := programIn(t, "program", "--config", s.config)
	io.WriteString(p.in, "linnet\n")
	waitState(t, s, "the way back", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseReturning })
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	const why = "the way back was not finished"
	if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), why) ||
		!strings.Contains(p.out.String(), "tilt   +0.4") {
		t.Errorf("status %d, it said %s and %s", got, p.out.String(), p.err.String())
	}
	c.endsWithStop(t)
}

func TestAControllerUnpluggedInTheMiddleIsSaidToBeOutOfReach(t *testing.T) {
	t.Parallel()
	c := startController(t, "--speedup", "1")
	s := c.shop(t)
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	p := programIn(t, "program", "--config", s.config)
	io.WriteString(p.in, "linnet\n")
	waitState(t, s, "the first station", func(snap *api.Snapshot) bool { return snap.Sweep.Readings == 1 })
	c.diesUnder(t, p)
	// Nothing moves once it is back: the arming was for one start.
	if status, _, errOut := call(t, "program", "--config", s.config); status != exitFailed ||
		!strings.Contains(errOut, "nothing is moved") {
		t.Errorf("status %d: %s", status, errOut)
	}
}

func TestPlannedMotionNeedsAnArmingOfItsOwn(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.shop(t)
	s.daemon(t)
	p := programIn(t, "arm", "--config", s.config, "--hours", "2")
	io.WriteString(p.in, "linnet\n")
	if got := p.wait(); got != exitDone || !strings.Contains(p.out.String(), "Planned checks may move linnet until") {
		t.Errorf("status %d: %s %s", got, p.out.String(), p.err.String())
	}
	waitState(t, s, "the arming", func(snap *api.Snapshot) bool { return snap.Angle.ArmedUntil != nil })
	if status, out, errOut := call(t, "disarm", "--config", s.config, "--json"); status != exitDone ||
		out != `{"machine":"linnet","armed":false}`+"\n" {
		t.Errorf("%d %s", status, errOut)
	}
	waitState(t, s, "no arming", func(snap *api.Snapshot) bool { return snap.Angle.ArmedUntil == nil })
	if n := len(c.commands(t)); n != 0 {
		t.Errorf("%d commands were sent", n)
	}
}
