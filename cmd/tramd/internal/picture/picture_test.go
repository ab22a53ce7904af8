package picture

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"
)

// Every picture is well-formed XML, whatever stands in a name, and says its numbers.
func TestPicturesAreWellFormedAndSayTheirNumbers(t *testing.T) {
	t.Parallel()
	twist := 0.12
	for name, x := range map[string]struct {
		svg  string
		want []string
	}{
		"line": {Line("left <rail> & co", []Curve{{"", []Point{{300, 0.004}, {0, -0.002}, {150, 0}}}}),
			[]string{"left &lt;rail&gt; &amp; co", "+4.0 µm", "−2.0 µm", "300 mm", "form × "}},
		"plane": {Plane("plate", []Cell{{0, 0, 0.003}, {100, 0, -0.003}, {0, 80, -0.003}, {100, 80, 0.003}}, &twist),
			[]string{"+3.0 µm", "−3.0 µm", "twist +0.120 mm/m"}},
		"bar": {Bar("shank", []Ring{{10, 0.01, 30}, {35, 0.06, 40}}),
			[]string{"at 10 mm: 10.0 µm to 30°", "at 35 mm: 60.0 µm to 40°"}},
		"chain": {Chain("all relations", []Link{{From: "spindle", To: "table", Says: []string{"tilt -0.012 ± 0.004"}},
			{From: "cross travels", To: "table"}}), []string{"tilt −0.012", "not measured", "head travel"}},
	} {
		for _, want := range x.want {
			if !strings.Contains(x.svg, want) {
				t.Errorf("%s does not say %q:\n%s", name, want, x.svg)
			}
		}
		d := xml.NewDecoder(strings.NewReader(x.svg))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Errorf("%s: %v", name, err)
				break
			}
		}
	}
}

// What cannot be drawn is no picture, and no panic.
func TestWhatCannotBeDrawn(t *testing.T) {
	t.Parallel()
	for name, svg := range map[string]string{
		"no line": Line("x", nil), "one place": Line("x", []Curve{{"", []Point{{1, 1}}}}),
		"no plane": Plane("x", nil, nil),
		"one row":  Plane("x", []Cell{{0, 0, 1}, {1, 0, 1}}, nil), "no bar": Bar("x", nil), "no chain": Chain("x", nil),
	} {
		if svg != "" {
			t.Errorf("%s: %s", name, svg)
		}
	}
	flat := Line("x", []Curve{{"", []Point{{0, 0}, {0, 0}}}})
	if flat == "" || strings.Contains(flat, "NaN") || strings.Contains(flat, "Inf") {
		t.Errorf("a line at one place without form: %s", flat)
	}
}
