package assembly

import (
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/config"
	"tramd/sweep"
)

const planned = `
[machine]
name = "linnet"
tolerance = "0.02/300"
[store]
path = "/var/lib/tramd/tramd.db"
[[indicator]]
name = "arm"
port = "/dev/ttyUSB0"
radius_mm = 120.0
[angle]
source = "stations"
[[traverse]]
name = "rail"
positions_mm = [0, 100]
lines_mm = [0, 50]
edge_turned = true
[[traverse]]
name = "table"
positions_mm = [0, 100]
over = "table"
both_ways = true
[[bar]]
name = "shank"
heights_mm = [10, 35]
angles_deg = [0, 120, 240]
rechucked = true
travel_mm = [0, 80]
[[square]]
name = "block"
travel_mm = [0, 80]
sides_deg = [0]
turned = false
`

// Each measurement visits its places without winding back, and gives each place the columns that the fit needs.
func TestPlans(t *testing.T) {
	t.Parallel()
	cfg, err := config.Parse("linnet.toml", []byte(planned))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		kind, name, as, places string
	}{
		{sweep.KindTraverse, "rail", sweep.KindTraverse,
			"0 on the line at 0|100 on the line at 0|100 on the line at 50|0 on the line at 50|" +
				"0 on the line at 0, edge turned|100 on the line at 0, edge turned|100 on the line at 50, edge turned|0 on the line at 50, edge turned"},
		{sweep.KindTraverse, "table", sweep.KindCross,
			"0 along X|100 along X|0 along X|0 along Y|100 along Y|0 along Y"},
		{sweep.KindBar, "", sweep.KindBar, "10, 0°|10, 120°|10, 240°|35, 0°|35, 120°|35, 240°|" +
			"10, 0°, put back turned|10, 120°, put back turned|10, 240°, put back turned|35, 0°, put back turned|35, 120°, put back turned|35, 240°, put back turned"},
		{sweep.KindTravel, "shank", sweep.KindTravel,
			"0, side 0°|80, side 0°|80, side 0°, turned|0, side 0°, turned|0, side 90°, turned|80, side 90°, turned|80, side 90°|0, side 90°"},
		{sweep.KindTravel, "block", sweep.KindTravel, "0, side 0°|80, side 0°"},
	} {
		m, err := Plan(cfg, Wanted{Kind: x.kind, Name: x.name})
		if err != nil {
			t.Errorf("%s %s: %v", x.kind, x.name, err)
			continue
		}
		var names []string
		for _, p := range m.Places {
			names = append(names, strings.ReplaceAll(p.Name, " mm", ""))
			if p.Do == "" {
				t.Errorf("%s %s: nothing is said of %s", x.kind, x.name, p.Name)
			}
		}
		if got := strings.Join(names, "|"); m.Kind != x.as || got != x.places {
			t.Errorf("%s %s, as %s:\ngot  %s\nwant %s", x.kind, x.name, m.Kind, got, x.places)
		}
	}
	if _, err := Plan(cfg, Wanted{Kind: "sweep"}); err == nil {
		t.Error("a sweep was planned place by place")
	}
}
