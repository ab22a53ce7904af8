package web

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// did waits until the daemon was asked for something.
func (s *stage) did(t *testing.T, want string) {
	t.Helper()
	for end := time.Now().Add(time.Minute); s.shop.last() != want; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it did %q, want %q", s.shop.last(), want)
		}
	}
}

// loggedIn opens the page of a scene with a person who may change things.
func loggedIn(t *testing.T, scene *api.Snapshot) (*stage, func(js string), func(js string), func(name string)) {
	t.Helper()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.show(still(scene))
	open(t, ctx, s.url, 390, 900, "light")
	logIn(t, ctx)
	return s, func(js string) { t.Helper(); eval[bool](t, ctx, js) }, func(js string) { t.Helper(); until(t, ctx, js) },
		func(name string) { picture(t, ctx, name) }
}

func TestAReadingIsTypedOnThePage(t *testing.T) {
	t.Parallel()
	scene := wrenByHand()
	scene.Angle.Source, scene.Sweep.Wanted = "typed", "lever"
	s, do, see, shot := loggedIn(t, scene)
	see(
		`!document.querySelector("#typed").hidden && !document.querySelector("#put").disabled && document.querySelector("#take").hidden`)
	shot("typed-390")
	see(`document.querySelector("#typed-what").textContent === "Reading of lever"`)
	do(`(document.querySelector("#typed-text").value = "-3 um", document.querySelector("#put").click() ?? true)`)
	s.did(t, `put 5 "" "-3 um"`)
	see(`document.querySelector("#typed-text").value === ""`)
	see(`(e => !e.disabled && (e.click(), true))(document.querySelector("#redo"))`)
	s.did(t, "redo 5 -1")
	see(`(e => !e.disabled && (e.click(), true))(document.querySelector("#skip"))`)
	s.did(t, "skip 5")
}

func TestMotionTakesTwoActsOnThePage(t *testing.T) {
	t.Parallel()
	scene := quietWren()
	scene.Angle.Source = "program"
	s, do, see, shot := loggedIn(t, scene)
	see(`document.querySelector("#start").textContent === "Arm the motion" && document.querySelector("#motion").hidden`)
	see(`(e => !e.disabled && (e.click(), true))(document.querySelector("#start"))`)
	s.did(t, "arm 0s")
	see(
		`!document.querySelector("#motion").hidden && document.querySelector("#motion-cautions").innerText.includes("Keep clear of the arm")`)
	see(
		`document.querySelector("#motion-plan").textContent.includes("2 commands") && document.querySelector("#motion-plan").textContent.includes("M0")`)
	shot("motion-390")
	// A long press on the button is what is wanted: it is as large as a thumb, and neither scrolls the page nor marks
	// text.
	see(
		`(b => { const s = getComputedStyle(b); return b.offsetHeight >= 72 && b.offsetWidth >= 72 && s.touchAction === "none" && s.userSelect === "none" })(document.querySelector("#motion-hold"))`)
	name := func(word string) {
		do(
			fmt.Sprintf(
				`(f => { f.value = %q; f.dispatchEvent(new Event("input")); return true })(document.querySelector("#motion-name"))`, word))
	}
	name("yes")
	see(`document.querySelector("#motion-hold").disabled`)
	do(`document.querySelector("#motion").requestSubmit() ?? true`)
	see(`document.querySelector("#answer").textContent.includes("nothing moves")`)
	s.did(t, "arm 0s")
	name("wren")
	see(`!document.querySelector("#motion-hold").disabled`)
	do(`document.querySelector("#motion").requestSubmit() ?? true`) // a key pressed by habit is no hold
	see(`document.querySelector("#answer").textContent.includes("keep it pressed")`)
	s.did(t, "arm 0s")
	press := func(kind string) {
		do(
			fmt.Sprintf(
				`document.querySelector("#motion-hold").dispatchEvent(new KeyboardEvent(%q, { key: " ", bubbles: true, cancelable: true }))||true`, kind))
	}
	// Whatever ends the hold lets the motion go, by a request that outlives the page.
	for _, end := range []string{
		`document.querySelector("#motion-hold").dispatchEvent(new KeyboardEvent("keyup", { key: " " })) || true`,
		`document.querySelector("#motion-hold").dispatchEvent(new Event("pointercancel")) || true`,
		`document.querySelector("#motion-hold").dispatchEvent(new Event("blur")) || true`,
		`dispatchEvent(new Event("blur")) || true`,
		`dispatchEvent(new Event("pagehide")) || true`,
		`document.dispatchEvent(new Event("freeze")) || true`,
	} {
		press("keydown")
		see(`document.querySelector("#answer").textContent.includes("Run 8 has begun")`)
		if first := s.shop.first(`start motion "k" check`); first == "" || !strings.HasPrefix(first, "hold") {
			t.Errorf("before the start: %q, want a sign of life", first)
		}
		s.did(t, `hold "k"`)
		do(end)
		s.did(t, `let go "k"`)
		see(
			`document.querySelector("#motion").hidden && document.querySelector("#answer").textContent.includes("You let go")`)
		see(`(e => !e.disabled && (e.click(), true))(document.querySelector("#start"))`)
		s.did(t, "arm 0s")
		see(`!document.querySelector("#motion").hidden`)
		name("wren")
		see(`!document.querySelector("#motion-hold").disabled`)
	}
	// Its readings are in, but the arm still moves: that stands at the top, in the tab's title and in the news.
	do(`dispatchEvent(new Event("pageshow")) || true`) // the page was put away above
	for phase, title := range map[api.SweepPhase]string{api.PhaseReturning: "Keep clear: the machine moves back",
		api.PhaseStopping: "Keep clear: the machine is stopping"} {
		scene := wrenByHand()
		scene.Angle.Source, scene.Sweep.Phase, scene.Sweep.Stations = "program", phase, nil
		s.show(still(scene))
		see(
			fmt.Sprintf(
				`document.title.includes(%q) && document.querySelector("#notices .moves").innerText.includes("Keep clear until it stands") && document.querySelector("#news").innerText === "live · the machine moves"`, title))
	}
	s.show(still(scene))
	see(`document.querySelector("#motion").hidden === false && !document.querySelector("#motion-hold").disabled`)
	press("keydown")
	see(`document.querySelector("#answer").textContent.includes("Run 8 has begun")`)
	// The page that comes next asks for things of its own, maybe before the last request of the old one arrives.
	letGo := s.shop.count(`let go "k"`)
	do(`location.reload() ?? true`)
	for end := time.Now().Add(time.Minute); s.shop.count(`let go "k"`) == letGo; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("a reload did not let go")
		}
	}
}
