package web

import (
	"context"
	"fmt"
	"html"
	"io"
	"net/http"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// Each view has an address: it opens there, back and forward go through them, and the figures stay in sight in each.
func TestViewsHaveAddresses(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	s.show(linnet)
	at := func(view, path string) string {
		return fmt.Sprintf(
			`[...document.querySelectorAll(".view")].filter(v => v.offsetParent !== null).map(v => v.id).join() === "v-%s" && location.pathname === %q
			&& document.querySelectorAll('.views [aria-current="page"]').length === 1 && document.querySelector('.views [aria-current]').dataset.to === %q`, view, path, view)
	}
	const strip = ` && document.querySelector("#strip").offsetParent !== null && /Outside so far · Tilt \+0\.17\d+ ± .* Nod −0\.04/.test(document.querySelector("#strip").textContent.replaceAll("\u00a0", " "))`
	for _, v := range []struct{ view, path string }{{"adjust", "/adjust"}, {"history", "/history"}, {"runs", "/runs"},
		{"runs", "/runs/11"}, {"machine", "/machine"}} {
		open(t, ctx, s.url+v.path+"?unit=mm_per_m", 360, 740, "light")
		until(t, ctx, at(v.view, v.path)+strip)
	}
	open(t, ctx, s.url, 360, 740, "light")
	until(
		t, ctx, at("now", "/")+
			` && document.querySelector("#strip").offsetParent === null && document.title === "✕ Outside so far · linnet"`)
	for _, view := range []string{"adjust", "history", "runs", "machine"} {
		eval[bool](t, ctx, fmt.Sprintf(`document.querySelector('.views [data-to=%q]').click() ?? true`, view))
		until(t, ctx, at(view, "/"+view))
	}
	for _, view := range []string{"runs", "history"} {
		eval[bool](t, ctx, `history.back() ?? true`)
		until(t, ctx, at(view, "/"+view))
	}
	eval[bool](t, ctx, `history.forward() ?? true`)
	until(t, ctx, at("runs", "/runs"))

	open(t, ctx, s.url+"/history?axis=nod", 360, 740, "light")
	until(
		t, ctx,
		`document.querySelector("#chart-nod").offsetParent !== null && document.querySelectorAll("#history-nod .checks").length === 2 && document.querySelector("#chart-tilt").offsetParent === null`)
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}

// The history can be read check by check and zoomed, by pointer and by keys.
func TestHistoryIsReadAndZoomed(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	s.show(still(quietWren()))
	open(t, ctx, s.url+"/history?unit=mm_per_m", 1280, 900, "light")
	until(t, ctx, `document.querySelectorAll("#history-tilt .checks").length === 2`)
	dots :=
		`[...document.querySelectorAll("#history-tilt .checks")].map(e => (e.getAttribute("d").match(/M/g) ?? []).length).reduce((a, b) => a + b, 0)`
	all := eval[int](t, ctx, dots)
	eval[bool](t, ctx, `document.querySelector("#history-tilt").focus() ?? true`)
	// from the end to the last check
	eval[bool](
		t, ctx,
		`document.activeElement.dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowLeft", bubbles: true, cancelable: true})) || true`)
	view := someHistory(t)
	last := view.Checks[len(view.Checks)-1]
	want := fmt.Sprintf("Tilt %+.3f", last.Measured["tilt"].MMPerM)
	until(t, ctx, fmt.Sprintf(`document.querySelector("#history-read").textContent.replace("−", "-").includes(%q)`,
		want))
	tap(t, ctx, `'#history-zoom [data-days="31"]'`)
	until(t, ctx, fmt.Sprintf(`(%s) < %d && (%s) > 0`, dots, all, dots))
	tap(t, ctx, `'#history-zoom [data-days="0"]'`)
	until(t, ctx, fmt.Sprintf(`(%s) === %d`, dots, all))
	eval[bool](
		t, ctx,
		`document.querySelector("#history-tilt").dispatchEvent(new WheelEvent("wheel", {deltaY: -100, clientX: 300, cancelable: true}))`)
	until(t, ctx, fmt.Sprintf(`(%s) < %d`, dots, all))
	eval[bool](
		t, ctx,
		`(r => document.querySelector("#history-tilt").dispatchEvent(new PointerEvent("pointermove", {clientX: r.left + r.width / 2, clientY: r.top + 20, bubbles: true})))(document.querySelector("#history-tilt").getBoundingClientRect())`)
	until(
		t, ctx,
		fmt.Sprintf(
			`document.querySelector("#history-read").textContent !== "" && !document.querySelector("#history-read").textContent.replace("−", "-").includes(%q)`, want))
}

// settled is a scene without notices.
func settled(s *api.Snapshot) *api.Snapshot {
	s.Clock.Set = true
	for i := range s.Devices {
		s.Devices[i].State, s.Devices[i].Error = "live", ""
	}
	s.Inputs = nil
	return s
}

// On a phone the now view fits the screen, and the next act is under the thumb, above the bar.
func TestNowFitsAPhone(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	typed := wrenByHand()
	typed.Angle.Source, typed.Sweep.Wanted = "typed", "lever"
	troubled := quietWren()
	troubled.Troubles = map[string]string{
		"check": "the check of 2026-03-02 06:00 was not begun: it is not armed: tramd arm"}
	returning := settled(linnet(0))
	returning.Angle.Source, returning.Sweep.Phase = "program", api.PhaseReturning
	returning.Sweep.Say = "All readings are in. The arm moves back: keep clear."
	for _, scene := range []struct {
		name, button string
		state        *api.Snapshot
	}{
		{"idle", "#next", settled(quietWren())}, {"turning", "#abandon", settled(linnet(0))},
		{"stations", "#take", settled(wrenByHand())}, {"typed", "#put", settled(typed)},
		{"two notices", "#start", quietWren()}, {"three notices", "#start", troubled},
		{"returning", "#abandon", returning},
	} {
		if scene.name == "idle" || scene.name == "turning" {
			scene.state.Sweep.Result = nil
		}
		s.show(still(scene.state))
		open(t, ctx, s.url, 360, 740, "light")
		until(
			t, ctx,
			fmt.Sprintf(
				`(document.querySelector(%q).offsetParent !== null || document.querySelector("#start").offsetParent !== null) && document.querySelector("#machine").textContent === %q && document.body.classList.contains("fresh")`, scene.button, scene.state.Machine))
		until(t, ctx, `document.querySelector("#moves li") !== null`) // the advice may change the button
		picture(t, ctx, "fits-"+scene.name+"-360x740")
		if h := eval[int](t, ctx, `document.documentElement.scrollHeight`); h > 740 {
			t.Errorf("%s: the view is %d px high", scene.name, h)
		}
		low := eval[[]float64](t, ctx,
			`(b => [b.getBoundingClientRect().bottom, document.querySelector(".views").getBoundingClientRect().top])([...document.querySelectorAll("#acts button, #acts .button")].find(b => b.offsetParent !== null))`)
		if low[0] > low[1] || low[0] < 370 {
			t.Errorf("%s: the next act ends at %v px, the bar begins at %v", scene.name, low[0], low[1])
		}
	}
	s.show(still(settled(linnet(0))))
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	for v, ready := range map[string]string{"/": "true", "/machine": "true",
		"/adjust": `document.querySelectorAll("#travel li").length === 2`,
		// a desk shows these whole
		"/history": `document.querySelectorAll("#history-tilt .checks").length === 2`,
		"/runs":    `document.querySelectorAll("#runs .id").length > 2`, "/runs/11": runOpen} {
		open(t, ctx, s.url+v, 1280, 900, "light")
		until(
			t, ctx,
			`document.body.classList.contains("fresh") && document.querySelector("#machine").textContent === "linnet" && (`+ready+`)`)
		if h := eval[int](t, ctx, `document.documentElement.scrollHeight`); h > 900 {
			t.Errorf("%s on a desk is %d px high", v, h)
		}
	}
}

// Without JavaScript the figures, the verdict and the runs are in the page as it comes.
func TestWithoutJavaScript(t *testing.T) {
	t.Parallel()
	s := newStage(t, "")
	s.show(still(quietWren()))
	s.shop.detail = runInFull
	get := func(path string) string {
		t.Helper()
		resp, err := http.Get(s.url + path)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode != http.StatusOK {
			t.Fatalf("%s: %v %v", path, resp.Status, err)
		}
		return html.UnescapeString(string(text))
	}
	for path, wants := range map[string][]string{
		"/": {"<title>Within the limit · wren</title>", "+0.0063", "± 0.0024 mm over 300 mm", "+0.0090",
			"Within the limit", "Last sweep: run 4"},
		"/runs":    {`href="/runs/11"`, "+0.080, −0.012", "within", "given up"},
		"/runs/11": {"finished", "undecided", "+0.060, −0.021"},
	} {
		text := get(path)
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("%s lacks %q", path, want)
			}
		}
	}
}

