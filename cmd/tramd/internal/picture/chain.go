package picture

import "strings"

// Link is a relation of the chain as it was adjusted, in words: "tilt +0.012 ± 0.004".
type Link struct {
	From, To string   // the bodies: spindle, head travel, table, cross travels
	Says     []string // empty: not measured
	Suspect  bool     // it spoils the rest
	Largest  bool     // it is the joint to correct
}

// bodies are where each stands in the picture.
var bodies = map[string][2]float64{"spindle": {100, 66}, "head travel": {540, 66}, "table": {540, 290},
	"cross travels": {100, 290}}

// Chain draws the bodies with an arrow for each relation.
func Chain(title string, links []Link) string {
	if len(links) == 0 {
		return ""
	}
	c := open(640, 324, title)
	c.text(8, 22, "start", ink, "%s", title)
	for _, l := range links {
		from, to := bodies[l.From], bodies[l.To]
		colour := blue
		switch {
		case len(l.Says) == 0:
			colour = rule
		case l.Suspect || l.Largest:
			colour = high
		}
		dx, dy := to[0]-from[0], to[1]-from[1]
		if l.From == "spindle" && l.To == "table" { // the diagonal
			c.arrow(from[0]+dx*0.15, from[1]+dy*0.15, from[0]+dx*0.87, from[1]+dy*0.87, colour)
		} else {
			c.arrow(from[0]+dx*0.18, from[1]+dy*0.1, from[0]+dx*0.82, from[1]+dy*0.9, colour)
		}
		says := l.Says
		if len(says) == 0 {
			says = []string{"not measured"}
		}
		if l.Suspect {
			says = append(says[:len(says):len(says)], "suspect")
		}
		x, y, anchor := from[0]+dx/2, from[1]+dy/2-8-20*float64(len(says)-1), "middle"
		switch {
		case dx == 0 && from[0] > 320:
			x, anchor = x-8, "end"
		case dx == 0:
			x, anchor = x+8, "start"
		case dy != 0:
			x, y = x-74, y+50
		}
		for i, s := range says {
			c.text(x, y+20*float64(i), anchor, ink, "%s", strings.Replace(s, "-", "−", 1))
		}
	}
	for _, name := range []string{"spindle", "head travel", "table", "cross travels"} {
		at := bodies[name]
		c.put(`<rect x="%.0f" y="%.0f" width="150" height="40" rx="4" fill="%s" stroke="%s" stroke-width="1.5"/>`,
			at[0]-75, at[1]-20, ground, ink)
		c.text(at[0], at[1]+6, "middle", ink, "%s", name)
	}
	return c.close()
}
