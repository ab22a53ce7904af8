package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// Two indicators on one bar, each on a port of its own, are zeroed by a half turn; a head that is swung afterwards is
// seen without turning, and the half turn is a run like any other, but no check. Tilt 0.179 mm/m over 100 and 150 mm,
// by hand: the readings at the right are 0.0179 mm above and 0.0269 mm below their offsets.
func TestAHalfTurnByHandZeroesAPair(t *testing.T) {
	t.Parallel()
	offsets, radii := [2]float64{0.9, 0.6}, [2]float64{100, 150}
	var heights [2]chan float64
	ports := ""
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	for i, name := range []string{"near", "far"} {
		far, port := openPty(t)
		heights[i] = make(chan float64, 1)
		go dial(far, heights[i], make(chan bool), stop)
		ports += fmt.Sprintf("[[indicator]]\nname = %q\nport = %q\nradius_mm = %.1f\nphase_deg = %d\n", name, port,
			radii[i], 180*i)
	}
	s := newShop(t, ports+"[angle]\nsource = \"stations\"\n")
	stand := func(deg, tilt float64) {
		for i := range heights {
			heights[i] <- offsets[i] + radii[i]*tilt*math.Cos(deg*math.Pi/180+math.Pi*float64(i))
		}
	}
	stand(0, handTilt)
	s.daemon(t)
	waitState(t, s, "both indicators live", func(snap *api.Snapshot) bool {
		return live(snap) && snap.Paired && snap.Pair == nil
	})
	sw := program(t, "sweep", "--config", s.config, "--half-turn", "tilt", "--json")
	waitState(t, s, "the first reading", func(snap *api.Snapshot) bool {
		return len(snap.Sweep.Stations) == 2 && snap.Sweep.Stations[0].State == "taken"
	})
	stand(180, handTilt)
	status := sw.wait()
	var r struct {
		swept
		Pair struct {
			Indicator, Less string
			Zero            float64 `json:"zero_mm"`
			U               float64 `json:"u_mm"`
		}
	}
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil ||
		(status != exitOutside && status != exitUndecided) {
		t.Fatalf("status %d, %v in %q", status, err, sw.out.String())
	}
	if r.Run != 1 || r.Nod != nil || math.Abs(r.Tilt.MMPerM-1e3*handTilt) > 0.006 || r.Pair.Indicator != "near" ||
		r.Pair.Less != "far" ||
		math.Abs(r.Pair.Zero-0.3) > 0.0011 || !(r.Pair.U > 0.0005 && r.Pair.U < 0.006) {
		t.Errorf("%s", sw.out.String())
	}
	if said := sw.err.String(); !strings.Contains(said, "isolate the spindle's power") ||
		!strings.Contains(said, "near at 0° (right)") ||
		!strings.Contains(said, "half a turn by hand, near to 180° (left)") {
		t.Errorf("it said %s", said)
	}
	reads := func(want float64) {
		t.Helper()
		waitState(t, s, fmt.Sprintf("%+.3f mm/m along the bar", want), func(snap *api.Snapshot) bool {
			p := snap.Pair
			return p != nil && p.MMPerM != nil && math.Abs(*p.Deg-180) < 1e-6 && math.Abs(*p.MMPerM-want) < 0.006
		})
	}
	reads(-1e3 * handTilt)
	stand(180, 0.02e-3)
	reads(-0.02)
	time.Sleep(200 * time.Millisecond)
	_, watched, _ := call(t, "watch", "--config", s.config, "--once")
	_, listed, _ := call(t, "runs", "--config", s.config)
	_, again, _ := call(t, "refit", "--config", s.config, "1")
	_, drift, _ := call(t, "drift", "--config", s.config)
	for text, want := range map[string]string{watched: "zeroed by half-turn 1", listed: "half-turn",
		again: "pair  near less far reads 0.3"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	if strings.Contains(drift, "0.179") || strings.Contains(watched, "Run 1") {
		t.Errorf("a half turn passed for a check:\n%s\n%s", drift, watched)
	}
	status, watched, errOut := call(t, "watch", "--config", s.config, "--bar-moved", "--once")
	if status != 0 || strings.Contains(watched, "zeroed by") {
		t.Errorf("after the bar was moved: %d %s\n%s", status, errOut, watched)
	}
	if status, _, errOut := call(t, "sweep", "--config", s.config, "--half-turn", "yaw"); status != exitUsage ||
		!strings.Contains(errOut, "half-turn") {
		t.Errorf("of no axis: %d %s", status, errOut)
	}
}
