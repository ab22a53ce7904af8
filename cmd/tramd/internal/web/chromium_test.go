package web

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"tramd/cmd/tramd/internal/catalogue"
	"tramd/cmd/tramd/internal/catalogue/cataloguetest"
)

// chromium is the one browser of all tests of this package. Each test has a window and a profile of its own in it:
// starting a browser costs more processor time than most of these tests do.
var chromium struct {
	once sync.Once
	ctx  context.Context
	stop context.CancelFunc
	err  error
}

func TestMain(m *testing.M) {
	pseudo, err := cataloguetest.Read() // before any page is asked for: it is for tests that ask for that language
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	catalogue.Put(pseudo)
	code := m.Run()
	if chromium.stop != nil {
		chromium.stop()
	}
	os.Exit(code)
}

func startChromium() {
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		chromium.err = fmt.Errorf("the page is tested in a real browser: install one with `apt-get install chromium`")
		return
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.DisableGPU)
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox) // Chromium's sandbox refuses to run as root
	}
	ctx, end := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, close := chromedp.NewContext(ctx)
	chromium.ctx, chromium.stop = ctx, func() { close(); end() }
	if err := chromedp.Do(ctx); err != nil {
		chromium.err = fmt.Errorf("start %s: %w", path, err)
	}
}

// browser returns a window of Chromium with a profile of its own. It counts as focused whatever the windows of other
// tests do: a page that loses the focus lets a motion go.
func browser(t testing.TB) context.Context {
	t.Helper()
	chromium.once.Do(startChromium)
	if chromium.err != nil {
		t.Fatal(chromium.err)
	}
	ctx, cancel := chromedp.NewContext(chromium.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	// The first call binds the window's life to its context; the limit is for all that comes after.
	focused := chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{
			Enabled: true})
		return err
	})
	if err := chromedp.Do(ctx, focused); err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(cancel)
	return ctx
}
