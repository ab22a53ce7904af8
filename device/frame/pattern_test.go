package frame

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"tramd/device/devicetest"
)

func patternFramer(t testing.TB, p Pattern) Framer {
	t.Helper()
	if ps := p.Problems(RoleIndicator); len(ps) > 0 {
		t.Fatalf("%+v is refused: %v", p, ps)
	}
	return p.framer(RoleIndicator, false)
}

func TestPatternLine(t *testing.T) {
	columns := Pattern{Form: `{channel:2}{flag:1}{value:8}{unit:2}`, GoodFlags: []string{"N", ""},
		Units: map[string]string{"MM": "mm", "IN": "in"}}
	apart := Pattern{Form: `{sign}{value}{unit}[;{flag}]`, Plus: "P", Minus: "M", GoodFlags: []string{"", "ok"}}
	counts := Pattern{Form: `\x02{channel}, {value} {rest}`, End: `\x03`, Decimals: 4, Unit: "in"}
	for _, tc := range []struct {
		p       Pattern
		line    string
		nm      int64
		channel string
		fault   string
	}{
		{p: columns, line: "01N  -0.123MM", nm: -123_000, channel: "01"},
		{p: columns, line: "02  0.00005IN", nm: 1270, channel: "02"},
		{p: columns, line: " 2N 1.00000IN", nm: 25_400_000, channel: "2"},
		{p: columns, line: "01L  -0.123MM", fault: "status"},
		{p: columns, line: "01N  -0.123KG", fault: "bad_unit"},
		{p: columns, line: "01N -0.1 23MM", fault: "no_match"},
		{p: columns, line: "01N -0.123MM", fault: "no_match"}, // a character was lost
		{p: columns, line: "01N  -0.123MM1", fault: "no_match"},
		{p: apart, line: "P0.5mm", nm: 500_000},
		{p: apart, line: "M0.5mm;ok", nm: -500_000},
		{p: apart, line: "M0.5um ", nm: -500},
		{p: apart, line: "M-0.5mm", fault: "bad_number"},
		{p: apart, line: "M0.5mm;low", fault: "status"},
		{p: apart, line: "M0.5mm;", fault: "no_match"},
		{p: apart, line: "0.5mm", fault: "no_match"},
		{p: apart, line: "P1,234.5mm", fault: "no_match"},
		{p: apart, line: "P99999mm", fault: "out_of_range"},
		{p: counts, line: "\x02A, -12345  whatever 1.5", nm: -31_356_300, channel: "A"},
		{p: counts, line: "\x02A, 0.5 x", fault: "bad_number"},
		{p: counts, line: "A, 12345 x", fault: "no_match"},
		{p: Pattern{Form: `[{channel}: ]{value}[ {unit}]`}, line: "arm: 0,5 um", nm: 500, channel: "arm"},
		{p: Pattern{Form: `[{channel}: ]{value}[ {unit}]`}, line: "-.5", nm: -500_000},
		{p: Pattern{Form: `\[{any:2}={value}\]`}, line: "[#\xff=0.001]", nm: 1000},
		{p: Pattern{Form: `{value}`}, line: strings.Repeat("1", 300), fault: "too_long"},
	} {
		f := patternFramer(t, tc.p)
		end := "\r\n"
		if tc.p.End != "" {
			end = "\x03"
		}
		got := f.Feed(nil, []byte(tc.line+end), 7)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 {
				t.Errorf("%s: %q: got %v, faults %v; want one %s", tc.p.Form, tc.line, got, f.Faults(), tc.fault)
			}
			continue
		}
		want := Sample{At: 7, Kind: Length, Value: tc.nm, Channel: tc.channel}
		if len(got) != 1 || got[0] != want || f.FaultTotal() != 0 {
			t.Errorf("%s: %q: got %v, faults %v; want %v", tc.p.Form, tc.line, got, f.Faults(), want)
		}
	}
}

func TestPatternOfCounts(t *testing.T) {
	f := Pattern{Form: "C={value}"}.framer(RoleAngle, false)
	got := f.Feed(nil, []byte("C=-1024\nC=1.5\n"), 0)
	if len(got) != 1 || got[0].Kind != Count || got[0].Value != -1024 || f.Faults()["bad_number"] != 1 {
		t.Errorf("got %v, faults %v; want the count alone", got, f.Faults())
	}
}

