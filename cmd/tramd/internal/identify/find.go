package identify

import (
	"fmt"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/device"
)

// Finding is a configuration that reads what was heard.
type Finding struct {
	Baud     int
	Line     string
	Request  string
	What     string // the kind of frame, in words
	Table    string // what stands under [[indicator]] for the frame
	Channels []string
	Readings int
	Bad      int
	Samples  []device.Sample
	Notes    []string // what stays open

	rank float64
}

// Certain says that no other speed need be tried: lines that read as readings, or check values, are no chance.
func (f Finding) Certain() bool { return f.rank > 36 }

// guess is a frame that may be what was heard.
type guess struct {
	what  string
	table string
	rank  float64 // how little of it can be chance: a check value counts for more than a set byte
	notes []string
}

const (
	leastReadings = 5
	leastShare    = 0.95 // of the frames that must be read
	mostChannels  = 8
)

// Find returns the best finding, or false when nothing explains what was heard.
func Find(heard []Heard) (Finding, bool) {
	var best Finding
	found := false
	for _, h := range heard {
		variants := []Heard{h}
		if seven, ok := h.seven(); ok {
			variants = append(variants, seven)
		}
		for _, v := range variants {
			for _, g := range guesses(v) {
				f, ok := prove(v, g)
				if ok && (!found || f.rank > best.rank+1e-9) {
					best, found = f, true
				}
			}
		}
	}
	return best, found
}

func guesses(h Heard) []guess {
	var out []guess
	out = append(out, textGuesses(h)...)
	out = append(out, digitGuesses(h)...)
	out = append(out, binaryGuesses(h)...)
	return append(out, modbusGuesses(h)...)
}

// prove decodes what was heard with the configuration as it would be printed.
func prove(h Heard, g guess) (Finding, bool) {
	f := Finding{Baud: h.Baud, Line: h.Line, Request: h.Request, What: g.what, Table: g.table, Notes: g.notes}
	spec, err := f.spec()
	if err != nil {
		return f, false
	}
	samples, _, err := spec.Decode(h.Chunks)
	if err != nil {
		return f, false
	}
	for _, s := range samples {
		if s.Channel != "" && !slices.Contains(f.Channels, s.Channel) {
			f.Channels = append(f.Channels, s.Channel)
		}
	}
	if len(f.Channels) > mostChannels {
		return f, false
	}
	slices.Sort(f.Channels)
	// Once more as it will be written, with an indicator for each channel.
	if spec, err = f.spec(); err != nil {
		return f, false
	}
	samples, faults, err := spec.Decode(h.Chunks)
	if err != nil {
		return f, false
	}
	for reason, n := range faults {
		switch reason {
		case "no_answer", "unasked":
		case "junk": // counted once for many bytes
			f.Bad += 3 * int(n)
		default:
			f.Bad += int(n)
		}
	}
	f.Readings, f.Samples = len(samples), samples
	share := float64(f.Readings) / float64(f.Readings+f.Bad)
	f.rank = g.rank + share
	// what is heard well with a parity bit has one: without, its place would hold the next start bit
	if h.Line == "8E1" {
		f.rank += 0.1
	}
	return f, f.Readings >= leastReadings && share >= leastShare
}

func (f Finding) spec() (device.Spec, error) {
	c, err := config.Parse("found", []byte(`machine = { name = "one" }
store = { path = "/one" }
angle = { source = "stations" }
`+f.Blocks("/dev/found", 100)))
	if err != nil {
		return device.Spec{}, err
	}
	return c.IndicatorPorts()[0], nil
}

// Blocks gives the tables for the configuration: an indicator for each channel that was heard. With no radius there is
// none in them, so that a configuration is refused until it has been measured: a wrong one goes straight into every
// result.
func (f Finding) Blocks(port string, radiusMM float64) string {
	channels := f.Channels
	if len(channels) == 0 {
		channels = []string{""}
	}
	var b strings.Builder
	for i, ch := range channels {
		name := "arm"
		if len(channels) > 1 {
			name = fmt.Sprintf("arm%d", i+1)
		}
		fmt.Fprintf(&b, "[[indicator]]\nname = %q\nport = %q\n", name, port)
		if ch != "" {
			fmt.Fprintf(&b, "channel = %q\n", ch)
		}
		if radiusMM > 0 {
			fmt.Fprintf(&b, "radius_mm = %v\n", radiusMM)
		} else {
			b.WriteString("# radius_mm =          # measure it: from the spindle axis to the contact point\n")
		}
		if i > 0 {
			continue // the rest is as the first of the port has it
		}
		b.WriteString(f.Keys())
	}
	return b.String()
}

// Keys returns what an indicator's table says of its line and its frames; it must come last in the table.
func (f Finding) Keys() string {
	var b strings.Builder
	fmt.Fprintf(&b, "baud = %d\n", f.Baud)
	if f.Line != "8N1" {
		fmt.Fprintf(&b, "line = %q\n", f.Line)
	}
	if f.Request != "" && !strings.Contains(f.Table, "[indicator.modbus]") {
		fmt.Fprintf(&b, "ask = %s\n", requestText(f.Request))
	}
	b.WriteString(f.Table)
	return b.String()
}

// requestText writes a request as a configuration takes it.
func requestText(s string) string {
	for _, c := range []byte(s) {
		if (c < ' ' || c > '~' || c == '\'') && c != '\r' && c != '\n' {
			return fmt.Sprintf("\"hex: % X\"", s)
		}
	}
	return "'" + strings.NewReplacer("\\", `\\`, "\r", `\r`, "\n", `\n`).Replace(s) + "'"
}
