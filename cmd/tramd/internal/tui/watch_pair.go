package tui

import (
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// pairRows tells what the pair of opposite indicators reads now.
func pairRows(s *api.Snapshot) []string {
	p := s.Pair
	if p == nil {
		return nil
	}
	zero := fmt.Sprintf("zeroed by %s %d %s ago", p.Kind, p.Run, lasted(s.At.Sub(p.At)))
	if p.MMPerM == nil {
		return []string{fmt.Sprintf("%-12s %s; %s", "pair", p.Why, zero)}
	}
	rows := []string{
		fmt.Sprintf("%-12s %+.3f ±%.3f mm/m towards %.0f° (%s less %s %+.4f mm)", "pair", *p.MMPerM, p.Half, *p.Deg,
			p.First, p.Less, p.DiffMM),
		fmt.Sprintf("%-12s %s", "", zero),
	}
	if p.AgeS != nil {
		rows[0] += fmt.Sprintf(", read %.1f s ago", *p.AgeS)
	}
	if math.Abs(p.Lag) > p.Half/10 {
		rows[0] += fmt.Sprintf(", of it %+.3f mm/m is what the readings lag behind", p.Lag)
	}
	if p.Told {
		rows[1] += ", as long as the bar stays there"
	}
	for _, a := range []struct {
		name string
		axis *api.PairAxis
	}{{"tilt", p.Tilt}, {"nod", p.Nod}} {
		if a.axis != nil {
			rows = append(rows, fmt.Sprintf("%-12s %-4s %+.3f ±%.3f mm/m, %s ago", "", a.name, a.axis.MMPerM,
				a.axis.Half, lasted(s.At.Sub(a.axis.At))))
		}
	}
	return rows
}

// lasted writes a time span as people say it.
func lasted(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", max(d, 0).Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
