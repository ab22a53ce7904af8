package main

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"strings"
	"syscall"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// railShop is a shop whose carriage the controller moves along a rail, while a hand turns its spindle.
func (c *controller) railShop(t *testing.T, more ...string) shop {
	s := newShop(t, `[[indicator]]
name = "lever"
port = "`+c.Paths.Indicator+`"
radius_mm = 120.0
[angle]
source = "stations"
stations_deg = [0, 90, 180, 270]
settle_s = 0.3
[[traverse]]
name = "left rail"
positions_mm = [0, 20, 40, 60]
tolerance = "0.2/300"
by_hand = false
[[traverse]]
name = "right rail"
positions_mm = [0, 20, 40, 60]
by_hand = false
[[traverse]]
name = "plate"
positions_mm = [0, 50]
[position]
source = "program"
[position.program]
port = "`+c.Paths.Controller+`"
begin = ["G90", "G94"]
move = ["G1 X{mm} F{feed}", "G4 P{dwell_s}"]
stop = "M0"
done = "ok"
refused = "error.*"
feed_mm_per_min = 1200.0
low_mm = 0.0
high_mm = 60.0
travel_mm = [-1.0, 1.0]
dwell_s = 0.2
ack_s = 1.0
open_s = 0.3
silent_s = 1.5
settle_in_s = 10.0
`+strings.Join(more, ""))
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	return s
}

// stepNow begins to step along the left rail.
func stepNow(t *testing.T, s shop) programInput {
	t.Helper()
	p := programIn(t, "traverse", "left rail", "--config", s.config, "--json")
	io.WriteString(p.in, "linnet\n")
	return p
}

func firstPlace(snap *api.Snapshot) bool {
	return snap.Sweep.Measured != nil && snap.Sweep.Measured.Moves && snap.Sweep.Readings == 1
}

func TestAMotorStepsTheCarriageAlongATraverse(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.railShop(t)
	_, want, said := call(t, "traverse", "left rail", "--config", s.config, "--dry-run")
	if !strings.Contains(said, "moved by a motor") || len(c.commands(t)) != 0 {
		t.Fatalf("a dry run sent %q and said %s", c.commands(t), said)
	}
	if status, _, errOut := call(t, "traverse", "plate", "--config", s.config, "--dry-run"); status != exitFailed ||
		!strings.Contains(errOut, "a person goes to the places of plate") {
		t.Errorf("a dry run by hand: %d %s", status, errOut)
	}
	// What would be a start of any other measurement moves nothing.
	if _, err := s.client(t).StartMeasurement(t.Context(), sweep.KindTraverse, "left rail", "check", false,
		nil); err == nil ||
		!strings.Contains(err.Error(), "a motor moves the axis along left rail") {
		t.Errorf("started without arming: %v", err)
	}
	p := programIn(t, "traverse", "left rail", "--config", s.config)
	c.isNotMovedByHabit(t, p)
	p = stepNow(t, s)
	if got := p.wait(); got != exitDone {
		t.Fatalf("status %d: %s\nsent %q", got, p.err.String(), c.commands(t))
	}
	var r struct {
		Readings int
		Kind     string
		Slope    struct {
			MMPerM float64 `json:"mm_per_m"`
		}
	}
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil || r.Readings != 4 || r.Kind != "traverse" ||
		math.Abs(r.Slope.MMPerM-0.4) > 0.02 {
		t.Errorf("%v %+v", err, r)
	}
	dry, _, _ := strings.Cut(want, "#")
	if got := strings.Join(c.commands(t), "\n") + "\n"; got != dry || !strings.Contains(dry, "G1 X60.000 F1200") {
		t.Errorf("sent\n%sthe dry run said\n%s", got, dry)
	}
}

