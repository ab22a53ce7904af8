package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/catalogue"
	"tramd/cmd/tramd/internal/catalogue/cataloguetest"
	"tramd/sweep"
)

// foreigner is a browser whose reader has the made-up language.
func foreigner(t *testing.T) context.Context {
	t.Helper()
	ctx := browser(t)
	asks := chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		if _, err := cdp.Call(ctx, tab, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, tab, network.SetExtraHTTPHeaders,
			network.SetExtraHTTPHeadersParams{Headers: network.Headers{"Accept-Language": cataloguetest.Language}})
		return err
	})
	if err := chromedp.Do(ctx, asks); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// shownTexts is a script that returns all that a reader sees or hears of the page: texts that are shown, and the names
// of what is drawn.
const shownTexts = `(() => {
	const out = [document.title];
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const e = walk.currentNode.parentElement;
		if (!e.closest("script, style, noscript") && (e.checkVisibility?.() ?? true)) out.push(walk.currentNode.textContent.trim());
	}
	for (const e of document.body.querySelectorAll("[aria-label], [title], [alt], [placeholder], svg title"))
		for (const name of ["aria-label", "title", "alt", "placeholder"]) out.push(e.getAttribute(name) ?? "");
	return out.filter(Boolean).join("\n");
})()`

// On each view, in each state, everything that is read is in the reader's language, the daemon's own sentences too;
// what remains are names, units and what a person wrote.
func TestPageIsWholeInAnotherLanguage(t *testing.T) {
	t.Parallel()
	ctx := foreigner(t)
	s := newStage(t, hashed(t))
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	own := strings.Fields(
		"linnet wren lever arm encoder swing lower shim plate bed new stock flat tramd UTC over arcsec mrad thou " +
			// a path, a key of the configuration, formats, a network
			"LEVER dev serial http listen JSON CSV QR Prometheus localhost wire " +
			"Swing Pack after knock later version " + // a code that a later version may store
			// the adjusters' words, a person's notes
			"the top edge left right pack behind bolts take out from two are pivot steps between passes first squared spindle door")
	turning := settled(linnet(0))
	turning.Sweep.Say = "Keep turning: 0.74 of 2."
	turning.Sweep.Result.Warnings = []sweep.Warning{
		{Code: "gaps", Text: "95 degrees of the circle were not seen, from 265 to 360 degrees"}}
	turning.Hours = nil
	stations := settled(wrenByHand())
	stations.Sweep.Say = "Turn the arm to 180°, let go and keep still."
	stations.Sweep.Result.Warnings = []sweep.Warning{
		{Code: "axis_not_measured",
			Text: "nod was not measured: two opposite stations show one axis only; add stations at 90 and 270 degrees"}}
	idle := settled(quietWren())
	idle.Sweep.Say = ""
	troubled := settled(quietWren())
	troubled.Devices[0].State, troubled.Devices[0].Error = "absent", ""
	troubled.Sweep.Say = "lever is not plugged in (). Plug it in; tramd finds it again by itself."
	troubled.Troubles = map[string]string{"hours": "the hours cannot be kept: the daemon is stopping"}
	troubled.Clock.Set = false
	for _, c := range []struct {
		name, path, ready string
		state             *api.Snapshot
	}{
		{"idle", "/",
			`document.querySelector("#moves li") !== null && document.querySelector("#say").textContent !== ""`, idle},
		{"turning", "/", `document.querySelector("#tilt .digits").textContent.includes("0")`, turning},
		{"stations", "/", `document.querySelector("#tilt .digits").textContent.includes("0")`, stations},
		{"troubled", "/", `document.querySelector("#notices .notice") !== null`, troubled},
		{"adjust", "/adjust",
			`document.querySelectorAll("#moves li").length > 0 && document.querySelectorAll("#travel li").length === 2`,
			idle},
		{"history", "/history",
			`document.querySelectorAll("#history-tilt .checks").length === 2 && document.querySelector("#history-words").textContent !== ""`, idle},
		{"runs", "/runs", `document.querySelectorAll("#runs .id").length > 2`, turning},
		{"a run", "/runs/11", runOpen, idle},
		{"machine", "/machine", `document.querySelectorAll("#devices li").length > 1`, turning},
		{"machine, troubled", "/machine", `document.querySelectorAll("#devices li").length > 0`, troubled},
	} {
		s.show(still(c.state))
		open(t, ctx, "about:blank", 1280, 900, "light")
		open(t, ctx, s.url+c.path, 1280, 900, "light")
		until(t, ctx, c.ready)
		until(
			t, ctx,
			fmt.Sprintf(
				`document.documentElement.lang === "qps" && document.body.classList.contains("fresh") && document.querySelector("#machine").textContent === %q`, c.state.Machine))
		eval[bool](t, ctx, `[...document.querySelectorAll("details")].forEach(d => { d.open = true; }) ?? true`)
		for _, text := range strings.Split(eval[string](t, ctx, shownTexts), "\n") {
			if left := cataloguetest.English(text, own...); len(left) > 0 {
				t.Errorf("%s: %q in %q", c.name, left, text)
			}
		}
	}
}

// The page's own translation says what the program's does, sentence by sentence, whatever stands in the blanks and in
// whatever unit.
func TestPageAndProgramTranslateAlike(t *testing.T) {
	t.Parallel()
	ctx := foreigner(t)
	s := newStage(t, "")
	s.show(still(settled(quietWren())))
	c := catalogue.Preferred(cataloguetest.Language)
	var texts []string
	for form := range c.Said {
		text := strings.NewReplacer("{1}", "linnet", "{#1}", "1.25", "{2}", "wren", "{#2}", "-3", "{#3}", "+0.5", "{3}",
			"tilt", "{#4}", "17", "{4}", "the lean is from before", "mm/m", "arcsec").Replace(form)
		texts = append(texts, text+". Keep clear.", "arm: "+text+"; direction not known")
	}
	texts = append(texts, "", "12", "a note (in brackets), with: all; kinds. Of separators\nand lines", "((", ")")
	sent, err := json.Marshal(texts)
	if err != nil {
		t.Fatal(err)
	}
	open(t, ctx, s.url, 800, 600, "light")
	begun := time.Now()
	eval[bool](t, ctx, `import("/assets/say.js").then(m => { window.said = `+string(sent)+`.map(m.say); }) && true`)
	until(t, ctx, `window.said !== undefined`)
	t.Logf("%d texts in %v", len(texts), time.Since(begun))
	for i, got := range eval[[]string](t, ctx, `window.said`) {
		if want := c.Say(texts[i]); got != want {
			t.Errorf("%q\n page %q\n program %q", texts[i], got, want)
		}
	}
}

// Without a script the page's words are in the reader's language too.
func TestThePageBeforeItsScript(t *testing.T) {
	t.Parallel()
	state := settled(quietWren())
	state.Sweep.Say = "Turn the arm slowly by hand, either way round."
	r := httptest.NewRequest("GET", "http://localhost/", nil)
	r.Header.Set("Accept-Language", cataloguetest.Language)
	w := httptest.NewRecorder()
	Handler(Options{Live: always(state)}).ServeHTTP(w, r)
	p := cataloguetest.Pseudo
	for _, want := range []string{`<html lang="qps" `, "<span>" + p("Now") + "</span>",
		p("Turn the arm slowly by hand, either way round.")} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("no %s", want)
		}
	}
}
