package web

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

const runOpen = `!document.querySelector("#detail").hidden && document.querySelector("#list").hidden && document.querySelector(".rest-svg") !== null`

func TestRunInFullInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	s.show(still(quietWren()))

	look(t, ctx, s.url+"/runs/11?unit=mm_per_m", runOpen, func(width int64, scheme string) {
		name := fmt.Sprintf("run-%d-%s", width, scheme)
		eval[bool](t, ctx, `document.querySelector("#detail .more").open = true`)
		until(
			t, ctx,
			`document.querySelector(".rest-svg").getAttribute("width") === String(Math.floor(document.querySelector(".rest-plot").clientWidth))`)
		whole(t, ctx, name)
		if over := eval[int](t, ctx,
			`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
			t.Errorf("%s: %d px too wide", name, over)
		}
		if cut := eval[string](t, ctx, cutOff); cut != "" {
			t.Errorf("%s: cut off: %s", name, cut)
		}
		if small := eval[string](t, ctx,
			`[...document.querySelectorAll("#detail a")].filter(e => { const r = e.getBoundingClientRect(); return r.width < 43.5 || r.height < 43.5 }).map(e => e.id).join()`); small != "" {
			t.Errorf("%s: too small for a gloved finger: %s", name, small)
		}
		// Stacked or not, a listener hears a table with its rows, and every cell is beside or under its heading.
		if rows := eval[int](t, ctx,
			`document.querySelectorAll("#budget-tilt [role=table] [role=rowgroup] [role=row]").length`); rows != 8 {
			t.Errorf("%s: budget of %d rows, want 7 components and a head", name, rows)
		}
		label := eval[string](t, ctx,
			`getComputedStyle(document.querySelector("#budget-tilt .sensitivity"), "::before").content`)
		if stacked := label == `"Sensitivity"`; stacked != (width < 860) {
			t.Errorf("%s: label in the cell: %s", name, label)
		}
	})
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}

// What the page says is compared with figures worked out here from the run, not with what the page worked out.
func TestRunInFullSaysAll(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	open(t, ctx, s.url+"/runs/11?unit=mm_per_m", 1280, 900, "light")
	until(t, ctx, runOpen)

	eval[bool](t, ctx, `document.querySelector("#detail .more").open = true`)
	b := demoBudget(0.0604, -0.0212)
	text := eval[string](t, ctx, `document.querySelector("#detail").textContent`)
	text = strings.ReplaceAll(text, "\u00a0", " ")
	half, k := b.Expanded(0.95)
	for _, want := range []string{
		"Run 11", "linnet · sweep · to check · at 21.5 °C", "Outcome: finished", "Note: after the new shim",
		"+0.060", "−0.021", "undecided", "within the limit", "Probability of conformity 91.4 %",
		"Probability of conformity > 99.9 %", "both axes are within it: 91.4 %",
		"leans 0.064 mm/m towards 341° (right)", "0.02/300", "0.0010 mm", "1.2000 mm", "0.0020 mm",
		fmt.Sprintf("peak to valley%.4f mm", demoFormPV()),
		"2 a turn3.10 µm31.5°", "680 fitted, 40 left out, 720 stored, 8 without an angle", "full, version 3",
		"radius 120.0 mm (u 0.50 mm)", "at 30° from the arm’s zero", "bed",
		"8not known0.0–0.7 sthe spindle angle was not known", "30100.0–114.5°20.0–22.9 san arc below the surface",
		"1200.5°40.1 ssingle readings above", "knock_of_a_later_version",
		"readings left out as off the surface: 30", "Crosses: 32 readings left out",
		fmt.Sprintf("Combined standard uncertainty%.5f mm/m", b.Combined()),
		fmt.Sprintf("Expanded uncertainty, 95 %%%.5f mm/m", half), fmt.Sprintf("Coverage factor%.2f", k),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the run does not say %q", want)
		}
	}
	if strings.Contains(text, "not what was combined") {
		t.Error("a budget that adds up was called wrong")
	}
	for i, c := range b {
		cells := eval[[]string](t, ctx,
			fmt.Sprintf(`[...document.querySelectorAll("#budget-tilt tbody tr")[%d].children].map(e => e.textContent)`,
				i))
		if len(cells) != 8 || cells[0] != c.Name || cells[1] != string(c.Type) || cells[7] != c.Note ||
			cells[6] != fmt.Sprintf("%.1f %%", 100*b.Share(i)) && !strings.HasPrefix(cells[6], "< ") {
			t.Errorf("component %d: %q, share %v", i, cells, b.Share(i))
		}
		if bar := eval[float64](t, ctx,
			fmt.Sprintf(`Number(document.querySelectorAll("#budget-tilt .part")[%d].getAttribute("width"))`,
				i)); bar < 100*b.Share(i)-0.01 || bar > 100*b.Share(i)+0.01 {
			t.Errorf("%s: bar of %v for a share of %v", c.Name, bar, b.Share(i))
		}
	}
	first := eval[string](
		t, ctx, `document.querySelector("#budget-tilt tbody tr").innerText.split(/\s*\t\s*/).join("|")`)
	if want := "repeatability|A|0.000310 mm|8.33 mm/m per mm|38.0|0.00258|"; !strings.HasPrefix(first, want) {
		t.Errorf("first component %q, want %q", first, want)
	}
	if stem := eval[string](
		t, ctx, `document.querySelector("#budget-tilt tbody tr:last-child").textContent`); !strings.Contains(
		stem, "B0.0004100.0604 mm/mtaken as known2.48×10⁻⁵") {
		t.Errorf("a component without a unit: %q", stem)
	}
	// With offset, lean and phase taken off rightly, the drawn readings lie about the drawn form as closely as their
	// noise.
	ratio := eval[float64](t, ctx, aboutTheForm)
	if want := demoNoiseMM / demoFormPV(); ratio < 0.85*want || ratio > 1.15*want {
		t.Errorf("readings lie %.4f of the form's height about it, want %.4f", ratio, want)
	}
	eval[bool](
		t, ctx,
		`(e => { e.value = "arcsec"; e.dispatchEvent(new Event("change")); return true })(document.querySelector("#unit"))`)
	until(
		t, ctx,
		`document.querySelector(".found.tilt .figure").textContent.startsWith("+12.5") && document.querySelector(".rest-svg") !== null`)
	s.shop.mu.Lock()
	fetched := strings.Count(strings.Join(s.shop.calls, "\n"), "csv 11")
	s.shop.mu.Unlock()
	if fetched != 1 {
		t.Errorf("the readings were fetched %d times", fetched)
	}

	// nothing was concluded
	eval[bool](t, ctx, `(history.pushState(null, "", "/runs/9"), dispatchEvent(new PopStateEvent("popstate")), true)`)
	until(
		t, ctx,
		`document.querySelector("#detail").textContent.includes("This run gave no result") && document.querySelector(".outcome").textContent.includes("at 140 degrees")`)
	eval[bool](t, ctx, `(history.pushState(null, "", "/runs/8"), dispatchEvent(new PopStateEvent("popstate")), true)`)
	until(
		t, ctx,
		`document.querySelector("#budget-tilt")?.textContent.includes("not what was combined") && !document.querySelector("#budget-nod").textContent.includes("not what was combined")
		&& document.querySelector(".found.nod .chance").textContent === "Probability of conformity <\u00a00.1\u00a0%"`)
	eval[bool](t, ctx, `(history.pushState(null, "", "/runs/10"), dispatchEvent(new PopStateEvent("popstate")), true)`)
	until(
		t, ctx,
		`document.querySelector(".rest-words")?.textContent.startsWith("20001 readings are too many to draw") && document.querySelector(".rest-svg") === null`)
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
	eval[bool](t, ctx, `(history.pushState(null, "", "/runs/404"), dispatchEvent(new PopStateEvent("popstate")), true)`)
	until(
		t, ctx,
		`document.querySelector("#detail-state").textContent.startsWith("Run 404 cannot be shown: run 404: not found")`)
}

// aboutTheForm is the root mean square distance, up and down, of the drawn readings from the drawn form, over its
// height.
const aboutTheForm = `(() => {
	const points = d => d.slice(1).split(/[ML]/).map(p => p.replace("h0", "").split(" ").map(Number))
	const line = points(document.querySelector(".form-line").getAttribute("d"))
	const dots = points(document.querySelector(".left-over").getAttribute("d"))
	const ys = line.map(p => p[1])
	const at = x => { const k = Math.max(1, line.findIndex(p => p[0] >= x)), [a, b] = [line[k - 1], line[k]]; return a[1] + (x - a[0]) / (b[0] - a[0]) * (b[1] - a[1]) }
	const sum = dots.reduce((s, p) => s + (p[1] - at(p[0])) ** 2, 0)
	return Math.sqrt(sum / dots.length) / (Math.max(...ys) - Math.min(...ys))
})()`

func TestRunOpensAndCloses(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	open(t, ctx, s.url+"/runs", 360, 300, "light")
	until(t, ctx, drawn)
	const (
		atTitle = ` && document.activeElement.id === "detail-title"`
		closed  = `document.querySelector("#detail").hidden && !document.querySelector("#list").hidden && location.pathname === "/runs"
			&& document.activeElement.getAttribute("href") === "/runs/8"`
	)
	enter := func() {
		t.Helper()
		eval[bool](t, ctx, `(scrollTo(0, 200), document.querySelector('#runs a[href="/runs/8"]').focus(), true)`)
		if err := chromedp.Do(ctx, chromedp.KeyEvent("\r")); err != nil {
			t.Fatal(err)
		}
		until(t, ctx, runOpen+atTitle+` && document.title.startsWith("Run 8 ")`)
	}
	ways := []struct{ name, js string }{
		{"browser's back button", `(history.back(), true)`},
		{"back link", `(document.querySelector("#detail-back").click(), true)`},
		{"escape key", `document.dispatchEvent(new KeyboardEvent("keydown", { key: "Escape", bubbles: true }))`},
	}
	for _, way := range ways {
		enter()
		t.Log("closing by the " + way.name)
		eval[bool](t, ctx, way.js)
		until(t, ctx, closed)
	}
	// Opened by its address there is no list to go back to: the link leads to it all the same. So does an address of
	// the older form.
	open(t, ctx, s.url+"/#run-8", 360, 300, "light")
	until(t, ctx, runOpen+atTitle)
	until(t, ctx, drawn)
	eval[bool](t, ctx, ways[1].js)
	until(t, ctx, closed)
}

// A run that is still going on is read again when the daemon tells that something ended.
func TestRunGoingOnIsReadAgain(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	var ended atomic.Bool
	s.shop.csv = readingsInFull()
	s.shop.detail = func(id int64) any {
		run := runInFull(id).(map[string]any)
		if !ended.Load() {
			run["outcome"], run["result"] = "", nil
		}
		return run
	}
	open(t, ctx, s.url+"/runs/12", 360, 800, "dark")
	until(
		t, ctx,
		`document.querySelector(".outcome")?.textContent === "Outcome: still going on" && document.querySelector("#detail").textContent.includes("No result yet")`)
	until(t, ctx, `document.body.className === "fresh"`)
	ended.Store(true)
	s.show(still(quietWren()))
	until(t, ctx, runOpen+` && document.querySelector(".outcome").textContent === "Outcome: finished"`)
}

func whole(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	if pictures == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(pictures, name+".png"), png, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// A stored run is fitted again from its view, the result is kept only when asked for, and spindle and plate come apart.
func TestARunOnceMore(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))
	s.shop.detail, s.shop.csv = runInFull, readingsInFull()
	s.shop.apart = map[string]any{"spindle": result(0.05, 0.02, 0.007), "plate": result(0.01, -0.04, 0.007)}
	open(t, ctx, s.url+"/runs/11?unit=mm_per_m", 360, 800, "light")
	until(t, ctx, runOpen)
	eval[bool](t, ctx, `document.querySelector("#detail .more").open = true`)
	click := func(id string) {
		tap(t, ctx, fmt.Sprintf(`"#%s"`, id))
	}
	click("again-fit")
	until(t, ctx, `document.querySelector("#login").open`)
	tap(t, ctx, `"#login-cancel"`)
	if got := s.shop.last(); strings.HasPrefix(got, "refit") {
		t.Errorf("a run was fitted again without a login: %s", got)
	}
	logIn(t, ctx)
	click("again-fit")
	until(
		t, ctx,
		`(t => t.includes("Before, plain 1") && t.includes("+0.071 ± 0.009") && t.includes("−0.031 ± 0.009"))(document.querySelector(".again-out").innerText)`)
	if got := s.shop.last(); got != "refit 11 false" {
		t.Errorf("the daemon was told %q", got)
	}
	eval[bool](t, ctx, `document.querySelector("#again-turned").value = "10"; true`)
	click("again-separate")
	until(
		t, ctx,
		`(t => t.includes("Spindle against the machine") && t.includes("−0.040 ± 0.007"))(document.querySelector(".again-out").innerText)`)
	whole(t, ctx, "run-once-more-360")
	if cut := eval[string](t, ctx, cutOff); cut != "" {
		t.Errorf("cut off: %s", cut)
	}
	if !eval[bool](t, ctx, `document.querySelector("#again-keep").hidden`) {
		t.Error("what is shown now could be kept as a fit")
	}
	click("again-fit")
	until(
		t, ctx,
		`!document.querySelector("#again-keep").hidden && document.querySelector(".again-out").innerText.includes("Before")`)
	click("again-keep")
	until(t, ctx, `document.querySelector(".again-out").childElementCount === 0`) // the run is read again
	if got := strings.Join(s.shop.calls, ", "); !strings.Contains(got, "separate 11 10") ||
		!strings.Contains(got, "refit 11 true") {
		t.Errorf("the daemon was told %q", got)
	}
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
