package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/units"
)

const moveLog = `{"tolerance":"0.03/300",
 "adjusters":[{"name":"swing","unit":"mm","tilt_mm_per_m":4.2,"nod_mm_per_m":0,"step":0},
              {"name":"lower shim","unit":"mm","tilt_mm_per_m":0,"nod_mm_per_m":7.1,"step":0.05,
               "plus":"pack {} behind the lower bolts","minus":"take {} out from behind the lower bolts","loosens_head":true}],
 "history":[{"tilt_mm_per_m":0.9,"nod_mm_per_m":-0.6,"u_mm_per_m":0.01,"moved":{"swing":-0.2}},
            {"tilt_mm_per_m":0.2,"nod_mm_per_m":-0.7,"u_mm_per_m":0.01}]}`

func TestAdviseSaysTheNextMove(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.json")
	if err := os.WriteFile(path, []byte(moveLog), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "advise", "--json", path)
	if status != exitDone {
		t.Fatalf("status %d: %s", status, errOut)
	}
	// The names other programs rely on, none missing and none null.
	var answer map[string]json.RawMessage
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"done", "moves", "expected", "learned", "cautions", "warnings", "why", "verdict"} {
		if v := string(answer[key]); v == "" || v == "null" {
			t.Errorf("%s is %q", key, v)
		}
	}
	var moves []struct {
		Adjuster, Unit string
		By             *float64
	}
	if err := json.Unmarshal(answer["moves"], &moves); err != nil || len(moves) != 2 {
		t.Fatalf("%s: %v", answer["moves"], err)
	}
	for _, m := range moves {
		if m.By == nil || m.Unit != "mm" || (m.Adjuster == "swing") != (*m.By < 0) {
			t.Errorf("%s by %v %s", m.Adjuster, m.By, m.Unit)
		}
	}
	// For a person: the owner's words, and the cautions before the moves.
	status, out, _ = call(t, "advise", path)
	pack, support := strings.Index(out, "Pack 0.1 mm behind the lower bolts."), strings.Index(out, "Support the head")
	if status != exitDone || pack < 0 || support < 0 || support > pack {
		t.Errorf("status %d:\n%s", status, out)
	}
}

func TestAdviseRefusesALogThatCannotBeMeant(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.json")
	if err := os.WriteFile(path, []byte(strings.Replace(moveLog, `"swing":-0.2`, `"swnig":-0.2`, 1)),
		0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "advise", "--json", path)
	if status != exitFailed || out != "" || !strings.Contains(errOut, path+": line 5: history[0].moved") {
		t.Errorf("status %d, %q, %q", status, out, errOut)
	}
	if status, _, _ := call(t, "advise", filepath.Join(t.TempDir(), "none.json")); status != exitFailed {
		t.Errorf("status %d for no file", status)
	}
}

const shopAdjusters = `
[[adjuster]]
name = "swing"
kind = "swing"
lever_mm = 240.0
leans = "right"
pivot_mm = -30.0
[[adjuster]]
name = "lower shim"
kind = "shim"
spacing_mm = 140.0
leans = "back"
[shims]
stock_mm = [0.01, 0.02, 0.05]
[[cutter]]
name = "6 mm end mill"
diameter_mm = 6.0
stepover_mm = 3.0
`

// addTo appends to the shop's configuration.
func (s shop) addTo(t *testing.T, text string) {
	t.Helper()
	have, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.config, append(have, text...), 0o600); err != nil {
		t.Fatal(err)
	}
}

