package report

import (
	"bytes"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/display"
	"tramd/sweep/drift"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// linnet is half a year of the gantry router: settling after an adjustment, a crash, a service, then a slow nod.
func linnet() *drift.History {
	r := rand.New(rand.NewPCG(20, 26))
	h := &drift.History{}
	at := time.Date(2026, 1, 5, 7, 30, 0, 0, time.UTC)
	event := func(kind, text string) {
		h.Entries = append(h.Entries,
			drift.Entry{Event: &drift.Event{Time: at.Add(-time.Hour), Kind: kind, Text: text}})
	}
	event("adjusted", "swing by 0.15 mm, <shim> of 0.05 mm")
	hours := 1200.0
	for day := range 180 {
		if day%2 == 1 {
			at = at.AddDate(0, 0, 1)
			continue
		}
		tilt, nod := 0.012+0.03*math.Exp(-float64(day)/4), -0.01
		switch {
		case day == 100:
			event("serviced", "bolts tightened, squared again")
		case day >= 70 && day < 100: // somebody ran into the clamp and did not say so
			tilt += 0.028
		}
		if day >= 100 {
			tilt, nod = 0.004, -0.008+0.0003*float64(day-100)
		}
		c := &drift.Check{Time: at, Limit: 20.0 / 300, SpindleHours: hours, Axis: [2]*drift.Value{
			{MMPerM: tilt + 0.004*r.NormFloat64(), U: 0.003}, {MMPerM: nod + 0.004*r.NormFloat64(), U: 0.003}}}
		h.Entries = append(h.Entries, drift.Entry{Check: c, Place: day + 1, Surface: "bed"})
		hours += 9
		at = at.AddDate(0, 0, 1)
	}
	return h
}

func reportOf(t *testing.T, h *drift.History) *Report {
	t.Helper()
	a, err := drift.Work(h, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return &Report{Machine: "linnet", Surface: "bed", Tolerance: "0.02/300", History: h, Answer: a, Reliability: 0.95,
		Version: "v1.2.3"}
}

func TestReportIsTheSameForTheSameHistory(t *testing.T) {
	var b bytes.Buffer
	if err := reportOf(t, linnet()).Write(&b); err != nil {
		t.Fatal(err)
	}
	const golden = "testdata/linnet.html"
	if *update {
		if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b.Bytes(), want) {
		t.Errorf("the report changed; look at it, then run with -update")
	}
	text := b.String()
	for _, must := range []string{"For the machine's manual", "whichever comes first", "swing by 0.15 mm, &lt;shim&gt;",
		"nod is moving by", "Isolate the spindle"} {
		if !strings.Contains(text, must) {
			t.Errorf("no %q in the report", must)
		}
	}
	for _, never := range []string{"http://", "https://", "<script", "NaN", "src="} {
		if strings.Contains(text, never) {
			t.Errorf("%q in the report", never)
		}
	}
}

// Whatever there is of a record, there is a report of it.
// Nothing but the scale in the footer speaks of mm/m, and the level of the table is the model's times 206.265 (NIST SP
// 811, appendix B.8).
func TestTheReportIsInTheReadersUnits(t *testing.T) {
	r := reportOf(t, linnet())
	var err error
	if r.Units, err = display.Of("arcsec", ""); err != nil {
		t.Fatal(err)
	}
	r.Page = "http://linnet:9743"
	var b strings.Builder
	if err := r.Write(&b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "mm/m"); n != 1 || !strings.Contains(b.String(), "1 mm/m is 206.26 arcsec") {
		at := strings.Index(b.String(), "mm/m")
		t.Errorf("mm/m stands there %d times: ...%s", n, b.String()[max(0, at-200):at+4])
	}
	if text := b.String(); !strings.Contains(text, `shape-rendering="crispEdges"`) ||
		!strings.Contains(text, "page: http://linnet:9743<") {
		t.Error("the page's address and its code do not stand there")
	}
	nod := r.Answer.Tracker.Now()[1].Level * 206.265
	if want := ">&#43;" + number(nod, 2) + "<"; !strings.Contains(b.String(), want) {
		t.Errorf("no %s", want)
	}
}

func TestReportOfLittle(t *testing.T) {
	all := linnet()
	for _, n := range []int{0, 1, 2, 3, 4, 6, 10} {
		h := &drift.History{Entries: all.Entries[:n]}
		var b bytes.Buffer
		if err := reportOf(t, h).Write(&b); err != nil {
			t.Fatalf("%d entries: %v", n, err)
		}
		if n < 4 && !strings.Contains(b.String(), "No interval can be recommended for linnet yet") {
			t.Errorf("%d entries: an interval is recommended", n)
		}
		if strings.Contains(b.String(), "NaN") || strings.Contains(b.String(), "Inf") {
			t.Errorf("%d entries: something that is no number", n)
		}
	}
}

// The CSV comes back as the same history.
func TestCSVComesBack(t *testing.T) {
	for _, warm := range []bool{false, true} {
		csvComesBack(t, warm)
	}
}

func csvComesBack(t *testing.T, warm bool) {
	h := linnet()
	for i, e := range h.Entries {
		if warm && e.Check != nil && i%3 > 0 { // not every check has one
			celsius := 15 + float64(i)/16
			e.Check.TemperatureC = &celsius
		}
	}
	var b bytes.Buffer
	if err := WriteCSV(&b, h); err != nil {
		t.Fatal(err)
	}
	back, err := drift.ReadCSV(&b, 20.0/300)
	if err != nil {
		t.Fatal(err)
	}
	if len(back.Entries) != len(h.Entries) {
		t.Fatalf("%d entries, want %d", len(back.Entries), len(h.Entries))
	}
	for i, e := range h.Entries {
		got := back.Entries[i]
		if (e.Check == nil) != (got.Check == nil) || e.Check != nil &&
			(*got.Check.Axis[0] != *e.Check.Axis[0] || got.Check.SpindleHours != e.Check.SpindleHours ||
				!cmp.Equal(got.Check.TemperatureC, e.Check.TemperatureC) ||
				!got.Check.Time.Equal(e.Check.Time)) || e.Event != nil && got.Event.Kind != e.Event.Kind {
			t.Errorf("entry %d: %+v, want %+v", i, got, e)
		}
	}
}

// What the temperature does stands beside the level, and in the words for the manual.
func TestTheReportTellsTheTemperature(t *testing.T) {
	h := linnet()
	for i, e := range h.Entries {
		if e.Check != nil {
			celsius := 15 + 6*math.Sin(float64(i)/9) + float64(i*7%11)/5
			e.Check.TemperatureC = &celsius
			e.Check.Axis[1].MMPerM += 0.003 * (celsius - 15)
		}
	}
	var b bytes.Buffer
	if err := reportOf(t, h).Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{" °C; with the temperature: &#43;0.00",
		"and the date reckons with the swing of the temperature"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

func TestIntervalsInWords(t *testing.T) {
	for days, want := range map[float64]string{0: "now", 0.02: "less than an hour", 1.5: "36 hours", 12.9: "12 days",
		100: "14 weeks (100 days)", math.NaN(): "–"} {
		if got := interval(days); got != want {
			t.Errorf("%v days: %q, want %q", days, got, want)
		}
	}
}

// TestMain gives the golden pages one time zone, wherever the tests run.
func TestMain(m *testing.M) {
	time.Local = time.UTC
	m.Run()
}

// A forecast far from what was measured keeps a band that can be seen, and does not press the past flat.
func TestTheForecastsBandIsNotClippedToNothing(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	measured := []spot{{t: at, v: 0.01}, {t: at.AddDate(0, 0, 1), v: 0.012}}
	ahead := []spot{{t: at.AddDate(0, 0, 2), v: 0.05, low: 0.03, high: 0.07},
		{t: at.AddDate(0, 0, 9), v: 0.3, low: -2, high: 2.6}}
	low, high := extent(0, measured, expected(measured, ahead))
	for _, s := range ahead {
		if shown := math.Min(s.high, high) - math.Max(s.low, low); shown < 0.03 {
			t.Errorf("of %v to %v only %v is shown between %v and %v", s.low, s.high, shown, low, high)
		}
	}
	if high-low > 2*(0.3-0.01)+1e-9 {
		t.Errorf("from %v to %v: the past is pressed flat", low, high)
	}
}
