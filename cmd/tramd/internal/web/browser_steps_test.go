package web

import (
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// A traverse along which a motor moves the axis takes two acts on the page, as the arm does, and while it moves there is
// nothing to take by hand.
func TestSteppingATraverseTakesTwoActsOnThePage(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	text :=
		`{"steps":[{"name":"left rail","kind":"traverse","of":"left rail","state":"ahead","stepped":true}],"next":0}`
	s.job.Store(&text)
	s.show(still(quietWren()))
	open(t, ctx, s.url+"/adjust", 360, 800, "light")
	logIn(t, ctx)
	until(t, ctx, `document.querySelector("#steps-list button")?.disabled === false`)
	tap(t, ctx, `"#steps-list button"`)
	s.did(t, "arm traverse left rail")
	until(t, ctx, `!document.querySelector("#motion").hidden && location.pathname === "/" &&
		document.querySelector("#motion-cautions").innerText.includes("Keep clear of the axis") &&
		document.querySelector("#motion-plan").textContent.includes("2 commands") &&
		document.querySelector("#motion-hold").disabled`)
	eval[bool](t, ctx, `(f => { f.value = "wren"; f.dispatchEvent(new Event("input")); return true })(
		document.querySelector("#motion-name"))`)
	until(t, ctx, `!document.querySelector("#motion-hold").disabled`)
	picture(t, ctx, "steps-armed-360")
	eval[bool](t, ctx, `document.querySelector("#motion-hold").dispatchEvent(
		new KeyboardEvent("keydown", { key: " ", bubbles: true, cancelable: true })) || true`)
	until(t, ctx, `document.querySelector("#answer").textContent.includes("Run 8 has begun")`)
	if s.shop.first(`step "s" traverse left rail check`) == "" {
		t.Error("the axis was not started with what it was armed for")
	}
	moving := aTraverse()
	moving.Sweep.Wanted, moving.Sweep.Measured.Moves = "", true
	moving.Sweep.Say = "A motor moves to 200 mm (3 of 4). Keep clear."
	s.show(still(moving))
	until(t, ctx, `!document.querySelector("#abandon").hidden && ["take", "skip", "redo", "typed"].every(
		(id) => document.querySelector("#" + id).hidden) && document.querySelector("#say").innerText.includes("Keep clear")`)
	picture(t, ctx, "steps-moving-360")
	eval[bool](
		t, ctx,
		`document.querySelector("#motion-hold").dispatchEvent(new KeyboardEvent("keyup", { key: " " })) || true`)
	for end := time.Now().Add(time.Minute); s.shop.first(`let go "s"`) == ""; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the motion was not let go")
		}
	}
	moving.Sweep = api.SweepState{Phase: api.PhaseIdle}
	s.show(still(moving))
	until(t, ctx, `document.querySelector("#motion").hidden`)
}
