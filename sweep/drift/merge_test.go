package drift

import (
	"math"
	"testing"
)

// What two hypotheses say together, level and slope with their uncertainties, they still say as one.
func TestAMergerKeepsMeanAndVariance(t *testing.T) {
	b := &bank{dof: 40}
	p := process{steep: 0.1, tau: -1, prior: 0.5}
	for i, rate := range []float64{0.001, 0.00108} {
		h := hypothesis{process: p, square: 40 * sq(0.004), weight: 0.3 + 0.4*float64(i)}
		h.level, h.rate, h.ll, h.lb, h.bb = 0.02+rate, rate, 0.2, 0.01, 0.02
		b.h = append(b.h, h)
	}
	before := b.now()
	b.merge()
	if len(b.h) != 1 || math.Abs(b.h[0].weight-1) > 1e-12 {
		t.Fatalf("%d hypotheses are left, the first weighs %v", len(b.h), b.h[0].weight)
	}
	after := b.now()
	for _, x := range [][2]float64{{after.Level, before.Level}, {after.U, before.U}, {after.Rate, before.Rate},
		{after.RateU, before.RateU}} {
		if math.Abs(x[0]-x[1]) > 1e-12 {
			t.Errorf("merged %v, apart %v", x[0], x[1])
		}
	}
}

// What differs stays apart: another process, another level, another slope.
func TestUnlikeHypothesesStayApart(t *testing.T) {
	for name, differ := range map[string]func(h *hypothesis){
		"process":   func(h *hypothesis) { h.place = 1 },
		"level":     func(h *hypothesis) { h.level += 0.004 },
		"slope":     func(h *hypothesis) { h.rate += 0.001 },
		"curvature": func(h *hypothesis) { h.quick = 0.05 },
	} {
		b := &bank{dof: 40}
		for range 2 {
			h := hypothesis{process: process{steep: 0.1, tau: -1}, square: 40 * sq(0.004), weight: 0.5}
			h.ll, h.bb = 0.2, 0.02
			b.h = append(b.h, h)
		}
		differ(&b.h[1])
		if b.merge(); len(b.h) != 2 {
			t.Errorf("%s: merged", name)
		}
	}
}

// Interventions leave no twins behind: years on, each process stands in the bank a few times at most.
func TestInterventionsLeaveNoTwins(t *testing.T) {
	tr := New()
	for k, c := range hourly(6000) {
		if k/1000%2 == 1 { // a step every thousand checks
			c.Axis[0] = &Value{c.Axis[0].MMPerM + 0.02, c.Axis[0].U}
		}
		if _, err := tr.Check(c); err != nil {
			t.Fatal(err)
		}
	}
	b, most := tr.axes[0].bank, map[int]int{}
	if b.split == 0 {
		t.Fatal("no intervention")
	}
	for i := range b.h {
		if most[b.h[i].place]++; most[b.h[i].place] > 8 {
			t.Fatalf("process %d stands in the bank more than 8 times (of %d hypotheses)", b.h[i].place, len(b.h))
		}
	}
}

// What weighs little may be merged more coarsely: it costs the whole less.
func TestAMergerCostsByWeight(t *testing.T) {
	h := hypothesis{process: process{tau: -1}, square: 40 * sq(0.004), weight: 0.5}
	h.level, h.ll = 0.02, 0.2
	x := h
	x.level += 0.002
	heavy := h.cost(&x, 40)
	h.weight, x.weight = 0.0005, 0.0005
	if light := h.cost(&x, 40); heavy <= mergeCost || light > mergeCost || math.Abs(light*1000-heavy) > 1e-9 {
		t.Errorf("a merger of half and half costs %v, of two thousandths %v; wanted above and below %v", heavy,
			light, mergeCost)
	}
	// Equal variances: the bound is that of a mean off by so much, w/2 log(1 + p(1-p) d2/v).
	if want := 0.5 * math.Log1p(0.25*sq(0.002)/(0.2*sq(0.004))); math.Abs(heavy-want) > 1e-12 {
		t.Errorf("cost %v, want %v", heavy, want)
	}
}
