package stack

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep/line/linetest"
)

var study = flag.Int("study", 0, "stacks of each kind that the study draws; 0 for the short form")

// kind is which relations a stack is of, and how well each is known.
type kind struct {
	name      string
	relations []string
	u         [2]float64 // mm/m: between which the true uncertainties lie
	dof       float64    // behind each stated uncertainty; 0 where it is known
	tells     []int      // which of them may be wrong
	named     float64    // share of those that are named; redundancy limits it to less than nine of ten in some kinds
}

var (
	once   = []string{SpindleToTable, SpindleToTravel, TravelToTable}
	twice  = append(once, once...)
	thrice = append(twice, once...)
	alike  = [2]float64{0.01, 0.01}
	unlike = [2]float64{0.005, 0.03}
)

var kinds = []kind{
	{name: "chain", relations: once, u: alike},
	{name: "chain, far unlike", relations: append([]string{CrossToTable}, once...), u: [2]float64{0.002, 0.05}},
	{name: "chain and one more", relations: append([]string{SpindleToTable}, once...), u: alike,
		tells: []int{0, 1}, named: 0.8},
	{name: "sweep three times", relations: append([]string{SpindleToTable, SpindleToTable}, once...), u: alike,
		tells: []int{0, 1, 2}, named: 0.9},
	{name: "each twice", relations: twice, u: alike, tells: []int{0, 1, 2, 3, 4, 5}, named: 0.85},
	{name: "each twice, with the table", relations: append([]string{CrossToTable, CrossToTable, SpindleToCross},
		twice...),
		u: alike, tells: []int{3, 4, 5}, named: 0.85},
	{name: "each three times", relations: thrice, u: alike, tells: []int{0, 1, 2}, named: 0.9},
	{name: "each twice, unlike", relations: twice, u: unlike},
	{name: "chain, 4 degrees", relations: once, u: alike, dof: 4},
	{name: "each twice, unlike, 4 degrees", relations: twice, u: unlike, dof: 4},
	{name: "each twice, 8 degrees", relations: twice, u: alike, dof: 8},
	{name: "each thrice, unlike, 5 degrees", relations: thrice, u: unlike, dof: 5},
}

// draw makes up a stack and its truth. The one that is wrong is off by five times its uncertainty.
func (k *kind) draw(r *rand.Rand, wrong int) ([]Measured, map[string]float64) {
	sp, tr, cr := 0.3*r.NormFloat64(), 0.3*r.NormFloat64(), 0.3*r.NormFloat64()
	truth := map[string]float64{
		SpindleToTable: sp, SpindleToTravel: sp - tr, TravelToTable: tr,
		CrossToTable: cr, SpindleToCross: sp - cr, TravelToCross: tr - cr,
	}
	var out []Measured
	for i, name := range k.relations {
		u := k.u[0] + (k.u[1]-k.u[0])*r.Float64()
		v := truth[name] + u*r.NormFloat64()
		if i == wrong {
			v += math.Copysign(5*u, r.Float64()-0.5)
		}
		m := tilt(name, v, u)
		if k.dof > 0 {
			sum := 0.0
			for range int(k.dof) {
				sum += math.Pow(r.NormFloat64(), 2)
			}
			*m.TiltU = u * math.Sqrt(sum/k.dof)
			m.TiltDoF = value(k.dof)
		}
		out = append(out, m)
	}
	return out, truth
}

// Sound stacks of every kind are called inconsistent in at most 7 of 100, and the interval of every relation holds the
// truth; the one that is wrong by five times its uncertainty is named in nine cases of ten where the rest can tell it.
func TestStacksOfEveryKind(t *testing.T) {
	t.Parallel()
	n := 400
	if *study > 0 {
		n = *study
	}
	for at := range kinds {
		k := &kinds[at]
		r := rand.New(rand.NewPCG(uint64(at), 41))
		inconsistent := 0
		var tally, closure linetest.Tally
		for range n {
			rs, truth := k.draw(r, -1)
			x := solve(t, rs...)
			if !x.Consistent {
				inconsistent++
			}
			for name, v := range x.Adjusted {
				tally.Add(v.MMPerM-truth[name], v.Expanded)
			}
			if x.Closure != nil {
				closure.Add(x.Closure.MMPerM, x.Closure.Expanded)
			}
		}
		share := 100 * float64(inconsistent) / float64(n)
		named, other := 0, 0
		for i := range n {
			if len(k.tells) == 0 {
				break
			}
			wrong := k.tells[i%len(k.tells)]
			rs, _ := k.draw(r, wrong)
			switch x := solve(t, rs...); {
			case x.SuspectIndex != nil && *x.SuspectIndex == wrong:
				named++
			case x.Suspect != nil:
				other++
			}
		}
		t.Logf("%-30s inconsistent %4.1f %%, adjusted %v, closure %v", k.name, share, &tally, &closure)
		if len(k.tells) > 0 {
			t.Logf("%-30s named %.1f %%, another %.1f %%", "", 100*float64(named)/float64(n),
				100*float64(other)/float64(n))
		}
		chance := 3 / math.Sqrt(float64(n))
		if share > 7+100*chance*math.Sqrt(0.07*0.93) {
			t.Errorf("%s: %.1f %% of sound stacks are called inconsistent", k.name, share)
		}
		if !tally.Sound() || !closure.Sound() {
			t.Errorf("%s: adjusted %v, closure %v", k.name, &tally, &closure)
		}
		if got := float64(named) / float64(n); got < k.named-0.3*chance {
			t.Errorf("%s: of those that are wrong %.1f %% are named", k.name, 100*got)
		}
		if float64(other)/float64(n) > 0.05+0.22*chance {
			t.Errorf("%s: another is named %d times of %d", k.name, other, n)
		}
	}
}
