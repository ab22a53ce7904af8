package mixed

import (
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"
)

func TestSharesAreEverythingOnce(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(3))
	for _, n := range []int{0, 1, shareLeast, 2*shareLeast + 1, 5*shareLeast - 1} {
		times := make([]int, n)
		inShares(n, func(lo, hi int) {
			for i := lo; i < hi; i++ {
				times[i]++
			}
		})
		for i, k := range times {
			if k != 1 {
				t.Fatalf("of %d things number %d was taken %d times", n, i, k)
			}
		}
	}
}

// A long sweep is worked on by all processors. Its result is that of one processor, to the last bit.
func TestManyProcessorsChangeNothing(t *testing.T) {
	s := scene{n: 240_000, turns: 48, seconds: 960, white: 0.001, slow: 0.001, tau: 1, form: 0.002, fall: 1.5, slots: 3,
		slotDeg: 8, slotMM: 1}
	long := s.draw(rand.New(rand.NewPCG(5, 240)))
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	alone, err := Fit(long.pts, long.setup)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(4)
	together, err := Fit(long.pts, long.setup)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(alone, together) {
		t.Errorf("%+v by four processors, %+v by one", together, alone)
	}
	if together.Rejected == 0 {
		t.Error("nothing was left out")
	}
}
