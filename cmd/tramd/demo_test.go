package main

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	neturl "net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/sim"
	"tramd/sweep/drift"
)

// Knocks and repairs go on for ever: no adjuster is ever asked to go further than it does.
func TestKnocksAreNeverBeyondWhatTheAdjustersMend(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	swung, packed := 0.0, 0.0
	sides := map[[2]bool]int{}
	for range 2000 {
		tilt, nod := knocked(rng, swung, packed)
		if math.Abs(tilt) > 0.6 || math.Abs(nod) > 0.6 || math.Abs(tilt) < 0.2 || math.Abs(nod) < 0.2 {
			t.Fatalf("a knock by %v, %v mm/m", tilt, nod)
		}
		sides[[2]bool{tilt > 0, nod > 0}]++
		swung = math.Round(1e4*swung-1e4*tilt/demoSwing) / 1e4
		packed = math.Round(100*packed-100*nod/demoShim) / 100
		if math.Abs(swung) > demoTravel["swing"] || math.Abs(packed) > demoTravel["lower shim"] {
			t.Fatalf("swung by %v mm, packed by %v mm", swung, packed)
		}
	}
	for side, n := range sides {
		if n < 300 {
			t.Errorf("knocks to %v: %d", side, n)
		}
	}
}

// The visitor moves the simulated head on its page: the readings follow at once, what he then logs does not move it
// again, and no adjuster goes further than it does.
func TestTheVisitorMovesTheSimulatedHead(t *testing.T) {
	t.Parallel()
	machine, err := sim.Start(t.Context(), sim.Linnet())
	if err != nil {
		t.Fatal(err)
	}
	defer machine.Close()
	var entry map[string]float64
	head := newDemoHead(machine, func(_ context.Context, moved map[string]float64) error { entry = moved; return nil })
	addr, err := head.serve(t.Context(), "127.0.0.1:0", "http://127.0.0.1:1/")
	if err != nil {
		t.Fatal(err)
	}
	url := "http://" + addr.String()
	post := func(path string, form neturl.Values) (int, string) {
		t.Helper()
		r, err := http.PostForm(url+path, form)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return r.StatusCode, string(text)
	}
	before := machine.Truth()
	code, text := post("/move", neturl.Values{"adjuster": {"swing"}, "by": {"+0.02"}})
	if after := machine.Truth(); code != 200 ||
		math.Abs(after.TiltMMPerM-before.TiltMMPerM-0.97*0.02*demoSwing) > 1e-9 {
		t.Errorf("%d: tilt went from %v to %v", code, before.TiltMMPerM, after.TiltMMPerM)
	}
	if !strings.Contains(text, "at &#43;0.020 mm") || !strings.Contains(text, "&#43;0.020 mm since") {
		t.Error(text)
	}
	moved := machine.Truth()
	if code, _ := post("/log", nil); code != 200 || entry["swing"] != 0.02 {
		t.Errorf("%d, logged %v", code, entry)
	}
	if head.logged(entry); machine.Truth() != moved {
		t.Error("what was logged moved the head a second time")
	}
	if head.logged(map[string]float64{"swing": -0.02}); math.Abs(machine.Truth().TiltMMPerM-before.TiltMMPerM) > 1e-9 {
		t.Error("a move that was only logged did not move the head")
	}
	head.logged(map[string]float64{"lower shim": 50, "clamp": 3, "swing": math.NaN()})
	if swung, packed, _ := head.adjusted(); packed != demoTravel["lower shim"] || swung != 0 {
		t.Errorf("swung %v, packed %v mm", swung, packed)
	}
	for path, form := range map[string]neturl.Values{"/move": {"adjuster": {"clamp"}, "by": {"1"}},
		"/turn": {"to": {"Inf"}}} {
		if code, _ := post(path, form); code != 400 {
			t.Errorf("%s %v: %d", path, form, code)
		}
	}
	if code, text := post("/log", nil); code != 400 || !strings.Contains(text, "nothing was moved") {
		t.Errorf("%d %s", code, text)
	}
	post("/turn", neturl.Values{"to": {"90"}})
	<-machine.TurnDone()
	if at := math.Remainder(machine.Angle()-90, 360); math.Abs(at) > 1e-6 {
		t.Errorf("the arm stands %v degrees beside the back", at)
	}
}

func TestNextPort(t *testing.T) {
	for listen, want := range map[string]string{
		"127.0.0.1:9743": "127.0.0.1:9744", "127.0.0.1:0": "127.0.0.1:0", "[::1]:80": "[::1]:81", ":9743": ":9744",
		"127.0.0.1": "", "127.0.0.1:http": "", "127.0.0.1:65535": "", "127.0.0.1:-1": "",
	} {
		if got, err := nextPort(listen); got != want || (err == nil) != (want != "") {
			t.Errorf("%s: %q, %v; want %q", listen, got, err, want)
		}
	}
	if status, _, errOut := call(t, "demo", "--seconds", "NaN"); status != exitUsage ||
		!strings.Contains(errOut, "--seconds NaN") {
		t.Errorf("NaN seconds: status %d, %s", status, errOut)
	}
}

// The year on wren's record is enough to name a date, and its slow tilt is seen.
func TestAYearOfWrenNamesADate(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	p := sim.Wren()
	machine, err := sim.Start(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	defer machine.Close()
	file := filepath.Join(dir, "wren.toml")
	cfg, err := demoConfig(file, "wren", dir, "127.0.0.1:0", machine, p)
	if err != nil {
		t.Fatal(err)
	}
	if err := writeYear(t.Context(), cfg, p, sim.WrenYear(time.Now()), slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "drift", "--config", file, "--json")
	var got struct {
		Checks []struct {
			Axis map[string]struct {
				Rate float64 `json:"rate_mm_per_m_per_day"`
			}
		}
		Next *struct{ Days float64 } `json:"next_check"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("status %d, %v: %s%s", status, err, out, errOut)
	}
	const truth = 0.00065 / 7 // mm/m a day
	if len(got.Checks) != 52 || got.Next == nil || got.Next.Days <= 0 {
		t.Fatalf("%d checks, next %+v", len(got.Checks), got.Next)
	}
	if rate := got.Checks[51].Axis[drift.Axes[0]].Rate; math.Abs(rate-truth) > truth/2 {
		t.Errorf("tilt moves by %.6f mm/m a day, truth %.6f", rate, truth)
	}
}
