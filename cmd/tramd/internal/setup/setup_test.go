package setup

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/crypto/bcrypt"

	"tramd/cmd/tramd/internal/config"
	"tramd/device/portlist"
)

var bench = []portlist.Port{
	{Name: "/dev/serial/by-id/usb-Bridge_LN7", Node: "/dev/ttyUSB0", USB: &portlist.USB{Model: "Bridge"}},
	{Name: "/dev/serial/by-id/usb-Encoder_E4", Node: "/dev/ttyACM0", USB: &portlist.USB{Model: "Encoder"},
		OpenBy: []portlist.Process{{PID: 77, Name: "terminal"}}},
}

func interview(t *testing.T, o Options, answers ...string) (name, text, said string, err error) {
	t.Helper()
	var out strings.Builder
	o.Record = func(machine string) string { return "/srv/" + machine + ".db" }
	if o.Machine == "" {
		o.Machine = "linnet"
	}
	answers = append(answers, "", "") // no password, no adjuster
	a := NewPrompter(t.Context(), strings.NewReader(strings.Join(answers, "\n")+"\n"), &out)
	name, text, err = Interview(t.Context(), a, o)
	return name, text, out.String(), err
}

func parsed(t *testing.T, text string) *config.Config {
	t.Helper()
	c, err := config.Parse("x.toml", []byte(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return c
}

func TestTheShortestWayThroughTheQuestions(t *testing.T) {
	name, text, said, err := interview(t, Options{Ports: bench}, "", "", "", "", "", "", "120", "", "", "", "",
		"", "", "")
	if err != nil {
		t.Fatal(err)
	}
	c := parsed(t, text)
	ind := c.Indicators[0]
	if name != "linnet" || c.Machine.Name != "linnet" || c.Machine.Tolerance != "0.02/300" ||
		c.Angle.Source != "stations" || len(c.Angle.StationsDeg) != 4 ||
		ind.Port != bench[0].Name || ind.RadiusMM != 120 || ind.RadiusUMM != 0.5 || ind.ResolutionMM != 0.001 ||
		ind.Baud != 115200 ||
		c.Store.Path != "/srv/linnet.db" || c.HTTP.Listen != "127.0.0.1:9743" {
		t.Errorf("%s", text)
	}
	if !strings.Contains(said, "in use by terminal (pid 77)") {
		t.Errorf("a port in use was not marked:\n%s", said)
	}
}

func TestTwoIndicatorsAndAnEncoderWithSlipsOfThePen(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench},
		"a b", "wren", "0.02", "0.03/300", "9", "encoder",
		"", "7", "1", "fast", "9600", "none", "-5", "120,5", "0,2", "0.001", "maybe", "y",
		"arm", "right", "tcp://192.0.2.7:4001", "", "80", "", "", "180", "n",
		"1", "2", "115200", "1", "3600", "", "", "/srv/wren/\"odd\".db", "9743", "0.0.0.0:9743")
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	if c.Machine.Name != "wren" || len(c.Indicators) != 2 || c.Indicators[0].Baud != 9600 ||
		c.Indicators[0].RadiusMM != 120.5 || c.Indicators[1].Name != "right" ||
		c.Indicators[1].PhaseDeg != 180 || c.Indicators[1].Port != "tcp://192.0.2.7:4001" ||
		c.Angle.Port != bench[1].Name || c.Angle.CountsPerTurn != 3600 ||
		c.Store.Path != `/srv/wren/"odd".db` || c.HTTP.Listen != "0.0.0.0:9743" {
		t.Errorf("%s\n%s", text, said)
	}
	for _, want := range []string{"letters, digits", "there is no port 7", "write a whole number, for example 9600",
		`"none" is not a number`, "out of range", "write y or n",
		"is taken by another", "has the same port", "counts", "is not an address"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q was not said:\n%s", want, said)
		}
	}
}

