package config

import (
	"slices"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/stack"
)

const assembled = minimum + `
[[traverse]]
name = "left rail"
positions_mm = [0, 100, 200]
tolerance = "0.1/1000"
[[traverse]]
name = "cross travels"
positions_mm = [0, 200]
over = "table"
[[square]]
name = "cylinder square"
travel_mm = [0, 80]
[[bar]]
name = "shank"
heights_mm = [10, 35]
travel_mm = [0, 80]
`

// Without steps the job goes from the rails up to the spindle, and what the machine's own travels carry comes before
// the sweep.
func TestTheJobGoesFromTheRailsUp(t *testing.T) {
	c, err := Parse("linnet.toml", []byte(assembled))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"traverse left rail", "bar shank", "travel cylinder square", "travel shank",
		"traverse cross travels", "sweep "}
	var got []string
	for _, s := range c.Steps() {
		got = append(got, s.Kind+" "+s.Of)
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, x := range []struct{ kind, name, relation string }{
		{sweep.KindTraverse, "left rail", ""}, {sweep.KindTraverse, "cross travels", stack.CrossToTable},
		{sweep.KindTravel, "cylinder square", stack.TravelToTable}, {sweep.KindTravel, "shank", stack.SpindleToTravel},
		{sweep.KindSweep, "", stack.SpindleToTable},
	} {
		if got := c.Relation(x.kind, x.name); got != x.relation {
			t.Errorf("%s %s is of %q, want %q", x.kind, x.name, got, x.relation)
		}
	}
	if got := c.Limit(&c.Traverses[0].Measured).Limit.MMPerM(); got < 0.0999 || got > 0.1001 {
		t.Errorf("the rail's own limit is %v mm/m", got)
	}
	if got, want := c.Limit(&c.Squares[0].Measured), c.Setup().Tolerance; got != want {
		t.Errorf("the square's limit is %v, want the machine's %v", got, want)
	}
	written, err := Parse("linnet.toml",
		[]byte(assembled+"[[step]]\nkind = \"sweep\"\n[[step]]\nkind = \"bar\"\nof = \"shank\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := written.Steps(); len(got) != 2 || got[0].Name != "sweep" || got[1].Of != "shank" {
		t.Errorf("written steps became %+v", got)
	}
}

// assemblyNumbers are the numeric keys of traverses, bars and squares.
func assemblyNumbers() map[string]numericKey {
	size, any := []string{"0.0", "1e-300"}, []string{"0.0", "-1.0", "1e-300"}
	line := "[[traverse]]\nname = \"rail\"\n"
	rail, turning := line+"positions_mm = [0, 100]\n", "[[bar]]\nname = \"shank\"\n"
	shank := turning + "heights_mm = [10, 35]\n"
	square := "[[square]]\nname = \"block\"\n"
	moving := square + "travel_mm = [0, 80]\n"
	out := map[string]numericKey{
		"traverse.positions_mm":    {table: line, list: "[%s, 5.0]", meant: any},
		"traverse.lines_mm":        {table: rail, list: "[%s, 5.0]", meant: any},
		"traverse.sides_deg":       {table: rail + "over = \"table\"\n", list: "[%s, 90.0]", meant: any},
		"traverse.edge_mpe_mm":     {table: rail, meant: size},
		"traverse.straightness_mm": {table: rail},
		"bar.heights_mm":           {table: turning, list: "[%s, 35.0]", meant: any},
		"bar.angles_deg":           {table: shank, list: "[%s, 90.0, 180.0]", meant: any},
		"bar.nose_mm":              {table: shank, meant: any},
		"bar.run_out_mm":           {table: shank},
		"bar.travel_mm":            {table: shank, list: "[%s, 80.0]", meant: any},
		"bar.sides_deg":            {table: shank, list: "[%s, 90.0]", meant: any},
		"square.travel_mm":         {table: square, list: "[%s, 80.0]", meant: any},
		"square.sides_deg":         {table: moving, list: "[%s, 90.0]", meant: any},
	}
	port := "[position]\nport = \"/dev/ttyUSB9\"\n"
	scale := port + "counts_per_mm = 200\n"
	out["position.counts_per_mm"] = numericKey{table: port}
	out["position.counter_bits"] = numericKey{table: scale}
	out["position.baud"] = numericKey{table: scale}
	out["position.zero_mm"] = numericKey{table: scale, meant: any}
	out["position.delay_ms"] = numericKey{table: scale, meant: size}
	out["position.feed_mm_per_min"] = numericKey{table: "[position]\nsource = \"feed\"\n"}
	out["position.max_gap_ms"] = numericKey{table: scale}
	const low, high, travel = "low_mm = 0.0\n", "high_mm = 300.0\n", "travel_mm = [-2.0, 2.0]\n"
	stepped := "[[traverse]]\nname = \"left rail\"\npositions_mm = [0, 100]\nby_hand = false\n[position]\n" +
		"source = \"program\"\n[position.program]\nport = \"/dev/ttyUSB2\"\nmove = [\"G1 X{mm} F{feed}\"]\n" +
		"done = \"ok\"\nstop = \"!\"\n"
	for key, meant := range map[string][]string{"baud": nil, "feed_mm_per_min": nil, "dwell_s": size,
		"settle_in_s": nil,
		"ack_s":       nil, "open_s": size, "retract_s": nil, "silent_s": nil, "frozen_mm": size} {
		out["position.program."+key] = numericKey{table: stepped + low + high + travel, meant: meant}
	}
	out["position.program.low_mm"] = numericKey{table: stepped + high + travel, meant: []string{"0.0", "-1.0"}}
	out["position.program.high_mm"] = numericKey{table: stepped + low + travel}
	out["position.program.travel_mm"] = numericKey{table: stepped + low + high, list: "[%s, 2.0]", meant: any}
	out["position.ask_every_ms"] = numericKey{table: scale + "ask = \"?\"\n"}
	out["position.answer_ms"] = numericKey{table: scale + "ask = \"?\"\nask_every_ms = 50\n"}
	for kind, table := range map[string]string{"traverse": rail, "bar": shank, "square": moving} {
		out[kind+".resolution_mm"] = numericKey{table: table}
		out[kind+".mpe_mm"] = numericKey{table: table, meant: size}
	}
	return out
}

// What a measurement names moves its joint and not the head: the adviser of the sweep leaves it alone.
func TestAnAdjusterOfAJointIsNotTheHeads(t *testing.T) {
	c, err := Parse("linnet.toml", []byte(minimum+`
[[adjuster]]
name = "rail bolts"
nod_mm_per_m = 2.5
[[adjuster]]
name = "lower shim"
nod_mm_per_m = 7.1
[[traverse]]
name = "left rail"
positions_mm = [0, 100]
adjusters = ["rail bolts"]
`))
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Advisers(); len(got) != 1 || got[0].Name != "lower shim" {
		t.Errorf("the adviser has %+v", got)
	}
}

// What moves a slope or a twist is named by a traverse that shows it.
func TestAdjustersOfTraverses(t *testing.T) {
	const screw = "[[adjuster]]\nname = \"jack\"\nkind = \"screw\"\npitch_mm = 1.0\nlever_mm = 300.0\n"
	const line = "[[traverse]]\nname = \"plate\"\npositions_mm = [0, 100]\nadjusters = [\"jack\"]\n"
	for text, want := range map[string]string{
		screw + "moves = \"bend\"\n" + line: `"bend"; write "slope"`,
		screw + "moves = \"slope\"\nleans = \"back\"\n" +
			line: "moves says already what it does",
		screw +
			"moves = \"slope\"\n": "no [[traverse]] names this adjuster",
		screw + "moves = \"twist\"\n" +
			line: "has one line, which shows no twist",
		screw + "moves = \"twist\"\n" + line + "over = \"table\"\n":                      "shows tilt and nod",
		"[[adjuster]]\nname = \"jack\"\ntilt_mm_per_m = 1.0\nmoves = \"slope\"\n" + line: "described by its geometry",
	} {
		if _, err := Parse("linnet.toml", []byte(minimum+text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s\n%v, want %q", text, err, want)
		}
	}
	c, err := Parse("linnet.toml", []byte(minimum+screw+"moves = \"twist\"\n"+line+"lines_mm = [0, 160]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if a := c.JointAdvisers(&c.Traverses[0].Measured, true); len(a) != 1 || a[0].Tilt != 0 || a[0].Nod < 3.33 ||
		a[0].Nod > 3.34 || len(c.Advisers()) != 0 {
		t.Errorf("%+v", a)
	}
}
