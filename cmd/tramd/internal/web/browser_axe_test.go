package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
)

// A reader who sees the page badly, or not at all, gets everything: no rule of axe-core (WCAG 2.2, levels A and AA, and
// its best practices) is broken, in any state, light or dark, on a phone and on a desk.
func TestPageForThoseWhoCannotSeeIt(t *testing.T) {
	t.Parallel()
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	for _, c := range []struct {
		name, path, ready string
		prepare           func()
	}{
		{"turning", "", `document.querySelector("#machine").textContent === "linnet"`, func() { s.show(linnet) }},
		{"by hand", "", `document.querySelector("#machine").textContent === "wren"`, func() {
			s.show(still(wrenByHand()))
		}},
		{"adjust", "/adjust",
			`document.querySelectorAll("#moves li").length > 0 && document.querySelectorAll("#travel li").length === 2`,
			func() { s.show(still(barredWren())) }},
		{"history", "/history", `document.querySelectorAll("#history-tilt .checks").length === 2`,
			func() { s.show(still(quietWren())) }},
		{"runs", "/runs", `document.querySelectorAll("#runs .id").length > 2`, func() { s.show(linnet) }},
		{"machine", "/machine", `document.querySelectorAll("#devices li").length > 2`, func() { s.show(linnet) }},
		{"the cautions", "/",
			`(document.querySelector("#caution").open || document.querySelector("#caution").showModal(), document.querySelector("#machine").textContent === "wren")`, func() { s.show(still(quietWren())) }},
		{"the password", "/",
			`(document.querySelector("#login").open || document.querySelector("#login").showModal(), document.querySelector("#machine").textContent === "wren")`, func() { s.show(still(quietWren())) }},
		{"the aim", "/adjust",
			`document.querySelector("#aims button") !== null && (document.querySelector("#target").open || (document.querySelector("#aims button").click(), true))`, func() { s.show(still(quietWren())) }},
		{"a run", "/runs/11", runOpen, func() { s.show(still(quietWren())) }},
	} {
		c.prepare()
		open(t, ctx, "about:blank", 360, 800, "light")
		open(t, ctx, s.url+c.path, 360, 800, "light")
		for _, look := range []struct {
			width  int64
			scheme string
		}{{360, "light"}, {360, "dark"}, {1280, "light"}, {1280, "dark"}} {
			// the colours and the widths are the same in all: two looks are enough
			if c.name != "turning" && (look.width == 360) != (look.scheme == "dark") {
				continue
			}
			resize(t, ctx, look.width, 800)
			colours(t, ctx, look.scheme)
			until(t, ctx, c.ready)
			for _, fault := range faults(t, ctx, string(axe)) {
				t.Errorf("%s, %d px, %s: %s", c.name, look.width, look.scheme, fault)
			}
		}
	}
	// A check that finds nothing on a bad page would be worth nothing.
	open(t, ctx, `data:text/html,<html><title>x</title><body><img src="x"><input>`, 360, 800, "light")
	if found := faults(t, ctx, string(axe)); len(found) < 2 {
		t.Errorf("on a page with an unnamed picture and field it finds only %q", found)
	}
}

// The sheets that are printed, and the page that an alarm leads to, are read on a screen too: on a phone and on a desk.
func TestTheSheetsForThoseWhoCannotSeeThem(t *testing.T) {
	t.Parallel()
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t)
	s := newStage(t, "")
	sheets := httptest.NewServer(http.FileServer(http.Dir("..")))
	t.Cleanup(sheets.Close)
	for _, url := range []string{sheets.URL + "/report/testdata/linnet.html",
		sheets.URL + "/jobsheet/testdata/linnet.html", s.url + "/runbook"} {
		open(t, ctx, url, 360, 800, "light")
		for _, width := range []int64{360, 1280} {
			resize(t, ctx, width, 800)
			if heading := eval[string](t, ctx, `document.querySelector("h1")?.textContent ?? ""`); heading == "" {
				t.Fatalf("%s is no sheet", url)
			}
			for _, fault := range faults(t, ctx, string(axe)) {
				t.Errorf("%s, %d px: %s", url, width, fault)
			}
			if over := eval[int](t, ctx, tooWide); over > 0 {
				t.Errorf("%s, %d px: %d px too wide", url, width, over)
			}
		}
	}
}

func faults(t *testing.T, ctx context.Context, axe string) []string {
	t.Helper()
	if !eval[bool](t, ctx, `"axe" in window`) {
		eval[bool](t, ctx, axe+`; true`)
	}
	// A colour on its way to another has no contrast that anybody reads by.
	eval[bool](t, ctx, `window.found = null;
		document.getAnimations().filter(a => a instanceof CSSTransition).forEach(a => a.finish());
		axe.run(document, {resultTypes: ["violations"]}).then(r => { window.found = r.violations.map(v =>
			v.id + ": " + v.help + " (" + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " " + n.failureSummary.split("\n").slice(1).join(" ").trim()).join("; ") + ")").join("\n") });
		true`)
	until(t, ctx, `window.found !== null`)
	text := eval[string](t, ctx, `window.found`)
	if text == "" {
		return nil
	}
	return strings.Split(text, "\n")
}
