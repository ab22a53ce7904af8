package config

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A key is written into a configuration in which it means something.
const (
	numbersHead = "[machine]\nname = \"linnet\"\n[store]\npath = \"/var/lib/tramd/tramd.db\"\n"
	anArm       = "[[indicator]]\nname = \"arm\"\nport = \"/dev/ttyUSB0\"\n"
	anEncoder   = "[angle]\nsource = \"encoder\"\nport = \"/dev/ttyUSB1\"\n"
	byStations  = "[angle]\nsource = \"stations\"\n"
	atSix       = "[check]\nat = [\"06:00\"]\n"
	aBinary     = "layout = \"AA value check\"\ncheck = \"sum\"\norder = \"high_first\"\n"
	aController = "[program]\nport = \"/dev/ttyUSB2\"\nmove = [\"G1 A{deg} F{feed}\"]\ndone = \"ok\"\nstop = \"!\"\n"
)

// numericKey says where a numeric key stands and which of the hostile values mean something there.
type numericKey struct {
	table string   // with what else it needs; the key is written behind it
	rest  string   // of the configuration; empty: an indicator and an encoder
	list  string   // how a list is written, %s the value
	meant []string // of hostile
}

var (
	hostileFloats = []string{"0.0", "-1.0", "nan", "inf", "-inf", "1e300", "-1e300", "1e-300"}
	hostileWholes = []string{"0", "-1", "9223372036854775807", "-9223372036854775808"}
)

