package mixed

import (
	"fmt"
	"math"
	"slices"
)

// steepMMPerM is a lean that no machine has: readings in other units than mm are likelier.
const steepMMPerM = 20

// oneUnit refuses readings that fall in two large, tight groups of one sign as far apart as two units are: part of them
// was written in inches or micrometres. Readings about zero, and handfuls of them, do not show it; a slot is a small
// group.
func (tr *track) oneUnit() error {
	const tight, near = 1.4, 1.05 // largest over smallest within a group; slack of the ratio
	least := max(10, len(tr.z)/8) // readings in each group
	if len(tr.z) < 2*least {
		return nil
	}
	low, high := math.Inf(1), 0.0
	for _, z := range tr.z {
		a := math.Abs(z)
		low, high = min(low, a), max(high, a)
		if z*tr.z[0] < 0 {
			return nil
		}
	}
	if !(high > 20*low) || low == 0 { // by far the most sweeps end here
		return nil
	}
	size := make([]float64, 0, len(tr.z))
	for _, z := range tr.z {
		size = append(size, math.Abs(z))
	}
	slices.Sort(size)
	cut := 0
	for i := 1; i < len(size); i++ {
		if cut == 0 || size[i]/size[i-1] > size[cut]/size[cut-1] {
			cut = i
		}
	}
	small, large := size[:cut], size[cut:]
	if len(small) < least || len(large) < least || small[cut-1] > tight*small[0] ||
		large[len(large)-1] > tight*large[0] {
		return nil
	}
	ratio := median(large) / median(small)
	for _, u := range []struct {
		ratio float64
		what  string
	}{{25.4, "inches and millimetres"}, {1000, "micrometres and millimetres"}, {25400, "micrometres and inches"}} {
		if ratio > u.ratio/near && ratio < u.ratio*near {
			return fmt.Errorf(
				"%d readings are about %.4g times the other %d: %s seem to be mixed; bring all readings to mm",
				len(large), ratio, len(small), u.what)
		}
	}
	return nil
}
