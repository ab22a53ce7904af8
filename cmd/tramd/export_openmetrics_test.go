package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The record's checks go through the real promtool into blocks of Prometheus, and come out of them with their values
// and times.
func TestTheRecordGoesIntoPrometheus(t *testing.T) {
	t.Parallel()
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Fatal("promtool is missing: apt-get install prometheus")
	}
	shop := quietRecord(t) // daily at 07:30 from 2026-03-02 on, each ended a minute later
	dump := func(args ...string) map[string]map[int64]float64 {
		t.Helper()
		status, out, errOut := call(t, append([]string{"export", "--config", shop.config, "--openmetrics"}, args...)...)
		if status != exitDone || !strings.HasSuffix(out, "\n# EOF\n") {
			t.Fatalf("status %d, %s", status, errOut)
		}
		file, blocks := filepath.Join(t.TempDir(), "linnet.om"), t.TempDir()
		if err := os.WriteFile(file, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
		if said, err := exec.Command(promtool, "tsdb", "create-blocks-from", "openmetrics", file,
			blocks).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s\n%s", err, said, out)
		}
		// a Prometheus has one; dump reads it, too
		if err := os.Mkdir(filepath.Join(blocks, "wal"), 0o700); err != nil {
			t.Fatal(err)
		}
		text, err := exec.Command(promtool, "tsdb", "dump", blocks).Output()
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]map[int64]float64{}
		for line := range strings.Lines(string(text)) {
			labels, rest, _ := strings.Cut(strings.TrimSpace(line), "} ")
			var value float64
			var at int64
			if _, err := fmt.Sscan(rest, &value, &at); err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			if got[labels+"}"] == nil {
				got[labels+"}"] = map[int64]float64{}
			}
			got[labels+"}"][at] = value
		}
		return got
	}
	series := func(name, axis string) string {
		return fmt.Sprintf(`{__name__=%q, axis=%q, machine="linnet"}`, name, axis)
	}
	end := func(day int) int64 { return time.Date(2026, 3, 2+day, 7, 31, 0, 0, time.UTC).UnixMilli() }

	got := dump()
	for name, want := range map[string]float64{ // of the sixth check: x = 0.002*(5*5%7-3) = 0.002 mm/m
		series("tramd_lean_radians", "tilt"):                                      0.012e-3,
		series("tramd_lean_radians", "nod"):                                       -0.022e-3,
		series("tramd_lean_expanded_uncertainty_radians", "nod"):                  0.006e-3,
		series("tramd_lean_limit_radians", "tilt"):                                0.02 / 300,
		`{__name__="tramd_last_check_timestamp_seconds", machine="linnet"}`:       float64(end(5)) / 1e3,
		`{__name__="tramd_alarm", axis="tilt", kind="outside", machine="linnet"}`: 0,
	} {
		v, ok := got[name][end(5)]
		if !ok || math.Abs(v-want) > 1e-9*math.Max(1e-3, math.Abs(want)) || len(got[name]) != 12 {
			t.Errorf("%s: %v, %d values; want %v of 12", name, v, len(got[name]), want)
		}
	}
	next := `{__name__="tramd_next_check_timestamp_seconds", machine="linnet"}`
	if v := got[next][end(0)]; v != float64(end(7)/1e3-60) { // one check: the first interval, a week after it began
		t.Errorf("after one check the next was due at %v", v)
	}
	if n := len(got[series("tramd_lean_drift_radians_per_second", "tilt")]); n != 10 {
		t.Errorf("a rate of drift stands at %d checks, not at all but the first two", n)
	}

	held := dump("--every", "4m")[series("tramd_lean_radians", "tilt")]
	if n := len(held); n != 11*360+1 {
		t.Errorf("held between checks: %d values", n)
	}
	if a, b := held[end(5)], held[end(5)+24*60*60*1000-4*60*1000]; a == 0 || a != b {
		t.Errorf("not held until the next check: %v and %v", a, b)
	}
}

// The names that are written stand in a scrape of the same record, with the same labels.
func TestTheExportSpeaksLikeAScrape(t *testing.T) {
	t.Parallel()
	shop := quietRecord(t)
	_, out, _ := call(t, "export", "--config", shop.config, "--openmetrics")
	shop.daemon(t)
	scrape := ""
	for range 200 {
		if scrape = get(t, "http://"+shop.page+"/metrics"); strings.Contains(
			scrape, "tramd_next_check_timestamp_seconds{") {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	last := map[string]string{}
	for line := range strings.Lines(out) {
		if f := strings.Fields(line); len(f) == 3 && !strings.HasPrefix(line, "#") {
			last[f[0]] = f[1]
		}
	}
	if len(last) < 16 {
		t.Fatalf("only %d series:\n%s", len(last), out)
	}
	for name, value := range last {
		_, rest, ok := strings.Cut(scrape, "\n"+name+" ")
		found, _, _ := strings.Cut(rest, "\n")
		a, _ := strconv.ParseFloat(value, 64)
		b, err := strconv.ParseFloat(found, 64)
		if !ok || err != nil || math.Abs(a-b) > 1e-9*math.Abs(a) {
			t.Errorf("%s: exported %s, scraped %q", name, value, found)
		}
	}
}

func TestExportWantsARunOrTheRecord(t *testing.T) {
	shop := quietRecord(t)
	for _, args := range [][]string{{}, {"3", "--openmetrics"}, {"--openmetrics", "--json"}, {"3", "--every", "4m"},
		{"--openmetrics", "--every", "-4m"}} {
		if status, _, errOut := call(
			t, append([]string{"export", "--config", shop.config}, args...)...); status != exitUsage || errOut == "" {
			t.Errorf("%v: status %d, %s", args, status, errOut)
		}
	}
}
