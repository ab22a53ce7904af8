package jobsheet

import (
	"flag"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"tramd/sweep"
)

var update = flag.Bool("update", false, "rewrite the golden file")

func p(v float64) *float64 { return &v }

var nine = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func linnet() *Sheet {
	return &Sheet{
		Machine: "linnet", Surface: "granite plate", Tolerance: "0.02/300", LimitMMPerM: 0.0667, AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, RadiusUMM: 0.5, ResolutionMM: 0.001}},
		Units:      map[string]string{"swing": "mm", "lower shim": "mm"},
		Stages: []Stage{
			{Run: 7, StartedAt: nine, Verdict: "outside", Tilt: p(0.9), TiltHalf: p(0.02), Nod: p(-0.6),
				NodHalf: p(0.02),
				Moved:   map[string]float64{"swing": -0.2, "lower shim": 0.1},
				Logged:  []string{"one shim was bent <&> replaced"}},
			{Run: 8, StartedAt: nine.Add(20 * time.Minute), Verdict: "outside", Tilt: p(0.1), TiltHalf: p(0.02),
				Nod: p(-0.05), NodHalf: p(0.02),
				Moved: map[string]float64{"swing": -0.025}},
			{Run: 9, StartedAt: nine.Add(40 * time.Minute), Verdict: "within", Tilt: p(0.01), TiltHalf: p(0.02),
				Nod: p(-0.02), NodHalf: p(0.02)},
		},
		Cutters: []string{"6 mm flat: steps of 0.0001 mm between passes."}, Version: "v1.2.3",
	}
}

func TestGolden(t *testing.T) {
	var b strings.Builder
	if err := linnet().Write(&b); err != nil {
		t.Fatal(err)
	}
	const path = "testdata/linnet.html"
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), b.String()); d != "" {
		t.Errorf("the page differs (-want +got):\n%s", d)
	}
	for _, must := range []string{"−0.600 ± 0.020",
		"lower shim &#43;0.1 mm; swing −0.2 mm; one shim was bent &lt;&amp;&gt; replaced", `class="within">within`,
		"isolate the spindle’s power"} {
		if !strings.Contains(b.String(), must) {
			t.Errorf("missing %q", must)
		}
	}
	if strings.Contains(b.String(), "<script") || strings.Contains(b.String(), "http") {
		t.Error("the page is not whole in itself")
	}
}

func TestThePageStandsOnTheSheet(t *testing.T) {
	s := linnet()
	s.Page = "http://linnet:9743"
	var b strings.Builder
	if err := s.Write(&b); err != nil {
		t.Fatal(err)
	}
	if text := b.String(); !strings.Contains(text, `shape-rendering="crispEdges"`) ||
		!strings.Contains(text, "page: http://linnet:9743<") {
		t.Error(text)
	}
}

func TestOddJobs(t *testing.T) {
	for name, s := range map[string]*Sheet{
		"nothing swept": {Machine: "wren"},
		"one sweep":     {Machine: "wren", Stages: linnet().Stages[:1]},
		"one axis": {Machine: "wren", LimitMMPerM: 0.1,
			Stages: []Stage{{Run: 1, Tilt: p(0.1)}, {Run: 2, Tilt: p(0.05)}}},
		"markup in a name": {Machine: `<img src=x onerror=alert(1)>`,
			Stages: []Stage{{Run: 1, Logged: []string{`"><script>`}}}},
	} {
		var b strings.Builder
		if err := s.Write(&b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if strings.Contains(b.String(), "<svg") || strings.Contains(b.String(), "<img") ||
			strings.Contains(b.String(), "<script") {
			t.Errorf("%s:\n%s", name, b.String())
		}
	}
}

func TestLastCutsOutOneJob(t *testing.T) {
	moved := map[string]float64{"swing": 0.1}
	record := []Stage{
		{Run: 1, StartedAt: nine.AddDate(0, 0, -30)},               // a check long ago
		{Run: 2, StartedAt: nine, Moved: moved},                    // this one began it
		{Run: 3, StartedAt: nine.Add(time.Hour)},                   // measured again without a move
		{Run: 4, StartedAt: nine.Add(2 * time.Hour), Moved: moved}, // and gone home
		{Run: 5, StartedAt: nine.AddDate(0, 0, 1)},                 // the next morning: the move's sweep
		{Run: 6, StartedAt: nine.AddDate(0, 0, 2)},                 // a check of another day
	}
	for _, c := range []struct{ of, from, to int }{{6, 6, 6}, {5, 2, 5}, {3, 2, 3}, {1, 1, 1}} {
		got := Last(record[:c.of])
		if got[0].Run != int64(c.from) || got[len(got)-1].Run != int64(c.to) {
			t.Errorf("of %d sweeps: %d to %d, want %d to %d", c.of, got[0].Run, got[len(got)-1].Run, c.from, c.to)
		}
	}
	if got := Last(nil); len(got) != 0 {
		t.Errorf("of none: %v", got)
	}
}

// TestMain gives the golden pages one time zone, wherever the tests run.
func TestMain(m *testing.M) {
	time.Local = time.UTC
	m.Run()
}
