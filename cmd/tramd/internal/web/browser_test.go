package web

import (
	"context"
	"errors"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// pictures is where screenshots go, for a person to look at; none are made when it is empty.
var pictures = os.Getenv("TRAMD_PICTURES")

// stage is a daemon for the browser to look at.
type stage struct {
	scene atomic.Pointer[func(time.Duration) *api.Snapshot]
	mute  atomic.Bool // no more news
	shop  *shop
	url   string

	job    atomic.Pointer[string] // what the assembly's job says; nil: there are no steps
	wanted chan api.Wanted        // that were begun
}

func (s *stage) show(f func(time.Duration) *api.Snapshot) { s.scene.Store(&f) }

func newStage(t testing.TB, hash string) *stage {
	t.Helper()
	s := &stage{shop: &shop{runs: someRuns()}, wanted: make(chan api.Wanted, 8)}
	s.show(linnet)
	begun := time.Now()
	live := &liveFunc{ask: func() (*api.Snapshot, error) {
		if s.mute.Load() {
			return nil, errors.New("the daemon hangs")
		}
		return (*s.scene.Load())(time.Since(begun)), nil
	}}
	done := make(chan struct{})
	srv := httptest.NewServer(Handler(Options{
		Live: live, Records: s.shop, Sweeps: s.shop, Temperature: s.shop, Motion: s.shop, Steps: s.shop, Refits: s.shop,
		Assembly: rails{&s.job}, Measure: s.measure, Separate: s.shop.Separate,
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120}}, PasswordHash: hash, Done: done,
		Drift: historyOf(someHistory(t)), Advice: adviceOf(someAdvice(t)),
	}))
	t.Cleanup(func() { close(done); srv.Close() })
	s.url = srv.URL
	return s
}

// measure begins a measurement.
func (s *stage) measure(_ context.Context, w api.Wanted) (int64, error) {
	s.wanted <- w
	return 5, nil
}

func still(s *api.Snapshot) func(time.Duration) *api.Snapshot {
	return func(time.Duration) *api.Snapshot { return s }
}