// A name may be long, be written from right to left or look like markup: nothing is executed, nothing overlaps, at any
// width.
func TestNamesThatAreNotKind(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.shop.detail, s.shop.csv = func(id int64) any {
		run := runInFull(id).(map[string]any)
		run["note"] = `<img src=x onerror="window.struck = 1"> ` + "\u202egnirts"
		return run
	}, readingsInFull()
	for _, name := range []string{strings.Repeat("linnet", 34)[:200], "מכונת כרסום קטנה",
		`<script>window.struck = 1</script>`, `"><img src=x onerror="window.struck = 1">`} {
		scene := settled(linnet(0))
		scene.Machine = name
		scene.Devices[0].Name = name
		s.show(still(scene))
		for _, path := range []string{"/", "/machine", "/runs/11", "/adjust"} {
			open(t, ctx, s.url+path, 360, 740, "light")
			until(t, ctx, fmt.Sprintf(
				`document.querySelector("#machine").textContent === %q && document.querySelector("#strip").hidden === (location.pathname === "/") && document.body.classList.contains("fresh")`, name))
			// 640x450: a desk at 200 %
			for _, size := range [][2]int64{{360, 740}, {320, 700}, {740, 360}, {640, 450}, {1280, 900}} {
				resize(t, ctx, size[0], size[1])
				if over := eval[int](
					t, ctx, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
					t.Errorf("%.12q at %v, %s: %d px too wide", name, size, path, over)
				}
			}
		}
		if eval[bool](t, ctx, `window.struck === 1`) {
			t.Errorf("%q was executed", name)
		}
	}
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}

