package sweep

import "math"

// EncoderOptions describe an encoder on the spindle.
type EncoderOptions struct {
	CountsPerTurn int64   // counts in one turn of the spindle; used by AddCount only
	Reversed      bool    // counts fall as the spindle turns counter-clockwise seen from above
	ZeroDeg       float64 // spindle angle at which the encoder shows zero
	MaxGapS       float64 // longest time between two encoder samples that a moving arm is interpolated over; 0 = 0.25 s
	MaxTurnsPerS  float64 // faster than this is a jump of the count, not an arm; 0 = 20
}

// Encoder tags readings with the spindle angle by interpolating the encoder's samples in time. Times are seconds on one
// steady clock, with the delay of each device already taken off, so that they are the moments of measuring.
//
// A reading waits until the encoder has spoken again. It is given an angle only where that is certain: between two samples
// no further apart than MaxGapS, or further apart when the arm stood still over the gap. Everything else comes out with
// an angle of NaN, never with a guess.
//
// An Encoder is for one goroutine. In steady use it allocates nothing.
type Encoder struct {
	o       EncoderOptions
	past    [pastFixes]fix // ring of the latest samples; readings of another port may arrive after a later sample
	n       int            // samples ever put into past
	have    bool
	lastRaw int64   // of the latest sample in past
	beyond  bool    // counts outside one turn were seen: the encoder counts on over several turns
	modulus int64   // raw units in a turn
	quantum float64 // radians within which an arm counts as standing still
	pace    float64 // radians a second the arm has lately reached
	rhythm  float64 // seconds from sample to sample
	held    bool    // suspect waits for the next sample to bear it out
	suspect sample
	jumps   int
	spikes  int
	waiting []waitingReading
}

// fix is where the arm was at a moment, and whether its way there since the sample before is certain.
type fix struct {
	t, angle float64
	certain  bool
}

// pastFixes is how many samples are kept: two seconds of a fast encoder, far more than two ports differ by.
const pastFixes = 2048

type waitingReading struct {
	t, mm     float64
	indicator int
}

// maxWaiting bounds the readings that wait for a silent encoder: over a minute at the highest rates.
const maxWaiting = 1 << 19

// NewEncoder gives a tagger for one sweep or for a standing daemon.
func NewEncoder(o EncoderOptions) *Encoder {
	if o.MaxGapS <= 0 {
		o.MaxGapS = 0.25
	}
	if o.MaxTurnsPerS <= 0 {
		o.MaxTurnsPerS = 20
	}
	return &Encoder{o: o}
}

// Angle gives the latest spindle angle, unwrapped, and when it was measured.
func (e *Encoder) Angle() (rad, at float64, known bool) {
	if !e.have {
		return 0, 0, false
	}
	last := e.last()
	return last.angle, last.t, true
}

func (e *Encoder) last() fix { return e.past[(e.n-1)%pastFixes] }

func (e *Encoder) put(f fix) {
	e.past[e.n%pastFixes] = f
	e.n++
}

// Jumps counts the encoder samples that no arm could have reached: a reset of the counter, or lost counts.
func (e *Encoder) Jumps() int { return e.jumps }

// Spikes counts the single samples that no others bore out; they tagged nothing.
func (e *Encoder) Spikes() int { return e.spikes }

// AddCount takes a signed count measured at t and emits the readings it brackets.
//
// A counter that stays inside one turn wraps there; one that goes beyond it counts on.
func (e *Encoder) AddCount(t float64, count int64, emit func(Point)) {
	if n := e.o.CountsPerTurn; n > 0 {
		e.modulus, e.quantum = n, 2*math.Pi/float64(n)
		e.add(sample{t, count}, emit)
	}
}

// AddDegrees takes an angle in degrees measured at t and emits the readings it brackets. Successive angles are taken to
// be less than half a turn apart.
func (e *Encoder) AddDegrees(t, deg float64, emit func(Point)) {
	if !finite(deg) {
		return
	}
	e.modulus, e.quantum = 360_000_000, Radians(0.1)
	e.add(sample{t, int64(math.Round(math.Mod(deg, 360) * 1e6))}, emit)
}

// sample is what the encoder said: a count, or millionths of a degree.
type sample struct {
	t   float64
	raw int64
}

// step is how far the arm went from one raw value to another, in radians, counter-clockwise seen from above.
func (e *Encoder) step(from, to int64) float64 {
	d := to - from
	if !e.beyond {
		d = nearest(d, e.modulus)
	}
	rad := float64(d) / float64(e.modulus) * 2 * math.Pi
	if e.o.Reversed {
		rad = -rad
	}
	return rad
}

// nearest reduces d by whole turns of n to the nearest to zero.
func nearest(d, n int64) int64 {
	d %= n
	switch {
	case 2*d > n:
		d -= n
	case 2*d < -n:
		d += n
	}
	return d
}

