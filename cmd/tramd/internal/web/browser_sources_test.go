package web

import (
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
)

// did waits until the daemon was asked for something.
func (s *stage) did(t *testing.T, want string) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); s.shop.last() != want; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it did %q, want %q", s.shop.last(), want)
		}
	}
}

// loggedIn opens the page of a scene with a person who may change things.
func loggedIn(t *testing.T, scene *session.Snapshot) (*stage, func(js string), func(js string), func(name string)) {
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
	see(`!document.querySelector("#typed").hidden && !document.querySelector("#put").disabled && document.querySelector("#take").hidden`)
	shot("typed-390")
	see(`document.querySelector("#typed-what").textContent === "Reading of lever"`)
	do(`(document.querySelector("#typed-text").value = "-3 um", document.querySelector("#put").click() ?? true)`)
	s.did(t, `put 5 "" "-3 um"`)
	see(`document.querySelector("#typed-text").value === ""`)
	do(`document.querySelector("#redo").click() ?? true`)
	s.did(t, "redo 5 -1")
	do(`document.querySelector("#skip").click() ?? true`)
	s.did(t, "skip 5")
}

func TestMotionTakesTwoActsOnThePage(t *testing.T) {
	t.Parallel()
	scene := quietWren()
	scene.Angle.Source = "program"
	s, do, see, shot := loggedIn(t, scene)
	see(`document.querySelector("#start").textContent === "Arm the motion" && document.querySelector("#motion").hidden`)
	do(`document.querySelector("#start").click() ?? true`)
	s.did(t, "arm 0s")
	see(`!document.querySelector("#motion").hidden && document.querySelector("#motion-cautions").innerText.includes("Keep clear of the arm")`)
	see(`document.querySelector("#motion-plan").textContent.includes("2 commands") && document.querySelector("#motion-plan").textContent.includes("M0")`)
	shot("motion-390")
	do(`(document.querySelector("#motion-name").value = "yes", document.querySelector("#motion button").click() ?? true)`)
	see(`document.querySelector("#answer").textContent.includes("nothing moves")`)
	s.did(t, "arm 0s")
	do(`(document.querySelector("#motion-name").value = "wren", document.querySelector("#motion button").click() ?? true)`)
	s.did(t, `start motion "k" check`)
	see(`document.querySelector("#motion").hidden`)
}
