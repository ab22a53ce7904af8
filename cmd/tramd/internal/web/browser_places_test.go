package web

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	svgs "tramd/cmd/tramd/internal/picture"
)

// rails are what a fake record says of a traverse, and of a job where it has one.
type rails struct{ job *atomic.Pointer[string] }

// aJob is an assembly of which the first of two steps was upset.
const aJob = `{"machine":"wren","next":1,"say":"Next, step 2 of 2, plate: it is not measured yet. Measure with tramd traverse plate.","stack":{"say":["tilt: the chain closes."]},
		"steps":[{"name":"rails parallel","kind":"traverse","of":"left rail","state":"upset","upset":"rear bolts moved","run":11,"at":"2026-03-02T12:00:00Z","verdict":"outside",
		"now":[{"name":"slope","value":0.21,"U":0.012,"unit":"mm/m","verdict":"outside"}],"before":[{"name":"slope","value":0.41,"U":0.012,"unit":"mm/m","verdict":"outside"}],
		"command":"tramd traverse 'left rail'","alarms":["tilt is outside"],"due":"2026-04-02T12:00:00Z","moves":true},
		{"name":"plate","kind":"traverse","of":"plate","state":"to do","at":null,"verdict":"none","now":null,"before":null,"command":"tramd traverse plate","alarms":null,"due":null}]}`

func (rails) Measured(context.Context, int64) (api.Measured, error) {
	return as[api.Measured](json.RawMessage(
		`{"title":"traverse left rail","verdict":"outside","picture":true,"figures":[
		{"name":"slope","value":0.21,"U":0.012,"unit":"mm/m","verdict":"outside"},
		{"name":"straightness","value":0.0042,"U":0.0011,"unit":"mm","verdict":"none"}]}`)), nil
}

func (rails) Picture(context.Context, int64) (string, error) {
	return svgs.Line("traverse left rail",
		[]svgs.Curve{{Points: []svgs.Point{{At: 0, FormMM: -0.002}, {At: 150, FormMM: 0.004},
			{At: 300, FormMM: -0.002}}}}), nil
}

func (r rails) Job(context.Context) (*api.Job, error) {
	if r.job != nil {
		if text := r.job.Load(); text != nil {
			return as[*api.Job](json.RawMessage(*text)), nil
		}
	}
	return &api.Job{Steps: []api.Step{}}, nil
}

// aJoint is the advice on the left rail: its far end is 0.2 mm high, and the rail turns about its middle.
const aJoint = `{"done":false,"name":"left rail","kind":"traverse","joint":"rails","quantities":["slope"],"tolerance":"0.02/300","run":11,
		"why":"The slope is outside.","cautions":["Loosen one bolt row only."],"warnings":[],"chain":["tilt: the chain closes."],
		"moves":[{"adjuster":"rear bolts","by":-0.08,"unit":"mm","say":"take 0.08 mm out from under the rear bolts"}],
		"adjusters":[{"name":"rear bolts","unit":"mm","step":0,"stock_mm":[]}],
		"aims":[{"adjuster":"rear bolts","by":-0.08,"indicator":"lever","near":"0 mm","far":"500 mm","near_mm":0,"far_mm":500,"scale":true,"now_mm":0.2,"target_mm":0,"change_mm":-0.2,"u_mm":0.01,
		"say":"Read at 0 mm, go to 500 mm and park there."}]}`

func (rails) Joint(_ context.Context, of string) (api.JointAdvice, error) {
	if of != "left rail" {
		return api.JointAdvice{}, api.Conflict.Errorf("nothing is measured yet: measure %s first", of)
	}
	return as[api.JointAdvice](json.RawMessage(aJoint)), nil
}

func (r rails) Chain(ctx context.Context) (string, error) { return r.Picture(ctx, 1) }