func TestPatternMistakes(t *testing.T) {
	for _, tc := range []struct {
		p         Pattern
		key, want string
	}{
		{Pattern{Form: "{channel}"}, "form", "has no {value}"},
		{Pattern{Form: "{value}{value}"}, "form", "{value} is in it twice"},
		{Pattern{Form: "{channel}{value}"}, "form", "{channel} runs into {value}, so a line could be read in two ways"},
		{Pattern{Form: "{channel}[ ]{value}"}, "form", "{channel} runs into {value}"},
		{Pattern{Form: "{value}5"}, "form", `{value} runs into "5"`},
		{Pattern{Form: "{value}{unit}mm"}, "form", `{unit} runs into "m"`},
		{Pattern{Form: "{value"}, "form", "has a { without a }"},
		{Pattern{Form: "{value}]"}, "form", "has a ] without a ["},
		{Pattern{Form: "[{value}"}, "form", "has a [ without a ]"},
		{Pattern{Form: "[[{value}]]"}, "form", "brackets within brackets"},
		{Pattern{Form: "[{value}]"}, "form", "{value} stands in brackets"},
		{Pattern{Form: "{wert}"}, "form", "{wert} is not known"},
		{Pattern{Form: "{value:0}"}, "form", "write a width of 1 to 64"},
		{Pattern{Form: "{any}{value}"}, "form", "{any} needs a width"},
		{Pattern{Form: `\q{value}`}, "form", "is no escape"},
		{Pattern{Form: "{value} {flag}"}, "good_flags", "write {flag} in the form"},
		{Pattern{Form: "{value}", GoodFlags: []string{"N"}}, "good_flags", "write {flag} in the form"},
		{Pattern{Form: "{value}", Minus: "N"}, "form", "there is no {sign}"},
		{Pattern{Form: "{sign}{value}", Minus: "+"}, "minus", "means plus as well"},
		{Pattern{Form: "{value}", Decimals: 10}, "decimals", "write 0 to 9"},
		{Pattern{Form: "{value}", Unit: "ell"}, "unit", `write "mm"`},
		{Pattern{Form: "{value}{unit}", Units: map[string]string{"M": "ell"}}, "units", `write "mm"`},
		{Pattern{Form: "{value}", Units: map[string]string{"M": "mm"}}, "form", "there is no {unit}"},
		{Pattern{Form: "{value}", End: `\z`}, "end", "is no escape"},
	} {
		wantProblem(t, fmt.Sprintf("%+v", tc.p), tc.p.Problems(RoleIndicator), tc.key, tc.want)
	}
}

func wantProblem(t *testing.T, what string, ps []Problem, key, want string) {
	t.Helper()
	for _, p := range ps {
		if p.Key == key && strings.Contains(p.Text, want) {
			return
		}
	}
	t.Errorf("%s: got %v; want at %s: %s", what, ps, key, want)
}

var fuzzPatterns = []Pattern{
	{Form: `[{channel}: ]{value}[ {unit}]`},
	{Form: `{channel:2}{flag:1}{value:8}{unit:2}`, GoodFlags: []string{"N"}, Units: map[string]string{"MM": "mm"}},
	{Form: `\x02{sign}{any:1}{value} {rest}`, End: `\x03`, Decimals: 3, Plus: "0", Minus: "8"},
}

func FuzzPatternFramer(f *testing.F) {
	for _, s := range []string{"arm: -0,0125 mm\r\n", "01N  -0.123MM\r", "\x028x12345 y\x03", "[]{}\\\n"} {
		f.Add([]byte(s), uint8(3))
	}
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		for i, x := range fuzzPatterns {
			if i < 2 { // those that end at CR and LF
				checkFramer(t, x.framer(RoleIndicator, false), x.framer(RoleIndicator, false), p, int(cut),
					10_000_000_000)
			} else {
				checkCuts(t, func() Framer { return x.framer(RoleIndicator, false) }, p, int(cut))
			}
		}
	})
}

// FuzzPatternForm reads any form: it is refused with a problem, or makes a framer that takes anything.
func FuzzPatternForm(f *testing.F) {
	for _, p := range fuzzPatterns {
		f.Add(p.Form, []byte("arm: 0.5 mm\n"))
	}
	f.Fuzz(func(t *testing.T, form string, p []byte) {
		x := Pattern{Form: form, GoodFlags: []string{""}}
		if !strings.Contains(form, "{flag") {
			x.GoodFlags = nil
		}
		if len(x.Problems(RoleIndicator)) == 0 {
			x.framer(RoleIndicator, false).Feed(nil, p, 0)
		}
	})
}

// checkCuts checks what must hold of any framer and any bytes: values within limits, and no difference between one feed
// and two.
func checkCuts(t *testing.T, make func() Framer, p []byte, cut int) {
	t.Helper()
	a, b := make(), make()
	one := a.Feed(nil, p, 1)
	cut = min(cut, len(p))
	two := b.Feed(nil, p[:cut], 1)
	two = b.Feed(two, p[cut:], 1)
	if fmt.Sprint(one, a.Faults()) != fmt.Sprint(two, b.Faults()) {
		t.Fatalf("%q cut at %d: %v %v, else %v %v", p, cut, two, b.Faults(), one, a.Faults())
	}
	for _, s := range one {
		if s.Value > 10_000_000_000 || s.Value < -10_000_000_000 {
			t.Fatalf("value %d is beyond the limit", s.Value)
		}
	}
}

// BenchmarkPattern compares a form with the regular expression that says the same, both up to a number of nanometres.
func BenchmarkPattern(b *testing.B) {
	const lines = "01N  -0.123MM\r\n02N   0.250MM\r\n"
	b.Run("form", func(b *testing.B) {
		benchmarkFramer(b, patternFramer(b, fuzzPatterns[1]), lines, 2)
	})
	b.Run("regexp", func(b *testing.B) {
		re := regexp.MustCompile(`(?m)^(.{2})(.)(.{8})(.{2})\r$`)
		in := []byte(lines)
		b.ReportAllocs()
		before := devicetest.CPU(b)
		for b.Loop() {
			n := 0
			for _, m := range re.FindAllSubmatchIndex(in, -1) {
				if _, err := strconv.ParseFloat(strings.TrimSpace(string(in[m[6]:m[7]])), 64); err == nil {
					n++
				}
			}
			if n != 2 {
				b.Fatalf("%d readings", n)
			}
		}
		reportCPU(b, before, 2)
	})
}
