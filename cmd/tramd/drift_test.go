package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// historyCSV is a machine whose tilt lies at so many mm/m, checked daily, with a scatter of 0.003 that repeats itself.
func historyCSV(checks int, tilt float64) string {
	var b strings.Builder
	b.WriteString(drift.CSVHeader + "\n")
	begin := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	for k := range checks {
		x := float64(k*7%11-5) / 5 * 0.004
		fmt.Fprintf(&b, "%s,%.4f,0.003,%.4f,0.003,%d,\n", begin.AddDate(0, 0, k).Format(time.RFC3339), tilt+x,
			-0.01-x, 100+6*k)
	}
	return b.String()
}

func TestDriftStatuses(t *testing.T) {
	dir := t.TempDir()
	for _, x := range []struct {
		name, in, args string
		want           int
		says           string
	}{
		{"within", historyCSV(30, 0.02), "--tolerance 0.02/300", exitDone, "next check by"},
		{"outside", historyCSV(30, 0.09), "--tolerance 0.02/300", exitOutside,
			"tilt is outside its tolerance since 2026-03-02"},
		{"undecided", historyCSV(30, 0.0667), "--tolerance 0.02/300", exitUndecided, "verdict: undecided"},
		{"no tolerance", historyCSV(30, 0.02), "", exitDone, "no tolerance: nothing to be outside of"},
		{"bad row", historyCSV(2, 0.02) + "yesterday,0,0,0,0,,\n", "", exitFailed, "line 4, column time"},
		{"bad tolerance", historyCSV(2, 0.02), "--tolerance 0.02", exitUsage, "0.02/300"},
		{"bad reliability", historyCSV(2, 0.02), "--reliability 95", exitUsage, "0.95 is usual"},
	} {
		path := filepath.Join(dir, x.name+".csv")
		if err := os.WriteFile(path, []byte(x.in), 0o600); err != nil {
			t.Fatal(err)
		}
		args := append([]string{"drift"}, strings.Fields(x.args)...)
		status, out, errOut := call(t, append(args, path)...)
		if status != x.want || !strings.Contains(out+errOut, x.says) {
			t.Errorf("%s: status %d, want %d, out %s err %s", x.name, status, x.want, out, errOut)
		}
	}
	if status, _, errOut := call(t, "drift"); status != exitUsage || !strings.Contains(errOut, "no history") {
		t.Errorf("no file: %d, %s", status, errOut)
	}
}

// A record that ended long ago is overdue, and one that ends in a year's time had a clock that was wrong.
func TestDriftSaysWhatTodayMakesOfTheRecord(t *testing.T) {
	for _, x := range []struct {
		ended time.Duration
		says  string
	}{{-730 * 24 * time.Hour, "overdue by 723.0 days"}, {365 * 24 * time.Hour, "dated 365 days from now"}} {
		var b strings.Builder
		b.WriteString("time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event\n")
		for k := range 2 {
			at := time.Now().Add(x.ended + time.Duration(k-1)*24*time.Hour + time.Minute)
			fmt.Fprintf(&b, "%s,0.01,0.004,0,0.004,,\n", at.Format(time.RFC3339))
		}
		path := filepath.Join(t.TempDir(), "checks.csv")
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		status, out, errOut := call(t, "drift", "--tolerance", "0.02/300", path)
		if status != exitDone || !strings.Contains(out, x.says) {
			t.Errorf("status %d, %s%s, want %q", status, out, errOut, x.says)
		}
	}
}

func TestDriftReadsStandardInput(t *testing.T) {
	var out, errOut strings.Builder
	status := run(context.Background(), []string{"drift", "--json", "--tolerance", "0.02/300", "-"},
		strings.NewReader(historyCSV(30, 0.02)), &out, &errOut)
	var got struct {
		Checks []json.RawMessage
		Next   *struct {
			Days, Chance float64
			SpindleHours *float64 `json:"spindle_hours"`
		} `json:"next_check"`
	}
	if err := json.Unmarshal([]byte(out.String()), &got); err != nil || status != exitDone {
		t.Fatalf("status %d, %v: %s", status, err, errOut.String())
	}
	if len(got.Checks) != 30 || got.Next == nil || got.Next.SpindleHours == nil {
		t.Fatalf("%d checks, next %+v", len(got.Checks), got.Next)
	}
	if per := *got.Next.SpindleHours / got.Next.Days; per < 5.99 || per > 6.01 {
		t.Errorf("%.3f spindle hours a day, want 6", per)
	}
}

