package setup

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/config"
)

// plan is a configuration in the making: what was not asked yet holds something that is right.
type plan struct {
	name, tolerance, store, listen string
	source                         string
	indicators                     []indicator
	encoderPort                    string
	encoderFrame                   string // baud and what else its line needs
	counts, stations               string
	pulsePort, pulseFrame          string // of the index pulse; no port: none
	turnsPerMin, mark              string
	clockwise                      bool
	program                        program
	unattended                     unattended
	pulses, markWord               string            // pulses a turn
	heard                          map[string]*Found // by port
	passwordHash                   string            // empty: nothing can be changed over the network
	adjusters                      []adjuster
}

// indicator holds numbers as they were written.
type indicator struct {
	name, port                         string
	frame                              string // baud, frame and the tables of it
	radius, radiusU, resolution, phase string
}

func newPlan() *plan {
	return &plan{
		name: "linnet", store: "/var/lib/tramd/tramd.db", listen: "127.0.0.1:9743", source: config.SourceStations,
		encoderPort: "/dev/encoder", encoderFrame: "baud = 115200\n", counts: "4096", stations: "0, 90, 180, 270",
		pulseFrame: "baud = 115200\n", turnsPerMin: "6", mark: "0", pulses: "1", program: newProgram(),
		heard: map[string]*Found{},
	}
}

func newIndicator(port string) indicator {
	return indicator{name: "arm", port: port, frame: "baud = 115200\n", radius: "100", radiusU: "0",
		resolution: "0.001", phase: "0"}
}

// text is the configuration as it is written.
func (p *plan) text() string {
	var b strings.Builder
	fmt.Fprintf(
		&b, "# Written by tramd setup. `tramd config check FILE` says whether it is still right after a change.\n\n")
	fmt.Fprintf(&b, "[machine]\nname = %s\n", quote(p.name))
	if p.tolerance != "" {
		fmt.Fprintf(&b, "tolerance = %s   # largest lean on either axis\n", quote(p.tolerance))
	}
	fmt.Fprintf(&b, "\n[store]\npath = %s\n\n[http]\nlisten = %s\n", quote(p.store), quote(p.listen))
	if p.passwordHash != "" {
		fmt.Fprintf(&b, "password_hash = %s\n", quote(p.passwordHash))
	}
	for _, ind := range p.indicators {
		fmt.Fprintf(&b, "\n[[indicator]]\nname = %s\n", quote(ind.name))
		fmt.Fprintf(
			&b,
			"radius_mm = %s     # spindle axis to contact point\nradius_u_mm = %s   # how sure that is (standard uncertainty)\nresolution_mm = %s\n",
			ind.radius, ind.radiusU, ind.resolution)
		if ind.phase != "0" {
			fmt.Fprintf(&b, "phase_deg = %s     # where it sits when the arm points to 0\n", ind.phase)
		}
		if p.source != config.SourceTyped {
			fmt.Fprintf(&b, "port = %s\n%s", quote(ind.port), ind.frame)
		}
	}
	fmt.Fprintf(&b, "\n[angle]\nsource = %s\n", quote(p.source))
	switch p.source {
	case config.SourceSteady:
		p.steadyText(&b)
	case config.SourceEncoder:
		fmt.Fprintf(&b, "port = %s\ncounts_per_turn = %s\n%s", quote(p.encoderPort), p.counts, p.encoderFrame)
	default:
		fmt.Fprintf(&b, "stations_deg = [%s]   # 0 right, 90 back, 180 left, 270 front\n", p.stations)
	}
	if p.source == config.SourceProgram {
		p.program.text(&b)
	}
	p.unattended.text(&b)
	for i := range p.adjusters {
		p.adjusters[i].text(&b)
	}
	return b.String()
}

func (p *plan) steadyText(b *strings.Builder) {
	fmt.Fprintf(b, "# Never by the spindle's own power: an arm is on it. Keep clear of what turns it.\n")
	if p.pulsePort != "" {
		fmt.Fprintf(b, "port = %s   # of the index pulse\n%s", quote(p.pulsePort), p.pulseFrame)
		if p.pulses != "1" {
			fmt.Fprintf(b, "pulses_per_turn = %s\n", p.pulses)
		}
		if p.markWord != "" {
			fmt.Fprintf(b, "index_mark = %s   # in the line of the pulse at mark_deg\n", quote(p.markWord))
		}
	}
	if p.turnsPerMin != "" {
		fmt.Fprintf(b, "turns_per_min = %s   # roughly\n", p.turnsPerMin)
	}
	fmt.Fprintf(
		b,
		"mark_deg = %s   # where the arm points at the pulse, or where the start is marked\nclockwise = %t   # seen from above\n", p.mark, p.clockwise)
}

// wrong says what the rules have against the values of some keys; nil: nothing.
func (p *plan) wrong(keys ...string) error {
	_, err := config.Parse("", []byte(p.text()))
	var ms config.Mistakes
	if !errors.As(err, &ms) {
		return err
	}
	for _, m := range ms {
		for _, key := range keys {
			if text, ok := strings.CutPrefix(m.Text, key+": "); ok {
				return errors.New(text)
			}
		}
	}
	return nil
}

// quote writes a text as TOML does; its escapes are those of JSON, and one more character must be escaped.
func quote(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string can always be written
	return strings.ReplaceAll(strings.TrimSuffix(b.String(), "\n"), "\x7f", `\u007f`)
}

// quotes writes a list of texts.
func quotes(texts []string) string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = quote(s)
	}
	return "[" + strings.Join(out, ", ") + "]"
}

// numberMost is where TOML's whole numbers are near their end; nothing that is asked for is anywhere as large.
const numberMost = 1e15

// number returns a number as TOML has it; a comma is as good as a point.
func number(s string) (string, error) {
	s = strings.Replace(s, ",", ".", 1)
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x-x != 0 {
		return "", fmt.Errorf("%q is not a number", s)
	}
	if x >= numberMost || x <= -numberMost {
		return "", fmt.Errorf("%v is out of range", s)
	}
	return strconv.FormatFloat(x, 'f', -1, 64), nil
}

// numberOrNone takes "-" for none.
func numberOrNone(s string) (string, error) {
	if s == "-" {
		return "", nil
	}
	return number(s)
}

// numbers returns a list of numbers.
func numbers(s string) (string, error) {
	var out []string
	for _, f := range strings.FieldsFunc(s, func(c rune) bool { return c == ',' || c == ' ' || c == ';' }) {
		n, err := number(f)
		if err != nil {
			return "", err
		}
		out = append(out, n)
	}
	return strings.Join(out, ", "), nil
}
