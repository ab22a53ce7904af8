package sweep

import "math"

// EncoderOptions describe an encoder on the spindle, or driven by it.
type EncoderOptions struct {
	CountsPerTurn int64   // counts in one turn of the encoder; used by AddCount only
	Reversed      bool    // counts fall as the spindle turns counter-clockwise seen from above
	ZeroDeg       float64 // spindle angle at which the encoder shows zero
	SpindleTeeth  int64   // of the wheel on the spindle that drives the encoder's; 0 = the encoder sits on the spindle
	EncoderTeeth  int64   // of the wheel on the encoder
	CounterBits   int     // width at which the counter wraps: 16, 24, 32; 0 = it wraps after one turn, or counts on
	CountsOn      bool    // a count never starts over after a turn, as that of a scale
	MaxGapS       float64 // longest time between two encoder samples that a moving arm is interpolated over; 0 = 0.25 s
	MaxTurnsPerS  float64 // faster than this is a jump of the count, not an arm; 0 = 20

	// IndexDeg is the spindle angle at the encoder's index mark; nil where the count alone says the angle. With it no
	// angle is known until the mark has been passed once, and the count at power-on does not matter.
	IndexDeg *float64
	// IndexToleranceDeg is how far, in degrees of the encoder, two index marks may lie off whole turns before counts
	// are taken to be lost; 0 = two counts or 0.1 degree, and the arm's step to the marked sample.
	IndexToleranceDeg float64
}

// Encoder tags readings with the spindle angle by interpolating the encoder's samples in time. Times are seconds on one
// steady clock, with the delay of each device already taken off, so that they are the moments of measuring.
//
// A reading waits until the encoder has spoken again. It is given an angle only where that is certain: between two
// samples no further apart than MaxGapS, or further apart when the arm stood still over the gap. Everything else comes
// out with an angle of NaN, never with a guess. Counts that were lost on the way show at the next index mark only: Slip
// then says which readings were given a wrong angle before.
//
// An Encoder is for one goroutine. In steady use it allocates nothing.
type Encoder struct {
	o       EncoderOptions
	past    [pastFixes]fix // ring of the latest samples; readings of another port may arrive after a later sample
	n       int            // samples ever put into past
	have    bool
	lastRaw int64   // of the latest sample in past
	pos     int64   // raw units, unwrapped
	origin  float64 // spindle angle at pos 0, radians
	placed  bool    // whether the angle is known, and not only its changes
	beyond  bool    // counts outside one turn were seen: the encoder counts on over several turns
	modulus int64   // raw units in a turn of the encoder
	unit    float64 // radians of the spindle in a raw unit, signed
	quantum float64 // radians within which an arm counts as standing still
	pace    float64 // radians a second the arm has lately reached
	rhythm  float64 // seconds from sample to sample
	late    float64 // seconds by which the latest samples may have been stamped late
	slack   float64 // seconds by which the next sample may have been stamped early
	held    bool    // suspect waits for the next sample to bear it out
	suspect sample
	jumps   int
	spikes  int
	strides excursions
	mark    indexMarks
	waiting []waitingReading

	backlog backlog   // of the encoder
	readers []backlog // of the indicators
	even    int       // samples in a row that lay as many raw units apart
	lastWay int64     // raw units from the sample before to the latest
}

// sample is what the encoder said: a count, or millionths of a degree.
type sample struct {
	t     float64
	raw   int64
	index bool // taken at the index mark
	slack float64
}

// NewEncoder returns a tagger for one sweep or for a standing daemon.
func NewEncoder(o EncoderOptions) *Encoder {
	if o.MaxGapS <= 0 {
		o.MaxGapS = 0.25
	}
	if o.MaxTurnsPerS <= 0 {
		o.MaxTurnsPerS = 20
	}
	if o.SpindleTeeth <= 0 || o.EncoderTeeth <= 0 {
		o.SpindleTeeth, o.EncoderTeeth = 1, 1
	}
	return &Encoder{o: o}
}

// Angle returns the latest spindle angle, unwrapped, and when it was measured.
func (e *Encoder) Angle() (rad, at float64, known bool) {
	if !e.have || !e.placed {
		return 0, 0, false
	}
	last := e.last()
	return last.angle, last.t, true
}

// Unplaced says that the encoder speaks, but no angle is known before its index mark is passed.
func (e *Encoder) Unplaced() bool { return e.have && !e.placed }

// Jumps counts the encoder samples that no arm could have reached: a reset of the counter, or lost counts. After one no
// angle is known until Lose, or until an index mark that was known before is passed again.
func (e *Encoder) Jumps() int { return e.jumps }

// Recovers reports whether an index mark is known, so that the angle comes back by itself after a jump: the readings in
// between have none, and Slip tells of them.
func (e *Encoder) Recovers() bool { return e.mark.seen }

// Spikes counts the single samples that no others bore out; they tagged nothing.
func (e *Encoder) Spikes() int { return e.spikes }

// Slack says by how many seconds the samples that follow may have come later than they are stamped: lines that came in
// one read share out its time, and a sender that was held up sends all it has at the end. An angle is as certain as it
// was; only what is called a jump must then be further.
func (e *Encoder) Slack(s float64) { e.slack = math.Min(math.Max(s, 0), maxLateS) }

