package daemon

import (
	"context"
	"fmt"
	"math"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/units"
)

// Aim is how far a parked arm's reading must go while one adjuster is loose.
type Aim struct {
	Adjuster   string  `json:"adjuster"`
	By         float64 `json:"by"`
	Indicator  string  `json:"indicator"`
	SpindleDeg float64 `json:"spindle_deg"` // where to park the arm, 0 right, 90 back
	ChangeMM   float64 `json:"change_mm"`   // of the reading, by what the adjuster is believed to do
	UMM        float64 `json:"u_mm"`        // standard uncertainty of that
	Say        string  `json:"say"`
}

// aim works out the aims of all moves. An arm that would stand over the pivot shows nothing and gets none.
func (a *Advice) aim(cfg *config.Config) {
	learned := map[string]advice.Learned{}
	for _, l := range a.Learned {
		learned[l.Adjuster] = l
	}
	pivots := map[string]advice.Pivot{}
	for _, x := range cfg.Adjusters {
		pivots[x.Name] = x.Pivot()
	}
	for _, m := range a.Moves {
		l := learned[m.Adjuster]
		tilt, nod := units.Slope(m.By*l.Tilt)*units.MMPerM, units.Slope(m.By*l.Nod)*units.MMPerM
		for _, ind := range cfg.Setup().Indicators {
			angle, shows := advice.Park(ind.RadiusMM, pivots[m.Adjuster], tilt, nod)
			if !shows {
				continue
			}
			arm := advice.Parked{Angle: angle, RadiusMM: ind.RadiusMM}
			aim := Aim{Adjuster: m.Adjuster, By: m.By, Indicator: ind.Name, SpindleDeg: math.Mod(sweep.Degrees(angle)-ind.PhaseDeg+720, 360),
				ChangeMM: arm.Travel(pivots[m.Adjuster], tilt, nod)}
			u := units.Slope(m.By*l.U) * units.MMPerM
			aim.UMM = math.Hypot(arm.Travel(pivots[m.Adjuster], u, 0), arm.Travel(pivots[m.Adjuster], 0, u))
			way := "up"
			if aim.ChangeMM < 0 {
				way = "down"
			}
			aim.Say = fmt.Sprintf("Park the arm at %.0f°. While %s is loose, bring the reading of %s %s by %.3f mm, then tighten and sweep again.",
				aim.SpindleDeg, m.Adjuster, ind.Name, way, math.Abs(aim.ChangeMM))
			a.Aims = append(a.Aims, aim)
		}
	}
}

// tightenings is how many of the last are gone by: a machine's screws and clamps change.
const tightenings = 50

// tightening is what the last tightenings did to a parked arm.
func (a *Advice) tightening(ctx context.Context, s *store.Store) error {
	seen, err := s.Tightenings(ctx, tightenings)
	if err != nil {
		return err
	}
	var c advice.Clamping
	for _, t := range seen {
		c.Saw(t.LooseMM, t.TightMM)
	}
	mm, sd := c.Expected()
	a.TighteningMM = mm
	if !math.IsNaN(sd) {
		a.TighteningSDMM = &sd
	}
	return nil
}
