package metrics

import (
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/dashboards/promtest"
)

const boards = "../../../../dashboards"

// Two hundred machines, one Prometheus: each machine costs few series, and everything that the rules and the dashboards
// ask is answered, at once.
func TestAFleetOfTwoHundred(t *testing.T) {
	const machines = 200
	var targets []string
	for i := range machines {
		s := linnet()
		s.Machine = fmt.Sprintf("machine-%03d", i)
		srv := httptest.NewServer(again(Handler(Options{Live: fixed{s: s}, Version: "v1.2.3",
			Page: "https://" + s.Machine + ".shop.example:9743", Free: gigabyte, Assembly: rails}, nil)))
		t.Cleanup(srv.Close)
		targets = append(targets, strings.TrimPrefix(srv.URL, "http://"))
	}
	p := promtest.Start(t, filepath.Join(boards, "rules/tramd.yml"), targets...)
	p.Wait(t, `count(tramd_build_info)`, one(machines))
	p.Wait(t, `count(count_over_time(tramd_build_info[1m]) >= 2)`, one(machines)) // what a rate needs
	p.Wait(t, `count(machine:tramd_limit_used:max)`, one(machines))

	series := number64(t, p.Wait(t, `max(scrape_samples_post_metric_relabeling)`, func(s []promtest.Sample) bool {
		return len(s) == 1
	}))
	t.Logf("at most %.0f series a machine, the runtime's own among them", series)
	if series > 150 {
		t.Errorf("%.0f series for one machine", series)
	}
	for _, board := range []string{"tramd-machine.json", "tramd-fleet.json"} {
		for _, q := range promtest.Questions(t, filepath.Join(boards, "grafana", board), "machine-007") {
			began := time.Now()
			got, err := p.Ask(q)
			if err != nil {
				t.Errorf("%s: %v", board, err)
			}
			if took := time.Since(began); took > 5*time.Second {
				t.Errorf("%s: %s took %s", board, q, took)
			}
			// nothing is wrong with this fleet
			if len(got) == 0 && !strings.Contains(q, "== 0") && !strings.Contains(q, "== bool 0 > 0") {
				t.Errorf("%s: no answer to %s", board, q)
			}
		}
	}
}

// again gives the first answer of h to every request: two hundred machines have a computer each, here they share one.
// What a scrape costs a machine is measured elsewhere.
func again(h http.Handler) http.Handler {
	var once sync.Once
	var first *httptest.ResponseRecorder
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		once.Do(func() {
			first = httptest.NewRecorder()
			h.ServeHTTP(first, r)
		})
		maps.Copy(w.Header(), first.Header())
		w.WriteHeader(first.Code)
		_, _ = w.Write(first.Body.Bytes()) // a scrape that is gone is Prometheus's own to tell
	})
}

// Every metric that a rule or a dashboard speaks of is one that the golden scrape holds.
func TestRulesAndDashboardsSpeakOfWhatIsServed(t *testing.T) {
	scrape, err := os.ReadFile("testdata/linnet.prom")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, file := range []string{"rules/tramd.yml", "grafana/tramd-machine.json", "grafana/tramd-fleet.json"} {
		text, err := os.ReadFile(filepath.Join(boards, file))
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range promtest.Names(string(text)) {
			seen++
			if !strings.Contains(string(scrape), "\n"+n+"{") {
				t.Errorf("%s speaks of %s, which tramd does not serve", file, n)
			}
		}
	}
	if seen < 20 {
		t.Fatalf("only %d names were looked at", seen)
	}
}

func one(want float64) func([]promtest.Sample) bool {
	return func(s []promtest.Sample) bool {
		if len(s) != 1 {
			return false
		}
		v, err := strconv.ParseFloat(s[0].Value, 64)
		return err == nil && v == want
	}
}

func number64(t *testing.T, s []promtest.Sample) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s[0].Value, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
