package main

import (
	"encoding/json"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/doctor"
)

func TestTheDoctorsStatusFollowsTheGravestFinding(t *testing.T) {
	fine := doctor.Finding{Check: "clock", Status: doctor.Warning, Text: "not set", Cure: "set it"}
	ill := doctor.Finding{Check: "disk", Status: doctor.Wrong, Text: "full", Cure: "free some"}
	var out strings.Builder
	if err := (&doctorCmd{}).tell(&env{out: &out}, []doctor.Finding{fine}); err != nil ||
		!strings.Contains(out.String(), "warning  clock: not set\n         cure: set it\n") {
		t.Errorf("%v\n%s", err, out.String())
	}
	out.Reset()
	if err := (&doctorCmd{JSON: true}).tell(&env{out: &out}, []doctor.Finding{fine, ill}); statusOf(
		err, &out) != exitFailed {
		t.Errorf("%v", err)
	}
	var f doctor.Finding
	if lines := strings.Split(strings.TrimSpace(out.String()), "\n"); len(lines) != 2 ||
		json.Unmarshal([]byte(lines[1]), &f) != nil || f != ill {
		t.Errorf("%q", out.String())
	}
}

// The whole command beside a running daemon, whose ports are not there.
func TestTheDoctorSeesARunningDaemonAndItsMissingPorts(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.daemon(t)
	status, out, errOut := call(t, "doctor", "--config", s.config)
	if status != exitFailed || !strings.Contains(out, "ok       daemon: the daemon answers") ||
		!strings.Contains(out, "wrong    port of arm: /dev/none-1 is not there") ||
		!strings.Contains(out, "ok       record:") {
		t.Errorf("status %d\n%s%s", status, out, errOut)
	}
}
