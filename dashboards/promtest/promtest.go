// Package promtest runs a real Prometheus for a test: given targets and a file of rules, it scrapes once a second
// (forty targets a second, where there are more), keeps what it finds in the test's own folder, and answers questions.
// That the server is missing fails the test.
package promtest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/dashboards/local"
)

// Server is a running Prometheus.
type Server struct{ base string }

// Sample is one series of an answer.
type Sample struct {
	Labels map[string]string
	Value  string // as Prometheus writes it
}

const config = `global: {scrape_interval: %[3]ds, scrape_timeout: %[3]ds, evaluation_interval: 1s}
rule_files: [%[1]q]
scrape_configs:
  - job_name: tramd
    static_configs: [{targets: [%[2]s]}]
`

// Start runs Prometheus on targets (host:port) until the test ends. Rules is the path of a rule file.
func Start(t testing.TB, rules string, targets ...string) *Server {
	t.Helper()
	path, err := exec.LookPath("prometheus")
	if err != nil {
		t.Fatal("prometheus is missing: apt-get install prometheus")
	}
	dir := t.TempDir()
	rules = hurried(t, rules, dir)
	file := filepath.Join(dir, "prometheus.yml")
	text := fmt.Sprintf(config, rules, `"`+strings.Join(targets, `","`)+`"`, 1+len(targets)/40)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	addr := free(t)
	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, path, "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+addr, "--log.level=warn")
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		cancel()
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait() // killed by us, or noticed below
		close(ended)
	}()
	t.Cleanup(func() {
		cancel()
		<-ended
		if t.Failed() {
			t.Logf("prometheus said:\n%s", said.String())
		}
	})
	s := &Server{base: "http://" + addr}
	s.Wait(t, "up", func([]Sample) bool { return true })
	return s
}

// hurried copies the rules with every group worked out each second: a test does not wait for minutes.
func hurried(t testing.TB, rules, dir string) string {
	t.Helper()
	text, err := os.ReadFile(rules)
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(dir, "rules.yml")
	if err := os.WriteFile(to, local.Hurried(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return to
}

func free(t testing.TB) string {
	t.Helper()
	addr, err := local.FreeAddress()
	if err != nil {
		t.Fatal(err)
	}
	return addr
}

// Ask answers one instant query.
func (s *Server) Ask(expr string) ([]Sample, error) {
	resp, err := http.Get(s.base + "/api/v1/query?query=" + url.QueryEscape(expr))
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	var answer struct {
		Status, Error string
		Data          struct {
			ResultType string
			Result     []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		return nil, fmt.Errorf("%s: %w", expr, err)
	}
	if answer.Status != "success" {
		return nil, fmt.Errorf("%s: %s", expr, answer.Error)
	}
	var out []Sample
	for _, r := range answer.Data.Result {
		out = append(out, Sample{Labels: r.Metric, Value: fmt.Sprint(r.Value[1])})
	}
	return out, nil
}

// Wait asks until the answer pleases, for at most 90 s.
func (s *Server) Wait(t testing.TB, expr string, pleases func([]Sample) bool) []Sample {
	t.Helper()
	var got []Sample
	var err error
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if got, err = s.Ask(expr); err == nil && pleases(got) {
			return got
		}
	}
	t.Fatalf("waited in vain for %s: %v, %v", expr, got, err)
	return nil
}
