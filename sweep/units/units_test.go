package units

import (
	"math"
	"strings"
	"testing"
)

// Angles of common tolerances, computed from the definition of the radian (checked against atan in double precision;
// for leans this small the arc and the tangent agree to the digits given).
func TestTolerancesAreTheAnglesTheyStandFor(t *testing.T) {
	for _, tc := range []struct {
		text   string
		arcsec float64
	}{
		{"0.01/300", 6.875}, {"0.02/300", 13.751}, {"0.025/300", 17.189}, {"0.001 in/12 in", 17.189},
		{"0.001/12 in", 17.189},
		{"1 mm/m", 206.265}, {"20 arcsec", 20}, {"1 arcmin", 60}, {"0.1 mrad", 20.626}, {"100 urad", 20.626},
		{"0.01 deg", 36},
		{"0,02/300", 0}, // a decimal comma is refused below
	} {
		got, err := ParseTolerance(tc.text)
		if tc.arcsec == 0 {
			if err == nil {
				t.Errorf("%q was taken as %v", tc.text, got)
			}
			continue
		}
		if err != nil {
			t.Errorf("%q: %v", tc.text, err)
			continue
		}
		if math.Abs(got.Limit.Arcsec()-tc.arcsec) > 0.0006 {
			t.Errorf("%q is %.4f arcsec, want %.3f", tc.text, got.Limit.Arcsec(), tc.arcsec)
		}
	}
}

func TestToleranceKeepsItsSpan(t *testing.T) {
	for text, span := range map[string]Length{"0.02/300": 300 * Millimetre, "0.001 in/12 in": 12 * Inch, "20 arcsec": 0,
		"0.07 mm/m": 0} {
		got, err := ParseTolerance(text)
		if err != nil || got.Span != span || got.Text != text {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}

func TestWhatIsNoToleranceIsRefusedWithTheWaysToWriteOne(t *testing.T) {
	for _, text := range []string{"0.02", "x", "0/300", "-0.02/300", "0.02/0", "0.02/-3", "5 bananas", "1/1",
		"0.02/300 bananas", "NaN/300", "1e400/3", "/", "0.02 mm"} {
		if got, err := ParseTolerance(text); err == nil || !strings.Contains(err.Error(), `"0.02/300"`) {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	if got, err := ParseTolerance("  "); err != nil || got.Given() {
		t.Errorf("nothing at all is no tolerance: %+v, %v", got, err)
	}
}

// The international inch is 25.4 mm exactly (ISO 80000-3), so the steps of inch indicators are whole nanometres.
func TestLengthsAreExact(t *testing.T) {
	if Inch != 25_400_000 || Thou*1000 != Inch || Inch/20000 != 1270 {
		t.Error("the inch")
	}
	for _, mm := range []float64{0, 0.001, -0.0005, 25.4, 12.345678, -9999} {
		l, err := FromMM(mm)
		if err != nil || math.Abs(l.MM()-mm) > 5e-7 {
			t.Errorf("%v mm: %v, %v", mm, l, err)
		}
	}
	for _, mm := range []float64{math.NaN(), math.Inf(1), 1e5, -1e300} {
		if l, err := FromMM(mm); err == nil {
			t.Errorf("%v mm was taken as %v", mm, l)
		}
	}
}

func TestSlopes(t *testing.T) {
	s := Slope(0.179e-3)
	// Common practice, no source: 0.05 mm from left to right over a 280 mm circle is 0.179 mm/m, and 0.0014 mm over an
	// 8 mm cutter.
	if math.Abs(s.Over(280)-0.05) > 2e-4 || math.Abs(s.Over(8)-0.0014) > 5e-5 || math.Abs(s.MMPerM()-0.179) > 1e-12 {
		t.Errorf("%v %v %v", s.Over(280), s.Over(8), s.MMPerM())
	}
}

func FuzzParseTolerance(f *testing.F) {
	for _, s := range []string{"0.02/300", "0.001 in/12 in", "0.1 mrad", "20 arcsec", "1e-5/3e", "µ", "1/m"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseTolerance(s)
		if err == nil && got.Given() && !(got.Limit > 0 && got.Limit <= 0.1) {
			t.Errorf("%q was taken as %v", s, got.Limit)
		}
	})
}

func TestParseLength(t *testing.T) {
	for text, want := range map[string]Length{
		"0.12": 120_000, "-3 um": -3000, "0,004 in": 101_600, " +0.5 thou ": 12_700, "12µm": 12_000, "-.5": -500_000,
		"1e-3": 1000, "0.0005\"": 12_700,
	} {
		if got, err := ParseLength(text, Millimetre); err != nil || got != want {
			t.Errorf("%q: %v %v, want %v", text, got, err, want)
		}
	}
	if got, err := ParseLength("3", Micrometre); err != nil || got != 3000 {
		t.Errorf("bare in micrometres: %v %v", got, err)
	}
	for _, text := range []string{"", "mm", "1,234.5", "1.2.3", "3 ells", "1e9 m", "nan", "inf", "0x10", "1 2"} {
		if got, err := ParseLength(text, Millimetre); err == nil {
			t.Errorf("%q was taken for %v", text, got)
		}
	}
}

func FuzzParseLength(f *testing.F) {
	f.Add("-0,12 mm")
	f.Add("1e-3in")
	f.Fuzz(func(t *testing.T, text string) {
		if l, err := ParseLength(text, Millimetre); err == nil && (l > MaxLength || l < -MaxLength) {
			t.Errorf("%q: %v", text, l)
		}
	})
}
