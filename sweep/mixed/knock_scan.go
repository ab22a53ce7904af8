package mixed

import "math"

// A jump that stays is weighed by the model itself, before anything is called off the surface: a column that is 0
// before a place and 1 after it is put beside all others, and the marginal likelihood says what it is worth. Every
// place of every track is tried at the cost of one pass of the filter and one back (de Jong 1989, Smoothing and
// interpolation with the state-space model, Journal of the American Statistical Association 84:1085-1088; from memory):
// with V the covariance of the noise and X the columns, what a step from place j needs of V⁻¹X is the sum of its rows
// from j on.

// stepScan looks for one more step at a few points of the grid.
type stepScan struct {
	s       *searcher
	best    float64   // log weight of the best point without one more step
	with    float64   // and with it, the number of places and the rarity of knocks counted
	place   int       // first block after the step; -1 for none
	worth   []float64 // by block: the most that a step there was worth, 0 where none was tried
	plunger []float64 // of a sweep both ways round: which way the plunger moves; nil otherwise
	passes  []*pass   // one for each noise that is looked at
}

// scanned are the noises and the forms at which steps are looked for, by level: none, and slow noise of a middling and
// of a long correlation; little and much form, little and much drift. The grid is coarse, so a step needs some proof
// (knockProof).
func (l *levels) scanned() (noises []hyper, forms, drifts []int8) {
	mid, long := int8(len(l.tau)/2), int8(len(l.tau)-1)
	most := int8(len(l.slow) - 1)
	return []hyper{{}, {tau: mid, slow: min(5, most)}, {tau: long, slow: min(8, most)}}, []int8{1, 3, 5, 7},
		[]int8{1, min(6, int8(len(l.drift)-1))}
}

func (sc *stepScan) run() {
	s := sc.s
	sc.best, sc.with, sc.place = math.Inf(-1), math.Inf(-1), -1
	sc.worth = make([]float64, len(s.bs))
	noises, forms, drifts := s.l.scanned()
	for _, n := range noises {
		pass := newPass(s.d, s.bs, s.l.slow[n.slow], s.l.tau[n.tau])
		sc.passes = append(sc.passes, pass)
		s.gram[n.noise()] = white{pass.gram, pass.logDet}
		top, at := math.Inf(-1), n
		for _, form := range forms {
			for _, drift := range drifts {
				h := hyper{tau: n.tau, slow: n.slow, form: form, fall: 1, drift: drift}
				p := s.at(h)
				s.reuse(p.factor)
				sc.best = math.Max(sc.best, p.weight)
				if p.weight > top {
					top, at = p.weight, h
				}
			}
		}
		less := at
		less.form = min(at.form, forms[1]) // a jump looks like form until it has its own column
		sc.places(pass, less)
		if less != at {
			sc.places(pass, at)
		}
	}
}

// places tries a step at every place, at one point of the grid.
func (sc *stepScan) places(pass *pass, h hyper) {
	s, d := sc.s, sc.s.d
	s.held = false // so that the point keeps its factor
	p := s.at(h)
	last := d.cols - 1
	l := p.factor
	ly := l.row(last)[:last]
	total := p.s2 * p.dof
	prior := -math.Log(float64(len(s.bs))) + knockOdds
	u := make([]float64, last)
	try := func(j int) (w float64) {
		if j < 0 || j >= len(s.bs) || !s.mayJump(j) {
			return math.Inf(-1)
		}
		row := pass.after[j*d.cols : (j+1)*d.cols]
		copy(u, row[:last])
		l.forward(u)
		q, g := pass.own[j], row[last]
		for i, v := range u {
			q -= v * v
			g -= v * ly[i]
		}
		if !(q > 0) {
			return math.Inf(-1)
		}
		left := math.Max(total-g*g/(q+1/sq(knockSD)), 1e-6*total)
		w = p.weight + prior - (math.Log1p(sq(knockSD)*q)+p.dof*math.Log(left/total))/2
		if w > sc.with {
			sc.with, sc.place = w, j
		}
		if sc.worth != nil && (sc.worth[j] == 0 || w > sc.worth[j]) {
			sc.worth[j] = w
		}
		return w
	}
	defer s.reuse(l)
	best, at := math.Inf(-1), -1
	for j := 0; j < len(s.bs); j += 2 { // beside the best of every other place lies the best of all
		if w := try(j); w > best {
			best, at = w, j
		}
	}
	if at >= 0 {
		try(at - 1)
		try(at + 1)
	}
}