// A key starts what was armed and nothing else, once.
func TestAKeyMovesOnlyWhatWasArmed(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.railShop(t)
	cl := s.client(t)
	armed, err := cl.ArmSteps(t.Context(), "traverse", "left rail")
	if err != nil || len(armed.Commands) != 10 || len(armed.Cautions) < 4 {
		t.Fatalf("%+v %v", armed, err)
	}
	if _, err := cl.StartSteps(t.Context(), armed.Key, "traverse", "right rail", "check", nil); err == nil ||
		!strings.Contains(err.Error(), "this key was armed for the axis along left rail") {
		t.Errorf("another rail: %v", err)
	}
	if _, err := cl.StartMotion(t.Context(), armed.Key, "check", nil); err == nil {
		t.Error("the key of a rail moved the arm")
	}
	if _, err := cl.ArmMotion(t.Context(), 0); err == nil {
		t.Error("an arm was armed that a hand turns")
	}
	if _, err := cl.ArmSteps(t.Context(), "traverse", "plate"); err == nil ||
		!strings.Contains(err.Error(), "no motor moves") {
		t.Errorf("a traverse by hand: %v", err)
	}
	if err := cl.DisarmMotion(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := cl.StartSteps(t.Context(), armed.Key, "traverse", "left rail", "check", nil); err == nil ||
		!strings.Contains(err.Error(), "disarmed") {
		t.Errorf("disarmed: %v", err)
	}
	if got := c.commands(t); len(got) != 0 {
		t.Errorf("sent %q", got)
	}
}

func TestWhateverGoesWrongStopsTheCarriage(t *testing.T) {
	for _, tc := range []struct{ fault, want string }{
		{"late", `no acknowledgement of "G4 P0.2" came in its time`},
		{"deaf", `no acknowledgement of "G1 X40.000 F1200"`},
		{"refuse", `refused "G1 X40.000 F1200": "error:9"`},
		{"double", "sooner than the move takes"},
		{"silent", "lever has said nothing for"},
		{"travel", "outside its travel of -1 to 1 mm"},
	} {
		t.Run(tc.fault, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--fault", tc.fault)
			s := c.railShop(t)
			p := stepNow(t, s)
			c.failsAfterTwo(t, s, p, tc.want)
		})
	}
}

func TestNoHandOnItStopsTheCarriage(t *testing.T) {
	for name, x := range map[string]struct {
		do   func(t *testing.T, s shop, p *process) error
		want string
	}{
		"Ctrl-C": {func(_ *testing.T, _ shop, p *process) error { return p.cmd.Process.Signal(os.Interrupt) },
			"abandoned"},
		"the terminal is killed": {func(_ *testing.T, _ shop, p *process) error {
			return p.cmd.Process.Kill()
		}, "is gone, so it is not watched there"},
		"the terminal hangs": {func(_ *testing.T, _ shop, p *process) error {
			return p.cmd.Process.Signal(syscall.SIGSTOP)
		}, "so it is not watched there"},
		"disarmed": {func(t *testing.T, s shop, _ *process) error {
			return s.client(t).DisarmMotion(t.Context())
		}, "disarmed"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--speedup", "1")
			s := c.railShop(t)
			p := stepNow(t, s)
			waitState(t, s, "the first place", firstPlace)
			if err := x.do(t, s, p.process); err != nil {
				t.Fatal(err)
			}
			c.endsWithStop(t)
			waitState(t, s, "the end", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseIdle })
			if _, out, _ := call(t, "show", "1", "--config", s.config); !strings.Contains(out, x.want) {
				t.Errorf("stored: %s", out)
			}
			_ = p.cmd.Process.Signal(syscall.SIGCONT) // it may be gone
			_ = p.cmd.Process.Kill()
		})
	}
}

func TestACarriageWhoseControllerDiesIsSaidToBeOutOfReach(t *testing.T) {
	t.Parallel()
	c := startController(t, "--speedup", "1")
	s := c.railShop(t)
	p := stepNow(t, s)
	waitState(t, s, "the first place", firstPlace)
	c.diesUnder(t, p)
	if _, err := s.client(t).ArmSteps(t.Context(), "traverse", "left rail"); err != nil {
		t.Errorf("a new arming: %v", err) // it moves nothing by itself
	}
	if n := len(c.commands(t)); n > 6 {
		t.Errorf("sent %q", c.commands(t))
	}
}
