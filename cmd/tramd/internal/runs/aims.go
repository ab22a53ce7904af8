package runs

import (
	"context"
	"fmt"
	"math"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/units"
)

// everywhere takes the change of the reading at any spindle angle from what it is at three of them.
func everywhere(a *api.Aim, change func(spindle float64) float64) {
	right, back, left := change(0), change(math.Pi/2), change(math.Pi)
	a.RestMM = (right + left) / 2
	a.CosMM, a.SinMM = (right-left)/2, back-a.RestMM
}

// pointWords says where an arm points as a person at the machine sees it.
func pointWords(deg float64) string {
	for quarter, name := range []string{"to the right", "to the back", "to the left", "to the front"} {
		if math.Abs(math.Remainder(deg-90*float64(quarter), 360)) < 1 {
			return name
		}
	}
	return fmt.Sprintf("to %.0f° (0 right, 90 back)", deg)
}

// aim works out the aims of all moves. An arm that would stand over the pivot shows nothing and gets none.
func (a *adviser) aim(cfg *config.Config) {
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
			aim := api.Aim{Adjuster: m.Adjuster, By: m.By, Indicator: ind.Name,
				SpindleDeg: math.Mod(sweep.Degrees(angle)-ind.PhaseDeg+720, 360),
				ChangeMM:   arm.Travel(pivots[m.Adjuster], tilt, nod)}
			u := units.Slope(m.By*l.U) * units.MMPerM
			aim.UMM = math.Hypot(arm.Travel(pivots[m.Adjuster], u, 0), arm.Travel(pivots[m.Adjuster], 0, u))
			way := "up"
			if aim.ChangeMM < 0 {
				way = "down"
			}
			everywhere(&aim, func(spindle float64) float64 {
				at := advice.Parked{Angle: spindle + sweep.Radians(ind.PhaseDeg), RadiusMM: ind.RadiusMM}
				return at.Travel(pivots[m.Adjuster], tilt, nod)
			})
			aim.Point = pointWords(aim.SpindleDeg)
			aim.Say = fmt.Sprintf(
				"Point the arm %s. While %s is loose, bring the reading of %s %s by %.3f mm, then tighten and sweep again.",
				aim.Point, m.Adjuster, ind.Name, way, math.Abs(aim.ChangeMM))
			a.Aims = append(a.Aims, aim)
		}
		if inds := cfg.Setup().Indicators; len(inds) == 2 {
			a.aimApart(m, inds, tilt, nod, units.Slope(m.By*l.U)*units.MMPerM)
		}
	}
}

// aimApart works out the aim of a pair: the difference of the two readings, which does not depend on the pivot.
func (a *adviser) aimApart(m advice.Move, inds []sweep.Indicator, tilt, nod, u units.Slope) {
	first, second := inds[0], inds[1]
	angle, _ := advice.Park(first.RadiusMM, advice.Pivot{}, tilt, nod)
	one := advice.Parked{Angle: angle, RadiusMM: first.RadiusMM}
	other := advice.Parked{Angle: angle + sweep.Radians(second.PhaseDeg-first.PhaseDeg), RadiusMM: second.RadiusMM}
	aim := api.Aim{Adjuster: m.Adjuster, By: m.By, Indicator: first.Name, Less: second.Name,
		SpindleDeg: math.Mod(sweep.Degrees(angle)-first.PhaseDeg+720, 360),
		ChangeMM:   advice.TravelApart(one, other, tilt, nod),
		UMM:        math.Hypot(advice.TravelApart(one, other, u, 0), advice.TravelApart(one, other, 0, u))}
	if math.Abs(aim.ChangeMM) < 0.2*(first.RadiusMM+second.RadiusMM)*math.Hypot(float64(tilt), float64(nod)) {
		return // side by side on one bar they see the same
	}
	everywhere(&aim, func(spindle float64) float64 {
		one := advice.Parked{Angle: spindle + sweep.Radians(first.PhaseDeg), RadiusMM: first.RadiusMM}
		other := advice.Parked{Angle: spindle + sweep.Radians(second.PhaseDeg), RadiusMM: second.RadiusMM}
		return advice.TravelApart(one, other, tilt, nod)
	})
	aim.Point = pointWords(sweep.Degrees(angle))
	aim.Say = fmt.Sprintf(
		"Point the end of the bar with %s %s. While %s is loose, change the difference of %s less %s by %+.3f mm, then tighten and sweep again.",
		first.Name, aim.Point, m.Adjuster, first.Name, second.Name, aim.ChangeMM)
	a.Aims = append(a.Aims, aim)
}

// tightenings is how many of the last are gone by: a machine's screws and clamps change.
const tightenings = 50

// tightening is what the last tightenings did to a parked arm.
func (a *adviser) tightening(ctx context.Context, s *store.Store) error {
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
