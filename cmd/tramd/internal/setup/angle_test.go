package setup

import (
	"context"
	"slices"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/config"
)

// arm are the answers up to the angle: the machine, the source, and one indicator on the first port.
func arm(source string) []string { return []string{"", "", source, "", "", "", "120", "", "", ""} }

// last are the answers after the angle: hours, database and page. With a program it is asked before whether it
// retracts, and whether checks are taken with nobody there.
var last, lastOfProgram = []string{"", "", ""}, []string{"", "", "", "", ""}

func TestConstantTurningWithoutAPulseNeedsItsSpeed(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench},
		slices.Concat(arm("steady"), []string{"", "-", "fast", "-3", "6,5", "400", "90", "y"}, last)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if a := parsed(t, text).Angle; a.Source != config.SourceSteady || a.Port != "" || a.TurnsPerMin != 6.5 ||
		*a.MarkDeg != 90 || !a.Clockwise {
		t.Errorf("%s", text)
	}
	if !strings.Contains(said, `"fast" is not a number`) || strings.Count(said, "Turns a minute") != 4 ||
		strings.Count(said, "Where the arm points") != 2 ||
		!strings.Contains(said, "an arm is on it") || !strings.Contains(text, "an arm is on it") {
		t.Error(said)
	}
}

func TestConstantTurningWithAPulseNeedsNoSpeed(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench},
		slices.Concat(arm("3"), []string{"1", "2", "9600", "", "", "", ""}, last)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if a := parsed(t, text).Angle; a.Port != bench[1].Name || a.Baud != 9600 || a.TurnsPerMin != 0 || *a.MarkDeg != 0 ||
		a.Clockwise {
		t.Errorf("%s", text)
	}
	if !strings.Contains(said, "the index pulse needs a port of its own") {
		t.Error(said)
	}
}

func TestAMotionControllerInWordsOfISO6983(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench}, slices.Concat(arm("program"),
		[]string{"", "1", "2", "", "", "", "g", "c", "", "feed-hold", "", "", "", "0", "5000", "90", "10", "", "200",
			"", "1", "", ""}, lastOfProgram)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	g := c.Motion()
	if c.Angle.Source != config.SourceProgram || c.Program.Port != bench[1].Name ||
		!slices.Equal(g.Begin, []string{"G90", "G94"}) ||
		!slices.Equal(g.Move, []string{"G1 C{deg} F{feed}", "G4 P{dwell_s}"}) || g.Stop != "feed-hold" ||
		!g.Done.MatchString("ok") || g.Done.MatchString("not ok") ||
		!g.Refused.MatchString("error 3") || g.Feed != 90 || g.Low != 0 || g.High != 360 ||
		!slices.Equal(c.Program.TravelMM, []float64{-1, 1}) ||
		!slices.Equal(g.Targets, []float64{0, 90, 180, 270, 360, 270, 180, 90, 0}) || *c.Program.DwellS != 0.5 ||
		c.Program.LineEnd != "\n" {
		t.Errorf("%s\n%+v", text, g)
	}
	lines, stop, err := g.Lines()
	if err != nil || stop != "feed-hold" || !slices.Contains(lines, "G1 C90.000 F90") ||
		!slices.Contains(lines, "G4 P0.5") {
		t.Errorf("%q, %q, %v", lines, stop, err)
	}
	for _, want := range []string{"missing; write the adapter's stable name", "needs one of its own",
		"letter of an axis", "without it nothing is moved", "0 is taken for not written, which means 180",
		"out of range",
		"0 degrees lies outside the soft limits, 10 to 720", "270 degrees lies outside the soft limits, 0 to 200",
		"write the lowest and the highest reading", "the port is not opened"} {
		if !strings.Contains(strings.ToLower(said), strings.ToLower(want)) {
			t.Errorf("%q was not said:\n%s", want, said)
		}
	}
	for _, caution := range []string{"isolate the spindle's own power", "machine's own stop", "manual",
		"moves a machine"} {
		before, _, asked := strings.Cut(strings.ToLower(said), "port of the motion controller")
		if !asked || !strings.Contains(before, caution) || !strings.Contains(strings.ToLower(text), caution) {
			t.Errorf("%q stands not before the questions, or not in the file", caution)
		}
	}
}

