package drift

import (
	"math"
	"testing"
)

// Of a wander that begins at a known level the share that was outside at any moment is that of the reflection
// principle, 2 Phi(-d / (q sqrt(t))) for one limit at a distance d (any text on Brownian motion; from memory); twice
// that for two limits that are far beside it. Two axes are outside when either is.
func TestFuturesFollowTheReflectionPrinciple(t *testing.T) {
	const limit, q, ahead = 1.0, 0.2, 9.0
	for _, axes := range []int{1, 2} {
		tr := New()
		tr.limit = limit
		for i := range axes {
			p := process{wander: q, tau: -1}
			tr.axes[i].bank = &bank{dof: 1e9, h: []hypothesis{{process: p, square: 1e9, weight: 1}}}
		}
		f := tr.futures(ahead)
		for _, h := range []float64{3, 6, 9} {
			one := 4 * above(limit/(q*math.Sqrt(h)))
			want := 1 - math.Pow(1-one, float64(axes))
			if got := f.chance(h); math.Abs(got-want) > 4*math.Sqrt(want/futuresDrawn)+
				0.08*want { // a date lies up to a step late
				t.Errorf("%d axes: outside within %v days in %.4f, want %.4f", axes, h, got, want)
			}
		}
		if day, ok := f.when(0.01); !ok || math.Abs(f.chance(day)-0.01) > 0.001 {
			t.Errorf("%d axes: %v, %v", axes, day, ok)
		}
	}
}

// A trend that is known crosses its limit when it does, and never before.
func TestFuturesOfATrend(t *testing.T) {
	tr := New()
	tr.limit = 1
	p := process{steep: 1, tau: -1}
	tr.axes[0].bank = &bank{dof: 1e9,
		h: []hypothesis{{process: p, square: 1e9, weight: 1, state: state{level: 0.2, rate: 0.1}}}}
	f := tr.futures(20)
	if day, ok := f.when(0.5); !ok || day < 7.1 || day > 9 {
		t.Errorf("crosses on day %v, truth 8", day)
	}
	if f.chance(7.1) != 0 || f.chance(9) != 1 {
		t.Errorf("outside by day 7.1 in %v, by day 9 in %v", f.chance(7.1), f.chance(9))
	}
}