// mayJump reports whether the reading may have jumped between a block and the one before: a track's or an offset's own
// first block is no jump, and a few blocks at an end say nothing of one.
func (s *searcher) mayJump(j int) bool {
	const few = 3
	if j < few || j+few > len(s.bs) {
		return false
	}
	b := &s.bs[j]
	for k := j - few; k < j+few; k++ {
		if s.bs[k].track != b.track || s.bs[k].group != b.group {
			return false
		}
	}
	return true
}

// pass is what one run of the filter over the blocks, and one back, leave of the columns.
type pass struct {
	gram   sym
	logDet float64
	after  []float64 // by block: the sum of V⁻¹ times the columns from it to the end of its track
	own    []float64 // by block: what a step there has with itself under V⁻¹
	rest   []float64 // by block: what a state of 1 there leaves of itself, squared, to the end of its track

	gain, fade, v []float64 // of the filter, by block
}

// innovations runs one more column through the same filter.
func (ps *pass) innovations(bs []block, column []float64) []float64 {
	out := make([]float64, len(column))
	var state float64
	for i, x := range column {
		if i == 0 || bs[i].track != bs[i-1].track {
			state = 0
		}
		e := x - state*ps.fade[i]
		out[i] = e / math.Sqrt(ps.v[i])
		state = state*ps.fade[i] + ps.gain[i]*e
	}
	return out
}

// with writes what one more column has under V⁻¹ with those of the design. The rows of V⁻¹X are the differences of
// after; summed by parts, the column's differences take their place.
func (ps *pass) with(bs []block, column, out []float64) {
	clear(out)
	m := len(out)
	for i, x := range column {
		if i > 0 && bs[i].track == bs[i-1].track {
			x -= column[i-1]
		}
		if x == 0 {
			continue
		}
		row := ps.after[i*m:][:m]
		for j, v := range row {
			out[j] += x * v
		}
	}
}

// newPass filters white noise and one slow process of the given variance, relative to the white, and correlation time.
func newPass(d *design, bs []block, slow, tau float64) *pass {
	n, m := len(bs), d.cols
	small := make([]float64, 5*n)
	gain, fade, v, own, rest := small[:n], small[n:2*n], small[2*n:3*n], small[3*n:4*n], small[4*n:]
	rows := make([]float64, n*m) // innovations on the way, what is after each block on the way back
	ps := &pass{gram: newSym(m), after: rows, own: own, rest: rest, gain: gain, fade: fade, v: v}
	state, sums := make([]float64, m), newSums(ps.gram)
	p := slow
	for i := range bs {
		f := 1.0
		if i == 0 || bs[i].track != bs[i-1].track {
			clear(state)
			p = slow
		} else if slow > 0 {
			f = math.Exp(-math.Abs(bs[i].t-bs[i-1].t) / tau)
			fade[i] = f
			p = f*f*p + slow*(1-f*f)
		}
		v[i] = p + bs[i].noise
		g, scale := p/v[i], 1/math.Sqrt(v[i])
		gain[i] = g
		ps.logDet += math.Log(v[i])
		x := d.rows[i]
		out, row, st := sums.next()[:len(x)], rows[i*m:][:len(x)], state[:len(x)]
		for j, x := range x {
			was := f * st[j]
			e := x - was
			row[j], out[j] = e, e*scale
			st[j] = was + g*e
		}
		p *= 1 - g
	}
	sums.flush()
	// Back: the derivative of the sum of squares by each reading is V⁻¹ times the columns.
	back := make([]float64, m)
	after := make([]float64, m) // of the block behind
	var a, b, c float64         // the step's own sum from here on, were the state s: a - 2 b s + c s²
	for i := n - 1; i >= 0; i-- {
		f := 0.0
		if i == n-1 || bs[i+1].track != bs[i].track {
			clear(back)
			clear(after)
			a, b, c = 0, 0, 0
		} else {
			f = fade[i+1]
		}
		g, inverse := gain[i], 1/v[i]
		row, sum := rows[i*m:][:len(back)], after[:len(back)]
		for j, on := range back {
			on *= f
			e := row[j] * inverse
			back[j] = on*(1-g) - e
			sum[j] += e + g*on
			row[j] = sum[j]
		}
		x, y := f*g, f*(1-g)
		a, b, c = a-2*b*x+c*x*x+inverse, (b-c*x)*y+inverse, c*y*y+inverse
		own[i], rest[i] = a, c
	}
	return ps
}
