package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

const byTyping = "[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\ntyped_unit = \"um\"\n"

// typeAt waits until the place of a number is asked for, and types.
func typeAt(t *testing.T, s shop, in io.Writer, place int, text string) {
	t.Helper()
	waitState(t, s, fmt.Sprintf("place %d to be asked for", place), func(snap *api.Snapshot) bool {
		m := snap.Sweep.Measured
		return m != nil && snap.Sweep.Wanted != "" && place < len(m.Places) && m.Places[place].State == "here"
	})
	io.WriteString(in, text+"\n")
}

// Two lines of a plate are read by a plain dial: slopes, twist and straightness come live and into the record, and a
// slip of the pen that was typed again counts neither now nor when the run is fitted again.
func TestATypedTraverseOfTwoLines(t *testing.T) {
	s := newShop(t, byTyping+`
[[traverse]]
name = "left plate"
positions_mm = [0, 100, 200, 300]
lines_mm = [0, 150]
tolerance = "0.1/300"
straightness_mm = 0.05
`)
	s.daemon(t)
	// The dial shows a slope of 0.2 mm/m, 0.1 mm/m more on the second line, and no form.
	height := func(x, line float64) float64 { return 0.3 + 0.2e-3*x + line/150*(0.05+0.1e-3*x) }
	p := programIn(t, "traverse", "--config", s.config, "--json")
	for i := range 8 {
		x, line := float64(i%4)*100, 0.0
		if i >= 4 { // and back on the second line
			x, line = 300-x, 150
		}
		if i == 2 {
			typeAt(t, s, p.in, 2, "5000")
			typeAt(t, s, p.in, 3, "u")
		}
		typeAt(t, s, p.in, i, fmtFloat(math.Round(1000*height(x, line))))
		if i == 3 {
			waitState(t, s, "a live slope", func(snap *api.Snapshot) bool {
				return snap.Sweep.Measured != nil && strings.Contains(snap.Sweep.Measured.Say, "slope +0.200")
			})
		}
	}
	if got := p.wait(); got != exitDone {
		t.Fatalf("exit status %d: %s", got, p.err.String())
	}
	var r struct {
		Run, Readings int
		Kind, Verdict string
		Slope, Twist  struct {
			MMPerM   float64 `json:"mm_per_m"`
			Expanded float64 `json:"U_mm_per_m"`
		}
	}
	for i, text := range []string{p.out.String(), s.refitted(t)} {
		r.Readings = 0
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatalf("%v in %q", err, text)
		}
		if r.Kind != "traverse" || r.Readings != 8 || r.Verdict != "within" || math.Abs(r.Slope.MMPerM-0.25) > 0.005 ||
			math.Abs(r.Twist.MMPerM-0.1) > r.Twist.Expanded {
			t.Errorf("again %v: %+v", i > 0, r)
		}
	}
	if said := p.err.String(); !strings.Contains(said, "on the line at 150 mm") ||
		!strings.Contains(said, "two people") {
		t.Errorf("it said %s", said)
	}
	if status, out, errOut := call(t, "runs", "--config", s.config); status != exitDone ||
		!strings.Contains(out, "left plate") {
		t.Errorf("runs: exit status %d: %s%s", status, out, errOut)
	}
	status, csv, errOut := call(t, "export", "--config", s.config, "1")
	if status != exitDone || strings.Count(csv, "\n") != 9 || strings.Contains(csv, "5.000000") {
		t.Errorf("export: exit status %d, %s%s", status, csv, errOut)
	}
	if err := os.WriteFile(s.dir+"/again.csv", []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errOut := call(t, "fit", "--tolerance", "0.1/300", s.dir+"/again.csv"); status != exitDone {
		t.Errorf("the exported file is fitted with exit status %d: %s", status, errOut)
	}
}

// refitted returns what fitting the shop's first run again prints.
func (s shop) refitted(t *testing.T) string {
	t.Helper()
	status, out, errOut := call(t, "refit", "--config", s.config, "--json", "1")
	if status != exitDone {
		t.Fatalf("refit: exit status %d: %s", status, errOut)
	}
	return out
}

