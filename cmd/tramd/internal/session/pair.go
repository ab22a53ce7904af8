package session

import (
	"context"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// pairZero is what a sweep or a half turn with two opposite indicators leaves behind. It lasts until the next of
// either, and not over a restart, a new configuration or an indicator that went away: what was touched is not known
// meanwhile.
type pairZero struct {
	run        int64
	kind       string
	at         time.Time
	a, b       int
	zero       sweep.PairZero
	pair       sweep.Pair
	told       *float64  // spindle angle in degrees at which a person was asked to leave the arm; nil: the encoder says
	reconnects [2]uint64 // of the two indicators' ports
	seen       [2]*pairSeen
}

// pairSeen is the last reading along X or along Y.
type pairSeen struct {
	way  float64 // of the first indicator, radians
	lean sweep.PairLean
	at   time.Time
	told bool
}

// Directions that decide what a lean along the bar is taken for.
const (
	alongRad = 3 * math.Pi / 180 // as near to X or Y counts as along it
	toldU    = 1 * math.Pi / 180 // standard uncertainty of a bar set by eye (common practice, no source)
)

// zeroPair takes the offsets from a finished sweep or half turn. What was read along the other axis before a half turn
// stays; told is where it left the arm, nil where an encoder says that.
func (s *Session) zeroPair(run int64, kind string, r *sweep.Result, told *float64) {
	before := s.pair
	s.pair = nil
	a, b, p, ok := sweep.OppositePair(s.o.Setup)
	if !ok || r == nil {
		return
	}
	zero, ok := p.ZeroOf(*r, a, b)
	if !ok {
		return
	}
	z := &pairZero{run: run, kind: kind, at: s.o.Wall(), a: a, b: b, pair: p, zero: zero, told: told,
		reconnects: s.pairPorts(a, b)}
	s.pair = z
	if kind != api.HalfTurn {
		return
	}
	if before != nil {
		z.seen = before.seen
	}
	for i, x := range []*sweep.Axis{r.Tilt, r.Nod} {
		if x != nil {
			z.seen[i] = &pairSeen{way: float64(i) * math.Pi / 2,
				lean: sweep.PairLean{Slope: x.Slope, U: x.U, Expanded: x.Expanded}, at: z.at, told: told != nil}
		}
	}
}

// pairPorts says how often the ports of two indicators came back.
func (s *Session) pairPorts(a, b int) (n [2]uint64) {
	for i, k := range [2]int{a, b} {
		if k < len(s.o.Indicators) && s.o.Indicators[k].Device >= 0 {
			n[i] = s.o.Ports[s.o.Indicators[k].Device].Status().Reconnects
		}
	}
	return n
}

// ForgetPair lets go of the zero: the person moved the bar, or touched an indicator.
func (s *Session) ForgetPair(ctx context.Context) error {
	return s.ask(ctx, func() { s.pair = nil })
}

// way is the way the first indicator of the pair points, in radians, where that is known.
func (z *pairZero) way(setup sweep.Setup, deg *float64) (way float64, ok bool) {
	if deg == nil {
		deg = z.told
	}
	if deg == nil {
		return 0, false
	}
	return sweep.Wrap(sweep.Radians(*deg + setup.Indicators[z.a].PhaseDeg)), true
}

// pairReading is what a pair reads.
type pairReading struct {
	lean sweep.PairLean // its readings' lag put on
	diff float64        // mm: of the readings, less the zero
}

// pairRead reads the pair, where both readings are fresh.
func (s *Session) pairRead(z *pairZero, mono device.Stamp) (r pairReading, ok bool) {
	var mm, lag, u [2]float64
	for i, k := range [2]int{z.a, z.b} {
		l := &s.latest[k]
		if l.at == 0 || mono-l.at >= device.Stamp(staleAfter) {
			return r, false
		}
		mm[i] = l.shown().MM()
		if s.o.Setup.Indicators[k].AtEnd(mm[i]) {
			return r, false
		}
		if l.contact != nil {
			x, _ := l.contact.At(mono.Seconds())
			lag[i], u[i] = x.LagMM, x.LagUMM
		}
	}
	diff := z.pair.Difference(mm[0], mm[1])
	r.lean, r.diff = z.zero.ReadMoving(diff+lag[0]-lag[1], math.Hypot(u[0], u[1])), diff-z.zero.MM
	return r, true
}

// watchPair keeps what the pair last read along X and along Y, and lets go of a zero that an indicator took away with
// it.
func (s *Session) watchPair(mono device.Stamp, deg *float64) {
	z := s.pair
	if z == nil {
		return
	}
	if s.pairPorts(z.a, z.b) != z.reconnects {
		s.o.Log.Warn(
			"an indicator of the pair went away and came back; its zero may be another, so the pair must be zeroed again")
		s.pair = nil
		return
	}
	way, known := z.way(s.o.Setup, deg)
	r, ok := s.pairRead(z, mono)
	if !known || !ok || s.job != nil {
		return
	}
	for i := range z.seen {
		if off := math.Remainder(way-float64(i)*math.Pi/2, math.Pi); math.Abs(off) <= alongRad {
			z.seen[i] = &pairSeen{way: way, lean: r.lean, at: s.o.Wall(), told: deg == nil}
		}
	}
}

// pairState tells how the pair stands.
func (s *Session) pairState(mono device.Stamp, deg *float64) *api.PairState {
	z := s.pair
	if z == nil {
		return nil
	}
	st := &api.PairState{
		Run: z.run, Kind: z.kind, At: z.at, ZeroMM: z.zero.MM, ZeroU: z.zero.UMM, Told: deg == nil && z.told != nil,
		First: s.o.Setup.Indicators[z.a].Name, Less: s.o.Setup.Indicators[z.b].Name,
	}
	way, known := z.way(s.o.Setup, deg)
	r, ok := s.pairRead(z, mono)
	if older := min(s.latest[z.a].at, s.latest[z.b].at); older != 0 {
		age := (mono - older).Seconds()
		st.AgeS = &age
	}
	if known {
		d := sweep.Degrees(way)
		st.Deg = &d
	}
	switch {
	case !known:
		st.Why = "It is not known where the bar points: a half turn there tells it."
		if s.encoder != nil {
			st.Why = "The encoder does not say where the bar points."
		}
	case s.job != nil:
		st.Why = "The spindle is being turned."
	case !ok:
		st.Why = "No fresh reading of both indicators, inside their travel."
	default:
		mm := r.lean.Slope.MMPerM()
		st.MMPerM, st.U, st.Half, st.DiffMM = &mm, r.lean.U.MMPerM(), r.lean.Expanded.MMPerM(), r.diff
		st.Lag = mm - z.zero.Read(r.diff+z.zero.MM).Slope.MMPerM()
	}
	if x, y := z.seen[0], z.seen[1]; x != nil && y != nil {
		u := 0.0
		if x.told || y.told {
			u = toldU
		}
		if tilt, nod, ok := sweep.AxesOf(x.way, x.lean, y.way, y.lean, u); ok {
			st.Tilt = &api.PairAxis{MMPerM: tilt.Slope.MMPerM(), Half: tilt.Expanded.MMPerM(), At: x.at}
			st.Nod = &api.PairAxis{MMPerM: nod.Slope.MMPerM(), Half: nod.Expanded.MMPerM(), At: y.at}
		}
	}
	return st
}

// StartHalfTurn begins the zeroing of the pair: it is read with the bar along an axis, then again after half a turn by
// hand.
func (s *Session) StartHalfTurn(ctx context.Context, axis string) (int64, error) {
	if s.o.Motion != nil {
		return 0, api.Conflict.Errorf(
			"a motor moves the arm of this machine: a sweep zeroes its pair, start it with `tramd program`")
	}
	first := 0.0
	switch axis {
	case "tilt":
	case "nod":
		first = 90
	default:
		return 0, api.Invalid.Errorf(
			"half turn %q; write \"tilt\" for the bar along X, left to right, or \"nod\" for along Y", axis)
	}
	unknown := false
	if e := s.ask(ctx, func() { unknown = s.encoder != nil && !s.zero.zero.Known() }); e != nil {
		return 0, e
	}
	if unknown {
		return 0, api.Conflict.Errorf(
			"where 0 degrees is has not been established, so the bar cannot be seen to lie along an axis: set the zero first")
	}
	a, _, _, ok := sweep.OppositePair(s.o.Setup)
	if !ok {
		return 0, api.Conflict.Errorf(
			"no two indicators of the configuration lie opposite each other: mount them on one bar and write phase_deg = 180 for the second")
	}
	var w runSpec
	if e := s.ask(ctx, func() { w = s.halfTurn(first - s.o.Setup.Indicators[a].PhaseDeg) }); e != nil {
		return 0, e
	}
	return s.begin(ctx, w, 1, "adjust", func(j *job) error {
		j.becomeHalfTurn(s)
		return nil
	})
}
