package mixed

import (
	"math"
	"testing"
)

// A slot whose depth happens to be 25.4 times the readings beside it is a slot; half a file in inches is not.
func TestOneUnit(t *testing.T) {
	ring := func(change func(i int, z float64) float64) *track {
		var tr track
		for i := range 1000 {
			tr.z = append(tr.z, change(i, 1+0.03*math.Cos(2*math.Pi*float64(i)/1000)))
		}
		return &tr
	}
	slot := func(i int, z float64) float64 {
		if i >= 500 && i < 520 {
			return 25.4 * z
		}
		return z
	}
	deep := func(i int, z float64) float64 {
		if i >= 500 && i < 700 {
			return -25.4 * z
		}
		return z
	}
	inches := func(i int, z float64) float64 {
		if i >= 500 {
			return z / 25.4
		}
		return z
	}
	for name, c := range map[string]struct {
		tr  *track
		bad bool
	}{"a slot": {ring(slot), false}, "a deep slot": {ring(deep), false}, "inches": {ring(inches), true},
		"good": {ring(func(_ int, z float64) float64 { return z }), false}} {
		if err := c.tr.oneUnit(); (err != nil) != c.bad {
			t.Errorf("%s: %v", name, err)
		}
	}
}
