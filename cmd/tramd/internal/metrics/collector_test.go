package metrics

import (
	"context"
	"errors"
	"flag"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/units"
)

var update = flag.Bool("update", false, "rewrite the golden files")

type fixed struct {
	s   *api.Snapshot
	err error
}

func (f fixed) Snapshot(context.Context) (*api.Snapshot, error) { return f.s, f.err }

func gigabyte() (uint64, error) { return 1 << 30, nil }

func ptr[T any](v T) *T { return &v }

// linnet is a gantry router of the demo workshop, with one check in the store and one adapter unplugged.
func linnet() *api.Snapshot {
	return &api.Snapshot{
		At: time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC), Machine: "linnet", Limit: 0.25, LimitAs: "0.075/300",
		Devices: []api.DeviceState{
			{Name: "arm", Role: "indicator", State: "live", Readings: 1500,
				Faults: map[string]uint64{"text": 2, "long": 0}, ReadingMM: ptr(1.25)},
			{Name: "second", Role: "indicator", State: "lost", Readings: 7, ReadingMM: ptr(0.5),
				Faults: map[string]uint64{"text": 0}},
			{Name: "encoder", Role: "angle", State: "live", Readings: 3000},
		},
		Last: &api.LastRun{Run: 3, At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), Result: sweep.Result{
			Tilt: &sweep.Axis{Slope: 0.125 * units.MMPerM, Expanded: 0.0078125 * units.MMPerM, Verdict: sweep.Within},
			Nod:  &sweep.Axis{Slope: -0.5 * units.MMPerM, Expanded: 0.0078125 * units.MMPerM, Verdict: sweep.Outside},
		}},
		// 0.0054 mm/m a day = 6.25e-11 rad/s
		Drift: &api.DriftState{TiltRate: ptr(0.0), NodRate: ptr(-0.0054), Alarms: []api.Alarm{
			{Kind: "outside", Axis: "nod", Since: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)},
			{Kind: "outside", Axis: "tilt", Since: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)},
		}, Events: map[string]time.Time{"crashed": time.Date(2026, 2, 27, 16, 0, 0, 0, time.UTC)}},
		Store:     api.StoreState{OK: true},
		Clock:     api.ClockState{Set: true},
		Inputs:    []api.InputState{{Name: "spindle", State: "on"}, {Name: "door", State: "unknown"}},
		Hours:     &api.HoursState{Hours: ptr(1200.0)},
		Runs:      map[api.RunKey]uint64{{Kind: "sweep", Outcome: "finished"}: 3},
		NextCheck: ptr(time.Date(2026, 3, 9, 9, 0, 0, 0, time.UTC)),
	}
}

func gather(t *testing.T, s *api.Snapshot) string {
	t.Helper()
	rec := httptest.NewRecorder()
	read := rails
	if s.Last == nil { // nothing was ever measured
		read = nil
	}
	Handler(Options{Live: fixed{s: s}, Version: "v1.2.3", Page: "https://linnet.shop.example:9743", Free: gigabyte,
		Assembly: read}, nil).ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
	if rec.Code != http.StatusOK {
		t.Fatalf("scrape: %d %s", rec.Code, rec.Body)
	}
	var ours []string
	for line := range strings.Lines(rec.Body.String()) {
		if strings.Contains(line, "tramd_") {
			ours = append(ours, line)
		}
	}
	return regexp.MustCompile(`goversion="[^"]*"`).ReplaceAllString(strings.Join(ours, ""), `goversion="GO"`)
}

func TestGolden(t *testing.T) {
	got := gather(t, linnet())
	path := filepath.Join("testdata", "linnet.prom")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("scrape differs from %s (-want +got):\n%s", path, d)
	}
}