func numericKeys() map[string]numericKey {
	zero, size, any := []string{"0.0"}, []string{"0.0", "1e-300"}, []string{"0.0", "-1.0", "1e-300"}
	arm, enc := anArm+"radius_mm = 120.0\n", anEncoder+"counts_per_turn = 4096\n"
	steady := "[angle]\nsource = \"steady\"\n"
	program := aController + "low_deg = 0.0\nhigh_deg = 360.0\ntravel_mm = [-2.0, 2.0]\n"
	moved := "[angle]\nsource = \"program\"\n"
	without := func(line string) string { return strings.Replace(program, line, "", 1) }
	shim := "[[adjuster]]\nname = \"jack\"\n"
	tool := "[[cutter]]\nname = \"6 mm end mill\"\n"
	door := "[[input]]\nname = \"door\"\nsource = \"file\"\nfile = \"/run/door\"\n"
	bit := "[[input]]\nname = \"door\"\nsource = \"modbus\"\nport = \"/dev/ttyUSB3\"\n"
	counter := "[hours]\nport = \"/dev/ttyUSB3\"\n"
	register := "type = \"int16\"\nscale = \"0.001 mm\"\n"
	out := map[string]numericKey{
		"indicator.baud":           {table: arm},
		"indicator.radius_mm":      {table: anArm},
		"indicator.radius_u_mm":    {table: arm, meant: size},
		"indicator.phase_deg":      {table: arm, meant: any},
		"indicator.resolution_mm":  {table: arm},
		"indicator.mpe_mm":         {table: arm, meant: size},
		"indicator.hysteresis_mm":  {table: arm, meant: size},
		"indicator.delay_ms":       {table: arm, meant: size},
		"indicator.ask_every_ms":   {table: arm + "ask = \"?\"\n"},
		"indicator.answer_ms":      {table: arm + "ask = \"?\"\n"},
		"indicator.travel_mm":      {table: arm, list: "[%s, 5.0]", meant: any},
		"indicator.shown_mm":       {table: arm + "true_mm = [-0.5, 5.0]\n", list: "[%s, 5.0]", meant: any},
		"indicator.true_mm":        {table: arm + "shown_mm = [-0.5, 5.0]\n", list: "[%s, 5.0]", meant: any},
		"indicator.true_u_mm":      {table: arm + "shown_mm = [0, 5]\ntrue_mm = [0, 5]\n", meant: size},
		"indicator.stem_deg":       {table: arm, meant: any},
		"indicator.stem_u_deg":     {table: arm, meant: size},
		"indicator.lever_factor":   {table: arm},
		"indicator.lever_factor_u": {table: arm, meant: size},

		"angle.baud":                {table: enc},
		"angle.delay_ms":            {table: enc, meant: size},
		"angle.counts_per_turn":     {table: anEncoder},
		"angle.counter_bits":        {table: enc},
		"angle.spindle_teeth":       {table: enc + "encoder_teeth = 20\n"},
		"angle.encoder_teeth":       {table: enc + "spindle_teeth = 20\n"},
		"angle.zero_deg":            {table: enc, meant: any},
		"angle.zero_u_deg":          {table: enc + "zero_deg = 1.0\n", meant: size},
		"angle.max_gap_ms":          {table: enc},
		"angle.index_deg":           {table: enc + "index_mark = \"index\"\n", meant: any},
		"angle.index_tolerance_deg": {table: enc + "index_mark = \"index\"\n"},
		"angle.ask_every_ms":        {table: enc + "ask = \"?\"\n"},
		"angle.answer_ms":           {table: enc + "ask = \"?\"\n"},
		"angle.stations_deg":        {table: byStations, rest: arm, list: "[%s, 90.0, 180.0]", meant: any},
		"angle.settle_s":            {table: byStations, rest: arm},
		"angle.settle_mm":           {table: byStations, rest: arm},
		"angle.trigger_baud":        {table: byStations + "trigger_port = \"/dev/ttyUSB4\"\n", rest: arm},
		"angle.mark_deg":            {table: steady + "turns_per_min = 6.0\n", rest: arm, meant: any},
		"angle.turns_per_min":       {table: steady, rest: arm},
		"angle.pulses_per_turn":     {table: steady + "port = \"/dev/ttyUSB1\"\nturns_per_min = 6.0\n", rest: arm},

		"program.baud":             {table: program, rest: arm + moved},
		"program.feed_deg_per_min": {table: program, rest: arm + moved},
		"program.low_deg": {table: without("low_deg = 0.0\n"), rest: arm + moved,
			meant: []string{"0.0", "-1.0"}},
		"program.high_deg": {table: without("high_deg = 360.0\n"), rest: arm + moved},
		"program.travel_mm": {table: without("travel_mm = [-2.0, 2.0]\n"), rest: arm + moved, list: "[%s, 2.0]",
			meant: any},
		"program.dwell_s":     {table: program, rest: arm + moved, meant: size},
		"program.settle_in_s": {table: program, rest: arm + moved},
		"program.ack_s":       {table: program, rest: arm + moved},
		"program.open_s":      {table: program, rest: arm + moved, meant: size},
		"program.retract_s":   {table: program, rest: arm + moved},
		"program.silent_s":    {table: program, rest: arm + moved},
		"program.frozen_deg":  {table: program, rest: arm + moved, meant: size},

		"sweep.turns":         {table: "[sweep]\n"},
		"sweep.idle_s":        {table: "[sweep]\n"},
		"backup.keep":         {table: "[backup]\nto = \"/mnt/stick\"\n"},
		"check.spindle_hours": {table: atSix},
		"check.turns":         {table: atSix},
		"check.still_mm":      {table: atSix},
		"check.min_mm":        {table: atSix + "max_mm = 1.0\n", meant: any},
		"check.max_mm":        {table: atSix + "min_mm = -2.0\n", meant: any},

		"adjuster.lever_mm":      {table: shim + "kind = \"swing\"\nleans = \"left\"\n"},
		"adjuster.spacing_mm":    {table: shim + "kind = \"shim\"\nleans = \"left\"\n"},
		"adjuster.pitch_mm":      {table: shim + "kind = \"screw\"\nleans = \"left\"\nlever_mm = 100.0\n"},
		"adjuster.pivot_mm":      {table: shim + "kind = \"swing\"\nleans = \"left\"\nlever_mm = 100.0\n", meant: any},
		"adjuster.tilt_mm_per_m": {table: shim + "nod_mm_per_m = 1.0\n", meant: any},
		"adjuster.nod_mm_per_m":  {table: shim + "tilt_mm_per_m = 1.0\n", meant: any},
		"adjuster.step":          {table: shim + "tilt_mm_per_m = 1.0\n", meant: zero},
		"shims.stock_mm":         {table: "[shims]\n"},
		"cutter.diameter_mm":     {table: tool + "stepover_mm = 0.5\n"},
		"cutter.stepover_mm":     {table: tool + "diameter_mm = 6.0\n"},
		"cutter.limit_mm":        {table: tool + "diameter_mm = 6.0\nstepover_mm = 3.0\n"},

		"input.baud":            {table: bit + "modbus = { address = 1 }\n"},
		"input.debounce_ms":     {table: door, meant: size},
		"input.every_ms":        {table: door},
		"input.stale_s":         {table: door},
		"input.modbus.address":  {table: bit + "[input.modbus]\n"},
		"input.modbus.function": {table: bit + "[input.modbus]\naddress = 1\n"},
		"input.modbus.register": {table: bit + "[input.modbus]\naddress = 1\n", meant: []string{"0"}},
		"input.modbus.bit":      {table: bit + "[input.modbus]\naddress = 1\nfunction = 3\n", meant: []string{"0"}},
		"hours.baud":            {table: counter + "modbus = { address = 1, type = \"uint32\", scale = \"1 h\" }\n"},
		"hours.ask_every_s":     {table: counter + "modbus = { address = 1, type = \"uint32\", scale = \"1 h\" }\n"},
		"hours.modbus.address":  {table: counter + "[hours.modbus]\ntype = \"uint32\"\nscale = \"1 h\"\n"},
		"hours.modbus.function": {table: counter + "[hours.modbus]\naddress = 1\ntype = \"uint32\"\nscale = \"1 h\"\n"},
		"hours.modbus.register": {table: counter + "[hours.modbus]\naddress = 1\ntype = \"uint32\"\nscale = \"1 h\"\n",
			meant: []string{"0"}},
		"hours.modbus.bit": {table: counter + "[hours.modbus]\naddress = 1\ntype = \"uint32\"\nscale = \"1 h\"\n"},
	}
	maps.Copy(out, assemblyNumbers())
	for _, of := range []struct{ name, table, unit, scale string }{
		{"indicator", arm, "unit = \"mm\"\n", "scale = \"0.001 mm\"\n"}, {"angle", enc, "", ""},
		{"position", "[position]\nport = \"/dev/ttyUSB9\"\ncounts_per_mm = 200\n", "", ""},
	} {
		in := func(frame, text string) string { return of.table + "[" + of.name + "." + frame + "]\n" + text }
		mm := func(meant ...string) []string { // a count has no decimals
			return append(meant, "0")
		}
		values := strings.Replace(register, "scale = \"0.001 mm\"\n", of.scale, 1)
		plus := "map = \"FF s dddddd .\"\n" + of.unit
		maps.Copy(out, map[string]numericKey{
			of.name + ".pattern.decimals":  {table: in("pattern", "form = \"{value}\"\n"), meant: mm()},
			of.name + ".digits.plus":       {table: in("digits", plus+"minus = [8]\n"), meant: []string{"0"}},
			of.name + ".digits.minus":      {table: in("digits", plus+"plus = [8]\n"), meant: []string{"0"}},
			of.name + ".digits.decimals":   {table: in("digits", plus+"plus = [0]\nminus = [8]\n"), meant: mm()},
			of.name + ".digits.gap_ms":     {table: in("digits", plus+"plus = [0]\nminus = [8]\n")},
			of.name + ".binary.bits":       {table: in("binary", aBinary+of.scale)},
			of.name + ".binary.check_from": {table: in("binary", aBinary+of.scale+"bits = 16\n"), meant: []string{"0"}},
			of.name + ".binary.gap_ms":     {table: in("binary", aBinary+of.scale+"bits = 16\n")},
			of.name + ".modbus.address":    {table: in("modbus", values)},
			of.name + ".modbus.function":   {table: in("modbus", values+"address = 1\n")},
			of.name + ".modbus.register":   {table: in("modbus", values+"address = 1\n"), meant: []string{"0"}},
			of.name + ".modbus.bit":        {table: in("modbus", values+"address = 1\n")},
		})
	}
	return out
}