// AddCount takes a signed count measured at t and emits the readings it brackets; index says that it was taken at the
// encoder's index mark.
func (e *Encoder) AddCount(t float64, count int64, index bool, emit func(Point)) {
	n := e.o.CountsPerTurn
	if n <= 0 {
		return
	}
	if b := e.o.CounterBits; b > 0 && (count >= 1<<b || count < -(1<<(b-1))) {
		e.spikes++ // two lines that ran into each other, say: no counter of that width shows it
		return
	}
	e.speakIn(n, 2*math.Pi/float64(n))
	e.add(sample{t, count, index, e.slack}, emit)
}

// AddDegrees takes an angle of the encoder in degrees measured at t and emits the readings it brackets. Successive
// angles are taken to be less than half a turn apart.
func (e *Encoder) AddDegrees(t, deg float64, index bool, emit func(Point)) {
	if !finite(deg) {
		return
	}
	e.speakIn(360_000_000, Radians(0.1))
	e.add(sample{t, int64(math.Round(math.Mod(deg, 360) * 1e6)), index, e.slack}, emit)
}

// speakIn sets what a raw unit is.
func (e *Encoder) speakIn(modulus int64, quantum float64) {
	ratio := float64(e.o.EncoderTeeth) / float64(e.o.SpindleTeeth)
	e.modulus, e.quantum, e.unit = modulus, quantum*ratio, 2*math.Pi/float64(modulus)*ratio
	if e.o.Reversed {
		e.unit = -e.unit
	}
}

// add takes a sample. One that lies much further on than the arm has been going is held until the next has spoken: half
// a line that lost its last digits is a number too, and must not tag a reading.
func (e *Encoder) add(x sample, emit func(Point)) {
	if !e.have {
		e.begin(x, emit)
		return
	}
	if x.t < e.last().t { // samples out of order say nothing about the time between
		return
	}
	if e.held {
		e.held = false
		b := e.suspect
		out, back := e.step(b.raw), e.step(x.raw)
		if math.Abs(back) < math.Abs(out)/2 && e.likely(x, back) {
			e.spikes++ // the one between was not where the arm had been
		} else {
			e.accept(b, true, emit)
		}
	}
	if s := e.step(x.raw); !e.likely(x, s) && !e.held {
		e.held, e.suspect = true, x
		return
	}
	e.accept(x, false, emit)
}

// begin takes the first sample.
func (e *Encoder) begin(x sample, emit func(Point)) {
	e.have, e.lastRaw = true, x.raw
	e.pos = e.centred(x.raw)
	if e.o.SpindleTeeth == e.o.EncoderTeeth && !e.o.CountsOn {
		e.pos %= e.modulus
	}
	e.origin = Radians(e.o.ZeroDeg)
	e.placed = e.o.IndexDeg == nil
	e.mind(x.raw)
	b := fix{t: x.t, angle: e.angleAt(e.pos), known: e.placed}
	if x.index {
		e.atIndex(e.pos, 0, &b)
	}
	e.put(b)
	e.release(x.t, emit)
}

func (e *Encoder) angleAt(pos int64) float64 { return e.origin + float64(pos)*e.unit }

// accept makes a sample the arm's place. doubtful is one that the pace before did not lead to, though others bear it
// out.
func (e *Encoder) accept(x sample, doubtful bool, emit func(Point)) {
	a := e.last()
	gap := x.t - a.t
	d := e.rawStep(x.raw)
	step := float64(d) * e.unit
	e.mind(x.raw)
	from := e.pos
	e.pos += d
	b := fix{t: x.t, angle: e.angleAt(e.pos), known: e.placed, certain: e.placed}
	turns := math.Abs(step) / (2 * math.Pi)
	switch {
	case turns > 0.25 && turns > e.o.MaxTurnsPerS*(gap+e.late+x.slack+0.02),
		doubtful && (math.Abs(step) > e.reach(gap+e.late+x.slack) || e.restarted(x.raw, gap)):
		e.jumps++
		if e.placed {
			e.mark.jumpT = a.t
		}
		e.placed, b.known, b.certain = false, false, false // where the arm is now, the count no longer says
	case gap > e.o.MaxGapS && math.Abs(step) > 1.5*e.quantum:
		b.certain = false
	case doubtful && math.Abs(step) > e.reach(gap):
		b.certain = false // the arm got here, but not in the time that the stamps say
	default:
		e.learn(gap, step)
	}
	way := stride{step: step, n: 1, gap: gap, longest: gap + e.late + x.slack, from: a.t, restart: e.begun(x.raw, gap)}
	e.late = math.Min(math.Max(0, 0.98*e.late+gap-e.rhythm), maxLateS)
	e.lastRaw = x.raw
	if pos, ok := e.indexPos(x, a.t, from); ok {
		e.atIndex(pos, d, &b)
	}
	e.put(b)
	e.settle(x.t, d, emit)
	if !e.placed {
		e.strides.forget()
	} else if from, by, jumped := e.strides.add(way, x.slack, e.rhythm, e.quantum); jumped {
		e.astray(from, by)
	}
}

// Lose forgets where the arm is, as when the encoder was unplugged: its count may start over.
func (e *Encoder) Lose(emit func(Point)) {
	e.Flush(emit)
	*e = Encoder{o: e.o, waiting: e.waiting, mark: indexMarks{slips: e.mark.slips}, jumps: e.jumps, spikes: e.spikes}
}
