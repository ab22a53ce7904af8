package web

import (
	"fmt"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A person opens the joint of a step, reads at one end, parks at the other, and follows the figure while the joint is
// loose. The rail turns about its middle, so the first round goes too far: the second knows it, and ends there. What
// was moved stands in the form and is logged.
func TestAJointIsAimedOnThePage(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))
	text := aJob
	s.job.Store(&text)
	at := func(mm, position float64) {
		snap := quietWren()
		snap.Devices = []api.DeviceState{{Name: "lever", Role: "indicator", State: "live", ReadingMM: &mm}}
		snap.Position = &api.PositionState{Source: "scale", MM: &position}
		s.show(still(snap))
	}
	at(0.1, 3.5)
	open(t, ctx, s.url+"/adjust?unit=mm_per_m", 360, 800, "light")
	logIn(t, ctx)
	tap(t, ctx, `".joint button"`)
	until(t, ctx, `document.querySelectorAll(".joint .row .main").length === 1`)
	list := eval[string](t, ctx, `document.querySelector(".joint").innerText`)
	for _, want := range []string{"To be loosened: rails", "take 0.08 mm out", "Loosen one bolt row only.",
		"The slope is outside.", "the chain closes"} {
		if !strings.Contains(list, want) {
			t.Errorf("the joint does not say %q: %s", want, list)
		}
	}
	for _, width := range []int64{360, 1280} {
		resize(t, ctx, width, 800)
		if over := eval[int](t, ctx,
			`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
			t.Errorf("%d px: %d px too wide", width, over)
		}
		whole(t, ctx, fmt.Sprintf("joint-%d", width))
	}
	resize(t, ctx, 360, 800)
	words := func(want string) {
		t.Helper()
		until(t, ctx, fmt.Sprintf(`document.querySelector("#target-words").innerText.includes(%q)`, want))
	}
	click := func(id string) {
		t.Helper()
		until(t, ctx, fmt.Sprintf(`(b => !b.disabled && b.offsetParent !== null)(document.querySelector(%q))`, id))
		tap(t, ctx, fmt.Sprintf("%q", id))
	}
	digits := func(want string) {
		t.Helper()
		until(
			t, ctx,
			fmt.Sprintf(
				`document.querySelector("#target-arrow").innerText + " " + document.querySelector("#target-digits").innerText === %q`, want))
	}
	tap(t, ctx, `".joint .row .main"`)
	words("The scale shows 3.5 mm. Go to 0 mm.")
	if eval[bool](t, ctx, `!document.querySelector("#target-near").disabled`) {
		t.Error("the near end could be read elsewhere")
	}
	at(0.1, 0.2)
	words("Go to 0 mm, let the reading lie still")
	click("#target-near")
	words("The scale shows 0.2 mm. Go to 500 mm.")
	at(0.3, 500)
	words("Go to 500 mm and park there")
	click("#target-park")
	digits("▼ 0.200")
	at(0.2, 500)
	digits("▼ 0.100")
	at(0.1, 300) // wound away: the reading says nothing of the move
	digits(" –")
	at(0.1, 500)
	until(t, ctx, `document.querySelector("#target-arrow").innerText === "✓"`)
	whole(t, ctx, "joint-aim-360")
	click("#target-tighten")
	click("#target-tight")
	at(0.3, 0) // the near end went up by as much
	words("Go back to 0 mm")
	click("#target-near")
	words("The scale shows 0.0 mm. Go to 500 mm.")
	at(0.1, 500)
	words("The far end has changed by −0.400 mm of −0.200 mm against the near one. Go to 500 mm")
	click("#target-park")
	digits("▲ 0.100") // half of the 0.2 mm that it is off: the near end goes the other way
	at(0.2, 500)
	until(t, ctx, `document.querySelector("#target-arrow").innerText === "✓"`)
	click("#target-tighten")
	click("#target-tight")
	at(0.2, 0)
	click("#target-near")
	until(t, ctx, `!document.querySelector("#target").open && document.querySelector(".joint input").value === "-0.08"`)
	tap(t, ctx, `".joint form button"`)
	until(t, ctx, `document.querySelector("#steps-answer").textContent === "Logged. Measure left rail again."`)
	if got := s.shop.last(); got != `event adjusted "" 0 map[rear bolts:-0.08]` {
		t.Errorf("the daemon took %q", got)
	}
	if bad := said(); len(bad) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(bad, "\n"))
	}
}