// until waits for a JavaScript expression to be true. One that fails is not true yet: the page may still be on its way,
// or give way to another.
func until(t testing.TB, ctx context.Context, expr string) {
	t.Helper()
	safe := "(() => { try { return (" + expr + "\n); } catch { return false; } })()"
	var err error
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if _, err = chromedp.Run(ctx,
			chromedp.Poll[bool](safe, chromedp.WithPollingTimeout(time.Minute))); err == nil || ctx.Err() != nil ||
			!strings.Contains(err.Error(), "find context") {
			break
		}
	}
	if err != nil {
		text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`))
		t.Fatalf("waited in vain for %s: %v\npage:\n%s", expr, err, text)
	}
}

func eval[T any](t testing.TB, ctx context.Context, expr string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expr))
	if err != nil {
		t.Fatalf("%s: %v", expr, err)
	}
	return v
}

// tap clicks the element of a selector, which stands in quotes, as soon as it is there and may be clicked. It looks and
// clicks in one go: on a busy machine news may come late, and a button that was enabled a moment ago is not any more.
func tap(t *testing.T, ctx context.Context, selector string) {
	t.Helper()
	until(t, ctx, fmt.Sprintf(`(e => e !== null && !e.disabled && (e.click(), true))(document.querySelector(%s))`,
		selector))
}

func open(t testing.TB, ctx context.Context, url string, width, height int64, scheme string) {
	t.Helper()
	colours(t, ctx, scheme)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height), chromedp.Navigate(url)); err != nil {
		t.Fatal(err)
	}
	until(t, ctx, begun)
}

// begun is true once the page's program has begun, which it does after the first paint; and of pages without one.
const begun = `document.querySelector("script[data-modules]") === null || document.querySelector("#unit").options.length > 0`

// resize gives the window another size, as a phone that is turned does, and waits until the page has drawn itself in
// it.
func resize(t *testing.T, ctx context.Context, width, height int64) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height)); err != nil {
		t.Fatal(err)
	}
	until(
		t, ctx,
		fmt.Sprintf(
			`innerWidth === %d && new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))`, width))
}

// look opens a page once and shows it at each width, light and dark.
func look(t *testing.T, ctx context.Context, url, ready string, each func(width int64, scheme string)) {
	t.Helper()
	open(t, ctx, url, 360, 800, "light")
	until(t, ctx, ready)
	for _, width := range []int64{360, 768, 1280} {
		resize(t, ctx, width, 800)
		for _, scheme := range []string{"light", "dark"} {
			colours(t, ctx, scheme)
			each(width, scheme)
		}
	}
}

// colours sets what the person prefers, light or dark; a page that is open follows at once.
func colours(t testing.TB, ctx context.Context, scheme string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		return err
	})); err != nil {
		t.Fatal(err)
	}
}

func picture(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	if pictures == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(pictures, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
	plan, err := chromedp.Run(ctx, chromedp.ScreenshotScale("#plan", 2))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(pictures, name+"-plan.png"), plan, 0o644); err != nil {
		t.Fatal(err)
	}
}

// complaints collects what the browser writes to its console as errors and warnings: a breach of the content policy, an
// exception, a file not found.
func complaints(t *testing.T, ctx context.Context) func() []string {
	t.Helper()
	ctx, cancel := context.WithCancel(ctx)
	messages := chromedp.Console(ctx)
	got := make(chan []string, 1)
	go func() {
		var list []string
		for m, err := range messages {
			if err != nil {
				break
			}
			if m.IsException() || m.Type == "error" || m.Type == "warning" {
				list = append(list, m.String()+" "+m.URL)
			}
		}
		got <- list
	}()
	return func() []string {
		time.Sleep(100 * time.Millisecond) // the last messages are on their way
		cancel()
		return <-got
	}
}

// logIn opens the password box and writes the password into it.
func logIn(t *testing.T, ctx context.Context) {
	t.Helper()
	until(t, ctx, `!document.querySelector("#login-open").hidden`)
	tap(t, ctx, `"#login-open"`)
	until(t, ctx, `document.querySelector("#login").open`)
	enter(t, ctx, password)
	until(t, ctx, `!document.querySelector("#login").open && !document.querySelector("#logout-row").hidden`)
}

// enter writes a password into the open box and sends it.
func enter(t *testing.T, ctx context.Context, word string) {
	t.Helper()
	eval[string](t, ctx, fmt.Sprintf(`document.querySelector("#password").value = %q`, word))
	tap(t, ctx, `"#login-form button"`)
}

const drawn = `document.querySelector("#tilt .digits").textContent.length > 3 && document.querySelector("#runs .id") !== null`

func TestPageInABrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, hashed(t))

	scenes := []struct {
		name string
		f    func(time.Duration) *api.Snapshot
		ok   string // what must be seen
	}{
		{"sweep", linnet, `document.querySelector("#tilt .digits").textContent.startsWith("+0.17")
			&& document.querySelector("#tilt .words").textContent === "leans right"
			&& document.querySelector("#nod .words").textContent === "leans front" && document.querySelector("#nod .digits").textContent.startsWith("−0.04")
			&& document.querySelector("#tilt .times").textContent === "2.7 × the limit"
			&& document.querySelector("#tilt .verdict").textContent.includes("outside")
			&& document.querySelector("#tilt .expanded").textContent === "± 0.009 mm/m"
			&& document.querySelectorAll(".sector.seen").length === 52
			&& document.querySelector("#missing").textContent.includes("100°–110°, 270°–360°")
			&& document.querySelector(".fit") !== null && document.querySelector("#say").textContent.startsWith("Turn the arm")`},
		{"rest", still(quietWren()), `document.querySelector("#nod .digits").textContent === "+0.030"
			&& document.querySelector("#nod .verdict").textContent.includes("within")
			&& document.querySelector("#notices").textContent.includes("clock") && document.querySelector("#notices").textContent.includes("lever is lost")`},
		{"stations", still(wrenByHand()), `document.querySelector("#nod .words").textContent.includes("not measured")
			&& document.querySelector("#tilt .verdict").textContent.includes("undecided")
			&& document.querySelectorAll(".station.taken").length === 1 && !document.querySelector(".stripe").classList.contains("gone")
			&& document.querySelector("#missing").textContent.includes("90°, 180°, 270°")`},
	}
	for _, scene := range scenes {
		s.show(scene.f)
		look(t, ctx, s.url+"/?unit=mm_per_m", drawn, func(width int64, scheme string) {
			name := fmt.Sprintf("%s-%d-%s", scene.name, width, scheme)
			until(t, ctx, scene.ok)
			picture(t, ctx, name)
			if over := eval[int](t, ctx, tooWide); over > 0 {
				t.Errorf("%s: %d px too wide", name, over)
			}
			if size := eval[float64](
				t, ctx, `parseFloat(getComputedStyle(document.querySelector("#tilt .digits")).fontSize)`); size < 56 {
				t.Errorf("%s: digits of %v px", name, size)
			}
			if small := eval[string](t, ctx, tooSmall); small != "" {
				t.Errorf("%s: too small for a gloved finger: %s", name, small)
			}
			if cut := eval[string](t, ctx, cutOff); cut != "" {
				t.Errorf("%s: cut off: %s", name, cut)
			}
		})
	}
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}

const tooWide = `document.documentElement.scrollWidth - document.documentElement.clientWidth`

const tooSmall = `[...document.querySelectorAll("button, select, input, .files a")].filter(e => e.offsetParent !== null)
	.filter(e => { const r = e.getBoundingClientRect(); return r.width < 43.5 || r.height < 43.5 }).map(e => (e.id || e.textContent) + " " + e.getBoundingClientRect().height).join(", ")`

const cutOff = `[...document.querySelectorAll("main *")].filter(e => e.children.length === 0 && e.offsetParent !== null && !e.closest("svg"))
	.filter(e => { const r = e.getBoundingClientRect(); return r.right > innerWidth + 1 || r.left < -1 || (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && e.tagName === "P") }).map(e => e.id || e.className || e.textContent).join(", ")`

func TestPageMarksOldNews(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	said := complaints(t, ctx)
	s := newStage(t, "")
	open(t, ctx, s.url, 360, 800, "light")
	until(t, ctx, drawn)
	const reading = `document.querySelector("#devices .value")?.textContent`
	until(t, ctx, `Boolean(`+reading+`)`)
	before := eval[string](t, ctx, reading)
	// The reading moves, and what has just come is not called old. (On a busy machine the page may wait seconds for
	// it.)
	until(t, ctx, fmt.Sprintf(reading+` !== %q && document.body.classList.contains("fresh")`, before))
	s.mute.Store(true)
	until(t, ctx, `/^no data for \d+ s$/.test(document.querySelector("#news").textContent)
		&& document.body.classList.contains("stale") && document.querySelector("#notices").textContent.includes("What you see is old")`)
	picture(t, ctx, "stale-360")
	until(t, ctx, `document.querySelector("#spoken").textContent.includes("What you see is old")`)
	s.mute.Store(false)
	until(
		t, ctx,
		`!document.body.classList.contains("stale") && document.querySelector("#news").textContent.startsWith("live")`)
	if why := eval[string](
		t, ctx,
		`document.querySelector("#start").disabled && document.querySelector("#why").textContent`); !strings.Contains(
		why, "tramd password") {
		t.Errorf("without a password the start button says %q", why)
	}
	if list := said(); len(list) > 0 {
		t.Errorf("the browser complained:\n%s", strings.Join(list, "\n"))
	}
}
