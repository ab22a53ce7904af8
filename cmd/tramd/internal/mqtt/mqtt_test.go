package mqtt

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/certs/certstest"
	"tramd/sweep"
	"tramd/sweep/units"
)

// linnet is a machine with a check, an alarm and two instruments. Its state can be changed while it is published.
type linnet struct {
	mu sync.Mutex
	s  api.Snapshot
}

func newLinnet() *linnet {
	at := time.Date(2026, 3, 2, 7, 30, 0, 123, time.UTC)
	next := at.AddDate(0, 0, 12)
	axis := func(mm float64, v sweep.Verdict) *sweep.Axis {
		return &sweep.Axis{Slope: units.Slope(mm / 1000), Expanded: units.Slope(0.0052 / 1000), Verdict: v}
	}
	return &linnet{s: api.Snapshot{
		Machine: "linnet", NextCheck: &next, NextWhy: "it drifts slowly",
		Last: &api.LastRun{Run: 3, At: at, Result: sweep.Result{
			Tilt: axis(0.081, sweep.Outside), Nod: axis(-0.012, sweep.Within), Verdict: sweep.Outside}},
		Drift: &api.DriftState{
			Alarms: []api.Alarm{{Kind: "outside", Axis: "tilt", Text: "The tilt is outside."}}},
		Devices: []api.DeviceState{{Name: "arm", State: "live", Talk: "talking"},
			{Name: "encoder", State: "absent"}},
	}}
}

func (l *linnet) Snapshot(context.Context) (*api.Snapshot, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.s
	s.Devices = slices.Clone(s.Devices)
	return &s, nil
}

