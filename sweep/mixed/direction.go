package mixed

import "math"

// What depends on the way the sweep goes round, in columns of the design. All are told from the lean by going both ways.
const (
	byOffset = iota // the reading is higher one way than the other
	byPlay          // the plunger follows only when pushed to the end of its play
	byMove          // the reading is higher going in than coming out
	byLag           // the angle is off by a fixed amount each way: lost motion of the encoder
	byDelay         // the angle and the reading are not of the same instant
	byCount
)

// direction is what is known of the way-dependent effects, improved round by round.
type direction struct {
	playMM float64 // half the lost motion
	lag    float64 // radians
	delayS float64
}

// curve is the noise-free reading and its derivative by angle under a block.
type curve func(b *block) (z, rise float64)

// columns writes the effects for every block, in time order of each track.
func (w direction) columns(bs []block, c curve, write func(i int, x [byCount]float64)) {
	var steep float64
	for i := range bs {
		_, rise := c(&bs[i])
		steep += math.Abs(rise) / float64(len(bs))
	}
	steep = math.Max(steep, 1e-6)
	play := math.Max(w.playMM, 1e-5)
	var at float64
	for i := range bs {
		b := &bs[i]
		z, rise := c(b)
		if i == 0 || bs[i-1].track != b.track {
			at = z - math.Copysign(play, b.dir*rise)
		}
		at = math.Min(math.Max(at, z-play), z+play)
		write(i, [byCount]float64{
			byOffset: b.dir,
			byPlay:   (at - z) / play,
			byMove:   -b.dir * math.Tanh(8*rise/steep),
			byLag:    b.dir * rise,
			byDelay:  b.rate * rise,
		})
	}
}

// learn takes the effects found in one round; shift says by how much each block's angle is to be moved.
func (w *direction) learn(coef []float64) (shift func(b *block) float64, ok bool) {
	lag, delay := coef[byLag], coef[byDelay]
	if bad(lag) || bad(delay) || math.Abs(lag) > 0.5 || math.Abs(delay) > 2 {
		return nil, false
	}
	w.lag += lag
	w.delayS += delay
	w.playMM = math.Max(0, coef[byPlay]+coef[byMove])
	return func(b *block) float64 { return b.dir*lag + b.rate*delay }, true
}
