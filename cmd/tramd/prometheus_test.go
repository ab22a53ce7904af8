package main

import (
	"path/filepath"
	"testing"

	"tramd/dashboards/promtest"
)

// A real daemon on real ptys, a real Prometheus with the rules of the house: the readings come through, nothing that is
// well raises an alarm, every question of the dashboards is understood, and a cable that is pulled is on its way to
// one.
func TestPrometheusLooksAfterTheDaemon(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.3", "--nod", "-0.2", "--rate", "100", "--encoder-rate", "100", "--seconds", "600")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	p := promtest.Start(t, "../../dashboards/rules/tramd.yml", s.page)

	p.Wait(t, `tramd_device_up == 1`, func(got []promtest.Sample) bool { return len(got) == 2 })
	p.Wait(t, `rate(tramd_readings_total[5s]) > 50`, func(got []promtest.Sample) bool { return len(got) == 2 })
	for _, board := range []string{"tramd-machine.json", "tramd-fleet.json"} {
		for _, q := range promtest.Questions(t, filepath.Join("../../dashboards/grafana", board), "linnet") {
			if _, err := p.Ask(q); err != nil {
				t.Errorf("%s: %v", board, err)
			}
		}
	}
	if firing, err := p.Ask(`ALERTS{alertstate="firing"}`); err != nil || len(firing) != 0 {
		t.Errorf("alarms with nothing wrong: %v, %v", firing, err)
	}

	m.end()
	p.Wait(t, `ALERTS{alertname="TramdDeviceLost",alertstate="pending"}`, func(got []promtest.Sample) bool {
		return len(got) == 2
	})
}
