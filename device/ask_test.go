package device

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
)

// instrumentOf plays an instrument that answers questions. answer gives what it says, after how long; nil is silence.
func instrumentOf(t *testing.T, l *devicetest.Line, answer func(question []byte) ([]byte, time.Duration)) {
	go func() {
		buf := make([]byte, 256)
		for {
			n, err := l.Far().Read(buf)
			if errors.Is(err, os.ErrClosed) {
				return // unplugged, or the test is over
			}
			if err != nil { // nobody has opened the other end yet
				time.Sleep(time.Millisecond)
				continue
			}
			if out, wait := answer(bytes.Clone(buf[:n])); out != nil {
				time.Sleep(wait)
				_ = l.TryWrite(out)
			}
		}
	}()
}

func TestAskedInTurn(t *testing.T) {
	l := devicetest.Open(t)
	instrumentOf(t, l, func(q []byte) ([]byte, time.Duration) {
		switch string(q) {
		case "A\r":
			return []byte("0.1\r\n"), 5 * time.Millisecond
		case "B\r":
			return []byte("0.2\r\n"), 5 * time.Millisecond
		}
		return []byte("?\r\n"), 0
	})
	capture := filepath.Join(t.TempDir(), "asked.log")
	r := start(t, Spec{Port: l.Path, Capture: capture, Asking: Asking{
		Asks:  []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}},
		Every: 10 * time.Millisecond, Answer: 5 * time.Second,
	}})
	wait(t, "ten readings", func() bool { return r.Status().Readings >= 10 })
	r.stop()
	got := r.all()
	soon := 0
	for i, s := range got {
		want := []string{"left", "right"}[i%2]
		if s.Channel != want || s.Value != int64(100_000+100_000*(i%2)) || s.Asked == 0 || s.At <= s.Asked {
			t.Errorf("reading %d: %+v, want one of %s", i, s, want)
		}
		if s.At-s.Asked < Stamp(4*time.Millisecond) {
			soon++
		}
	}
	if soon > len(got)/3 { // a busy computer may stamp a question once it is on its way
		t.Errorf("%d of %d answers came in less than the instrument takes", soon, len(got))
	}
	st := r.Status()
	if st.AnswerDelay < 4*time.Millisecond || st.Answered < 10 || st.Asked < st.Answered {
		t.Errorf("status %+v", st)
	}
	again := start(t, Spec{Port: "replay:" + capture, ReplayFast: true, Asking: r.Spec().Asking})
	<-again.Ended()
	replayed := again.all()
	if len(replayed) != len(got) {
		t.Fatalf("%d readings replayed, %d live", len(replayed), len(got))
	}
	for i := range got {
		if got[i].Value != replayed[i].Value || got[i].Channel != replayed[i].Channel {
			t.Errorf("reading %d: %v replayed, %v live", i, replayed[i], got[i])
		}
	}
}

// TestALateAnswerIsNobodys: an answer behind its time must not become the answer to the next question. It may be late
// by as long again as an answer may take.
func TestALateAnswerIsNobodys(t *testing.T) {
	l := devicetest.Open(t)
	instrumentOf(t, l, func(q []byte) ([]byte, time.Duration) {
		if string(q) == "A\r" {
			return []byte("0.1\r\n"), 700 * time.Millisecond
		}
		return []byte("0.2\r\n"), 0
	})
	r := start(t, Spec{Port: l.Path, Asking: Asking{
		Asks:  []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}},
		Every: 10 * time.Millisecond, Answer: 600 * time.Millisecond,
	}})
	wait(t, "three of the other", func() bool {
		st := r.Status()
		return st.Readings >= 3 && st.Faults["no_answer"] >= 3
	})
	wait(t, "the complaint", func() bool {
		return strings.Contains(r.Status().Err, "the indicator left has not answered the last")
	})
	r.stop()
	for _, s := range r.all() {
		if s.Channel != "right" || s.Value != 200_000 {
			t.Errorf("reading %+v of a question that was given up", s)
		}
	}
	if r.Status().Faults["unasked"] == 0 {
		t.Errorf("the late answers were not counted: %v", r.Status().Faults)
	}
}

