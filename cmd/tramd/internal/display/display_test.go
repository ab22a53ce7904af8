package display

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Worked by hand: 1 mm/m is 0.012 in over 12 in, 12 thou a foot, 206.265 seconds of arc (NIST SP 811, appendix B.8: one
// second is
// 4.848137E-06 rad); 25.4 mm is an inch (the same, B.6).
func TestWords(t *testing.T) {
	for _, c := range []struct{ units, tolerance, text, want string }{
		{"", "", "tilt +0.1786 mm/m ± 0.0083 (95 %)", "tilt +0.1786 mm/m ± 0.0083 (95 %)"},
		{"mm", "", "raise it by 0.25 mm", "raise it by 0.25 mm"},
		{"arcsec", "", "tilt +0.1786 mm/m", "tilt +36.84 arcsec"},
		{"inch", "", "tilt +0.0068 mm/m ± 0.0031 (95 %), upper end", "tilt +0.082 thou/ft ± 0.037 (95 %), upper end"},
		{"arcsec", "", "0.10 mm/m ± 0.02 mm/m", "21 arcsec ± 4 arcsec"},
		{"arcsec", "", "tilt +0.1000 mm/m, standard uncertainty 0.0042, expanded 0.0083 mm/m",
			"tilt +20.63 arcsec, standard uncertainty 0.87, expanded 1.71 arcsec"},
		{"arcsec", "", "tilt +4.17, nod +0.5 mm/m (standard uncertainty 0.10)",
			"tilt +860, nod +103 arcsec (standard uncertainty 21)"},
		{"inch", "", "marks of 0.0254 mm, at most 0.0508; good", "marks of 0.001000 in, at most 0.002000; good"},
		{"arcsec", "", "tilt 0.1 ± 0.02, nod -0.2 mm/m, packed 0.1 mm", "tilt 21 ± 4, nod -41 arcsec, packed 0.1 mm"},
		{"inch", "0.02/300", "tilt -0.178 mm/m", "tilt -2.14 thou/ft"},
		{"inch", "0.001 in/12 in", "tilt -0.1786 mm/m", "tilt -0.002143 in over 12 in"},
		{"inch", `0.001"/12"`, "lean 0.100 mm/m", "lean 0.00120 in over 12 in"},
		{"inch", "", "bring it down by 0.050 mm, then tighten", "bring it down by 0.00197 in, then tighten"},
		{"inch", "", "0.08 mm (0.05 + 0.02 mm)", "0.0031 in (0.05 + 0.0008 in)"},
		{"arcsec", "", "tilt +0.1 ± 0.02, nod −0.2 mm/m", "tilt +21 ± 4, nod −41 arcsec"},
		{"inch", "", "2 mm/m per mm", "2 mm/m per mm"},
		{"arcsec", "", "moving by +0.00010 mm/m per day, +0.0309 mm/m so far",
			"moving by +0.021 arcsec per day, +6.37 arcsec so far"},
		{"arcsec", "", "tilt +0.446 ± 0.010  nod -0.612 ± 0.011 mm/m, 1296 readings",
			"tilt +92.0 ± 2.1  nod -126.2 ± 2.3 arcsec, 1296 readings"},
	} {
		u, err := Of(c.units, c.tolerance)
		if err != nil {
			t.Fatal(err)
		}
		if got := u.Words(c.text); got != c.want {
			t.Errorf("%s of %q: %q, want %q", c.units, c.text, got, c.want)
		}
	}
	if _, err := Of("furlong", ""); err == nil || !strings.Contains(err.Error(), "mm, inch, arcsec") {
		t.Errorf("furlongs: %v", err)
	}
}

func TestTheWriterWritesAllOrSaysWhy(t *testing.T) {
	u, err := Of("arcsec", "")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	n, err := u.Writer(&b).Write([]byte("0.10 mm/m\n"))
	if err != nil || n != 10 || b.String() != "21 arcsec\n" {
		t.Errorf("%d, %v, %q", n, err, b.String())
	}
}

// Whatever the text, nothing but figures and units changes, and a figure is the same size in the new unit to half its
// last place.
func FuzzWords(f *testing.F) {
	f.Add("tilt +0.1786 mm/m ± 0.0083", 0.1786)
	f.Add("0.05 mm", -0.05)
	f.Fuzz(func(t *testing.T, text string, x float64) {
		for _, name := range Names() {
			u, err := Of(name, "0.001 in/12 in")
			if err != nil {
				t.Fatal(err)
			}
			u.Words(text)
			if math.Abs(x) > 1e6 || math.IsNaN(x) || u.label == "" {
				continue
			}
			written := strconv.FormatFloat(x, 'f', 4, 64)
			exact, err := strconv.ParseFloat(written, 64)
			if err != nil {
				t.Fatal(err)
			}
			got := regexp.MustCompile(`^[+-]?[0-9.]+`).FindString(u.Words(written + " mm/m"))
			y, err := strconv.ParseFloat(got, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			_, fraction, _ := strings.Cut(got, ".")
			if half := 0.5000001 * math.Pow10(-len(fraction)); math.Abs(y-exact*u.factor) > half+1e-9*math.Abs(y) {
				t.Errorf("%s: %s became %s", name, written, got)
			}
		}
	})
}
