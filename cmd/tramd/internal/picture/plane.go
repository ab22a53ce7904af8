package picture

import (
	"fmt"
	"math"
	"slices"
)

// Cell is one place of a plane, with its height over the plane that fits best.
type Cell struct{ X, Y, MM float64 }

// Plane draws a plane as a grid of colours, high in vermilion and low in teal, with the way in which its corners are
// twisted.
func Plane(title string, cells []Cell, twistMMPerM *float64) string {
	var xs, ys []float64
	most := 0.0
	for _, cell := range cells {
		xs, ys = append(xs, cell.X), append(ys, cell.Y)
		most = math.Max(most, math.Abs(cell.MM))
	}
	xs, ys = distinct(xs), distinct(ys)
	if len(xs) < 2 || len(ys) < 2 || len(xs)*len(ys) > 4000 {
		return ""
	}
	const left, top, width, height = 60.0, 36.0, 560.0, 250.0
	c := open(640, top+height+56, title)
	c.text(8, 22, "start", ink, "%s", title)
	if twistMMPerM != nil {
		c.text(632, 22, "end", soft, "twist %+.3f mm/m", *twistMMPerM)
	}
	dx, dy := width/float64(len(xs)), height/float64(len(ys))
	for _, cell := range cells {
		i, _ := slices.BinarySearch(xs, cell.X)
		j, _ := slices.BinarySearch(ys, cell.Y)
		px, py := left+dx*float64(i), top+height-dy*float64(j+1) // larger y lies at the back, which is up
		c.put(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s" stroke="%s"/>`, px, py, dx, dy,
			shade(cell.MM/math.Max(most, 1e-9)), ground)
		if dx > 84 && dy > 24 {
			c.text(px+dx/2, py+dy/2+6, "middle", ink, "%s", microns(cell.MM))
		}
	}
	for i, x := range xs {
		if len(xs) < 9 || i == 0 || i == len(xs)-1 {
			c.text(left+dx*(float64(i)+0.5), top+height+22, "middle", soft, "%.6g", x)
		}
	}
	for j, y := range ys {
		if len(ys) < 9 || j == 0 || j == len(ys)-1 {
			c.text(left-6, top+height-dy*(float64(j)+0.5)+4, "end", soft, "%.6g", y)
		}
	}
	c.text(left+width/2, top+height+46, "middle", soft, "mm; each figure: height over the plane that fits best")
	return c.close()
}

func distinct(values []float64) []float64 {
	values = slices.Clone(values)
	slices.Sort(values)
	return slices.Compact(values)
}

// shade returns a colour from teal over the ground to vermilion for -1 to 1, light enough for dark words on it.
func shade(x float64) string {
	mix := func(from, to int, by float64) int { return from + int(math.Round(float64(to-from)*by)) }
	by := 0.75 * math.Min(math.Abs(x), 1)
	to := [3]int{0x5f, 0xc9, 0xbe}
	if x > 0 {
		to = [3]int{0xff, 0x9a, 0x6e}
	}
	return fmt.Sprintf("#%02x%02x%02x", mix(0xfb, to[0], by), mix(0xfa, to[1], by), mix(0xf7, to[2], by))
}
