package drift

// state is what a process knows: level, rate, swing and lean per kelvin with their covariance, in units of sigma. The
// level is that at the record's first temperature.
type state struct {
	level, rate, swing, perK float64
	ll, lb, ls, bb, bs, ss   float64
	lk, bk, sk, kk           float64
	prediction, predicted,
	residual float64 // of the last update: mean and variance of the check, and by how much it was missed
	age float64 // days since the first check, by the process's own clock; kept where the slope quickens
}

// begin starts from one check of variance r, z kelvin above the record's first temperature, with nothing known of the
// level before: the limit of a diffuse prior.
func (x *state) begin(p *process, y, r, z float64, k perKelvin) {
	v := 0.0
	if p.tau >= 0 {
		v = p.reach * p.reach
	}
	// The check showed level + swing, so what the swing is the level is not.
	*x = state{level: y, ll: r + v, ls: -v, ss: v, bb: p.steep * p.steep}
	if p.warm { // nor what the temperature is
		x.perK, x.kk = k.mean, k.variance
		x.level -= z * k.mean
		x.ll += z * z * k.variance
		x.lk = -z * k.variance
	}
}

// predict lets dt days pass; decay is what is left of a swing after them.
func (x *state) predict(p *process, dt, decay float64) {
	if p.steep > 0 {
		run := dt // of the slope
		if p.quick > 0 {
			run = p.run(x.age, dt)
			x.age += dt
		}
		x.level += x.rate * run
		x.ll += run * (2*x.lb + run*x.bb)
		x.lb += run * x.bb
		x.lk += run * x.bk
		if p.tau >= 0 {
			x.ls += run * x.bs
			x.bs *= decay
		}
	}
	x.ll += p.wander * p.wander * dt
	if p.turn > 0 { // an integrated random walk
		w := p.turn * p.turn * dt
		x.bb += w
		x.lb += w * dt / 2
		x.ll += w * dt * dt / 3
	}
	if p.tau >= 0 {
		x.swing *= decay
		x.ls *= decay
		x.sk *= decay
		x.ss *= decay * decay
		if p.alive {
			x.ss += p.reach * p.reach * (1 - decay*decay)
		}
	}
}

// update takes in a check of variance r, z kelvin above the record's first temperature.
func (x *state) update(p *process, y, r, z float64) {
	cl, cs := x.ll+x.ls, x.ls+x.ss
	m, ck := x.level+x.swing, 0.0
	f := cl + cs + r
	if p.warm {
		cl += z * x.lk
		cs += z * x.sk
		ck = x.lk + x.sk + z*x.kk
		m += z * x.perK
		f = cl + cs + z*ck + r
	}
	e := y - m
	x.prediction, x.predicted, x.residual = m, f, e
	kl := cl / f
	x.level += kl * e
	if p.steep > 0 {
		cb := x.lb + x.bs
		if p.warm {
			cb += z * x.bk
		}
		kb := cb / f
		x.bk -= kb * ck
		x.rate += kb * e
		x.bb -= kb * cb
		x.lb -= kl * cb
		x.bs -= kb * cs
	}
	x.ll -= kl * cl
	if p.tau >= 0 {
		ks := cs / f
		x.swing += ks * e
		x.ls -= kl * cs
		x.ss -= ks * cs
		x.sk -= ks * ck
	}
	if p.warm {
		kk := ck / f
		x.perK += kk * e
		x.lk -= kl * ck
		x.kk -= kk * ck
	}
}

// run is how many days of the slope at the first check come in dt days from an age on.
func (p *process) run(age, dt float64) float64 { return dt * (1 + p.quick*(age+dt/2)) }

// slopeNow is the slope at the last check.
func (x *state) slopeNow(p *process) float64 { return x.rate * (1 + p.quick*x.age) }

// lean is the truth as this process sees it z kelvin above the record's first temperature, and its variance.
func (x *state) lean(z float64) (mean, variance float64) {
	return x.level + x.swing + z*x.perK, max(0, x.ll+2*x.ls+x.ss+z*(2*(x.lk+x.sk)+z*x.kk))
}

// ahead is the lean h days on, and its variance.
func (x *state) ahead(p *process, h, decay, z float64) (mean, variance float64) {
	y := *x
	y.predict(p, h, decay)
	return y.lean(z)
}