// A season that the temperature explains is no drift, and is said.
func TestDriftTakesTheTemperatureOff(t *testing.T) {
	var b strings.Builder
	b.WriteString(drift.CSVHeader + "," + drift.TemperatureColumn + "\n")
	begin := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	for k := range 60 {
		x := float64(k*7%11-5) / 5 * 0.004
		warm := 12 + 0.15*float64(k) + float64(k*5%9-4)/2
		fmt.Fprintf(&b, "%s,%.4f,0.003,%.4f,0.003,,,%.1f\n", begin.AddDate(0, 0, k).Format(time.RFC3339),
			0.01+x+0.004*(warm-16), -0.01-x, warm)
	}
	path := filepath.Join(t.TempDir(), "season.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "drift", "--tolerance", "0.02/300", path)
	if status != exitDone || strings.Contains(out, "alarm:") ||
		!strings.Contains(out, "leans with the temperature by +0.00") ||
		!strings.Contains(out, "levels are those at 16.4 °C, the median of those recorded") {
		t.Errorf("status %d, %s%s", status, out, errOut)
	}
	var got struct {
		At   float64 `json:"at_temperature_c"`
		Axes map[string]struct {
			Chance float64  `json:"with_temperature"`
			PerK   *float64 `json:"mm_per_m_per_k"`
			U      *float64 `json:"u_mm_per_m_per_k"`
		}
	}
	_, out, _ = call(t, "drift", "--json", "--tolerance", "0.02/300", path)
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	tilt, nod := got.Axes["tilt"], got.Axes["nod"]
	if got.At != 16.4 || tilt.PerK == nil || math.Abs(*tilt.PerK-0.004) > 3**tilt.U || tilt.Chance < 0.9 ||
		nod.PerK != nil || nod.Chance > 0.5 {
		t.Errorf("%+v", got)
	}
}

// quietRecord is a shop whose record holds twelve daily checks of a machine that holds still.
func quietRecord(t *testing.T) shop {
	t.Helper()
	shop := newShop(t, "[clock]\ntrusted = true\n"+encoderPorts("/dev/none-1", "/dev/none-2"))
	cfg, err := config.Load(shop.config)
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), cfg.Store.Path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for k := range 12 {
		at := time.Date(2026, 3, 2+k, 7, 30, 0, 0, time.UTC)
		id, err := s.BeginRun(t.Context(), store.NewRun{Kind: "sweep", Purpose: "check", Setup: cfg.Setup(),
			StartedAt: at, ClockSet: true})
		if err != nil {
			t.Fatal(err)
		}
		axis := func(mmPerM float64) *sweep.Axis {
			return &sweep.Axis{Slope: units.Slope(mmPerM) * units.MMPerM, U: 0.003 * units.MMPerM,
				Expanded: 0.006 * units.MMPerM, Verdict: sweep.Within}
		}
		x := 0.002 * float64(k*5%7-3)
		res := sweep.Result{Model: "plain", Tilt: axis(0.01 + x), Nod: axis(-0.02 - x), Verdict: sweep.Within}
		if err := s.FinishRun(t.Context(), id, store.Finished, at.Add(time.Minute), "", &res); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return shop
}

// A daemon that starts on a record says what it comes to: to the page, to the scrape, and again after an event.
func TestTheDaemonTellsTheDrift(t *testing.T) {
	shop := quietRecord(t)
	shop.daemon(t)
	get := func(path string) (int, string) {
		t.Helper()
		resp, err := http.Get("http://" + shop.page + path)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(text)
	}
	var drawn struct {
		Total  int
		Limit  float64 `json:"limit_mm_per_m"`
		Checks []struct{ Run int }
		Next   *struct{ Time time.Time } `json:"next_check"`
		Why    string
		Events []struct{ Kind string }
	}
	wait := func(what string, ok func() bool) {
		t.Helper()
		for range 1000 {
			if status, text := get("/api/v1/drift"); status == http.StatusOK {
				drawn.Next, drawn.Why, drawn.Events = nil, "", nil
				if err := json.Unmarshal([]byte(text), &drawn); err != nil {
					t.Fatalf("%v: %s", err, text)
				}
				if ok() {
					return
				}
			}
			time.Sleep(10 * time.Millisecond)
		}
		t.Fatalf("%s: not told: %+v", what, drawn)
	}
	wait("twelve checks", func() bool { return drawn.Total == 12 && drawn.Next != nil })
	if len(drawn.Checks) != 12 || drawn.Checks[0].Run != 1 || drawn.Limit < 0.0666 || drawn.Limit > 0.0667 {
		t.Errorf("%+v", drawn)
	}
	_, scrape := get("/metrics")
	for _, line := range []string{
		`tramd_lean_drift_radians_per_second{axis="tilt",machine="linnet"}`,
		`tramd_lean_drift_radians_per_second{axis="nod",machine="linnet"}`,
		fmt.Sprintf(`tramd_next_check_timestamp_seconds{machine="linnet"} %s`,
			strconv.FormatFloat(float64(drawn.Next.Time.Unix()), 'g', -1, 64)),
		`tramd_alarm{axis="tilt",kind="shift",machine="linnet"} 0`,
		`tramd_alarm{axis="nod",kind="trend",machine="linnet"} 0`,
		`tramd_alarm{axis="tilt",kind="outside",machine="linnet"} 0`,
	} {
		if !strings.Contains(scrape, line) {
			t.Errorf("no %s in the scrape", line)
		}
	}
	if status, _, errOut := call(t, "event", "--config", shop.config, "hours", "a lot"); status == exitDone ||
		!strings.Contains(errOut, "hour counter") {
		t.Errorf("hours that are no number: status %d, %s", status, errOut)
	}
	for _, args := range [][]string{{"hours", "1234.5"}, {"serviced", "bolts tightened"}} {
		if status, _, errOut := call(
			t, append([]string{"event", "--config", shop.config}, args...)...); status != exitDone {
			t.Fatalf("%v: status %d, %s", args, status, errOut)
		}
	}
	wait("the event", func() bool {
		return drawn.Next != nil && len(drawn.Events) == 1 && strings.Contains(drawn.Why, "since the last event")
	})
}

// From the record: what the daemon stored, beside it or while it is away.
func TestDriftFromTheRecord(t *testing.T) {
	shop := quietRecord(t)
	status, out, errOut := call(t, "drift", "--config", shop.config)
	if status != exitDone || !strings.Contains(out, "12 checks, 2026-03-02 07:30 UTC to 2026-03-13") ||
		!strings.Contains(out, "next check by") {
		t.Errorf("status %d: %s%s", status, out, errOut)
	}
	if status, out, _ := call(t, "drift", "--config", shop.config, "--tolerance", "0.001/300"); status != exitOutside {
		t.Errorf("by a hundredth of a tolerance: status %d: %s", status, out)
	}
	page, csv := filepath.Join(shop.dir, "linnet.html"), filepath.Join(shop.dir, "linnet.csv")
	if status, out, errOut := call(t, "report", "--config", shop.config, "--out", page, "--csv",
		csv); status != exitDone || out != "" {
		t.Errorf("report: status %d: %s%s", status, out, errOut)
	}
	if text, err := os.ReadFile(page); err != nil ||
		!strings.Contains(string(text), "Check the squareness of the spindle to the table within") {
		t.Errorf("report: %v: %.200s", err, text)
	}
	if status, out, _ := call(t, "drift", "--tolerance", "0.02/300", csv); status != exitDone ||
		!strings.Contains(out, "12 checks") {
		t.Errorf("the report's CSV: status %d: %s", status, out)
	}
	if status, out, _ := call(t, "report", "--config", shop.config); status != exitDone ||
		!strings.HasPrefix(out, "<!doctype html>") {
		t.Errorf("report to standard output: status %d: %.100s", status, out)
	}
	if status, _, _ := call(t, "drift", "--config", shop.config, "x.csv"); status != exitUsage {
		t.Error("a file and a record at once were taken")
	}
}

// BenchmarkDriftTenYearsHourly is the whole command: 87,600 checks read, worked out and written.
func BenchmarkDriftTenYearsHourly(b *testing.B) {
	var csv strings.Builder
	csv.WriteString(drift.CSVHeader + "\n")
	begin := time.Date(2016, 1, 4, 0, 0, 0, 0, time.UTC)
	for k := range 87600 {
		x := float64(k*7919%1009-504) / 504 * 0.007
		fmt.Fprintf(&csv, "%s,%.5f,0.003,%.5f,0.003,,\n", begin.Add(time.Duration(k)*time.Hour).Format(time.RFC3339),
			0.01+x, -0.01-x*float64(k%7-3)/3)
	}
	path := filepath.Join(b.TempDir(), "ten.csv")
	if err := os.WriteFile(path, []byte(csv.String()), 0o600); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var out, errOut discard
		if status := run(context.Background(), []string{"drift", "--json", "--tolerance", "0.02/300", path}, nil, &out,
			&errOut); status != exitDone {
			b.Fatalf("status %d", status)
		}
	}
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }
