package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// phone is a real Chromium, 360 px wide, touched by a finger.
type phone struct {
	t   *testing.T
	ctx context.Context
}

func newPhone(t *testing.T, url string) phone {
	t.Helper()
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("the page is tested in a real browser: install one with `apt-get install chromium`")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.DisableGPU)
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 240*time.Second)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	p := phone{t, ctx}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(360, 740),
		chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{
				Enabled: true})
			return err
		}), chromedp.Navigate(url)); err != nil {
		t.Fatal(err)
	}
	return p
}

// until waits for a JavaScript expression to be true.
func (p phone) until(expr string) {
	p.t.Helper()
	if _, err := chromedp.Run(p.ctx, chromedp.Poll[bool](expr, chromedp.WithPollingTimeout(time.Minute))); err != nil {
		page, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText`)) // for the message only
		p.t.Fatalf("waited in vain for %s: %v\npage:\n%s", expr, err, page)
	}
}

// arrived waits for another page to be there; a question asked while one page gives way to the other has no answer.
func (p phone) arrived(expr string) {
	p.t.Helper()
	var err error
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		var there bool
		if there, err = chromedp.Run(p.ctx, chromedp.Evaluate[bool](expr)); err == nil && there {
			return
		}
	}
	p.t.Fatalf("never arrived where %s: %v", expr, err)
}

func ask[T any](p phone, expr string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expr))
	if err != nil {
		p.t.Fatalf("%s: %v", expr, err)
	}
	return v
}

// tap puts a finger on the middle of what can be pressed there.
func (p phone) tap(selector string) {
	p.t.Helper()
	p.until(
		fmt.Sprintf(
			`(e => e !== null && !e.disabled && (e.offsetParent !== null || getComputedStyle(e).position === "fixed"))(document.querySelector(%q))`, selector))
	at := ask[[]float64](p, fmt.Sprintf(
		`(e => { e.scrollIntoView({block: "center"}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2] })(document.querySelector(%q))`, selector))
	touch := func(kind input.DispatchTouchEventType, points ...*input.TouchPoint) {
		if points == nil {
			points = []*input.TouchPoint{}
		}
		if err := chromedp.Do(p.ctx, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
			_, err := cdp.Call(ctx, tab, input.DispatchTouchEvent,
				input.DispatchTouchEventParams{Type: kind, TouchPoints: points})
			return err
		})); err != nil {
			p.t.Fatal(err)
		}
	}
	touch(input.DispatchTouchEventTypeTouchStart, &input.TouchPoint{X: at[0], Y: at[1]})
	touch(input.DispatchTouchEventTypeTouchEnd)
}

// start taps the button that starts a sweep.
func (p phone) start() {
	p.t.Helper()
	p.tap("#start")
}

// view taps a view in the bar at the bottom.
func (p phone) view(name string) {
	p.t.Helper()
	p.tap(fmt.Sprintf(`.views [data-to=%q]`, name))
	p.until(fmt.Sprintf(`document.body.dataset.view === %q && !document.querySelector('#v-%s').hidden`, name, name))
}

func (p phone) picture(name string) {
	p.t.Helper()
	dir := os.Getenv("TRAMD_PICTURES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(p.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600); err != nil {
		p.t.Fatal(err)
	}
}