// The configuration holds the password's hash and the adjusters' geometry; slips of the pen are asked again.
func TestThePasswordAndTheAdjusters(t *testing.T) {
	_, text, said, err := interview(t, Options{Ports: bench}, "", "", "typed", "", "120", "", "", "", "", "", "", "",
		"short", "a long enough word", "another word", "a long enough word", "a long enough word",
		"y", "", "", "0.001", "260", "", "n",
		"y", "swing", "lower shim", "lever", "shim", "150", "middle", "upper", "front",
		"y", "back jack", "screw", "80", "0,8", "back", "y", "n")
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	if bcrypt.CompareHashAndPassword([]byte(c.HTTP.PasswordHash), []byte("a long enough word")) != nil ||
		strings.Contains(text, "a long enough word") {
		t.Errorf("the hash %q\n%s", c.HTTP.PasswordHash, text)
	}
	want := []config.Adjuster{
		{Name: "swing", Kind: "swing", Leans: "right", LeverMM: 260, Unit: "mm"},
		{Name: "lower shim", Kind: "shim", Leans: "front", SpacingMM: 150, Unit: "mm",
			Plus: "pack {} behind the upper bolts", Minus: "pack {} behind the lower bolts"},
		{Name: "back jack", Kind: "screw", Leans: "back", LeverMM: 80, PitchMM: 0.8, Unit: "turn", LoosensHead: true},
	}
	if d := cmp.Diff(want, c.Adjusters); d != "" {
		t.Errorf("adjusters (-want +got):\n%s", d)
	}
	for _, w := range []string{"too short", "the two are not the same", "out of range", "is taken by another adjuster",
		"is not a kind of adjuster", "write lower, upper"} {
		if !strings.Contains(said, w) {
			t.Errorf("%q was not said:\n%s", w, said)
		}
	}
}

func TestAPlainDialNeedsNoPort(t *testing.T) {
	_, text, said, err := interview(t, Options{}, "wren", "-", "typed", "dial", "95", "", "0.01", "", "0 180",
		"", "", "")
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	if c.Angle.Source != config.SourceTyped || c.Indicators[0].Port != "" || c.Machine.Tolerance != "" ||
		len(c.Angle.StationsDeg) != 2 {
		t.Errorf("%s", text)
	}
}

func TestWhatListeningFindsIsTaken(t *testing.T) {
	o := Options{Ports: bench, Find: func(_ context.Context, port string) (*Found, error) {
		if port == bench[1].Name {
			return nil, errors.New("port is in use by pid 77")
		}
		return &Found{Keys: "baud = 4800\nline = \"7E1\"\n", Notes: []string{"the unit was never sent"}}, nil
	}}
	_, text, said, err := interview(t, o, "", "", "", "", "2", "y", "", "120", "", "", "n", "", "", "", "")
	if err != nil || !strings.Contains(said, "pid 77") || parsed(t, text).Indicators[0].Baud != 115200 {
		t.Errorf("%v\n%s\n%s", err, said, text)
	}
	_, text, said, err = interview(t, o, "", "", "", "", "1", "", "120", "", "", "n", "", "", "", "")
	if err != nil || !strings.Contains(said, "the unit was never sent") {
		t.Fatalf("%v\n%s", err, said)
	}
	if ind := parsed(t, text).Indicators[0]; ind.Baud != 4800 || ind.Line != "7E1" {
		t.Errorf("%s", text)
	}
}

func TestChannelsOfOnePortGoToOneIndicatorEach(t *testing.T) {
	heard := 0
	o := Options{Ports: bench, Find: func(context.Context, string) (*Found, error) {
		heard++
		return &Found{Keys: "baud = 9600\n", Channels: []string{"A", "B"}}, nil
	}}
	_, text, said, err := interview(t, o, "", "", "", "", "1", "", "120", "", "", "y", "", "1", "100", "", "", "", "n",
		"", "", "", "")
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	c := parsed(t, text)
	if heard != 1 || len(c.Indicators) != 2 || c.Indicators[0].Channel != "A" || c.Indicators[1].Channel != "B" ||
		c.Indicators[1].Baud != 9600 {
		t.Errorf("listened %d times\n%s", heard, text)
	}
}

