package main

import (
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// An indicator whose battery is empty stays on an open port. It was live, up and healthy for ever.
func TestASilentIndicatorIsSeenEverywhere(t *testing.T) {
	t.Parallel()
	a := startHandArm(t, 0.2, -0.1, 0)
	s := newShop(t, strings.ReplaceAll(encoderPorts(a.indicator, a.encoder), "4096", "3600"))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	if text := get(t, "http://"+s.page+"/metrics"); !strings.Contains(
		text, `tramd_device_up{device="arm",machine="linnet"} 1`) {
		t.Errorf("up: %s", text)
	}
	a.mu.Lock()
	a.mute = true
	a.mu.Unlock()
	began := time.Now()
	waitState(t, s, "silence", func(snap *api.Snapshot) bool {
		return snap.Devices[0].State == api.StateSilent && strings.Contains(snap.Sweep.Say, "arm is silent")
	})
	t.Logf("seen after %v", time.Since(began).Round(100*time.Millisecond))
	text := get(t, "http://"+s.page+"/metrics")
	if !strings.Contains(text, `tramd_device_up{device="arm",machine="linnet"} 0`) ||
		!strings.Contains(text, `tramd_device_up{device="encoder",machine="linnet"} 1`) {
		t.Errorf("metrics: %s", text)
	}
	if health := get(t, "http://"+s.page+"/healthz"); !strings.Contains(
		health, `{"name":"arm","role":"indicator","state":"silent"}`) {
		t.Errorf("healthz: %s", health)
	}
	if _, out, _ := call(t, "watch", "--once", "--config", s.config); !strings.Contains(out, "silent") {
		t.Errorf("watch: %s", out)
	}
	if _, out, _ := call(t, "doctor", "--config", s.config); !strings.Contains(out, "device arm: silent") {
		t.Errorf("doctor: %s", out)
	}
	a.mu.Lock()
	a.mute = false
	a.mu.Unlock()
	waitState(t, s, "both ports live again", live)
}