// schema lists the numeric keys there are, read off the types.
func schema(path string, of reflect.Type, out map[string]reflect.Kind) {
	switch of.Kind() {
	case reflect.Pointer, reflect.Slice:
		schema(path, of.Elem(), out)
	case reflect.Struct:
		for key, is := range fieldsOf(of) {
			schema(strings.TrimPrefix(path+"."+key, "."), is, out)
		}
	case reflect.Int, reflect.Int64, reflect.Float64:
		out[path] = of.Kind()
	case reflect.String, reflect.Bool, reflect.Map:
	default:
		panic("a kind of key that the test does not know: " + path + " " + of.String())
	}
}

func isList(path string) bool {
	t := reflect.TypeFor[Config]()
	for _, key := range strings.Split(path, ".") {
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		t = fieldsOf(t)[key]
	}
	return t.Kind() == reflect.Slice
}

// Zero, less than zero, what is no number and what is beyond all measure: at every numeric key each is either taken as
// it stands, or refused at its line with what to do. A key that is not in the table fails, so that none is forgotten.
func TestEveryNumberMeansWhatItSaysOrIsRefused(t *testing.T) {
	keys := map[string]reflect.Kind{}
	schema("", reflect.TypeFor[Config](), keys)
	table := numericKeys()
	for _, path := range slices.Sorted(maps.Keys(table)) {
		if _, known := keys[path]; !known {
			t.Errorf("%s: no such key", path)
		}
	}
	cure := regexp.MustCompile(`write|remove|measure`)
	for _, path := range slices.Sorted(maps.Keys(keys)) {
		k, known := table[path]
		if !known {
			t.Errorf("%s: a numeric key that is not in the table: say which of the hostile values mean something there",
				path)
			continue
		}
		if k.rest == "" {
			for _, other := range []string{anArm + "radius_mm = 120.0\n", anEncoder + "counts_per_turn = 4096\n"} {
				if header, _, _ := strings.Cut(other, "\n"); !strings.Contains(k.table, header) {
					k.rest += other
				}
			}
		}
		hostile := hostileFloats
		if keys[path] != reflect.Float64 {
			hostile = hostileWholes
		}
		form := "%s"
		if isList(path) {
			if form = k.list; form == "" {
				form = "[%s]"
			}
		}
		leaf := path[strings.LastIndexByte(path, '.')+1:]
		for _, x := range hostile {
			head := numbersHead + k.rest + k.table
			text := head + leaf + " = " + fmt.Sprintf(form, x) + "\n"
			line := strings.Count(head, "\n") + 1
			c, err := Parse("linnet.toml", []byte(text))
			if slices.Contains(k.meant, x) {
				if err != nil {
					t.Errorf("%s = %s: %v", path, x, err)
				} else if got := valueAt(c, path); got != number64(x) {
					t.Errorf("%s = %s: it became %v", path, x, got)
				}
				continue
			}
			var found Mistakes
			if !errors.As(err, &found) {
				t.Errorf("%s = %s: it was not refused (%v)", path, x, err)
				continue
			}
			if len(found) != 1 || found[0].Line != line || !strings.Contains(found[0].Text, leaf+": ") ||
				!cure.MatchString(found[0].Text) {
				t.Errorf("%s = %s in line %d: %v", path, x, line, found)
			}
		}
	}
	if len(keys) < 80 {
		t.Errorf("only %d numeric keys were found", len(keys))
	}
}