// In a shop that reads inches everything is in inches: figures, moves, the aim and the budget, and a move goes back in
// mm.
func TestAnInchShop(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, hashed(t))
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	scene := settled(quietWren())
	scene.LimitAs, scene.Limit = "0.001 in/12 in", 1.0/12
	scene.Devices[0].ReadingMM = ptr(1.27)
	s.show(still(scene))
	open(t, ctx, s.url, 360, 740, "light")
	// 0.021 mm/m over 12 in is 0.000252 in.
	until(
		t, ctx,
		`document.querySelector("#tilt .digits").textContent === "+0.00025" && document.querySelector("#tilt .expanded").textContent === "± 0.00010 in over 12 in"`)
	open(t, ctx, s.url+"/machine", 360, 740, "light")
	until(t, ctx, `document.querySelector("#devices .value")?.textContent === "0.0500 in"`)
	open(t, ctx, s.url+"/adjust", 360, 740, "light")
	until(t, ctx, `document.querySelectorAll("#moves li").length > 0`)
	if text := eval[string](
		t, ctx,
		`document.querySelector("#moves").innerText + document.querySelector("#cutters").textContent`); strings.Contains(text, " mm") || !strings.Contains(text, " in") {
		t.Errorf("the moves are said in %q", text)
	}
	// What was done before, and what an alarm says, come in the daemon's own words and in mm.
	if text := eval[string](t, ctx, `document.querySelector("#travel").innerText`); !strings.Contains(
		text, "swing −0.0079 in") {
		t.Errorf("the moves before are said in %q", text)
	}
	if text := eval[string](t, ctx, `document.querySelector("#job-why").innerText`); strings.Contains(text, "mm") ||
		!strings.Contains(text, "in over 12 in") {
		t.Errorf("what is expected is said in %q", text)
	}
	open(t, ctx, s.url+"/history", 360, 740, "light")
	until(t, ctx, `document.querySelectorAll("#alarms li").length > 0`)
	if text := eval[string](t, ctx, `document.querySelector("#alarms").innerText`); strings.Contains(text, " mm") ||
		!strings.Contains(text, "in over 12 in") {
		t.Errorf("an alarm is said in %q", text)
	}
	open(t, ctx, s.url+"/adjust", 360, 740, "light")
	until(t, ctx, `document.querySelectorAll("#moves li").length > 0`)
	logIn(t, ctx)
	eval[bool](
		t, ctx,
		`document.querySelectorAll("#moved-rows input").forEach(e => e.value = ""); document.querySelector("#moved-0").value = "0.01"; document.querySelector("#moved-log").click() ?? true`)
	s.did(t, `event adjusted "" 0 map[swing:0.254]`)
	open(t, ctx, s.url+"/runs/11", 1280, 900, "light")
	until(t, ctx, runOpen)
	if first := eval[string](t, ctx, `document.querySelector("#budget-tilt tbody tr").textContent`); !strings.Contains(
		first, "1.22×10⁻⁵ in") {
		t.Errorf("the first component reads %q", first)
	}
}

// paintedIn is how long the browser took to show the first figures, for the log.
func paintedIn(t testing.TB, ctx context.Context) float64 {
	return eval[float64](t, ctx, `performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0`)
}

// fetchedKB is what the page has fetched so far, its stream apart.
const fetchedKB = `performance.getEntries().filter(e => e.transferSize && !e.name.includes("/live")).reduce((sum, e) => sum + e.transferSize, 0) / 1000`

// What a first visit to the now view fetches stays under 200 kB, with no file from elsewhere.
func TestThePageIsLight(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	s.show(still(quietWren()))
	open(t, ctx, s.url, 360, 740, "light")
	until(t, ctx, drawn)
	kB := eval[float64](t, ctx, fetchedKB)
	if kB < 20 || kB > 200 {
		t.Errorf("the page weighs %.0f kB", kB)
	}
	if other := eval[string](t, ctx,
		`performance.getEntriesByType("resource").map(e => e.name).filter(n => !n.startsWith(location.origin)).join()`); other != "" {
		t.Errorf("fetched from elsewhere: %s", other)
	}
	t.Logf("%.0f kB, first paint after %.0f ms", kB, paintedIn(t, ctx))
}
