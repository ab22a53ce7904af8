package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A whole sweep by frames that are no lines: an indicator asked for a register, an encoder that sends bytes. The
// machine is a script that shares no code with tramd; its truth is in its flags.
func TestASweepByFramesThatAreNoLines(t *testing.T) {
	t.Parallel()
	const tilt, nod = 0.31, -0.22
	arm, encoder := freeLine(t), freeLine(t)
	if _, err := exec.LookPath("python3"); err != nil {
		t.Fatal("python3 is not installed: sudo apt-get install python3")
	}
	machine := exec.Command("python3", "../../testdata/peer/frames.py", fmtFloat(tilt), fmtFloat(nod))
	machine.ExtraFiles = []*os.File{arm.Far(), encoder.Far()}
	machine.Stderr = os.Stderr
	in, err := machine.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := machine.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		in.Close() // it ends by itself then
		if err := machine.Wait(); err != nil {
			t.Errorf("the machine: %v", err)
		}
	})
	s := newShop(t, fmt.Sprintf(`[[indicator]]
name = "arm"
port = %q
radius_mm = 120.0
radius_u_mm = 0.1
ask_every_ms = 10
[indicator.modbus]
address = 7
function = 4
register = 16
type = "float32"
order = "CDAB"
scale = "1 mm"
[angle]
source = "encoder"
port = %q
counts_per_turn = 4096
zero_deg = 0.0
[angle.binary]
layout = "C3 5A value check"
bits = 24
order = "high_first"
check = "crc16_modbus"
`, arm.Path, encoder.Path))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config, "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	if _, err := io.WriteString(in, "turn\n"); err != nil {
		t.Fatal(err)
	}
	if got := sw.wait(); got != exitOutside {
		t.Errorf("exit status %d: %s", got, sw.err.String())
	}
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil {
		t.Fatalf("%v in %q", err, sw.out.String())
	}
	if r.Tilt == nil || r.Nod == nil || math.Abs(r.Tilt.MMPerM-tilt) > 0.02 || math.Abs(r.Nod.MMPerM-nod) > 0.02 {
		t.Errorf("result %+v %+v %+v; the truth is %v and %v", r, r.Tilt, r.Nod, tilt, nod)
	}
	waitState(t, s, "the questions", func(snap *api.Snapshot) bool {
		return snap.Devices[0].Answered > 50 && snap.Devices[0].AnswerMS > 0
	})
}
