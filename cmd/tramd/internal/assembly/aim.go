package assembly

import (
	"fmt"
	"math"
	"slices"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/advice"
)

// way is from a near end to a far one.
type way struct {
	near, far     string
	nearMM, farMM float64
	known         bool // what the difference was
	now           float64
	gives         [2]float64 // by how many mm it changes with each quantity, for 1 mm/m
}

// ways returns the ways along which a move can show.
func (j *joint) ways(last Result) []way {
	if len(j.positions) < 2 {
		return nil
	}
	near, far := slices.Min(j.positions), slices.Max(j.positions)
	if last.Travel != nil {
		return j.sideways(near, far)
	}
	r := last.Traverse
	length, whole := (far-near)/1000, way{near: fmt.Sprintf("%g mm", near), far: fmt.Sprintf("%g mm", far),
		nearMM: near, farMM: far}
	if len(r.Lines) < 2 {
		if r.Slope == nil {
			return nil
		}
		whole.known, whole.now, whole.gives[0] = true, r.Slope.Slope.MMPerM()*length, length
		return []way{whole}
	}
	middle := 0.0
	for _, l := range r.Lines {
		middle += l.AtMM / float64(len(r.Lines))
	}
	first, after := r.Lines[0].AtMM, r.Lines[len(r.Lines)-1].AtMM
	twist, cross := last.across(j.quantities)
	var out []way
	for _, l := range r.Lines {
		if l.Slope == nil {
			continue
		}
		w := whole
		w.near, w.far = onLine(near, l.AtMM), onLine(far, l.AtMM)
		w.known, w.now, w.gives[0] = true, l.Slope.Slope.MMPerM()*length, length
		if twist != nil {
			w.gives[1] = length * (l.AtMM - middle) / (after - first)
		}
		out = append(out, w)
	}
	if cross != nil {
		width := (after - first) / 1000
		at := j.positions[len(j.positions)/2]
		out = append(out, way{near: onLine(at, first), far: onLine(at, after), nearMM: at, farMM: at,
			known: true, now: cross.Slope.MMPerM() * width, gives: [2]float64{0, width}})
	}
	return out
}

// onLine names a place as a plan does.
func onLine(mm, line float64) string { return fmt.Sprintf("%g mm on the line at %g mm", mm, line) }

// sideways returns the ways of a bar or a square while the head moves, and of a table that is crossed. Its own lean is
// in what a bar or a square shows, so only the change is known.
func (j *joint) sideways(near, far float64) (out []way) {
	sign := -1.0 // the plunger points against the side
	if j.kind == sweep.KindCross {
		sign = 1
	}
	for _, side := range j.sides {
		sin, cos := math.Sincos(sweep.Radians(side))
		w := way{near: fmt.Sprintf("%g mm, side %g°", near, side), far: fmt.Sprintf("%g mm, side %g°", far, side),
			nearMM: near, farMM: far}
		if j.kind == sweep.KindCross {
			w.near, w.far = fmt.Sprintf("%g mm %s", near, along(side)), fmt.Sprintf("%g mm %s", far, along(side))
		}
		w.gives = [2]float64{sign * cos * (far - near) / 1000, sign * sin * (far - near) / 1000}
		out = append(out, w)
	}
	return out
}

// leastMM is the smallest change that is worth aiming at: less is not seen on a common indicator.
const leastMM = 0.0005

// aims returns how each move shows where it shows most. Moves are made one after the other.
func aims(a *advice.Answer, ways []way, indicator string) []api.JointAim {
	out := []api.JointAim{}
	for i, m := range a.Moves {
		var tilt, nod, u float64
		for _, l := range a.Learned {
			if l.Adjuster == m.Adjuster {
				tilt, nod, u = l.Tilt*m.By, l.Nod*m.By, l.U*math.Abs(m.By)
			}
		}
		best, most := -1, leastMM
		for k, w := range ways {
			if change := math.Abs(w.gives[0]*tilt + w.gives[1]*nod); change > most {
				best, most = k, change
			}
		}
		if best >= 0 {
			w := ways[best]
			x := api.JointAim{Adjuster: m.Adjuster, By: m.By, Indicator: indicator, Near: w.near, Far: w.far,
				NearMM: w.nearMM, FarMM: w.farMM,
				ChangeMM: w.gives[0]*tilt + w.gives[1]*nod, UMM: math.Hypot(w.gives[0], w.gives[1]) * u}
			if w.known {
				target := w.now + x.ChangeMM
				x.NowMM, x.TargetMM = &w.now, &target
			}
			x.Say = fmt.Sprintf("%d. %s", i+1, aimWords(&x))
			out = append(out, x)
		}
		for k := range ways {
			ways[k].now += ways[k].gives[0]*tilt + ways[k].gives[1]*nod
		}
	}
	return out
}

func aimWords(x *api.JointAim) string {
	begin := fmt.Sprintf("Read at %s, go to %s and park there. ", x.Near, x.Far)
	switch {
	case x.NowMM == nil:
		return begin +
			fmt.Sprintf("Move %s until the reading has changed by %+.4f mm. Tighten, and read both ends again.",
				x.Adjuster, x.ChangeMM)
	case math.Abs(*x.TargetMM) < leastMM:
		return begin +
			fmt.Sprintf(
				"The far end was %+.4f mm against the near one; move %s until both ends read alike. Tighten, and read both ends again.", *x.NowMM, x.Adjuster)
	}
	return begin +
		fmt.Sprintf(
			"The far end was %+.4f mm against the near one; move %s until it reads %+.4f mm against the near end. Tighten, and read both ends again.", *x.NowMM, x.Adjuster, *x.TargetMM)
}