// aTraverse is one that is being read off a plain dial, with two of four places taken.
func aTraverse() *api.Snapshot {
	s := quietWren()
	s.Devices[0] = api.DeviceState{Name: "lever", Role: "indicator", State: "live", Readings: 500,
		ReadingMM: ptr(-0.034), AgeS: ptr(0.1)}
	s.Clock.Set = true
	s.Sweep = api.SweepState{
		Phase: api.PhaseTurning, Run: 5, Kind: "traverse", TurnsWanted: 1, Readings: 2, Stored: 2, Wanted: "dial",
		Say: "Move the indicator to 200 mm and type the reading.",
		Measured: &api.MeasuredState{Subject: "left rail", Say: "slope +0.200 ± 0.127 mm/m",
			Places: []api.PlaceState{
				{Name: "0 mm", At: 0, State: "taken", ReadingMM: ptr(0.3)},
				{Name: "100 mm", At: 100, State: "taken", ReadingMM: ptr(0.32)},
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
		return map[string]any{"id": id, "kind": "traverse", "subject": "left rail", "purpose": "check",
			"outcome": "finished", "clock_set": true,
			"started_at": time.Now(), "ended_at": time.Now(), "setup": map[string]any{"machine": "wren"},
			"result": map[string]any{"slope": map[string]any{"mm_per_m": 0.21, "U_mm_per_m": 0.012},
				"verdict": "outside",
				"warnings": []map[string]string{
					{"code": "few_positions", "text": "three positions show little of the form"}}}}
	}
	s.show(still(aTraverse()))
	open(t, ctx, s.url+"/?unit=mm_per_m", 360, 800, "light")
	until(
		t, ctx, `!document.querySelector("#places").hidden && document.querySelectorAll("#places circle").length === 2`)
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
	for _, want := range []string{"traverse", "slope+0.210 ± 0.012 mm/m", "outside", "straightness0.0042 ± 0.0011 mm",
		"three positions show little"} {
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

// The job is a view of the page: what was upset and what comes next, and each step is begun from there. What it
// measures is then steered as a sweep is.
func TestTheJobsStepsInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))
	text := aJob
	s.job.Store(&text)
	s.show(still(quietWren()))
	open(t, ctx, s.url+"/adjust?unit=mm_per_m", 360, 800, "light")
	until(
		t, ctx,
		`document.querySelectorAll("#steps-list > li").length === 2 && document.querySelector("#chain-picture").naturalWidth > 0`)
	list := eval[string](t, ctx, `document.querySelector("#steps").innerText`)
	for _, want := range []string{"Next, step 2 of 2, plate", "upset: rear bolts moved", "slope +0.210 ± 0.012 mm/m",
		"(before: +0.410 ± 0.012 mm/m)", "tilt is outside",
		"next check by 2026-04-02", "the chain closes", "Support a head before you loosen it"} {
		if !strings.Contains(list, want) {
			t.Errorf("the steps do not say %q: %s", want, list)
		}
	}
	if !eval[bool](t, ctx, `document.documentElement.scrollWidth <= document.documentElement.clientWidth`) {
		t.Error("the steps are too wide for a phone")
	}
	whole(t, ctx, "steps-360")
	logIn(t, ctx)
	eval[bool](t, ctx, `document.querySelector("#steps-typed").click() === undefined`)
	tap(t, ctx, `"#steps-list > li[aria-current] button"`)
	until(t, ctx, `document.querySelector("#caution").open`)
	tap(t, ctx, `"#caution-ok"`)
	select {
	case w := <-s.wanted:
		if w != (api.Wanted{Kind: "traverse", Name: "plate", Purpose: "check", Typed: true}) {
			t.Errorf("what was begun: %+v", w)
		}
	case <-time.After(time.Minute):
		t.Fatal("no measurement was begun within a minute")
	}
	until(t, ctx, `document.body.dataset.view === "now"`)
	s.show(still(aTraverse()))
	until(
		t, ctx,
		`!document.querySelector("#places").hidden && !document.querySelector("#typed").hidden && document.querySelector("#steps-list button").disabled`)
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
