package mixed

import "math"

// course is the noise of one grid point, followed from block to block: what whiten does in one go, held open so that
// the next block costs the same however many came before. Each track has its own state, since the noise of two
// indicators is not the same.
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
	return &course{noise: nz, gram: newSym(cols), tracks: newPaces(nz, tracks, cols)}
}

// newPaces returns a state for each track, or for each run of a pair whose noise goes together.
func newPaces(nz noise, tracks, cols int) (out []*pace) {
	if nz.together != 0 {
		for run := range pairRuns {
			out = append(out, &pace{k: newKalman(nz.of(run), cols)})
		}
		return out
	}
	for range tracks {
		out = append(out, &pace{k: newKalman(nz, cols)})
	}
	return out
}

// alone is the state that a block of a track is read with for itself.
func (c *course) alone(track int) int {
	if c.noise.together != 0 {
		return pairFirst + track
	}
	return track
}

// foresee writes into out what the rows so far do not foresee of one more, scaled to unit variance, and returns that
// variance. The course itself stays where it is: room is paces to spare.
func (c *course) foresee(b *block, row []float64, room []*pace, out []float64) (variance float64) {
	at := c.alone(b.track)
	room[at].copy(c.tracks[at])
	return room[at].read(b, row, out)
}

// read takes a block and its row, of a track or of a run of a pair.
func (c *course) read(at int, b *block, row, out []float64) {
	c.logDet += math.Log(c.tracks[at].read(b, row, out))
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
