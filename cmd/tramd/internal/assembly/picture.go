package assembly

import (
	"fmt"

	"tramd/cmd/tramd/internal/picture"
	"tramd/sweep/bar"
	"tramd/sweep/stack"
	"tramd/sweep/zone"
)

// Picture draws the result as SVG; empty where there is nothing to draw.
func (r Result) Picture(title string) string {
	switch {
	case r.Traverse != nil:
		return r.traversePicture(title)
	case r.Bar != nil:
		return picture.Bar(title, rings(r.Bar.Heights))
	}
	var curves []picture.Curve
	for _, axis := range []string{"tilt", "nod"} {
		c := picture.Curve{Name: axis}
		for _, p := range r.Travel.Profile {
			if p.Axis == axis {
				c.Points = append(c.Points, picture.Point{At: p.PositionMM, FormMM: p.MM})
			}
		}
		curves = append(curves, c)
	}
	return picture.Line(title, curves)
}

// traversePicture draws several lines as a plane where their places make a grid, else each line by itself.
func (r Result) traversePicture(title string) string {
	t := r.Traverse
	var x, y, z []float64
	var curves []picture.Curve
	at := map[float64]int{}
	for _, p := range t.Profile {
		x, y, z = append(x, p.PositionMM), append(y, p.LineMM), append(z, p.MM)
		k, seen := at[p.LineMM]
		if !seen {
			k = len(curves)
			at[p.LineMM] = k
			curves = append(curves, picture.Curve{Name: fmt.Sprintf("%g mm", p.LineMM)})
		}
		curves[k].Points = append(curves[k].Points, picture.Point{At: p.PositionMM, FormMM: p.FormMM})
	}
	if len(curves) == 1 {
		curves[0].Name = ""
	}
	if plane, ok := zone.LeastSquaresPlane(x, y, z); ok && len(curves) > 1 {
		cells := make([]picture.Cell, len(x))
		for i := range x {
			cells[i] = picture.Cell{X: x[i], Y: y[i], MM: z[i] - plane.At - plane.X*x[i] - plane.Y*y[i]}
		}
		var twist *float64
		if t.Twist != nil {
			v := t.Twist.Slope.MMPerM()
			twist = &v
		}
		if svg := picture.Plane(title, cells, twist); svg != "" {
			return svg
		}
	}
	return picture.Line(title, curves)
}

func rings(heights []bar.Height) []picture.Ring {
	var out []picture.Ring
	for _, h := range heights {
		out = append(out, picture.Ring{AtMM: h.AtMM, EccentricityMM: h.Eccentricity, TowardsDeg: h.TowardsDeg})
	}
	return out
}

// ChainPicture draws what all relations say together.
func ChainPicture(title string, a *stack.Answer) string {
	if a == nil {
		return ""
	}
	links := []picture.Link{}
	for _, l := range []struct{ relation, from, to string }{
		{stack.SpindleToTravel, "spindle", "head travel"}, {stack.TravelToTable, "head travel", "table"},
		{stack.SpindleToTable, "spindle", "table"}, {stack.CrossToTable, "cross travels", "table"},
	} {
		link := picture.Link{From: l.from, To: l.to}
		for _, axis := range []string{"tilt", "nod"} {
			x := a.Axes[axis]
			if x == nil {
				continue
			}
			if v, ok := x.Adjusted[l.relation]; ok {
				link.Says = append(link.Says, fmt.Sprintf("%s %+.3f ± %.3f", axis, v.MMPerM, v.Expanded))
			}
			link.Suspect = link.Suspect || x.Suspect != nil && *x.Suspect == l.relation
			link.Largest = link.Largest || x.Largest != nil && *x.Largest == l.relation && len(link.Says) > 0
		}
		links = append(links, link)
	}
	return picture.Chain(title, links)
}
