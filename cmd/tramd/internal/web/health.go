package web

import (
	"context"
	"net/http"
	"time"
)

type deviceHealth struct {
	Name  string `json:"name"`
	Role  string `json:"role"`
	State string `json:"state"`
}

// healthz is 200 while the daemon answers, what is measured can be kept and the record is whole, else 503. An absent
// device is shown but is no illness of the daemon.
func (s *server) healthz(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	snap, err := snapshot(ctx, s.Live)
	if err != nil {
		s.reply(w, http.StatusServiceUnavailable,
			map[string]any{"ok": false, "error": "the present state cannot be had: " + err.Error()})
		return
	}
	devices := make([]deviceHealth, 0, len(snap.Devices))
	for _, d := range snap.Devices {
		devices = append(devices, deviceHealth{d.Name, d.Role, d.State})
	}
	code, ok := http.StatusOK, snap.Store.OK && snap.Store.Damaged == ""
	if !ok {
		code = http.StatusServiceUnavailable
	}
	s.reply(w, code, map[string]any{"ok": ok, "store": snap.Store, "troubles": snap.Troubles, "clock": snap.Clock,
		"devices": devices})
}
