package main

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/creack/pty"
)

const handTilt, handNod, handRadius = 0.179e-3, -0.25e-3, 140.0

func handHeight(deg float64) float64 {
	th := deg * math.Pi / 180
	return 0.5 + handRadius*(handTilt*math.Cos(th)+handNod*math.Sin(th))
}

// openPty gives both ends; the name is what a port is known by.
func openPty(t *testing.T) (far *os.File, name string) {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { near.Close(); far.Close() })
	return far, near.Name()
}

func checkHand(t *testing.T, sw *process, readings int) {
	t.Helper()
	if got := sw.wait(); got != exitOutside {
		t.Errorf("exit status %d: %s", got, sw.err.String())
	}
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil {
		t.Fatalf("%v in %q", err, sw.out.String())
	}
	if math.Abs(r.Tilt.MMPerM-1e3*handTilt) > 0.006 || math.Abs(r.Nod.MMPerM-1e3*handNod) > 0.006 ||
		r.Readings != readings {
		t.Errorf("result %+v %+v %+v", r, r.Tilt, r.Nod)
	}
}

// A person reads a plain dial and types; there is no port at all.
func TestTypedReadingsOfAPlainDial(t *testing.T) {
	s := newShop(
		t,
		"[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\ntyped_unit = \"um\"\n")
	s.daemon(t)
	sw := programIn(t, "sweep", "--config", s.config, "--json")
	for i, deg := range []float64{0, 90, 180, 270, 0} {
		waitState(t, s, "a reading to be asked for", func(snap *api.Snapshot) bool {
			return snap.Sweep.Wanted == "dial" && snap.Sweep.Stations[i].State == "here"
		})
		um := fmtFloat(math.Round(1000 * handHeight(deg)))
		if i == 2 { // a slip of the pen, noticed
			io.WriteString(sw.in, "5000\nu\nten\n")
		}
		io.WriteString(sw.in, um+"\n")
	}
	checkHand(t, sw.process, 5)
	if said := sw.err.String(); !strings.Contains(said, "ten:") || !strings.Contains(said, "0° (right)") {
		t.Errorf("it said %s", said)
	}
}

// programInput is a program with something to type into.
type programInput struct {
	*process
	in io.WriteCloser
}

func programIn(t *testing.T, args ...string) programInput {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close(); w.Close() })
	return programInput{programWith(t, r, args...), w}
}

// A key in the terminal and a foot switch on a serial port take stations that would not settle by themselves: the
// spindle is nearly true, so that the plunger shows no difference when the arm is turned.
func TestAKeyAndAFootSwitchTakeStations(t *testing.T) {
	t.Parallel()
	arm, armName := openPty(t)
	foot, footName := openPty(t)
	height, stir := make(chan float64, 1), make(chan bool, 1)
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go dial(arm, height, stir, stop)
	s := newShop(t, "[[indicator]]\nname = \"arm\"\nport = \""+armName+
		"\"\nradius_mm = 140.0\n[angle]\nsource = \"stations\"\nsettle_s = 30\ntrigger_port = \""+footName+"\"\n")
	s.daemon(t)
	waitState(t, s, "the indicator live", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	keys, screen, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { keys.Close(); screen.Close() })
	sw := programWith(t, screen, "sweep", "--config", s.config, "--json")
	at := 0.0
	turn := func(h float64) { at = h; height <- h }
	press := func(i int, do func()) {
		waitState(t, s, "the station, and the indicator showing it", func(snap *api.Snapshot) bool {
			shown := snap.Devices[0].ReadingMM
			return len(snap.Sweep.Stations) == 5 && snap.Sweep.Stations[i].State == "here" && shown != nil &&
				math.Abs(*shown-at) < 0.001
		})
		time.Sleep(500 * time.Millisecond) // and nothing else
		do()
	}
	key := func(k string) func() { return func() { io.WriteString(keys, k) } }
	kick := func() { io.WriteString(foot, "x\r\n") }
	turn(handHeight(0))
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Run == 1 })
	time.Sleep(300 * time.Millisecond) // the terminal hands over single keys
	press(0, key(" "))
	turn(handHeight(90) + 0.1)
	press(1, key("\r"))
	press(2, key("r")) // that was wrong
	turn(handHeight(90))
	press(1, kick)
	turn(handHeight(180))
	press(2, kick)
	turn(handHeight(270))
	press(3, key("s")) // a slot there
	turn(handHeight(0))
	press(4, kick)
	checkHand(t, sw, 4)
}