func TestAskedOnDemand(t *testing.T) {
	l := devicetest.Open(t)
	instrumentOf(t, l, func([]byte) ([]byte, time.Duration) { return []byte{0xA5, 1, 0, 0, 0x80}, 0 })
	r := start(t, Spec{
		Port: l.Path, Frame: frame.FrameBinary, Binary: &frame.Binary{Layout: "A5 value", Bits: 32, Order: "low_first",
			Sign: "offset", Scale: "1 um"},
		Asking: Asking{Asks: []frame.Ask{{Request: "\x05"}}, OnDemand: true},
	})
	r.wait(t, StateSettling)
	time.Sleep(100 * time.Millisecond)
	if st := r.Status(); st.Asked != 0 {
		t.Fatalf("asked %d times before anyone wanted", st.Asked)
	}
	for i := range 5 {
		r.Ask()
		wait(t, "the answer", func() bool { return r.Status().Readings == uint64(i+1) })
	}
	if st := r.Status(); st.Asked != 5 || st.Answered != 5 || st.Err != "" {
		t.Errorf("status %+v", st)
	}
}

func TestModbusOnAPort(t *testing.T) {
	l := devicetest.Open(t)
	mute := false
	instrumentOf(t, l, func(q []byte) ([]byte, time.Duration) {
		if len(q) != 8 || mute {
			return nil, 0
		}
		switch q[3] {
		case 1:
			return devicetest.Seal([]byte{q[0], q[1], 2, 0xCF, 0xC7}), 0
		case 2:
			return devicetest.Seal([]byte{q[0], q[1], 4, 0x3F, 0xC0, 0, 0}), 0
		}
		return devicetest.Seal([]byte{q[0], q[1] | 0x80, 2}), 0
	})
	r := start(t, Spec{Port: l.Path, Frame: frame.FrameModbus, Registers: []frame.Register{
		{Address: 1, Register: 1, Type: "int16", Scale: "0.001 mm", Channel: "low"},
		{Address: 2, Function: 4, Register: 2, Type: "float32", Scale: "1 mm", Channel: "high"},
		{Address: 2, Register: 3, Type: "int16", Scale: "1 mm", Channel: "none"},
	}, Asking: Asking{Every: 5 * time.Millisecond}})
	wait(t, "readings and a refusal", func() bool {
		st := r.Status()
		return st.Readings >= 6 && st.Faults["refused"] >= 2
	})
	for _, s := range r.all() {
		if want := map[string]int64{"low": -12_345_000, "high": 1_500_000}[s.Channel]; s.Value != want {
			t.Errorf("read %+v, want %d", s, want)
		}
	}
	if st := r.Status(); !strings.Contains(st.Err, "it has no such register") {
		t.Errorf("the refusal is not told: %q", st.Err)
	} else if len(st.Unanswered) != 1 || st.Unanswered["none"] != st.Err {
		t.Errorf("the refusal is not said of its channel: %q", st.Unanswered)
	}
}

func TestAskingMistakes(t *testing.T) {
	for _, tc := range []struct {
		spec Spec
		want string
	}{
		{Spec{Asking: Asking{Every: time.Second}}, "write ask"},
		{Spec{Asking: Asking{Asks: []frame.Ask{{}}}}, "1 to 256 bytes"},
		{Spec{Asking: Asking{Asks: []frame.Ask{{Request: "?"}}, Every: -1}}, "positive"},
		{Spec{Frame: "modbus", Registers: []frame.Register{{Address: 1, Type: "int16", Scale: "1 um"}},
			Asking: Asking{Asks: []frame.Ask{{Request: "?"}}}}, "its own questions"},
		{Spec{Frame: "binary"}, "is not described"},
		{Spec{Line: "9N1"}, "write data bits"},
	} {
		tc.spec.Name, tc.spec.Role, tc.spec.Port = "arm", frame.RoleIndicator, "/dev/x"
		_, err := New(0, tc.spec, func(Batch) {}, nil)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %v; want %q", tc.spec, err, tc.want)
		}
	}
}