func TestLint(t *testing.T) {
	problems, err := testutil.GatherAndLint(
		Registry(Options{Live: fixed{s: linnet()}, Version: "v1.2.3", Free: gigabyte, Assembly: rails}))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestMachineLabelOnAllOfOurs(t *testing.T) {
	for line := range strings.Lines(gather(t, linnet())) {
		if !strings.HasPrefix(line, "#") && !strings.Contains(line, `machine="linnet"`) {
			t.Errorf("no machine label: %s", line)
		}
	}
}

func TestLostDeviceLeavesTheResults(t *testing.T) {
	s := linnet()
	before := gather(t, s)
	for i := range s.Devices {
		s.Devices[i].State = "lost"
	}
	after := gather(t, s)
	if !strings.Contains(before, `tramd_indicator_metres{indicator="arm",machine="linnet"} 0.00125`) {
		t.Errorf("live indicator not shown:\n%s", before)
	}
	if strings.Contains(before, `indicator="second"`) {
		t.Error("a lost indicator's last reading was shown")
	}
	if strings.Contains(after, "tramd_indicator_metres") {
		t.Error("reading of a lost device stays")
	}
	if !strings.Contains(after, `tramd_device_up{device="arm",machine="linnet"} 0`) {
		t.Error("lost device not shown as down")
	}
	for _, keep := range []string{"tramd_lean_radians", "tramd_last_check_timestamp_seconds", "tramd_readings_total"} {
		if !strings.Contains(after, keep+"{") {
			t.Errorf("%s went with the device", keep)
		}
	}
}

func TestTheComputersOwnState(t *testing.T) {
	s := linnet()
	s.Clock.Set, s.Store.OK = false, false
	s.Troubles = map[string]string{"backup": "the disk is not there"}
	got := gather(t, s)
	for _, want := range []string{`tramd_clock_set{machine="linnet"} 0`, `tramd_store_ok{machine="linnet"} 0`,
		`tramd_trouble{kind="backup",machine="linnet"} 1`, `tramd_trouble{kind="record",machine="linnet"} 0`} {
		if !strings.Contains(got, want) {
			t.Errorf("missing %s in\n%s", want, got)
		}
	}
	n, err := testutil.GatherAndCount(
		Registry(Options{Live: fixed{s: s}, Free: func() (uint64, error) { return 0, errors.New("gone") }}),
		"tramd_store_free_bytes")
	if err != nil || n != 0 {
		t.Errorf("room that could not be asked for was told %d times, err %v", n, err)
	}
}

func TestStaleReadingIsLeftOut(t *testing.T) {
	s := linnet()
	s.Devices[0].ReadingMM = nil
	if strings.Contains(gather(t, s), "tramd_indicator_metres") {
		t.Error("a reading too old to be shown was exported")
	}
}

func TestNothingMeasuredYet(t *testing.T) {
	got := gather(t, &api.Snapshot{Machine: "wren"})
	for _, o := range outcomes {
		if want := `tramd_runs_total{kind="sweep",machine="wren",outcome="` + o + `"} 0`; !strings.Contains(got, want) {
			t.Errorf("missing %s", want)
		}
	}
	for _, not := range []string{"tramd_lean_", "timestamp_seconds"} {
		if strings.Contains(got, not) {
			t.Errorf("%s exported with nothing measured", not)
		}
	}
}

func TestOddValuesDoNotCostTheScrape(t *testing.T) {
	s := linnet()
	s.Machine = "lin\xffnet"
	s.Devices[0].Name = "a\xc0rm"
	s.Devices[0].ReadingMM = ptr(math.NaN())
	s.Last.Result.Tilt.Expanded = units.Slope(math.Inf(1))
	s.Last.Result.Nod = nil
	got := gather(t, s)
	if strings.Contains(got, "NaN") || strings.Contains(got, "Inf") {
		t.Errorf("not a number was exported:\n%s", got)
	}
	if strings.Contains(got, `tramd_lean_radians{axis="nod"`) {
		t.Error("an axis that was not measured was exported")
	}
}

func TestScrapeFailsAsAWhole(t *testing.T) {
	for name, live := range map[string]Live{"error": fixed{err: errors.New("session has ended")}, "nil": fixed{}} {
		t.Run(name, func(t *testing.T) {
			rec := httptest.NewRecorder()
			Handler(Options{Live: live}, nil).ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
			if rec.Code != http.StatusInternalServerError ||
				!strings.Contains(rec.Body.String(), "read the present state") {
				t.Errorf("got %d %s", rec.Code, rec.Body)
			}
		})
	}
}

func TestRuntimeMetricsAreThere(t *testing.T) {
	n, err := testutil.GatherAndCount(Registry(Options{Live: fixed{s: linnet()}}), "go_goroutines", "process_open_fds")
	if err != nil || n != 2 {
		t.Fatalf("got %d of the runtime's metrics on %s, err %v", n, runtime.GOOS, err)
	}
}

var _ prometheus.Collector = (*Collector)(nil)

// BenchmarkScrape is one scrape of everything, runtime metrics included; the aim is less than 3 ms.
func BenchmarkScrape(b *testing.B) {
	h := Handler(Options{Live: fixed{s: linnet()}, Version: "v1.2.3", Free: gigabyte}, nil)
	b.ReportAllocs()
	for b.Loop() {
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
		if rec.Code != http.StatusOK {
			b.Fatal(rec.Code)
		}
		_, _ = io.Copy(io.Discard, rec.Body)
	}
}

// Every metric stands in the table of the documents, and the table has none that there is not.
func TestTheDocumentsListEveryMetric(t *testing.T) {
	text, err := os.ReadFile("../../../../dashboards/README.md")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{}
	for _, name := range regexp.MustCompile("`(tramd_[a-z_]+)`").FindAllStringSubmatch(string(text), -1) {
		told[name[1]] = true
	}
	for _, d := range all {
		name := regexp.MustCompile(`fqName: "(tramd_[a-z_]+)"`).FindStringSubmatch(d.String())[1]
		if !told[name] {
			t.Errorf("dashboards/README.md does not list %s", name)
		}
		delete(told, name)
	}
	for name := range told {
		t.Errorf("dashboards/README.md lists %s, which there is not", name)
	}
}

// A client that asks for OpenMetrics gets the same samples under the same names. A counter without _total would get
// another one there.
func TestOpenMetricsHasTheSameSamples(t *testing.T) {
	h := Handler(Options{Live: fixed{s: linnet()}, Version: "v1.2.3", Free: gigabyte}, nil)
	names := func(accept string) (kind string, text string, names []string) {
		r := httptest.NewRequest("GET", "/metrics", nil)
		r.Header.Set("Accept", accept)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		text = w.Body.String()
		for line := range strings.Lines(text) {
			if name, _, ok := strings.Cut(line, " "); ok && strings.HasPrefix(name, "tramd_") {
				names = append(names, name)
			}
		}
		return w.Header().Get("Content-Type"), text, names
	}
	_, _, plain := names("text/plain")
	kind, text, open := names("application/openmetrics-text; version=1.0.0")
	if !strings.HasPrefix(kind, "application/openmetrics-text; version=1.0.0") ||
		!strings.HasSuffix(text, "\n# EOF\n") {
		t.Errorf("%s, which ends with %q", kind, text[max(0, len(text)-40):])
	}
	if d := cmp.Diff(plain, open); d != "" || len(open) < 30 {
		t.Errorf("%d samples: %s", len(open), d)
	}
}