// add takes a sample. One that lies much further on than the arm has been going is held until the next has spoken: half a
// line that lost its last digits is a number too, and must not tag a reading.
func (e *Encoder) add(x sample, emit func(Point)) {
	if !e.have {
		e.have, e.lastRaw = true, x.raw
		e.mind(x.raw)
		e.put(fix{t: x.t, angle: e.start(x.raw)})
		e.release(x.t, emit)
		return
	}
	if x.t < e.last().t { // samples out of order say nothing about the time between
		return
	}
	if e.held {
		e.held = false
		b := e.suspect
		out, back := e.step(e.lastRaw, b.raw), e.step(e.lastRaw, x.raw)
		if math.Abs(back) < math.Abs(out)/2 && e.likely(x, back) {
			e.spikes++ // the one between was not where the arm had been
		} else {
			e.accept(b, emit)
		}
	}
	if s := e.step(e.lastRaw, x.raw); !e.likely(x, s) && !e.held {
		e.held, e.suspect = true, x
		return
	}
	e.accept(x, emit)
}

// likely says whether a step fits how the arm has been going: at most four times the steps before, for the time it took.
func (e *Encoder) likely(x sample, step float64) bool {
	room := math.Max(Radians(0.5), 2*e.quantum)
	gap := x.t - e.last().t
	return math.Abs(step) <= room+4*e.pace*math.Max(gap, e.rhythm)
}

// accept makes a sample the arm's place.
func (e *Encoder) accept(x sample, emit func(Point)) {
	e.mind(x.raw)
	a := e.last()
	gap := x.t - a.t
	step := e.step(e.lastRaw, x.raw)
	b := fix{t: x.t, angle: a.angle + step, certain: true}
	turns := math.Abs(step) / (2 * math.Pi)
	switch {
	case turns > 0.25 && turns > e.o.MaxTurnsPerS*(gap+0.02):
		e.jumps++
		b.certain = false
	case gap > e.o.MaxGapS && math.Abs(step) > 1.5*e.quantum:
		b.certain = false
	default:
		e.learn(gap, step)
	}
	e.lastRaw = x.raw
	e.put(b)
	e.release(x.t, emit)
}

// learn keeps the pace of the arm and the rhythm of the samples: the pace rises at once and falls slowly.
func (e *Encoder) learn(gap, step float64) {
	if gap <= 0 {
		return
	}
	if e.rhythm == 0 {
		e.rhythm = gap
	}
	e.rhythm += (gap - e.rhythm) / 16
	e.pace = math.Max(math.Abs(step)/math.Max(gap, e.rhythm), e.pace*0.98)
}

// mind notices a counter that goes beyond one turn.
func (e *Encoder) mind(raw int64) {
	if raw >= e.modulus || raw <= -e.modulus {
		e.beyond = true
	}
}

// start is the angle at which the encoder was first heard.
func (e *Encoder) start(raw int64) float64 {
	rad := float64(raw%e.modulus) / float64(e.modulus) * 2 * math.Pi
	if e.o.Reversed {
		rad = -rad
	}
	return rad + Radians(e.o.ZeroDeg)
}

// at gives the angle at a moment that the samples bracket, or NaN where it is not certain.
func (e *Encoder) at(t float64) float64 {
	oldest := max(0, e.n-pastFixes)
	for i := e.n - 1; i >= oldest; i-- {
		b := e.past[i%pastFixes]
		if t > b.t {
			return math.NaN()
		}
		if t == b.t {
			return b.angle
		}
		if i == oldest {
			return math.NaN()
		}
		a := e.past[(i-1)%pastFixes]
		if t < a.t {
			continue
		}
		if !b.certain {
			return math.NaN()
		}
		return a.angle + (b.angle-a.angle)*(t-a.t)/(b.t-a.t)
	}
	return math.NaN()
}

// release emits, in order, the readings taken up to t.
func (e *Encoder) release(t float64, emit func(Point)) {
	n := 0
	for n < len(e.waiting) && e.waiting[n].t <= t {
		w := e.waiting[n]
		emit(Point{T: w.t, Angle: e.at(w.t), Reading: w.mm, Indicator: w.indicator})
		n++
	}
	if n > 0 {
		e.waiting = e.waiting[:copy(e.waiting, e.waiting[n:])]
	}
}

// AddReading takes a reading measured at t. It comes out of emit, with its angle, once the encoder has spoken again, or at
// once with an unknown angle when it came too late or too many wait.
func (e *Encoder) AddReading(t, mm float64, indicator int, emit func(Point)) {
	if e.have && t <= e.last().t {
		emit(Point{T: t, Angle: e.at(t), Reading: mm, Indicator: indicator})
		return
	}
	if len(e.waiting) >= maxWaiting {
		e.Flush(emit)
	}
	// Readings of several indicators may arrive a little out of order when their delays differ.
	i := len(e.waiting)
	for i > 0 && e.waiting[i-1].t > t {
		i--
	}
	e.waiting = append(e.waiting, waitingReading{})
	copy(e.waiting[i+1:], e.waiting[i:])
	e.waiting[i] = waitingReading{t, mm, indicator}
}

// Flush emits every reading that still waits with an unknown angle: the encoder will say no more.
func (e *Encoder) Flush(emit func(Point)) {
	for _, w := range e.waiting {
		emit(Point{T: w.t, Angle: math.NaN(), Reading: w.mm, Indicator: w.indicator})
	}
	e.waiting = e.waiting[:0]
}

// Lose forgets where the arm is, as when the encoder was unplugged: its count may start anew.
func (e *Encoder) Lose(emit func(Point)) {
	e.Flush(emit)
	*e = Encoder{o: e.o, waiting: e.waiting, jumps: e.jumps, spikes: e.spikes}
}
