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
	turnsPerMin                    string
	heard                          map[string]*Found // by port
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
		encoderPort: "/dev/encoder", encoderFrame: "baud = 115200\n", counts: "4096", stations: "0, 90, 180, 270", turnsPerMin: "6", heard: map[string]*Found{},
	}
}

func newIndicator(port string) indicator {
	return indicator{name: "arm", port: port, frame: "baud = 115200\n", radius: "100", radiusU: "0", resolution: "0.001", phase: "0"}
}

// text is the configuration as it is written.
func (p *plan) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Written by tramd setup. `tramd config check FILE` says whether it is still right after a change.\n\n")
	fmt.Fprintf(&b, "[machine]\nname = %s\n", quote(p.name))
	if p.tolerance != "" {
		fmt.Fprintf(&b, "tolerance = %s   # largest lean on either axis\n", quote(p.tolerance))
	}
	fmt.Fprintf(&b, "\n[store]\npath = %s\n\n[http]\nlisten = %s\n", quote(p.store), quote(p.listen))
	for _, ind := range p.indicators {
		fmt.Fprintf(&b, "\n[[indicator]]\nname = %s\n", quote(ind.name))
		fmt.Fprintf(&b, "radius_mm = %s     # spindle axis to contact point\nradius_u_mm = %s   # how sure that is (standard uncertainty)\nresolution_mm = %s\n",
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
		fmt.Fprintf(&b, "turns_per_min = %s   # roughly; never by the spindle's own power, an arm is on it\n", p.turnsPerMin)
	case config.SourceEncoder:
		fmt.Fprintf(&b, "port = %s\ncounts_per_turn = %s\n%s", quote(p.encoderPort), p.counts, p.encoderFrame)
	default:
		fmt.Fprintf(&b, "stations_deg = [%s]   # 0 right, 90 back, 180 left, 270 front\n", p.stations)
	}
	return b.String()
}

// wrong says what the rules have against the value of a key; nil: nothing.
func (p *plan) wrong(key string) error {
	_, err := config.Parse("", []byte(p.text()))
	var ms config.Mistakes
	if !errors.As(err, &ms) {
		return err
	}
	for _, m := range ms {
		if text, ok := strings.CutPrefix(m.Text, key+": "); ok {
			return errors.New(text)
		}
	}
	return nil
}

// quote writes a text as TOML does; its escapes are those of JSON.
func quote(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string can always be written
	return strings.TrimSuffix(b.String(), "\n")
}

// number gives a number as TOML has it; a comma is as good as a point.
func number(s string) (string, error) {
	s = strings.Replace(s, ",", ".", 1)
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x-x != 0 {
		return "", fmt.Errorf("%q is not a number", s)
	}
	return strconv.FormatFloat(x, 'f', -1, 64), nil
}

// numbers gives a list of numbers.
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
