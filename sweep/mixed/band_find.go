package mixed

import "math"

const (
	// A dent, taken for a band, would make the interval too short: hence so much proof.
	bandProof   = 20.0           // log likelihood by which a band must be better than none
	bandTails   = 4.5            // kurtosis of the noise, with the band and without; normal noise has 3, and more is a burst
	bandCycles  = formOrders + 2 // of its middle in a turn, at least: slower ones may be the form of the table
	leastSharp  = 0.9            // quality
	mostSharp   = 30.0
	mostBand    = 1e4  // variance
	bandStep    = 1.25 // from frequency to frequency at first
	bandPrecise = 1e-3 // log likelihood
	bandHope    = 10.0 // log likelihood that a closer look may add
)

// findBand looks for noise of a band in what the fit so far leaves, fits again with it, and says whether there is any.
func (f *fitting) findBand(way *direction, along curve) bool {
	if f.levels().settled || len(f.bs) < 2*denseSegments || len(f.bs) > manyBlocks {
		return false
	}
	best, noise2 := f.ans.best.weightLog+bandProof, 0.0
	for _, form := range []bool{false, true} {
		left := f.left(form)
		b, ok := f.likeliestBand(left)
		if !ok || f.tails(left, noise{}) > bandTails || f.tails(left, noise{band: b}) > bandTails {
			continue
		}
		if p := f.tryBand(b, way, along); p.weight > best {
			best, noise2, f.band = p.weight, p.s2, b
		}
	}
	if f.band.variance == 0 {
		return false
	}
	f.ans.best.s2 = noise2
	f.round(way, along)
	return true
}

// likeliestBand is the band that with white noise makes r likeliest: the best of a row of frequencies, then uphill from
// there.
func (f *fitting) likeliestBand(r []float64) (band, bool) {
	low, high := f.bandWithin()
	if !(high > 1.5*low) {
		return band{}, false
	}
	best, top := band{}, math.Inf(-1)
	try := func(b band) bool {
		if b.hertz < low || b.hertz > high || b.quality < leastSharp || b.quality > mostSharp || b.variance > mostBand {
			return false
		}
		w := f.likelihood(r, noise{band: b})
		if bad(w) || w < top+bandPrecise { // of readings that are all on the curve it is not a number
			return false
		}
		best, top = b, w
		return true
	}
	for hz := low; hz < high; hz *= bandStep {
		try(band{1, hz, 1.5})
		try(band{10, hz, 1.5})
	}
	if top < f.likelihoodWithout(r)-bandHope {
		return band{}, false
	}
	for _, step := range [3]float64{0.8, 0.3, 0.1} {
		for up := true; up; {
			up = false
			for _, e := range [2]float64{math.Exp(step), math.Exp(-step)} {
				up = try(band{best.variance * e * e, best.hertz, best.quality}) || up
				up = try(band{best.variance, best.hertz * math.Sqrt(e), best.quality}) || up
				up = try(band{best.variance, best.hertz, best.quality * e}) || up
			}
		}
	}
	return best, best.variance > 0
}

// likelihoodWithout is the log likelihood of r under white and exponentially correlated noise, the likeliest of a few.
func (f *fitting) likelihoodWithout(r []float64) float64 {
	tau := f.levels().tau
	top := f.likelihood(r, noise{})
	for _, k := range [3]int{0, len(tau) / 3, 2 * len(tau) / 3} {
		for _, slow := range [3]float64{0.4, 6.4, 100} {
			top = math.Max(top, f.likelihood(r, noise{slow: slow, tau: tau[k : k+1]}))
		}
	}
	return top
}

// bandWithin is from where to where, in hertz, the middle of a band is looked for.
func (f *fitting) bandWithin() (low, high float64) {
	at := make([]float64, len(f.bs))
	for i := range f.bs {
		at[i] = f.bs[i].t
	}
	_, half := timeSpan(f.bs)
	return bandCycles * math.Max(meanRate(f.bs)/(2*math.Pi), 1/(2*half)), f.finest(at)
}

// tryBand is the heaviest of a few grid points with the band.
func (f *fitting) tryBand(b band, way *direction, along curve) point {
	d := newDesign(f.in, f.bs, f.groups, f.axes, way, along, f.parts)
	d.noise2 = f.ans.best.s2
	l := f.levels()
	l.band = b
	s := f.searcher(d, l)
	return s.near(f.ans.best.h, 0, 3, f.ans.best.h.slow/2)
}

// likelihood is the log likelihood of r under noise of a shape, its size the likeliest.
func (f *fitting) likelihood(r []float64, nz noise) float64 {
	var square, logDet float64
	f.innovations(r, nz, func(e, v float64) { square, logDet = square+e*e, logDet+math.Log(v) })
	n := float64(len(f.bs))
	return -(logDet + n*math.Log(square/n)) / 2
}

// tails is the kurtosis of the innovations of r.
func (f *fitting) tails(r []float64, nz noise) float64 {
	var two, four float64
	f.innovations(r, nz, func(e, _ float64) { two, four = two+e*e, four+e*e*e*e })
	return four / (two * two) * float64(len(f.bs))
}

// innovations visits what is new in r, block by block, scaled by its standard deviation, and its variance.
func (f *fitting) innovations(r []float64, nz noise, visit func(e, v float64)) {
	k := newKalman(nz, 1)
	var out [1]float64
	for i := range f.bs {
		b := &f.bs[i]
		if i == 0 || b.track != f.bs[i-1].track {
			k.begin()
		} else {
			k.wait(math.Abs(b.t - f.bs[i-1].t))
		}
		v := k.read(r[i:i+1], b.noise, out[:])
		visit(out[0], v)
	}
}
