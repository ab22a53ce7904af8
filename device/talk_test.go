package device

import (
	"testing"
	"testing/synctest"
	"time"

	"tramd/device/frame"
)

// spoken is a device of a made-up port that is open, whose readings the test delivers.
func spokenDevice(t *testing.T, spec Spec) *Device {
	t.Helper()
	spec.Name, spec.Port = "arm", "/dev/none"
	if spec.Role == 0 {
		spec.Role = frame.RoleIndicator
	}
	d, err := New(0, spec, func(Batch) {}, nil)
	if err != nil {
		t.Fatal(err)
	}
	d.become(StateSettling, "")
	return d
}

func (d *Device) speak(n int, every time.Duration) {
	for range n {
		time.Sleep(every)
		d.deliver([]Sample{{At: Now(), Kind: frame.Length}}, 0)
	}
}

// An instrument that stops sending while its port stays open was live for ever: up, healthy, and no alarm.
func TestAnInstrumentThatStopsSendingIsSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := spokenDevice(t, Spec{})
		if s := d.Status(); s.Talk != "" || s.Up() {
			t.Errorf("just opened: %+v", s)
		}
		d.speak(100, 100*time.Millisecond)
		if s := d.Status(); s.Talk != Talking || !s.Up() || s.Err != "" {
			t.Errorf("sending: %+v", s)
		}
		time.Sleep(1900 * time.Millisecond)
		if s := d.Status(); s.Talk != Talking {
			t.Errorf("a short silence: %+v", s)
		}
		time.Sleep(386 * time.Second)
		if s := d.Status(); s.Talk != Silent || s.Up() || s.State != StateLive || s.Err == "" {
			t.Errorf("386 s without a byte: %+v", s)
		}
		d.speak(1, time.Millisecond)
		if s := d.Status(); s.Talk != Talking || s.Err != "" {
			t.Errorf("sending again: %+v", s)
		}
	})
}

// A slow instrument is silent by its own measure, one that never spoke after the stale time.
func TestSilenceGoesByTheInstrumentsOwnPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := spokenDevice(t, Spec{})
		slow.speak(20, 3*time.Second)
		time.Sleep(10 * time.Second)
		if s := slow.Status(); s.Talk != Talking {
			t.Errorf("one reading every 3 s, 10 s of silence: %+v", s)
		}
		time.Sleep(10 * time.Second)
		if s := slow.Status(); s.Talk != Silent {
			t.Errorf("one reading every 3 s, 20 s of silence: %+v", s)
		}
		mute := spokenDevice(t, Spec{})
		time.Sleep(3 * time.Second)
		if s := mute.Status(); s.Talk != Silent || s.Up() || s.Err == "" {
			t.Errorf("one that never spoke: %+v", s)
		}
	})
}

// A foot switch that nobody touches, and an instrument that sends when it likes, are not silent.
func TestSilenceThatMeansNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for name, spec := range map[string]Spec{
			"foot switch": {Role: frame.RoleTrigger}, "index pulses": {Role: frame.RoleAngle, Frame: frame.FramePulse},
			"sends at times":  {AtTimes: true},
			"asked on demand": {Asking: Asking{Asks: []frame.Ask{{Request: "?"}}, OnDemand: true}},
		} {
			d := spokenDevice(t, spec)
			time.Sleep(10 * time.Minute)
			if s := d.Status(); s.Talk != NotExpected || !s.Up() || s.Err != "" {
				t.Errorf("%s: %+v", name, s)
			}
		}
	})
}

// A port that is not open says nothing of the instrument.
func TestAPortThatIsNotOpenHasNoTalk(t *testing.T) {
	d := spokenDevice(t, Spec{})
	for _, state := range []State{StateAbsent, StateOpening, StateLost} {
		d.become(state, "away")
		if s := d.Status(); s.Talk != "" || s.Up() {
			t.Errorf("%s: %+v", state, s)
		}
	}
}
