package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// An encoder that is not ours loses counts in the middle of the second turn; its index mark tells.
func TestLostCountsOfAnEncoderThatIsNotOurs(t *testing.T) {
	t.Parallel()
	t.Run("a few", func(t *testing.T) { t.Parallel(); loseCounts(t, "560:35") }) // 3 degrees: no more than a hand does
	// 26 degrees: a jump, known as one at once
	t.Run("many", func(t *testing.T) { t.Parallel(); loseCounts(t, "560:300") })
}

func loseCounts(t *testing.T, lose string) {
	m := startOther(t, "--tilt", "0.45", "--nod", "-0.62", "--rate", "200", "--encoder-rate", "250", "--seconds", "9",
		"--turns", "4.05",
		"--index", "index", "--lose", lose, "--noise", "0.001")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder)+"index_mark = \"index\"\n")
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config, "--turns", "4", "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	waitState(t, s, "the doubt", func(snap *api.Snapshot) bool { return len(snap.Sweep.Doubts) > 0 })
	if got := sw.wait(); got != exitOutside {
		t.Errorf("status %d: %s", got, sw.err.String())
	}
	_, again, errOut := call(t, "refit", "1", "--config", s.config, "--json")
	for name, text := range map[string]string{"at the time": sw.out.String(), "from the record": again} {
		var r swept
		if err := json.Unmarshal([]byte(text), &r); err != nil || r.Tilt == nil || r.Nod == nil {
			t.Fatalf("%s: %v in %q %s", name, err, text, errOut)
		}
		// A busy computer stamps late and is some degrees off; 26 degrees would be 0.2 mm/m off.
		if math.Abs(r.Tilt.MMPerM-0.45) > 0.1 || math.Abs(r.Nod.MMPerM+0.62) > 0.1 {
			t.Errorf("%s: tilt %+v nod %+v", name, r.Tilt, r.Nod)
		}
		if !strings.Contains(text, sweep.DoubtMissedCounts) {
			t.Errorf("%s: nothing is said of the lost counts: %s", name, text)
		}
	}
}

// One whose counter starts again must not end in a result.
func TestAnEncoderThatStartsAnewEndsTheSweep(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "250", "--seconds", "5", "--turns", "2.05",
		"--restart", "500")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config, "--turns", "2")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	if got := sw.wait(); got != exitFailed ||
		!strings.Contains(sw.err.String(), "jumped further than an arm can turn") {
		t.Errorf("status %d: %s", got, sw.err.String())
	}
}
