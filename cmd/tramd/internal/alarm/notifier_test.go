package alarm

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// machine is a present state that the test changes.
type machine struct {
	mu sync.Mutex
	s  api.Snapshot
}

func (m *machine) Snapshot(context.Context) (*api.Snapshot, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.s
	s.At = time.Now()
	return &s, nil
}

func (m *machine) set(alarms ...api.Alarm) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.s = api.Snapshot{Machine: "linnet", Clock: api.ClockState{Set: true}, Store: api.StoreState{OK: true},
		Drift: &api.DriftState{Alarms: alarms}}
}

// start runs a notifier until the returned function is called, or the test ends.
func start(t *testing.T, live Live, o Options) (stop func()) {
	t.Helper()
	o.Machine, o.Every = "linnet", 20*time.Millisecond
	if o.File == "" {
		o.File = filepath.Join(t.TempDir(), "a.alarms")
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { New(live, o).Run(ctx); close(done) }()
	var once sync.Once
	stop = func() { once.Do(func() { cancel(); <-done }) }
	t.Cleanup(stop)
	return stop
}

// desk is a webhook that can be made to refuse, to fail or to hang.
type desk struct {
	mu   sync.Mutex
	code int
	hang bool
	got  []Message
}

func (d *desk) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	d.mu.Lock()
	code, hang := d.code, d.hang
	d.mu.Unlock()
	if hang {
		_, _ = io.Copy(io.Discard, r.Body) // or the server would not notice that the other side went away
		<-r.Context().Done()
		return
	}
	var m Message
	if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
		code = http.StatusTeapot
	}
	if code == http.StatusOK {
		d.mu.Lock()
		d.got = append(d.got, m)
		d.mu.Unlock()
	}
	w.WriteHeader(code)
}

func (d *desk) answer(code int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.code = code
}

func (d *desk) kinds() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return states(d.got)
}

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("waited in vain for %s", what)
}

var shifted = api.Alarm{Kind: "shift", Axis: "tilt", Since: noon, Text: "tilt stepped by 0.05 mm/m"}

// The network is away when the alarm comes, and the program is restarted before it is back: the desk still gets it
// once.
func TestAnAlarmOutlivesARestartAndANetworkThatIsAway(t *testing.T) {
	d := &desk{code: http.StatusBadGateway}
	srv := httptest.NewServer(d)
	defer srv.Close()
	m := &machine{}
	m.set(shifted)
	o := Options{Webhook: &Webhook{URL: srv.URL}, File: filepath.Join(t.TempDir(), "a.alarms")}
	stop := start(t, m, o)
	until(t, "the message to be kept", func() bool {
		s, err := load(o.File)
		return err == nil && len(s.Waiting["webhook"]) == 1
	})
	stop()
	if got := d.kinds(); len(got) != 0 {
		t.Fatalf("told while the network was away: %v", got)
	}
	d.answer(http.StatusOK)
	stop = start(t, m, o)
	until(t, "a message at the desk", func() bool { return len(d.kinds()) == 1 })
	time.Sleep(100 * time.Millisecond)
	stop()
	if got := d.kinds(); len(got) != 1 || got[0] != "shift raised" {
		t.Errorf("the desk heard %v", got)
	}
	if s, err := load(o.File); err != nil || len(s.Waiting["webhook"]) != 0 || len(s.Sent) != 1 {
		t.Errorf("left in the file: %+v, %v", s, err)
	}
}

func TestARefusedMessageDelaysNoOther(t *testing.T) {
	d := &desk{code: http.StatusBadRequest}
	srv := httptest.NewServer(d)
	defer srv.Close()
	m := &machine{}
	m.set(shifted)
	o := Options{Webhook: &Webhook{URL: srv.URL}, File: filepath.Join(t.TempDir(), "a.alarms")}
	start(t, m, o)
	until(t, "the refused message to be dropped", func() bool {
		s, err := load(o.File)
		return err == nil && len(s.Sent) == 1 && len(s.Waiting["webhook"]) == 0
	})
	d.answer(http.StatusOK)
	m.set(shifted, api.Alarm{Kind: "outside", Axis: "nod", Since: noon.Add(time.Hour)})
	until(t, "the next message", func() bool { return len(d.kinds()) == 1 })
	if got := d.kinds(); got[0] != "outside raised" {
		t.Errorf("the desk heard %v", got)
	}
}

// A desk that never answers keeps neither the looking nor the stopping.
func TestADeskThatHangsKeepsNothing(t *testing.T) {
	d := &desk{hang: true}
	srv := httptest.NewServer(d)
	defer srv.Close()
	m := &machine{}
	m.set(shifted)
	o := Options{Webhook: &Webhook{URL: srv.URL}, File: filepath.Join(t.TempDir(), "a.alarms")}
	stop := start(t, m, o)
	until(t, "the first message to wait", func() bool { s, _ := load(o.File); return len(s.Waiting["webhook"]) == 1 })
	m.set(shifted, api.Alarm{Kind: "outside", Axis: "nod", Since: noon})
	until(t, "the second message to wait behind it", func() bool {
		s, _ := load(o.File)
		return len(s.Waiting["webhook"]) == 2
	})
	began := time.Now()
	stop()
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("stopping took %s", took)
	}
}
