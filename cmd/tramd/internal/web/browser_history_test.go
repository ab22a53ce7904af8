package web

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// Half a year of checks is drawn as it is: a dot for each, the day it was squared, what is to come, and the words of
// the model.
func TestHistoryInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.show(still(quietWren()))
	view := someHistory(t)
	open(t, ctx, s.url+"/history?unit=mm_per_m", 360, 800, "light")
	until(t, ctx, `document.querySelectorAll("#history-tilt .checks").length === 2`)
	dots := func(axis string) int {
		return eval[int](t, ctx, `[...document.querySelectorAll("#history-`+axis+
			` .checks")].map(e => (e.getAttribute("d").match(/M/g) ?? []).length).reduce((a, b) => a + b, 0)`)
	}
	for _, axis := range []string{"tilt", "nod"} {
		if n := dots(axis); n != len(view.Checks) {
			t.Errorf("%s: %d dots for %d checks", axis, n, len(view.Checks))
		}
		if n := eval[int](t, ctx, `document.querySelectorAll("#history-`+axis+` .event").length`); n != 1 {
			t.Errorf("%s: %d events drawn", axis, n)
		}
	}
	words := eval[string](t, ctx, `document.querySelector("#history").innerText`)
	want := []string{"60 checks since 2026-01-05", view.Alarms[0].Text,
		fmt.Sprintf(" at %.1f °C, and leans with the temperature by +0.00", *view.AtC), "per kelvin"}
	if view.Next != nil {
		want = append(want, "Next check: "+view.Next.Time[:10])
	}
	for _, w := range want {
		if !strings.Contains(words, w) {
			t.Errorf("not said: %q in\n%s", w, words)
		}
	}
	look(t, ctx, s.url+"/history", `document.querySelectorAll("#history-tilt .checks").length === 2`,
		func(width int64, scheme string) {
			if over := eval[int](t, ctx,
				`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
				t.Errorf("%d px: %d px too wide", width, over)
			}
			picture(t, ctx, fmt.Sprintf("history-%d-%s", width, scheme))
		})
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}

// Keys do what the buttons do, and only where a button could be pressed; a letter typed into a field stays a letter.
func TestKeys(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.show(still(wrenByHand()))
	open(t, ctx, s.url, 360, 800, "light")
	until(
		t, ctx,
		`document.querySelector("#machine").textContent === "wren" && !document.querySelector("#login-open").hidden`)
	press := func(key string) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.KeyEvent(key)); err != nil {
			t.Fatal(err)
		}
	}
	press("t")
	if got := s.shop.last(); strings.HasPrefix(got, "take") {
		t.Fatalf("a key changed something without a login: %s", got)
	}
	for !eval[bool](t, ctx, `document.querySelector("#login").open`) && t.Context().Err() == nil {
		press("t") // on a busy machine the news may be late, and then a key does nothing
	}
	press("t") // into the password box, which is open
	if got := s.shop.last(); strings.HasPrefix(got, "take") {
		t.Fatalf("a key changed something without a login: %s", got)
	}
	tap(t, ctx, `"#login-cancel"`)
	logIn(t, ctx)
	until(t, ctx, `!document.querySelector("#take").disabled`)
	eval[bool](t, ctx, `document.activeElement.blur(); true`)
	for _, key := range []string{"t", "\r"} {
		before := s.shop.last()
		press(key)
		until(t, ctx, `document.querySelector("#answer").textContent === "Taken."`)
		if got := s.shop.last(); !strings.HasPrefix(got, "take") {
			t.Errorf("%q: the daemon was asked %q, before %q", key, got, before)
		}
		eval[bool](t, ctx, `document.querySelector("#answer").textContent = ""; true`)
	}
	tap(t, ctx, `'.views [data-to="history"]'`)
	until(t, ctx, `!document.querySelector("#v-history").hidden`)
	eval[bool](t, ctx, `document.querySelector("#event-text").focus(); true`)
	press("t")
	if got := eval[string](t, ctx, `document.querySelector("#event-text").value`); got != "t" {
		t.Errorf("the field holds %q", got)
	}
}