func number64(text string) float64 {
	x, _ := strconv.ParseFloat(text, 64)
	return x
}

// valueAt reads a number back, the first where there are several.
func valueAt(c *Config, path string) float64 {
	of := reflect.ValueOf(c).Elem()
	for key := range strings.SplitSeq(path, ".") {
		of = field(first(of), key)
	}
	of = first(of)
	switch {
	case of.CanInt():
		return float64(of.Int())
	case of.CanFloat():
		return of.Float()
	}
	return math.NaN()
}

func first(of reflect.Value) reflect.Value {
	for of.Kind() == reflect.Slice || of.Kind() == reflect.Pointer {
		if of.Kind() == reflect.Slice {
			of = of.Index(0)
		} else {
			of = of.Elem()
		}
	}
	return of
}

func field(of reflect.Value, key string) reflect.Value {
	for i := range of.NumField() {
		f := of.Type().Field(i)
		if f.Anonymous {
			if x := field(of.Field(i), key); x.IsValid() {
				return x
			}
		}
		if f.Tag.Get("toml") == key {
			return of.Field(i)
		}
	}
	return reflect.Value{}
}

// A key in an inline table has its own line too, also in a list of them.
func TestNumbersOfInlineTables(t *testing.T) {
	_, err := Parse("linnet.toml", []byte(numbersHead+"indicator = [\n"))
	if err == nil {
		t.Fatal("half a list was taken")
	}
	text :=
		"indicator = [\n { name = \"arm\", port = \"/dev/ttyUSB0\", radius_mm = 120.0,\n   baud = 0, modbus = { address = 1,\n function = 0, type = \"int16\", scale = \"0.001 mm\" } } ]\n" +
			numbersHead + anEncoder + "counts_per_turn = 4096\n"
	_, err = Parse("linnet.toml", []byte(text))
	var found Mistakes
	if !errors.As(err, &found) || len(found) != 2 || found[0].Line != 3 || found[1].Line != 4 {
		t.Errorf("%v", err)
	}
}