// A shank is turned at two heights and the head moved along it from two sides: the bar's angle, and spindle against
// head travel.
func TestATypedBarAndTravel(t *testing.T) {
	s := newShop(t, byTyping+`
[[bar]]
name = "shank"
heights_mm = [10, 35]
travel_mm = [0, 40, 80]
run_out_mm = 0.02
[clock]
trusted = true
`)
	s.daemon(t)
	p := programIn(t, "bar", "shank", "--config", s.config, "--json")
	for i := range 8 {
		h, th := 10+25*float64(i/4), float64(i%4)*math.Pi/2
		typeAt(t, s, p.in, i, fmtFloat(math.Round(1000*(0.2+(0.01+0.002*(h-10))*math.Cos(th)))))
	}
	// 0.05 mm over 25 mm is 2 mm/m (common practice, no source).
	if got := p.wait(); got != exitOutside {
		t.Fatalf("exit status %d: %s", got, p.err.String())
	}
	var r struct {
		Heights []struct {
			E float64 `json:"eccentricity_mm"`
		}
		BarAngle struct {
			MMPerM float64 `json:"mm_per_m"`
			U      float64 `json:"U_mm_per_m"`
		} `json:"bar_angle"`
		Tilt, Nod *struct {
			MMPerM float64 `json:"mm_per_m"`
			U      float64 `json:"U_mm_per_m"`
		}
		Relation string
	}
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil {
		t.Fatalf("%v in %q", err, p.out.String())
	}
	if len(r.Heights) != 2 || math.Abs(r.Heights[1].E-0.06) > 0.002 || math.Abs(r.BarAngle.MMPerM-2) > r.BarAngle.U {
		t.Errorf("%+v", r)
	}
	p = programIn(t, "travel", "shank", "--config", s.config, "--json")
	tilt, nod, bar := 0.3e-3, -0.2e-3, 0.5e-3 // spindle against travel, and how the bar leans in the spindle
	i := 0
	for _, side := range []float64{0, 90} {
		for k := range 2 {
			turned := side/90 != float64(k)
			lean := map[float64]float64{0: tilt, 90: nod}[side]
			if turned {
				lean -= bar
			} else {
				lean += bar
			}
			for m := range 3 {
				x := 40 * float64(m)
				if k == 1 {
					x = 80 - x
				}
				typeAt(t, s, p.in, i, fmtFloat(math.Round(1000*(0.4-lean*x))))
				i++
			}
		}
	}
	if got := p.wait(); got == exitFailed || got == exitUsage {
		t.Fatalf("exit status %d: %s", got, p.err.String())
	}
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil {
		t.Fatalf("%v in %q", err, p.out.String())
	}
	if r.Relation != "spindle_to_travel" || r.Tilt == nil || r.Nod == nil || math.Abs(r.Tilt.MMPerM-0.3) > r.Tilt.U ||
		math.Abs(r.Nod.MMPerM+0.2) > r.Nod.U {
		t.Errorf("%s: %+v %+v", r.Relation, r.Tilt, r.Nod)
	}
	status, out, errOut := call(t, "stack", "--config", s.config)
	if status == exitFailed || !strings.Contains(out, "spindle_to_travel") {
		t.Errorf("stack: exit status %d: %s%s", status, out, errOut)
	}
}

// What cannot be begun is refused with the names there are.
func TestAMeasurementThatIsNotThere(t *testing.T) {
	s := newShop(
		t,
		byTyping+
			"[[traverse]]\nname = \"left rail\"\npositions_mm = [0, 100]\n[[traverse]]\nname = \"right rail\"\npositions_mm = [0, 100]\n")
	s.daemon(t)
	for _, x := range []struct {
		args []string
		want string
	}{
		{[]string{"traverse"}, "which traverse? There are left rail, right rail"},
		{[]string{"traverse", "rail"},
			`there is no traverse "rail" to be measured so; there are left rail, right rail`},
		{[]string{"bar", "shank"}, "the configuration has no bar to be measured so: add a [[bar]]"},
		{[]string{"travel"}, "the configuration has no bar or square to be measured so"},
	} {
		status, _, errOut := call(t, append(x.args, "--config", s.config)...)
		if status != exitFailed || !strings.Contains(errOut, x.want) {
			t.Errorf("%v: exit status %d: %s", x.args, status, errOut)
		}
	}
}

// A live indicator's readings are taken by themselves once they lie still, on a machine whose sweeps go by an encoder
// that is not even plugged in: a traverse needs its indicator alone.
func TestATraverseIsTakenWhenTheReadingLiesStill(t *testing.T) {
	arm, armName := openPty(t)
	height, stir, stop := make(chan float64, 1), make(chan bool, 1), make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go dial(arm, height, stir, stop)
	s := newShop(t, encoderPorts(armName, "/dev/none-2")+
		"settle_s = 0.4\n[[traverse]]\nname = \"left rail\"\npositions_mm = [0, 100, 200]\n")
	s.daemon(t)
	waitState(t, s, "the indicator live", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	p := program(t, "traverse", "--config", s.config, "--json")
	for i := range 3 {
		waitState(t, s, fmt.Sprintf("place %d to be asked for", i), func(snap *api.Snapshot) bool {
			m := snap.Sweep.Measured
			return m != nil && i < len(m.Places) && m.Places[i].State == "here"
		})
		stir <- true // the indicator is on its way
		time.Sleep(200 * time.Millisecond)
		height <- 0.3 + 0.05*float64(i)
	}
	if got := p.wait(); got != exitOutside {
		t.Fatalf("exit status %d: %s", got, p.err.String())
	}
	var r struct {
		Readings int
		Slope    struct {
			MMPerM float64 `json:"mm_per_m"`
		}
	}
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil || r.Readings != 3 ||
		math.Abs(r.Slope.MMPerM-0.5) > 0.02 {
		t.Errorf("%v, %+v", err, r)
	}
}
