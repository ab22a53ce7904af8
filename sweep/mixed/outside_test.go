package mixed

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// mixedReference is a linear mixed model fitted by lme4; mixed_lme4.R beside the files made it and names the data's
// sources.
type mixedReference struct {
	Y, Group, Day   []float64
	Theta           [][]float64
	Deviance        []float64 `json:"restricted_deviance"`
	Estimated       []float64 `json:"estimated_theta"`
	Sigma           []float64
	Fixed           []float64
	FixedCovariance []float64 `json:"fixed_covariance"`
	Random          []float64
}

// designOf writes the reference's model into ours: groups' random effects stand in the place of the form's harmonics,
// all of equal variance, their columns turned by the factor theta of the random effects' relative covariance; intercept
// and slope stand in the place of the lean.
func (m *mixedReference) designOf(theta []float64) (d *design, bs []block) {
	groups := 0
	for _, g := range m.Group {
		groups = max(groups, int(g))
	}
	each, lean := 1, 1
	if len(theta) == 3 { // lower triangle of a factor of two rows, by columns
		each, lean = 2, 2
	}
	d = &design{form: groups * each, drift: drifts, lean: lean, noise2: 1}
	d.cols = d.form + d.drift + d.lean + 1
	for range d.form {
		d.orders = append(d.orders, 2) // of one variance all
	}
	for i, y := range m.Y {
		x := make([]float64, d.cols)
		at := (int(m.Group[i]) - 1) * each
		x[d.cols-1-lean] = 1
		if each == 1 {
			x[at] = theta[0]
		} else {
			x[at], x[at+1] = theta[0]+theta[1]*m.Day[i], theta[2]*m.Day[i]
			x[d.cols-2] = m.Day[i]
		}
		x[d.cols-1] = y
		d.rows = append(d.rows, x)
		bs = append(bs, block{t: float64(i), noise: 1})
	}
	return d, bs
}

// levelsOfOne is a grid of one point: white noise, random effects of the size of the noise.
func levelsOfOne() *levels {
	return &levels{tau: []float64{1}, slow: []float64{0}, form: []float64{1}, fall: []float64{0}, drift: []float64{1}}
}

func close2(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)+1e-12) {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

// The restricted likelihood, the variance, the fixed effects with their covariance and the predictions of the random
// effects are those of a general-purpose mixed-model library, on the tables that come with it.
func TestAgainstAMixedModelLibrary(t *testing.T) {
	for _, file := range []string{"mixed_dyestuff.json", "mixed_sleepstudy.json"} {
		var m mixedReference
		published(t, file, &m)
		if len(m.Y) < 30 || len(m.Theta) != len(m.Deviance) {
			t.Fatalf("%s: %d readings, %d deviances for %d points", file, len(m.Y), len(m.Deviance), len(m.Theta))
		}
		at := func(theta []float64) (point, *design) {
			d, bs := m.designOf(theta)
			s := searcher{d: d, bs: bs, l: levelsOfOne(), gram: map[noiseLevel]white{}}
			return s.at(hyper{}), d
		}
		first, _ := at(m.Theta[0])
		for i, theta := range m.Theta {
			p, _ := at(theta)
			close2(t, file+": twice the log likelihood against the first point's", -2*(p.weight-first.weight),
				m.Deviance[i]-m.Deviance[0], 1e-5)
		}
		p, d := at(m.Estimated)
		close2(t, file+": standard deviation", math.Sqrt(p.s2), m.Sigma[0], 1e-6)
		n := d.lean
		for k := range n {
			close2(t, file+": fixed effect", p.lean[k], m.Fixed[k], 1e-6)
			close2(t, file+": its variance", p.cov[2*k], m.FixedCovariance[k*(n+1)], 1e-6)
		}
		if n == 2 {
			close2(t, file+": covariance", p.cov[1], m.FixedCovariance[1], 1e-6)
		}
		coef := p.coefficients(d)
		th := m.Estimated
		for g := range d.form / n {
			if n == 1 {
				close2(t, file+": predicted", th[0]*coef[g], m.Random[g], 1e-5)
				continue
			}
			close2(t, file+": predicted", th[0]*coef[2*g], m.Random[2*g], 1e-5)
			close2(t, file+": predicted slope", th[1]*coef[2*g]+th[2]*coef[2*g+1], m.Random[2*g+1], 1e-4)
		}
		best, _ := at(m.Estimated)
		for i := range m.Estimated { // nothing beside the estimate is likelier
			for _, e := range []float64{0.97, 1.03} {
				beside := append([]float64(nil), m.Estimated...)
				beside[i] *= e
				if q, _ := at(beside); q.weight > best.weight+1e-6 {
					t.Errorf("%s: %v is likelier than the estimate %v", file, beside, m.Estimated)
				}
			}
		}
	}
}

// The filter's innovations and log likelihood are those of a general-purpose state-space library on the flow of the
// Nile: by the filter of one state, by that of several, and by the forward half of the pass of the jump scan.
func TestAgainstAStateSpaceLibrary(t *testing.T) {
	var ref struct {
		Y     []float64
		Cases []struct {
			Phi, White, Drive float64
			LogLikelihood     float64   `json:"log_likelihood"`
			Innovations       []float64 `json:"standardized_innovations"`
		}
	}
	published(t, "mixed_statespace.json", &ref)
	if len(ref.Y) != 100 || len(ref.Cases) != 3 {
		t.Fatalf("%d readings, %d cases", len(ref.Y), len(ref.Cases))
	}
	var bs []block
	d := &design{cols: 1}
	for i, y := range ref.Y {
		bs = append(bs, block{t: float64(i), noise: 1})
		d.rows = append(d.rows, []float64{y})
	}
	for _, c := range ref.Cases {
		slow, tau := c.Drive/(1-c.Phi*c.Phi)/c.White, -1/math.Log(c.Phi)
		f := &fitting{bs: bs, d: d}
		var es, vs []float64
		f.innovations(ref.Y, noise{slow: slow, tau: []float64{tau}}, func(e, v float64) {
			es, vs = append(es, e), append(vs, v)
		})
		var square, logDet float64
		for i := range es {
			close2(t, "innovation", es[i]/math.Sqrt(c.White), c.Innovations[i], 1e-6)
			square, logDet = square+es[i]*es[i], logDet+math.Log(vs[i])
		}
		likelihood := func(square, logDet float64) float64 {
			return -(100*math.Log(2*math.Pi*c.White) + logDet + square/c.White) / 2
		}
		close2(t, "log likelihood", likelihood(square, logDet), c.LogLikelihood, 1e-8)
		gram, logDet := d.whitenOne(bs, slow, tau)
		close2(t, "of one state", likelihood(gram.row(0)[0], logDet), c.LogLikelihood, 1e-8)
		pass := newPass(d, bs, slow, tau)
		close2(t, "of the jump scan", likelihood(pass.gram.row(0)[0], pass.logDet), c.LogLikelihood, 1e-8)
	}
}
