package web

import (
	"fmt"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A person parks the arm, loosens, and follows the page to the reading to aim for; what tightening did is logged with
// the move. The way is 0.1 mm down, and tightening is expected to add 0.005 mm: so from 1.300 to 1.195.
func TestTheReadingToAimFor(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	at := func(mm *float64) {
		snap := quietWren()
		snap.Devices = []api.DeviceState{{Name: "lever", Role: "indicator", State: "live", ReadingMM: mm}}
		s.show(still(snap))
	}
	at(ptr(1.3))
	open(t, ctx, s.url+"/adjust", 360, 800, "light")
	until(t, ctx, `document.querySelectorAll("#aims button").length === 1`)
	logIn(t, ctx)
	until(t, ctx, `!document.querySelector("#moved-log").disabled`)
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
	click("#aims button")
	until(t, ctx, `document.querySelector("#target-words").innerText.startsWith("lever reads 1.300 mm.")`)
	click("#target-park")
	digits("▼ 0.105")
	at(ptr(1.24))
	digits("▼ 0.045")
	whole(t, ctx, "target-360")
	moving := quietWren() // 0.01 mm of what has happened does not show yet: the figure counts it, and says so
	moving.Devices = []api.DeviceState{{Name: "lever", Role: "indicator", State: "live",
		ReadingMM: ptr(1.25), AgeS: ptr(0.2), RateMMPerS: ptr(-0.05), LagMM: ptr(-0.01), UMM: ptr(0.004)}}
	s.show(still(moving))
	digits("▼ 0.045")
	until(
		t, ctx,
		`/^± 0\.008\d mm · read 0\.[2-9] s ago · the reading lags 0\.010 mm behind$/.test(document.querySelector("#target-sure").innerText)`)
	at(ptr(1.15)) // too far
	digits("▲ 0.045")
	at(nil)
	until(t, ctx, `document.querySelector("#target-digits").innerText === "–"`)
	if eval[bool](t, ctx, `!document.querySelector("#target-tighten").disabled`) {
		t.Error("a reading that is not there could be taken")
	}
	at(ptr(1.196))
	digits("✓ −0.001")
	if !eval[bool](
		t, ctx,
		`document.querySelector("#target").classList.contains("there") && document.querySelector("#target").clientHeight >= innerHeight && document.querySelector("#target").clientWidth >= innerWidth`) {
		t.Error("the whole screen does not say that it is there")
	}
	click("#target-tighten")
	at(ptr(1.203))
	until(t, ctx, `document.querySelector("#target-digits").innerText !== "−0.001"`)
	click("#target-tight")
	until(t, ctx, `!document.querySelector("#target").open`)
	// Of 0.1 mm it went 0.104: the adjuster is taken to have gone so much of the advised amount too.
	want := someAdvice(t).Moves[0].By * 0.104 / 0.1
	if got := eval[float64](t, ctx, `Number(document.querySelector("#moved-0").value)`); got < want-0.0006 ||
		got > want+0.0006 {
		t.Errorf("%v stands in the form, want %v", got, want)
	}
	eval[bool](t, ctx, `document.querySelector("#moved-1").value = ""; true`)
	click("#moved-log")
	until(t, ctx, `document.querySelector("#moved-answer").textContent.startsWith("Logged")`)
	if got, want := s.shop.last(), fmt.Sprintf("event adjusted map[swing:%.3f] 1.1960 to 1.2030", want); got != want {
		t.Errorf("the daemon was told %q, want %q", got, want)
	}
}

// A pair of indicators is gone by through their difference: both must be fresh, and what tightening does to one arm is
// not taken off it.
func TestThePairToAimFor(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	at := func(one, other *float64) {
		snap := quietWren()
		snap.Devices = []api.DeviceState{
			{Name: "lever", Role: "indicator", State: "live", ReadingMM: one},
			{Name: "far", Role: "indicator", State: "live", ReadingMM: other},
		}
		s.show(still(snap))
	}
	at(ptr(1.3), ptr(0.9))
	open(t, ctx, s.url+"/adjust?pair", 360, 800, "light")
	until(t, ctx, `document.querySelectorAll("#aims button").length === 1`)
	eval[bool](
		t, ctx,
		`import("/assets/target.js").then(m => m.targetAdvice({run: 1, tightening_mm: 0.005, adjusters: [{name: "swing"}],
		aims: [{adjuster: "swing", by: 0.1, indicator: "lever", less: "far", spindle_deg: 0, change_mm: 0.2, u_mm: 0.01, say: "Park the bar."}]})) && true`)
	until(
		t, ctx,
		`document.querySelector("#aims button").innerText === "Aim: swing" && document.querySelector("#aims").dataset.key.includes("far")`)
	tap(t, ctx, `"#aims button"`)
	until(t, ctx, `document.querySelector("#target-words").innerText.startsWith("lever less far reads 0.400 mm.")`)
	tap(t, ctx, `"#target-park"`)
	until(
		t, ctx,
		`document.querySelector("#target-arrow").innerText === "▲" && document.querySelector("#target-digits").innerText === "0.200"`)
	at(ptr(1.35), ptr(0.85))
	until(t, ctx, `document.querySelector("#target-digits").innerText === "0.100"`)
	at(ptr(1.35), nil)
	until(t, ctx, `document.querySelector("#target-digits").innerText === "–"`)
}

// The page reckons with the angle at which the arm stands, begins nowhere that hides the move, and stops leading when
// the arm turns. It led by the reading alone, wherever the arm stood.
func TestTheAimGoesByWhereTheArmStands(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	at := func(mm, deg *float64) {
		snap := quietWren()
		snap.Angle = api.AngleState{Source: "encoder", Deg: deg}
		snap.Devices = []api.DeviceState{{Name: "lever", Role: "indicator", State: "live", ReadingMM: mm}}
		s.show(still(snap))
	}
	at(ptr(1.0), ptr(95.0))
	open(t, ctx, s.url+"/adjust?angle", 360, 800, "light")
	until(t, ctx, `document.querySelectorAll("#aims button").length === 1`)
	eval[bool](
		t, ctx,
		`import("/assets/target.js").then(m => m.targetAdvice({run: 1, tightening_mm: 0, adjusters: [{name: "swing"}],
		aims: [{adjuster: "swing", by: 0.1, indicator: "lever", spindle_deg: 0, point: "to the right", change_mm: 0.2, cos_mm: 0.2, sin_mm: 0, rest_mm: 0, u_mm: 0.01, say: "Point the arm to the right."}]})) && true`)
	until(
		t, ctx,
		`document.querySelector("#aims button").innerText === "Aim: swing" && document.querySelector("#aims").dataset.key.includes("Point the arm to the right.")`)
	tap(t, ctx, `"#aims button"`)
	until(
		t, ctx,
		`document.querySelector("#target-words").innerText.includes("at 95.0°, where this move hardly shows. Point it to the right")`)
	if eval[bool](t, ctx, `!document.querySelector("#target-park").disabled`) {
		t.Error("an aim can begin where the move does not show")
	}
	at(ptr(1.0), ptr(60.0))
	until(t, ctx, `!document.querySelector("#target-park").disabled`)
	tap(t, ctx, `"#target-park"`)
	// half of it, at 60 degrees
	until(
		t, ctx,
		`document.querySelector("#target-arrow").innerText === "▲" && document.querySelector("#target-digits").innerText === "0.100"`)
	at(ptr(1.0), ptr(63.0))
	until(t, ctx, `document.querySelector("#target-words").innerText.includes("has turned from 60.0° to 63.0°")`)
	if got := eval[string](t, ctx, `document.querySelector("#target-digits").innerText`); got != "–" {
		t.Errorf("the page still leads: %q", got)
	}
	if eval[bool](t, ctx, `!document.querySelector("#target-tighten").disabled`) {
		t.Error("a reading of an arm that has turned could be taken")
	}
	at(ptr(1.0), nil)
	until(t, ctx, `document.querySelector("#target-words").innerText.includes("does not say where the arm is")`)
	at(ptr(1.1), ptr(60.5))
	until(t, ctx, `document.querySelector("#target-arrow").innerText === "✓"`)
}
