package session

import (
	"context"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
)

// Gauge is an indicator as it stands now.
type Gauge struct {
	Name string
	Live bool    // its port is live and its reading is fresh
	MM   float64 // where Live; two lines of a stream must agree on it
}

// Gauges returns every indicator of the setup.
func (s *Session) Gauges(ctx context.Context) ([]Gauge, error) {
	var out []Gauge
	err := s.ask(ctx, func() {
		now := device.Now()
		for i, r := range s.o.Indicators {
			g := Gauge{Name: s.o.Setup.Indicators[i].Name, MM: s.latest[i].agreed().MM()}
			fresh := s.latest[i].at != 0 && now-s.latest[i].at < device.Stamp(staleAfter)
			if r.Device >= 0 && r.Device < len(s.o.Ports) {
				st := s.o.Ports[r.Device].Status()
				fresh = fresh && st.State == device.StateLive && st.Talk != device.Silent
			}
			g.Live = fresh
			out = append(out, g)
		}
	})
	return out, err
}

// SetCheck shows how the unattended checks stand.
func (s *Session) SetCheck(c api.CheckState) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() { s.check = &c })
}
