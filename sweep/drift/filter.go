package drift

// process is one idea of how the truth moves. Leans are in units of sigma, times in days.
type process struct {
	kind   Kind
	wander float64 // of the level: standard deviation after one day
	steep  float64 // standard deviation of the rate's prior, a day
	reach  float64 // standard deviation of the swing's prior
	tau    int     // which of the bank's time constants the swing has; -1: no swing
	alive  bool    // the swing is kept alive by noise
	used   bool    // goes by the spindle's hours; its time is hours / the usual hours a day
	slow   bool    // too slow to be told from holding still for long, or holding still
	prior  float64 // weight before anything was seen
}

// Kind names how a process moves.
type Kind int

// Kinds of process.
const (
	Steady Kind = iota
	Wandering
	Trending
	Settling
	kinds
)

// String names the kind.
func (k Kind) String() string { return [...]string{"steady", "wandering", "trending", "settling"}[k] }

// state is what a process knows: level, rate and swing with their covariance, in units of sigma.
type state struct {
	level, rate, swing              float64
	ll, lb, ls, bb, bs, ss          float64
	prediction, predicted, residual float64 // of the last update: mean and variance of the check, and by how much it was missed
}

// begin starts from one check of variance r with nothing known of the level before: the limit of a diffuse prior.
func (x *state) begin(p *process, y, r float64) {
	v := 0.0
	if p.tau >= 0 {
		v = p.reach * p.reach
	}
	// The check showed level + swing, so what the swing is the level is not.
	*x = state{level: y, ll: r + v, ls: -v, ss: v, bb: p.steep * p.steep}
}

// predict lets dt days pass; decay is what is left of a swing after them.
func (x *state) predict(p *process, dt, decay float64) {
	if p.steep > 0 {
		x.level += x.rate * dt
		x.ll += dt * (2*x.lb + dt*x.bb)
		x.lb += dt * x.bb
		if p.tau >= 0 {
			x.ls += dt * x.bs
			x.bs *= decay
		}
	}
	x.ll += p.wander * p.wander * dt
	if p.tau >= 0 {
		x.swing *= decay
		x.ls *= decay
		x.ss *= decay * decay
		if p.alive {
			x.ss += p.reach * p.reach * (1 - decay*decay)
		}
	}
}

// update takes in a check of variance r.
func (x *state) update(p *process, y, r float64) {
	cl, cs := x.ll+x.ls, x.ls+x.ss
	f := cl + cs + r
	e := y - x.level - x.swing
	x.prediction, x.predicted, x.residual = x.level+x.swing, f, e
	kl := cl / f
	x.level += kl * e
	if p.steep > 0 {
		cb := x.lb + x.bs
		kb := cb / f
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
	}
}

// lean is the truth as this process sees it, and its variance.
func (x *state) lean() (mean, variance float64) {
	return x.level + x.swing, max(0, x.ll+2*x.ls+x.ss)
}

// ahead is the lean h days on, and its variance.
func (x *state) ahead(p *process, h, decay float64) (mean, variance float64) {
	y := *x
	y.predict(p, h, decay)
	return y.lean()
}
