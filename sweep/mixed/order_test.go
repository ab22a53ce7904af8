package mixed

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The selection gives what sorting gives, equal values and short lists included.
func TestNth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-20, 20), func(i int) float64 { return float64(i) / 4 }), 1,
			200).Draw(t, "x")
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		sorted := slices.Sorted(slices.Values(x))
		if got := nth(slices.Clone(x), k); got != sorted[k] {
			t.Fatalf("%v, want %v", got, sorted[k])
		}
		want := sorted[len(x)/2]
		if len(x)%2 == 0 {
			want = (want + sorted[len(x)/2-1]) / 2
		}
		if got := median(slices.Clone(x)); got != want {
			t.Fatalf("median %v, want %v", got, want)
		}
	})
	if !math.IsNaN(median(nil)) {
		t.Error("the median of nothing is a number")
	}
}
