package mixed

import "math"

// course is the noise of one grid point, followed from block to block: what whiten does in one go, held open so that the next
// block costs the same however many came before. Each track has its own state, since the noise of two indicators is not the same.
type course struct {
	noise  noise
	tracks []*pace
	gram   sym
	logDet float64
}

// pace is one track's state of the noise, and when it was last read.
type pace struct {
	k     *kalman
	at    float64
	begun bool
}

func newCourse(nz noise, tracks, cols int) *course {
	c := &course{noise: nz, gram: newSym(cols)}
	for range tracks {
		c.tracks = append(c.tracks, &pace{k: newKalman(nz, cols)})
	}
	return c
}

// foresee writes into out what the rows so far do not foresee of one more, scaled to unit variance, and returns that variance.
// The course itself stays where it is: room is a pace to spare.
func (c *course) foresee(b *block, row []float64, room *pace, out []float64) (variance float64) {
	room.copy(c.tracks[b.track])
	return room.read(b, row, out)
}

// read takes a block and its row.
func (c *course) read(b *block, row, out []float64) {
	c.logDet += math.Log(c.tracks[b.track].read(b, row, out))
	c.gram.rank1(out, 1)
}

func (p *pace) read(b *block, row, out []float64) (variance float64) {
	if p.begun {
		p.k.wait(math.Abs(b.t - p.at))
	} else {
		p.k.begin()
	}
	p.at, p.begun = b.t, true
	return p.k.read(row, b.noise, out)
}

func (p *pace) copy(from *pace) {
	copy(p.k.state, from.k.state)
	copy(p.k.cov.a, from.k.cov.a)
	p.at, p.begun = from.at, from.begun
}
