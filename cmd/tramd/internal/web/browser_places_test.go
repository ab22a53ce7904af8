package web

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	svgs "tramd/cmd/tramd/internal/picture"
	"tramd/cmd/tramd/internal/session"
)

// rails are what a fake record says of a traverse.
type rails struct{}

func (rails) Measured(context.Context, int64) (any, error) {
	return json.RawMessage(`{"title":"traverse left rail","verdict":"outside","picture":true,"figures":[
		{"name":"slope","value":0.21,"U":0.012,"unit":"mm/m","verdict":"outside"},
		{"name":"straightness","value":0.0042,"U":0.0011,"unit":"mm","verdict":"none"}]}`), nil
}

func (rails) Picture(context.Context, int64) (string, error) {
	return svgs.Line("traverse left rail", []svgs.Curve{{Points: []svgs.Point{{At: 0, FormMM: -0.002}, {At: 150, FormMM: 0.004}, {At: 300, FormMM: -0.002}}}}), nil
}

func (rails) Job(context.Context) (any, error) { return json.RawMessage(`{"steps":[]}`), nil }

func (rails) Chain(context.Context) (string, error) { return "", nil }

// aTraverse is one that is being read off a plain dial, with two of four places taken.
func aTraverse() *session.Snapshot {
	s := quietWren()
	s.Devices[0] = session.DeviceState{Name: "lever", Role: "indicator", State: "live", Readings: 500, ReadingMM: ptr(-0.034), AgeS: ptr(0.1)}
	s.Clock.Set = true
	s.Sweep = session.SweepState{
		Phase: session.Turning, Run: 5, Kind: "traverse", TurnsWanted: 1, Readings: 2, Stored: 2, Wanted: "dial", Say: "Move the indicator to 200 mm and type the reading.",
		Measured: &session.MeasuredState{Subject: "left rail", Say: "slope +0.200 ± 0.127 mm/m", Places: []session.PlaceState{
			{Name: "0 mm", At: 0, State: "taken", ReadingMM: ptr(0.3)}, {Name: "100 mm", At: 100, State: "taken", ReadingMM: ptr(0.32)},
			{Name: "200 mm", At: 200, State: "here"}, {Name: "300 mm", At: 300, State: "ahead"}}},
	}
	return s
}

// A traverse is steered place by place, with its curve growing, and opens in full from the list with its figures and
// picture.
func TestATraverseInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.shop.detail = func(id int64) any {
		return map[string]any{"id": id, "kind": "traverse", "subject": "left rail", "purpose": "check", "outcome": "finished", "clock_set": true,
			"started_at": time.Now(), "ended_at": time.Now(), "setup": map[string]any{"machine": "wren"},
			"result": map[string]any{"slope": map[string]any{"mm_per_m": 0.21, "U_mm_per_m": 0.012}, "verdict": "outside",
				"warnings": []map[string]string{{"code": "few_positions", "text": "three positions show little of the form"}}}}
	}
	s.show(still(aTraverse()))
	open(t, ctx, s.url+"/?unit=mm_per_m", 360, 800, "light")
	until(t, ctx, `!document.querySelector("#places").hidden && document.querySelectorAll("#places circle").length === 2`)
	for what, expr := range map[string]string{
		"its name":             `document.querySelector("#places .title").textContent === "traverse left rail"`,
		"what it says so far":  `document.querySelector("#places .places-say").textContent.includes("0.200")`,
		"the place to go to":   `document.querySelector("#places .here .place").textContent === "200 mm"`,
		"the instruction":      `document.querySelector("#say").textContent.includes("Move the indicator to 200 mm")`,
		"a field to type into": `!document.querySelector("#typed").hidden`,
		"a way back":           `!document.querySelector("#redo").hidden && !document.querySelector("#skip").hidden`,
		"nothing cut off":      `document.documentElement.scrollWidth <= document.documentElement.clientWidth`,
	} {
		if !eval[bool](t, ctx, expr) {
			t.Errorf("the live traverse lacks %s", what)
		}
	}
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	seen := func(what string) {
		t.Helper()
		for _, width := range []int64{360, 1280} {
			resize(t, ctx, width, 800)
			for _, fault := range faults(t, ctx, string(axe)) {
				t.Errorf("%s, %d px: %s", what, width, fault)
			}
		}
	}
	seen("the live traverse")
	whole(t, ctx, "places-360")
	open(t, ctx, s.url+"/runs/11?unit=mm_per_m", 360, 800, "dark")
	until(t, ctx, `document.querySelector(".measured-picture")?.naturalWidth > 0`)
	text := eval[string](t, ctx, `document.querySelector("#detail").textContent`)
	for _, want := range []string{"traverse", "slope+0.210 ± 0.012 mm/m", "outside", "straightness0.0042 ± 0.0011 mm", "three positions show little"} {
		if !strings.Contains(text, want) {
			t.Errorf("the run does not say %q: %s", want, text)
		}
	}
	if !eval[bool](t, ctx, `document.documentElement.scrollWidth <= document.documentElement.clientWidth`) {
		t.Error("the run is too wide for a phone")
	}
	seen("the stored traverse")
	whole(t, ctx, "measured-360")
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
