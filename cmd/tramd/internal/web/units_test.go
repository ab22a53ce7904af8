package web

import (
	"strings"
	"testing"
)

// The first figures, before any script, are in the unit of the configuration, and so are those of the script.
func TestThePageBeginsInTheUnitOfTheConfiguration(t *testing.T) {
	for _, c := range []struct{ units, tolerance, key, label string }{
		{"", "0.02/300", "own", "mm over 300 mm"},
		{"mm", "0.02/300", "mm_per_m", "mm/m"},
		{"arcsec", "0.02/300", "arcsec", "arcsec"},
		{"inch", "0.02/300", "thou_ft", "thou/ft"},
		{"inch", "0.001 in/12 in", "own", "in over 12 in"},
	} {
		snap := linnet(0)
		snap.LimitAs = c.tolerance
		w := do(Handler(Options{Live: always(snap), Units: c.units, Local: true}), call{method: "GET", path: "/"})
		if got := w.Body.String(); !strings.Contains(got, `data-unit="`+c.key+`"`) ||
			!strings.Contains(got, " "+c.label+"<") {
			t.Errorf("%+v: %s", c, got[:600])
		}
	}
}
