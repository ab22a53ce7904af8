package picture

import (
	"fmt"
	"math"
)

// Ring is a bar at one height: how far its middle lies beside the axis it turns about, and towards where.
type Ring struct {
	AtMM, EccentricityMM, TowardsDeg float64
}

// Bar draws the bar at its lowest and its highest height as a circle beside that of the axis, the distance enlarged.
func Bar(title string, rings []Ring) string {
	if len(rings) == 0 {
		return ""
	}
	shown := rings[:1:1]
	if len(rings) > 1 {
		shown = append(shown, rings[len(rings)-1])
	}
	most := 0.0
	for _, r := range shown {
		most = math.Max(most, r.EccentricityMM)
	}
	scale := 34 / math.Max(most, 1e-6)
	c := open(640, 268, title)
	c.text(8, 22, "start", ink, "%s", title)
	c.text(632, 22, "end", soft, "distances enlarged alike")
	for k, r := range shown {
		x, y := 320.0, 140.0
		if len(shown) == 2 {
			x = 164 + 312*float64(k)
		}
		way := r.TowardsDeg * math.Pi / 180
		ex, ey := x+scale*r.EccentricityMM*math.Cos(way), y-scale*r.EccentricityMM*math.Sin(way)
		c.put(`<circle cx="%.1f" cy="%.1f" r="62" fill="none" stroke="%s" stroke-width="1.5" stroke-dasharray="6 4"/>`,
			x, y, soft)
		c.put(`<circle cx="%.1f" cy="%.1f" r="62" fill="none" stroke="%s" stroke-width="2.5"/>`, ex, ey, blue)
		c.put(`<circle cx="%.1f" cy="%.1f" r="2.5" fill="%s"/>`, x, y, soft)
		if math.Hypot(ex-x, ey-y) > 3 {
			c.arrow(x, y, ex, ey, high)
		}
		c.text(x, 256, "middle", ink, "%s", fmt.Sprintf("at %.6g mm: %.1f µm to %.0f°", r.AtMM, 1000*r.EccentricityMM,
			r.TowardsDeg))
	}
	return c.close()
}