func TestAMotionControllerWithCommandsOfItsOwn(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench},
		slices.Concat(arm("5"), []string{"tcp://192.0.2.7:4001", "", "nl", "crlf", "3", "2",
			"power; {rpm}", "absolute; slow", "", // once, before
			"lamp on", "-", "turn {deg.1}, {feed}", "wait \"{dwell_ms}\"", "-", // each
			"rest\x7f", "", // after
			"halt {rpm}", "halt", "(", "done.*", "-", "0 -90 -180", "", "-180", "", "0 5", "0"}, lastOfProgram)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	g := parsed(t, text).Motion()
	if !slices.Equal(g.Begin, []string{"absolute; slow"}) ||
		!slices.Equal(g.Move, []string{"turn {deg.1}, {feed}", `wait "{dwell_ms}"`}) ||
		!slices.Equal(g.End, []string{"rest\x7f"}) || g.Stop != "halt" || g.LineEnd != "\r\n" || g.Refused != nil ||
		!g.Done.MatchString("done 7") ||
		!slices.Equal(g.Targets, []float64{0, -90, -180, -90, 0}) || g.Low != -180 || g.High != 0 ||
		g.Dwell != 0 {
		t.Errorf("%s\n%+v", text, g)
	}
	for _, want := range []string{"write LF, CR or CRLF", "write 1 or 2", `"power; {rpm}": {rpm} is not known`,
		`"halt {rpm}": {rpm} is not known`, "no move command with {deg} in it; the list begins again",
		"is not a regular expression", "Lowest spindle angle the arm may be moved to, deg [-360]"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q was not said:\n%s", want, said)
		}
	}
}

// Listening opens a port, and opening one may already make a controller start again.
func TestTheMotionControllerIsNotListenedTo(t *testing.T) {
	var heard []string
	o := Options{Ports: bench, Find: func(_ context.Context, port string) (*Found, error) {
		heard = append(heard, port)
		return &Found{Keys: "baud = 9600\n"}, nil
	}}
	_, text, said, err := interview(
		t, o, slices.Concat([]string{"", "", "5", "", "", "y", "120", "", "", "", "2", "", "", "", "", "halt", "", "",
			"", "", "", "", "", ""}, lastOfProgram)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if c := parsed(t, text); !slices.Equal(heard, []string{bench[0].Name}) || c.Program.Port != bench[1].Name ||
		c.Program.Baud != 115200 {
		t.Errorf("listened to %q\n%s", heard, text)
	}
}

// Whatever the stations are, the limits that are proposed hold them, and let the first be taken again a turn on.
func TestTheLimitsThatAreProposed(t *testing.T) {
	for stations, want := range map[string][2]string{
		"0, 90, 180, 270":    {"0", "360"},
		"0, -90, -180, -270": {"-360", "0"},
		"0, 180":             {"0", "180"},
		"-45.5, 45, 135":     {"-45.5", "314.5"},
		"90, 0, 180, 270":    {"0", "450"},
		"270, 180, 90":       {"-90", "270"},
	} {
		if low, high := usualLimits(stations); low != want[0] || high != want[1] {
			t.Errorf("%s: %s to %s, want %v", stations, low, high, want)
		}
	}
}

func TestNumbersThatTheFileCouldNotHold(t *testing.T) {
	for _, s := range []string{"1e300", "-1e15", "9223372036854775808", "Inf", "NaN", "0x", ""} {
		if n, err := number(s); err == nil {
			t.Errorf("%q was taken as %s", s, n)
		}
	}
}
