package sweep

import (
	"fmt"
	"math"
	"slices"
)

// A wheel with several magnets marks the turn in parts that are seldom even: they are glued on by hand. But each magnet
// comes round after a whole turn, so where it sits is found from all turns together, as the share of the turn after
// which it came.

// parts turns numbers of pulses into turns of the spindle. at are the times of those that fit, number how many pulses
// they are after the first.
func (o Steady) parts(at, number []float64, marks []pulse) ([]float64, error) {
	n := o.Pulses
	first, err := o.startMark(at, number, marks)
	if err != nil {
		return nil, err
	}
	if whole := number[len(number)-1]; whole < float64(n) {
		return nil, fmt.Errorf("%.0f of %d pulses a turn came: a whole turn is needed to find where they sit",
			whole+1, n)
	}
	time := func(k float64) (float64, bool) { // a turn whose start mark was missed says nothing
		if i, came := slices.BinarySearch(number, k); came {
			return at[i], true
		}
		return 0, false
	}
	share, seen := make([]float64, n), make([]float64, n)
	for i, k := range number {
		which := int(math.Mod(math.Mod(k-first, float64(n))+float64(n), float64(n)))
		a, begun := time(k - float64(which))
		b, whole := time(k - float64(which) + float64(n))
		if begun && whole {
			share[which], seen[which] = share[which]+(at[i]-a)/(b-a), seen[which]+1
		}
	}
	out := make([]float64, len(number))
	for i, k := range number {
		turn := math.Floor((k - first) / float64(n))
		which := int(k - first - turn*float64(n))
		place := float64(which) / float64(n)
		if seen[which] > 0 {
			place = share[which] / seen[which]
		}
		out[i] = turn + place
		if i > 0 && !(out[i] > out[i-1]) {
			return nil,
				fmt.Errorf(
					"the index pulses do not come at even times: look for bounce or pick-up on their line, and at pulses_per_turn = %d", n)
		}
	}
	return out, nil
}

// startMark returns the number of a pulse that is the start mark, and refuses marks that are not whole turns apart.
func (o Steady) startMark(at, number []float64, marks []pulse) (float64, error) {
	first, found := 0.0, false
	for _, m := range marks {
		i, kept := slices.BinarySearch(at, m.t)
		if !m.start || !kept {
			continue
		}
		if found {
			if between := number[i] - first; math.Mod(between, float64(o.Pulses)) != 0 {
				return 0, fmt.Errorf(
					"%.0f pulses came from one start mark to another, which is no multiple of pulses_per_turn = %d: correct it, or look for pulses that are missed or doubled", between, o.Pulses)
			}
			continue
		}
		first, found = number[i], true
	}
	if !found {
		return 0,
			fmt.Errorf(
				"none of %d pulses was the start mark: write the word it sends as index_mark, or leave index_mark out to begin at the first pulse", len(marks))
	}
	return first, nil
}