// storeSweep puts a finished sweep into the shop's record.
func (s shop) storeSweep(t *testing.T, tilt, nod float64) {
	t.Helper()
	cfg, err := config.Load(s.config)
	if err != nil {
		t.Fatal(err)
	}
	db, err := store.Open(t.Context(), cfg.Store.Path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	id, err := db.BeginRun(t.Context(), store.NewRun{Kind: "sweep", Purpose: "adjust", Setup: cfg.Setup(),
		StartedAt: time.Now(), ClockSet: true})
	if err != nil {
		t.Fatal(err)
	}
	axis := func(mmPerM float64) *sweep.Axis {
		return &sweep.Axis{Slope: units.Slope(mmPerM) * units.MMPerM, U: 0.003 * units.MMPerM,
			Expanded: 0.006 * units.MMPerM, Verdict: sweep.Outside}
	}
	nan := math.NaN()
	r := sweep.Result{Model: "plain", Tilt: axis(tilt), Nod: axis(nod), Verdict: sweep.Outside, ClosureMM: nan,
		ResidualRMSMM: nan, FormPVMM: nan, DoF: nan}
	if err := db.FinishRun(t.Context(), id, store.Finished, time.Now(), "", &r); err != nil {
		t.Fatal(err)
	}
}

type advised struct {
	Done      bool
	MustSweep bool `json:"must_sweep"`
	Moves     []struct {
		Adjuster string
		By       float64
	}
	Job []struct {
		Run   int64
		Moved map[string]float64
	}
	Aims []struct {
		Adjuster, Indicator string
		SpindleDeg          float64 `json:"spindle_deg"`
		ChangeMM            float64 `json:"change_mm"`
	}
	Cutters  []struct{ Cutter string }
	Warnings []struct{ Code string }
}

// Sweeps in the record, moves logged by the command, and the advice of the daemon: the same as that of the record.
func TestTheDaemonAdvisesFromItsRecord(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(t, shopAdjusters)
	s.storeSweep(t, 0.9, -0.6)
	ask := func() advised {
		t.Helper()
		text := get(t, "http://"+s.page+"/api/v1/advice")
		status, out, errOut := call(t, "advise", "--config", s.config, "--json")
		if status != exitDone || strings.TrimSpace(out) != strings.TrimSpace(text) {
			t.Fatalf("status %d: %s\nrecord %s\ndaemon %s", status, errOut, out, text)
		}
		var a advised
		if err := json.Unmarshal([]byte(text), &a); err != nil {
			t.Fatal(err)
		}
		return a
	}
	d := s.daemon(t)
	a := ask()
	if a.Done || a.MustSweep || len(a.Moves) != 2 || a.Moves[0].By >= 0 || len(a.Job) != 1 || len(a.Cutters) != 1 {
		t.Fatalf("%+v", a)
	}
	// The pivot of the swing lies 30 mm to the left, so the arm to the right shows it at 150 mm: by about 150 mm * 0.9
	// mm/m, downwards, since the upper end goes to the left. The shim's is under the spindle.
	if x := a.Aims; len(x) != 2 || x[0].SpindleDeg != 0 || math.Abs(x[0].ChangeMM+0.150*0.9) > 0.03 ||
		x[1].SpindleDeg != 90 || math.Abs(x[1].ChangeMM-0.120*0.6) > 0.02 {
		t.Errorf("%+v", x)
	}
	for _, wrong := range [][]string{{"--move", "swnig=-0.2"}, {"--move", "swing=1e9"}} {
		if status, _, errOut := call(t, append([]string{"event", "--config", s.config, "adjusted"},
			wrong...)...); status != exitFailed || !strings.Contains(errOut, "moved:") {
			t.Errorf("%v: status %d, %s", wrong, status, errOut)
		}
	}
	if status, _, _ := call(t, "event", "--config", s.config, "note", "--move", "swing=-0.2"); status != exitUsage {
		t.Errorf("a note with a move: status %d", status)
	}
	if status, _, errOut := call(t, "event", "--config", s.config, "adjusted", "--move", "swing=-0.2", "--move",
		"lower shim=0.05", "first"); status != exitDone {
		t.Fatal(errOut)
	}
	if _, out, errOut := call(t, "event", "list", "--config", s.config); !strings.Contains(
		out, "first (lower shim by +0.05 mm, swing by -0.2 mm)") {
		t.Errorf("the list of events: %s%s", out, errOut)
	}
	inches := filepath.Join(s.dir, "inches.toml")
	if text, err := os.ReadFile(s.config); err != nil ||
		os.WriteFile(inches, append(text, "\n[display]\nunits = \"inch\"\n"...), 0o600) != nil {
		t.Fatal(err)
	}
	if _, out, errOut := call(t, "event", "list", "--config", inches); !strings.Contains(
		out, "lower shim by +0.0020 in, swing by -0.008 in)") {
		t.Errorf("the list of events in inches: %s%s", out, errOut)
	}
	if a = ask(); !a.MustSweep || a.Done || len(a.Moves) != 0 || a.Job[0].Moved["lower shim"] != 0.05 ||
		a.Warnings[0].Code != "measure_first" {
		t.Errorf("%+v", a)
	}
	if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	d.wait()
	s.storeSweep(t, 0.2, -0.3)
	s.daemon(t)
	if a = ask(); a.MustSweep || len(a.Moves) != 2 || len(a.Job) != 2 || a.Job[0].Moved["swing"] != -0.2 {
		t.Errorf("%+v", a)
	}
	status, out, _ := call(t, "advise", "--config", s.config)
	if status != exitDone || !strings.Contains(out, "upper end to the left") ||
		!strings.Contains(out, "6 mm end mill") || !strings.Contains(out, "Support the head") {
		t.Errorf("status %d:\n%s", status, out)
	}
}

func TestAdviceBeforeAnythingIsKnown(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.daemon(t)
	var a advised
	if err := json.Unmarshal([]byte(get(t, "http://"+s.page+"/api/v1/advice")), &a); err != nil {
		t.Fatal(err)
	}
	if a.Done || len(a.Moves) != 0 || a.Warnings[0].Code != "nothing_measured" {
		t.Errorf("%+v", a)
	}
	for _, args := range [][]string{{"advise"}, {"advise", "--config", s.config, "-"}} {
		if status, _, _ := call(t, args...); status != exitUsage {
			t.Errorf("%v: status %d", args, status)
		}
	}
}
