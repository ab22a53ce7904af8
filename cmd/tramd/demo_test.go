package main

import (
	"encoding/json"
	"log/slog"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/sim"
	"tramd/sweep/drift"
)

// Knocks and repairs go on for ever: the shims that lie behind the bolts stay few.
func TestKnocksNeverAskForMoreShimsThanThereAre(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	packed, most := 0.0, 0.0
	sides := map[bool]int{}
	for range 2000 {
		tilt, nod := knocked(rng, packed)
		if math.Abs(tilt) > 0.6 || math.Abs(nod) > 0.6 || math.Abs(tilt) < 0.2 {
			t.Fatalf("a knock by %v, %v mm/m", tilt, nod)
		}
		sides[tilt > 0]++
		packed -= math.Round(nod/demoShim*100) / 100
		packed = math.Round(packed*100) / 100
		most = max(most, math.Abs(packed))
	}
	if most > 0.1 || min(sides[true], sides[false]) < 900 {
		t.Errorf("%.2f mm packed at the most; knocks to either side %v", most, sides)
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
	if status, _, errOut := call(t, "demo", "--seconds", "NaN"); status != exitUsage || !strings.Contains(errOut, "--seconds NaN") {
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
