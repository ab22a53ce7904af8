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
	Less       string  `json:"less,omitempty"` // a second indicator whose reading is taken off: the pivot then falls out
	SpindleDeg float64 `json:"spindle_deg"`    // where to park the arm, 0 right, 90 back
	ChangeMM   float64 `json:"change_mm"`      // of the reading, by what the adjuster is believed to do
	UMM        float64 `json:"u_mm"`           // standard uncertainty of that
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
		if inds := cfg.Setup().Indicators; len(inds) == 2 {
			a.aimApart(m, inds, tilt, nod, units.Slope(m.By*l.U)*units.MMPerM)
		}
	}
}

// aimApart works out the aim of a pair: the difference of the two readings, which does not depend on the pivot.
func (a *Advice) aimApart(m advice.Move, inds []sweep.Indicator, tilt, nod, u units.Slope) {
	first, second := inds[0], inds[1]
	angle, _ := advice.Park(first.RadiusMM, advice.Pivot{}, tilt, nod)
	one := advice.Parked{Angle: angle, RadiusMM: first.RadiusMM}
	other := advice.Parked{Angle: angle + sweep.Radians(second.PhaseDeg-first.PhaseDeg), RadiusMM: second.RadiusMM}
	aim := Aim{Adjuster: m.Adjuster, By: m.By, Indicator: first.Name, Less: second.Name,
		SpindleDeg: math.Mod(sweep.Degrees(angle)-first.PhaseDeg+720, 360), ChangeMM: advice.TravelApart(one, other, tilt, nod),
		UMM: math.Hypot(advice.TravelApart(one, other, u, 0), advice.TravelApart(one, other, 0, u))}
	if math.Abs(aim.ChangeMM) < 0.2*(first.RadiusMM+second.RadiusMM)*math.Hypot(float64(tilt), float64(nod)) {
		return // side by side on one bar they see the same
	}
	aim.Say = fmt.Sprintf("Park the bar with %s at %.0f°. While %s is loose, change the difference of %s less %s by %+.3f mm, then tighten and sweep again.",
		first.Name, sweep.Degrees(angle), m.Adjuster, first.Name, second.Name, aim.ChangeMM)
	a.Aims = append(a.Aims, aim)
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