// broker is a mosquitto on a free port of this computer.
func broker(t *testing.T, port int, more string) (stop func()) {
	t.Helper()
	if _, err := exec.LookPath("mosquitto"); err != nil {
		t.Fatal("mosquitto is missing; install it: sudo apt-get install mosquitto mosquitto-clients")
	}
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	if !strings.Contains(more, "listener") {
		more += fmt.Sprintf("\nlistener %d 127.0.0.1\n", port)
	}
	if !strings.Contains(more, "allow_anonymous") {
		more += "allow_anonymous true\n"
	}
	if err := os.WriteFile(file, []byte("persistence false\nuser root\n"+more), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("mosquitto", "-c", file)
	var said strings.Builder
	cmd.Stderr, cmd.Stdout = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var once sync.Once
	stop = func() { once.Do(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }) }
	t.Cleanup(stop)
	for range 1200 {
		if c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			c.Close()
			return stop
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("mosquitto does not listen: %s", said.String())
	return nil
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// reader is mosquitto_sub on every topic: the newest payload of each.
type reader struct {
	mu   sync.Mutex
	have map[string]string
}

func read(t *testing.T, port int, args ...string) *reader {
	t.Helper()
	cmd := exec.Command("mosquitto_sub",
		append([]string{"-h", "127.0.0.1", "-p", fmt.Sprint(port), "-t", "#", "-F", "%t\t%p"}, args...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	r := &reader{have: map[string]string{}}
	go func() {
		in := bufio.NewScanner(out)
		for in.Scan() {
			topic, payload, _ := strings.Cut(in.Text(), "\t")
			r.mu.Lock()
			r.have[topic] = payload
			r.mu.Unlock()
		}
	}()
	return r
}

func (r *reader) wait(t *testing.T, topic, want string) {
	t.Helper()
	got := ""
	for range 1200 {
		r.mu.Lock()
		got = r.have[topic]
		r.mu.Unlock()
		if got == want {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s: %q, want %q", topic, got, want)
}

func options(l *linnet, port int) Options {
	return Options{
		Names: Names{Prefix: "tramd", Discovery: "homeassistant", Machine: "linnet", Version: "v1",
			Page: "http://linnet.local:9743/"},
		Broker: &url.URL{Scheme: "mqtt", Host: fmt.Sprintf("127.0.0.1:%d", port)}, Live: l,
		Log: slog.New(slog.DiscardHandler), Every: 50 * time.Millisecond,
	}
}

func start(t *testing.T, o Options) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { Run(ctx, o); close(ended) }()
	stop = func() { cancel(); <-ended }
	t.Cleanup(stop)
	return stop
}

// A broker that is there has the whole state, retained; a change is published; an orderly end says offline.
func TestTheStateIsOnTheBroker(t *testing.T) {
	port := freePort(t)
	broker(t, port, "")
	l := newLinnet()
	stop := start(t, options(l, port))
	r := read(t, port)
	r.wait(t, "tramd/linnet/availability", "online")
	late := read(t, port) // sees what was retained
	for topic, want := range map[string]string{
		"tramd/linnet/tilt":           `{"mm_per_m":0.081,"U_mm_per_m":0.0052,"verdict":"outside"}`,
		"tramd/linnet/nod":            `{"mm_per_m":-0.012,"U_mm_per_m":0.0052,"verdict":"within"}`,
		"tramd/linnet/check":          `{"verdict":"outside","last":"2026-03-02T07:30:00Z","next":"2026-03-14T07:30:00Z","why":"it drifts slowly"}`,
		"tramd/linnet/alarm":          `{"on":true,"kinds":["outside"],"text":"The tilt is outside."}`,
		"tramd/linnet/device/arm":     `{"on":true,"state":"talking"}`,
		"tramd/linnet/device/encoder": `{"on":false,"state":"absent"}`,
		"tramd/linnet/availability":   "online",
	} {
		late.wait(t, topic, want)
	}
	l.mu.Lock()
	l.s.Devices = []api.DeviceState{{Name: "arm", State: "live", Talk: "silent"}}
	l.s.Drift = nil
	l.mu.Unlock()
	r.wait(t, "tramd/linnet/device/arm", `{"on":false,"state":"silent"}`)
	r.wait(t, "tramd/linnet/alarm", `{"on":false,"kinds":[],"text":""}`)
	stop()
	r.wait(t, "tramd/linnet/availability", "offline")
}

// A broker that comes late, or goes and comes back empty, gets everything; a line that is cut leaves the last will.
func TestABrokerThatIsAwayIsWaitedFor(t *testing.T) {
	port := freePort(t)
	l := newLinnet()
	start(t, options(l, port))
	time.Sleep(100 * time.Millisecond)
	end := broker(t, port, "")
	read(t, port).wait(t, "tramd/linnet/availability", "online")
	end()
	broker(t, port, "")
	r := read(t, port)
	r.wait(t, "tramd/linnet/availability", "online")
	r.wait(t, "tramd/linnet/alarm", `{"on":true,"kinds":["outside"],"text":"The tilt is outside."}`)
}

func TestACutLineLeavesTheLastWill(t *testing.T) {
	port := freePort(t)
	broker(t, port, "")
	relay, cut := cable(t, port)
	start(t, options(newLinnet(), relay))
	r := read(t, port)
	r.wait(t, "tramd/linnet/availability", "online")
	cut()
	r.wait(t, "tramd/linnet/availability", "offline")
}

// cable forwards one port to another until it is cut, and refuses from then on.
func cable(t *testing.T, to int) (port int, cut func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var open []net.Conn
	go func() {
		for {
			a, err := l.Accept()
			if err != nil {
				return
			}
			b, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", to))
			if err != nil {
				a.Close()
				continue
			}
			mu.Lock()
			open = append(open, a, b)
			mu.Unlock()
			go func() { _, _ = io.Copy(a, b) }()
			go func() { _, _ = io.Copy(b, a) }()
		}
	}()
	cut = func() {
		l.Close()
		mu.Lock()
		defer mu.Unlock()
		for _, c := range open {
			c.Close()
		}
	}
	t.Cleanup(cut)
	return l.Addr().(*net.TCPAddr).Port, cut
}

// Over an encrypted line, with a login, to a broker whose authority is named.
func TestAnEncryptedBrokerWithALogin(t *testing.T) {
	dir := t.TempDir()
	authority := certstest.New(t, "shop")
	cert, key := authority.Issue("broker", 7, time.Now().Add(time.Hour))
	write := func(name string, text []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	ca := write("ca.pem", authority.PEM)
	people := filepath.Join(dir, "people")
	if out, err := exec.Command("mosquitto_passwd", "-b", "-c", people, "linnet", "a plain word").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	port := freePort(t)
	broker(
		t, port,
		fmt.Sprintf(
			"allow_anonymous false\npassword_file %s\nlistener %d 127.0.0.1\ncafile %s\ncertfile %s\nkeyfile %s\n",
			people, port, ca, write("cert.pem", cert), write("key.pem", key)))
	o := options(newLinnet(), port)
	o.Broker.Scheme = "mqtts"
	o.User, o.Password, o.TLS = "linnet", "a plain word", authority.Client(nil, nil)
	start(t, o)
	read(t, port, "-u", "linnet", "-P", "a plain word", "--cafile", ca).wait(t, "tramd/linnet/availability", "online")
}

// A broker that refuses is logged once, not at each try.
func TestARefusalIsLoggedOnce(t *testing.T) {
	port := freePort(t)
	broker(t, port, "allow_anonymous false\n")
	var mu sync.Mutex
	var said strings.Builder
	o := options(newLinnet(), port)
	o.Log = slog.New(slog.NewTextHandler(writer(func(b []byte) { mu.Lock(); defer mu.Unlock(); said.Write(b) }), nil))
	stop := start(t, o)
	time.Sleep(3 * time.Second)
	began := time.Now()
	stop()
	if took := time.Since(began); took > 3*time.Second {
		t.Errorf("it took %v to end", took)
	}
	mu.Lock()
	defer mu.Unlock()
	if n := strings.Count(said.String(), "cannot be reached"); n != 1 {
		t.Errorf("logged %d times:\n%s", n, said.String())
	}
}

type writer func([]byte)

func (w writer) Write(b []byte) (int, error) { w(b); return len(b), nil }

// The keys that Home Assistant documents for MQTT sensors and binary sensors, and for the device and origin in them
// (home-assistant.io/integrations/sensor.mqtt, binary_sensor.mqtt and mqtt; from memory, compared with public listings
// of them).
var (
	sensorKeys = []string{"name", "unique_id", "state_topic", "value_template", "json_attributes_topic",
		"availability_topic",
		"unit_of_measurement", "device_class", "state_class", "suggested_display_precision", "device", "origin"}
	binaryKeys = []string{"name", "unique_id", "state_topic", "value_template", "json_attributes_topic",
		"availability_topic",
		"device_class", "payload_on", "payload_off", "device", "origin"}
	deviceKeys    = []string{"identifiers", "name", "sw_version", "configuration_url"}
	originKeys    = []string{"name", "sw_version", "support_url"}
	sensorClasses = []string{"timestamp"}
	binaryClasses = []string{"problem", "connectivity"}
)

func TestDiscoveryHoldsToThePublishedKeys(t *testing.T) {
	l := newLinnet()
	s, _ := l.Snapshot(t.Context())
	s.Devices[0].Name = "arm/+#é"
	names := options(l, 0).Names
	states := map[string]bool{}
	for _, m := range names.States(s) {
		states[m.Topic] = true
	}
	ids := map[string]bool{}
	list := names.Announcements(s)
	if len(list) != 10 {
		t.Errorf("%d announcements", len(list))
	}
	for _, m := range list {
		var got map[string]any
		if err := json.Unmarshal(m.Payload, &got); err != nil {
			t.Fatal(err)
		}
		parts := strings.Split(m.Topic, "/")
		keys, classes := sensorKeys, sensorClasses
		if len(parts) == 5 && parts[1] == "binary_sensor" {
			keys, classes = binaryKeys, binaryClasses
		}
		if len(parts) != 5 || parts[0] != "homeassistant" || parts[4] != "config" ||
			strings.Trim(parts[3], "abcdefghijklmnopqrstuvwxyz_") != "" {
			t.Errorf("topic %s", m.Topic)
		}
		for part, known := range map[string][]string{"": keys, "device": deviceKeys, "origin": originKeys} {
			table := got
			if part != "" {
				table = got[part].(map[string]any)
			}
			for key := range table {
				if !slices.Contains(known, key) {
					t.Errorf("%s: key %s %s is not documented", m.Topic, part, key)
				}
			}
		}
		if class, ok := got["device_class"]; ok && !slices.Contains(classes, class.(string)) {
			t.Errorf("%s: device_class %v", m.Topic, class)
		}
		if topic := got["state_topic"].(string); !states[topic] || strings.ContainsAny(topic, "+#") {
			t.Errorf("%s: nothing is published on %s", m.Topic, topic)
		}
		if id := got["unique_id"].(string); ids[id] {
			t.Errorf("unique_id %s twice", id)
		} else {
			ids[id] = true
		}
	}
	names.Discovery = ""
	if list := names.Announcements(s); list != nil {
		t.Errorf("discovery is off: %v", list)
	}
}