func TestAnswersThatEndWriteNothing(t *testing.T) {
	if _, text, _, err := interview(t, Options{Ports: bench}, "wren", ""); !errors.Is(err, errNoAnswer) || text != "" {
		t.Errorf("%v, %q", err, text)
	}
	// A person who gives up at a question is not waited for.
	ctx, stop := context.WithCancel(t.Context())
	in, w := io.Pipe()
	defer w.Close()
	time.AfterFunc(50*time.Millisecond, stop)
	if _, _, err := Interview(ctx, NewPrompter(ctx, in, io.Discard), Options{Machine: "linnet"}); !errors.Is(
		err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

func FuzzAnswersNeverMakeABadConfiguration(f *testing.F) {
	f.Add("\n\n\n\n\n\n120\n\n\n\n\n\n\n")
	f.Add("wren\n-\ntyped\na\"b\n1e9\n95\n\n\nn\n0\n0 180\n/x\n[::1]:1\n")
	f.Add("\n\nprogram\n\n\n\n120\n\n\n\n\n\n\n\n\nM0\n\n\n\n\n\n\n\n\n\n\n")
	f.Add(
		"\n\n5\n\n\n\n120\n\n\n\n2\n\nCR\n2\na\x7f\n-\nmove {deg.2};{feed}\nwait \"{dwell_ms}\"\n-\n-\nhalt\n.*\n-\n0 180\n1e2\n-400\n400\n-2 2\n1\n\n\n")
	f.Add("\n\n\n\n\n\n120\n\n\n\n\n/" + strings.Repeat("x", 120) + "/x.db\n\n\n")
	f.Add(
		"\n\n5\n\n\n\n120\n\n\n\n2\n\n\n\n\nhalt\n\n\n\n\n\n\n\n\ny\nstopped\nG0 Z50\n-\ny\n-\n/run/idle\n\n\n/run/on\n\n\n")
	f.Add(
		"\n\ntyped\n\n120\n\n\n\n\n\n\n\nlong enough\nlong enough\ny\n\nshim\n7\nlower\nback\ny\nx\nscrew\n1\n2\nleft\ny\nn\n")
	f.Add("\n\nsteady\n\n\n\n120\n\n\n\n2\n\n-\n90\ny\n\n\n")
	f.Fuzz(func(t *testing.T, answers string) {
		a := NewPrompter(t.Context(), strings.NewReader(answers), io.Discard)
		_, text, err := Interview(t.Context(), a, Options{Ports: bench, Machine: "linnet", Record: func(string) string {
			return "/srv/x.db"
		}})
		if err == nil {
			_, err = config.Parse("x", []byte(text))
		} else if errors.Is(err, errNoAnswer) {
			err = nil // the only thing that may stop the questions: no answer is found wrong when all are given
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
	})
}

// A port that the kernel writes to is none for an instrument.
func TestAConsoleIsNoPortToChoose(t *testing.T) {
	ports := append([]portlist.Port{{Name: "/dev/ttyAMA0", Node: "/dev/ttyAMA0", Console: true}}, bench...)
	_, text, said, err := interview(t, Options{Ports: ports}, "", "", "", "", "", "", "120", "", "", "", "", "", "", "")
	if err != nil {
		t.Fatal(err)
	}
	if got := parsed(t, text).Indicators[0].Port; got != bench[0].Name {
		t.Errorf("the proposed port is %s", got)
	}
	if strings.Contains(said, "  1  /dev/ttyAMA0") || !strings.Contains(said, "/dev/ttyAMA0 is left out") {
		t.Error(said)
	}
}
