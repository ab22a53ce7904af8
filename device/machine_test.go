package device

import (
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
)

func TestAMachineIsAskedOverModbus(t *testing.T) {
	if _, err := New(0, Spec{Name: "x", Role: frame.RoleMachine, Port: "/dev/x", Frame: frame.FrameText},
		func(Batch) {}, nil); err == nil {
		t.Error("a machine that speaks in lines of text was taken")
	}
	if _, err := New(0, Spec{Name: "x", Role: frame.RoleMachine, Port: "/dev/x"}, func(Batch) {}, nil); err == nil {
		t.Error("a machine that is asked nothing was taken")
	}
}

// A signal and a counter of one controller, in turn, over a real line.
func TestSignalsAndCountersOnAPort(t *testing.T) {
	l := devicetest.Open(t)
	instrumentOf(t, l, func(q []byte) ([]byte, time.Duration) {
		switch {
		case len(q) != 8:
			return nil, 0
		case q[1] == 2:
			return devicetest.Seal([]byte{q[0], q[1], 1, 1}), 0
		}
		return devicetest.Seal([]byte{q[0], q[1], 4, 0, 0, 0x30, 0x39}), 0
	})
	r := start(t, Spec{Role: frame.RoleMachine, Port: l.Path, Registers: []frame.Register{
		{Address: 3, Register: 1, Type: "bit", Channel: "spindle"},
		{Address: 3, Function: 4, Register: 2, Type: "uint32", Scale: "0.1 h", Channel: "hours"},
	}, Asking: Asking{Every: 5 * time.Millisecond}})
	wait(t, "both", func() bool { return r.Status().Readings >= 4 })
	r.stop()
	for _, s := range r.all() {
		if want := map[string]Sample{"spindle": {Kind: frame.Level, Value: 1},
			"hours": {Kind: frame.RunTime, Value: 4444200000}}[s.Channel]; s.Kind != want.Kind ||
			s.Value != want.Value {
			t.Errorf("read %+v", s)
		}
	}
}
