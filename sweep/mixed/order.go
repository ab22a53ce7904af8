package mixed

import "math"

// median reorders x and returns its median; NaN when empty.
func median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	h := n / 2
	upper := nth(x, h)
	if n%2 == 1 {
		return upper
	}
	lower := x[0] // the largest of those before the upper one
	for _, v := range x[1:h] {
		lower = max(lower, v)
	}
	return (lower + upper) / 2
}

// nth reorders x so that x[k] is what it would be if x were sorted, nothing before it is larger and nothing after it
// smaller, and returns it: Hoare's selection, linear on average.
func nth(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for hi-lo > 8 {
		mid := lo + (hi-lo)/2
		if x[mid] < x[lo] {
			x[mid], x[lo] = x[lo], x[mid]
		}
		if x[hi] < x[lo] {
			x[hi], x[lo] = x[lo], x[hi]
		}
		if x[hi] < x[mid] {
			x[hi], x[mid] = x[mid], x[hi]
		}
		pivot := x[mid]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	for i := lo + 1; i <= hi; i++ {
		v := x[i]
		j := i
		for ; j > lo && x[j-1] > v; j-- {
			x[j] = x[j-1]
		}
		x[j] = v
	}
	return x[k]
}
