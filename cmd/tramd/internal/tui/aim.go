package tui

import (
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// aiming leads a person through one aim at a joint: read at the near end, park at the far one, move until there,
// tighten, and read both ends once more. It does no I/O.
type aiming struct {
	aim  api.JointAim
	step aimStep

	reading *float64 // of now; nil: there is none fresh
	lag, u  float64
	moves   bool     // the reading does not lie still
	place   *float64 // of the indicator along the way; nil: no scale shows it
	near    float64
	from    float64 // at the far end, when the move began
	fromLag float64
	loose   float64
	tight   float64
	share   float64 // by how much the difference changes for 1 mm of the far end: 1 where the near end stays
	done    float64 // by how much it has changed, over all rounds

	says string // what the last round came to
}

type aimStep int

const (
	aimNear aimStep = iota
	aimPark
	aimMove
	aimTight
	aimAgain
	aimDone
)

func newAiming(aim api.JointAim) *aiming { return &aiming{aim: aim, share: 1} }

// see takes the state of now.
func (a *aiming) see(s *api.Snapshot) {
	a.reading, a.lag, a.u, a.moves, a.place = nil, 0, 0, false, nil
	if a.aim.Scale && s.Position != nil {
		a.place = s.Position.MM
	}
	for _, d := range s.Devices {
		if d.Name == a.aim.Indicator && d.State == "live" && d.ReadingMM != nil {
			a.reading = d.ReadingMM
			if d.LagMM != nil {
				a.lag = *d.LagMM
			}
			if d.UMM != nil {
				a.u = *d.UMM
			}
			a.moves = d.RateMMPerS != nil && math.Abs(*d.RateMMPerS) > movesMMPerS
		}
	}
}

// movesMMPerS is how fast a reading goes that is not taken yet: 0.002 mm in the time from a look to a press (chosen).
const movesMMPerS = 0.01

// awayMM is how far from its place an indicator may stand: by more the slope of the way shows in its reading (chosen).
const awayMM = 2

// away says where the indicator stands where a scale shows it elsewhere than the present step wants it; else empty.
func (a *aiming) away() string {
	wanted := a.aim.FarMM
	if a.step == aimNear || a.step == aimAgain {
		wanted = a.aim.NearMM
	}
	if a.step == aimDone || a.place == nil || math.Abs(*a.place-wanted) <= awayMM {
		return ""
	}
	return fmt.Sprintf("The scale shows %.1f mm. Go to %g mm.", *a.place, wanted)
}

// blind reports whether the reading says nothing of the joint: there is none, or the indicator stands elsewhere.
func (a *aiming) blind() bool { return a.reading == nil || a.away() != "" }

// whole is how far the far end has to go in this round.
func (a *aiming) whole() float64 {
	if a.aim.TargetMM == nil {
		return (a.aim.ChangeMM - a.done) / a.share
	}
	return (*a.aim.TargetMM - (a.from - a.near)) / a.share
}

// toGo is how far it still has to go. What lags now and did not at the beginning is on its way already.
func (a *aiming) toGo() float64 {
	if a.blind() {
		return math.NaN()
	}
	return a.from + a.whole() - (*a.reading + a.lag - a.fromLag)
}

// nearEnough returns how much of a way may be left: another touch would do more harm. It is a twentieth of the way, two
// steps of a common indicator at least.
func nearEnough(way float64) float64 { return math.Max(0.002, math.Abs(way)/20) }

func (a *aiming) close() float64 { return nearEnough(a.whole()) }

func (a *aiming) there() bool { return math.Abs(a.toGo()) <= a.close() }

// next takes the person's word that the present step is done.
func (a *aiming) next() {
	if a.blind() || a.moves && a.step != aimMove {
		return
	}
	mm := *a.reading
	switch a.step {
	case aimNear:
		a.near = mm
	case aimPark:
		a.from, a.fromLag = mm, a.lag
	case aimMove:
		a.loose = mm
	case aimTight:
		a.tight = mm
	case aimAgain:
		a.again(mm)
		return
	}
	a.step++
}

// Shares beyond these are no pivot, but a reading that was taken elsewhere.
const leastShare, mostShare = 0.2, 5.0

// again takes the near end's reading after the move: what the move came to, and what share of it shows as a difference.
func (a *aiming) again(near float64) {
	before, now := a.from-a.near, a.tight-near
	if went := a.tight - a.from; math.Abs(went) > 0.005 {
		a.share = math.Min(mostShare, math.Max(leastShare, (now-before)/went))
	}
	a.step, a.near, a.done = aimDone, near, a.done+now-before
	left := a.aim.ChangeMM - a.done
	if a.aim.TargetMM != nil {
		left = *a.aim.TargetMM - now
		a.says = fmt.Sprintf("The far end is %+.4f mm against the near one; %+.4f mm was aimed at.", now,
			*a.aim.TargetMM)
	} else {
		a.says = fmt.Sprintf("The far end changed by %+.4f mm against the near one; %+.4f mm was aimed at.", a.done,
			a.aim.ChangeMM)
	}
	if math.Abs(left) > nearEnough(a.aim.ChangeMM) {
		a.says += " Press a to aim once more."
	}
	a.says += fmt.Sprintf(" Press l to log %s by %+.3f, or q to leave.", a.aim.Adjuster, a.moved())
}

// once begins another round; the near end has just been read.
func (a *aiming) once() {
	if a.step == aimDone {
		a.step = aimPark
	}
}

// moved is how much the adjuster was moved, by what the indicator showed.
func (a *aiming) moved() float64 { return a.aim.By * a.done / a.aim.ChangeMM }

// say says what to do now.
func (a *aiming) say() string {
	if a.step != aimDone && a.reading == nil {
		return fmt.Sprintf("%s gives no reading. Do not go by the last one.", a.aim.Indicator)
	}
	if off := a.away(); off != "" {
		return off
	}
	switch a.step {
	case aimNear:
		return fmt.Sprintf("Go to %s, let the reading lie still, and press Enter.", a.aim.Near)
	case aimPark:
		return fmt.Sprintf("Go to %s and park there. Support what can drop, loosen the joint, and press Enter.",
			a.aim.Far)
	case aimMove:
		switch {
		case a.there():
			return "There. Stop, and press Enter to tighten."
		case a.toGo() > 0:
			return fmt.Sprintf("Move %s: the reading must go up.", a.aim.Adjuster)
		}
		return fmt.Sprintf("Move %s: the reading must go down.", a.aim.Adjuster)
	case aimTight:
		return "Tighten, then press Enter."
	case aimAgain:
		return fmt.Sprintf("Go back to %s, let the reading lie still, and press Enter.", a.aim.Near)
	}
	return a.says
}

// bellAfter is how long after a bell the next one is due: they come faster as the aim comes nearer, fastest there, and
// slow once it is passed. 0: none.
func (a *aiming) bellAfter() time.Duration {
	if a.step != aimMove || a.blind() {
		return 0
	}
	far := math.Min(1, math.Abs(a.toGo())/math.Max(a.close(), math.Abs(a.whole())))
	switch {
	case a.there():
		return 80 * time.Millisecond
	case a.toGo()*a.whole() < 0:
		return time.Second
	}
	return time.Duration(float64(200*time.Millisecond) + far*float64(700*time.Millisecond))
}

// line says how things stand in one line, for what is no terminal.
func (a *aiming) line() string {
	switch {
	case a.blind() || a.step == aimDone:
		return a.say()
	case a.step == aimMove:
		return fmt.Sprintf("%+.3f mm to go. %s", a.toGo(), a.say())
	case a.moves:
		return fmt.Sprintf("%s moves, now at %+.3f mm. %s", a.aim.Indicator, *a.reading, a.say())
	}
	return fmt.Sprintf("%s reads %+.3f mm. %s", a.aim.Indicator, *a.reading, a.say())
}
