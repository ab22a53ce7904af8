package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// rail is a carriage on a rail with an indicator and a linear scale: a script that shares no code with tramd.
type rail struct {
	in    io.WriteCloser
	lines *bufio.Scanner
	Paths struct{ Indicator, Scale string }
}

func startRail(t *testing.T, args ...string) *rail {
	t.Helper()
	cmd, in, out := startPeer(t, "rail.py", args...)
	t.Cleanup(func() { _ = in.Close(); _ = cmd.Wait() })
	m := &rail{in: in, lines: bufio.NewScanner(out)}
	if !m.lines.Scan() {
		t.Fatal("the rail said nothing")
	}
	if err := json.Unmarshal(m.lines.Bytes(), &m.Paths); err != nil {
		t.Fatalf("%v in %q", err, m.lines.Text())
	}
	m.Paths.Indicator, m.Paths.Scale = plugIn(t, m.Paths.Indicator), plugIn(t, m.Paths.Scale)
	return m
}

func (m *rail) say(t *testing.T, text string) {
	t.Helper()
	if _, err := io.WriteString(m.in, text+"\n"); err != nil {
		t.Fatal(err)
	}
}

// ports is the configuration of the rail's instruments.
func (m *rail) ports(more string) string {
	return fmt.Sprintf(
		"[[indicator]]\nname = \"dial\"\nport = %q\nradius_mm = 120.0\n[angle]\nsource = \"stations\"\n[position]\nport = %q\ncounts_per_mm = 200\n%s",
		m.Paths.Indicator, m.Paths.Scale, more)
}

// waitLeg waits until a line of the traverse in hand is the present one, and taking means so much.
func waitLeg(t *testing.T, s shop, leg int, act string) (say string) {
	t.Helper()
	waitState(t, s, fmt.Sprintf("line %d, %s", leg, act), func(snap *api.Snapshot) bool {
		m := snap.Sweep.Measured
		say = snap.Sweep.Say
		return m != nil && leg < len(m.Places) && m.Places[leg].State == "here" && m.Act == act
	})
	return say
}

// A carriage is wound along two lines of a plate while a linear scale says where it stands. The result comes live, with
// a curve that grows; a count that starts over costs the line in hand and no more; the record holds each reading with
// its position.
func TestATraverseByALinearScale(t *testing.T) {
	t.Parallel()
	m := startRail(t, "--slope", "0.3", "--twist", "1.0", "--bend", "0.02")
	s := newShop(t, m.ports(`
[[traverse]]
name = "plate"
positions_mm = [0, 100, 200, 300]
lines_mm = [0, 160]
tolerance = "0.3/300"
straightness_mm = 0.1
`))
	s.daemon(t)
	waitState(t, s, "both instruments live", func(snap *api.Snapshot) bool {
		return snap.Devices[0].State == "live" && snap.Devices[1].State == "live"
	})
	p := programIn(t, "traverse", "--config", s.config, "--json")
	press := func() { io.WriteString(p.in, "\n") }
	waitLeg(t, s, 0, "begin")
	press()
	waitLeg(t, s, 0, "end")
	m.say(t, "go 300 3")
	waitState(t, s, "a live slope and a curve", func(snap *api.Snapshot) bool {
		x := snap.Sweep.Measured
		return x != nil && strings.Contains(x.Say, "slope +0.") && len(x.Curve) > 20
	})
	if say := waitLeg(t, s, 1, "begin"); !strings.Contains(say, "line at 160 mm") ||
		!strings.Contains(say, "300.00 mm") {
		t.Errorf("between the lines it says %q", say)
	}
	m.say(t, "line 160")
	press()
	waitLeg(t, s, 1, "end")
	m.say(t, "restart")
	if say := waitLeg(t, s, 1, "begin"); !strings.Contains(say, "jumped") {
		t.Errorf("after the count started over it says %q", say)
	}
	// The scale has to speak before it can be set; until it has, a press is refused.
	for refused := 0; ; {
		press()
		waitState(t, s, "the line begun again, or a refusal", func(snap *api.Snapshot) bool {
			m := snap.Sweep.Measured
			return m != nil && m.Act == "end" ||
				strings.Count(p.err.String(), "the scale has said nothing yet") > refused
		})
		now := strings.Count(p.err.String(), "the scale has said nothing yet")
		if now == refused {
			break
		}
		refused = now
	}
	waitLeg(t, s, 1, "end")
	m.say(t, "go 0 3")
	if got := p.wait(); got != exitDone {
		t.Fatalf("exit status %d: %s", got, p.err.String())
	}
	type estimate struct {
		MMPerM   float64 `json:"mm_per_m"`
		Expanded float64 `json:"U_mm_per_m"`
	}
	var r struct {
		Run, Readings, Rejected int
		Slope, Twist            estimate
		Lines                   []struct{ Slope estimate }
		Straightness            struct {
			Zone float64 `json:"minimum_zone_mm"`
			U    float64 `json:"U_mm"`
		}
	}
	for i, text := range []string{p.out.String(), s.refitted(t)} {
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatalf("%v in %q", err, text)
		}
		// 0.3 mm/m, and 0.16 m across at 1 mm/m for each metre; a bend of 0.02 mm is a zone of 0.02 mm. A busy computer
		// stamps the lines late, by some millimetres of the way; that an interval holds the truth is tested of the
		// model.
		const late, lateMM = 0.03, 0.004
		if math.Abs(r.Twist.MMPerM-0.16) > r.Twist.Expanded+late ||
			math.Abs(r.Lines[0].Slope.MMPerM-0.3) > r.Lines[0].Slope.Expanded+late ||
			math.Abs(r.Lines[1].Slope.MMPerM-0.46) > r.Lines[1].Slope.Expanded+late ||
			math.Abs(r.Straightness.Zone-0.02) > r.Straightness.U+lateMM {
			t.Errorf("again %v: %+v", i > 0, r)
		}
	}
	if said := p.err.String(); !strings.Contains(said, "Enter or space") {
		t.Errorf("it said %s", said)
	}
	_, csv, _ := call(t, "export", "--config", s.config, "1")
	if rows := strings.Count(csv, "\n") - 1; rows != r.Readings+r.Rejected ||
		!strings.HasPrefix(csv, "t_s,position_mm,line_mm,reading_mm") {
		t.Errorf("%d rows exported of %d readings and %d left out: %.100s", rows, r.Readings, r.Rejected, csv)
	}
}
