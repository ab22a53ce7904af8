package web

import (
	"bytes"
	"context"
	"encoding/json"
	"image/png"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// A real browser finds nothing wrong with the manifest, and takes the page for one that can be installed.
func TestAPhoneTakesThePageOntoItsHomeScreen(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	s := newStage(t, "")
	s.show(linnet)
	open(t, ctx, s.url+"/", 360, 740, "light")
	until(t, ctx, `document.querySelector("#machine").textContent === "linnet"`)
	look := chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		m, err := cdp.Call(ctx, tab, page.GetAppManifest, page.GetAppManifestParams{})
		if err != nil {
			return err
		}
		if !strings.HasSuffix(m.URL, "/app.webmanifest") || len(m.Errors) != 0 {
			t.Errorf("manifest %q, %v", m.URL, m.Errors)
		}
		x, err := cdp.Call(ctx, tab, page.GetInstallabilityErrors, cdp.Empty{})
		if err != nil {
			return err
		}
		for _, e := range x.InstallabilityErrors {
			if e.ErrorID != "in-incognito" { // the window of a test is one
				t.Errorf("cannot be installed: %s %v", e.ErrorID, e.ErrorArguments)
			}
		}
		return nil
	})
	if err := chromedp.Do(ctx, look); err != nil {
		t.Fatal(err)
	}
}

// The icons are as large as the manifest says, and small files.
func TestTheIconsAreWhatTheManifestSays(t *testing.T) {
	h := Handler(Options{Live: always(linnet(0)), Local: true})
	w := do(h, call{method: "GET", path: "/app.webmanifest"})
	var m webApp
	if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil || w.Code != 200 ||
		w.Header().Get("Content-Type") != "application/manifest+json" {
		t.Fatalf("%d %v %s", w.Code, err, w.Body)
	}
	if m.ShortName != "linnet" || m.Display != "standalone" || m.StartURL != "/" {
		t.Errorf("%+v", m)
	}
	for _, icon := range m.Icons {
		w := do(h, call{method: "GET", path: icon.Src})
		if w.Code != 200 || w.Header().Get("Content-Type") != icon.Type || w.Body.Len() > 8000 {
			t.Errorf("%s: %d, %s, %d bytes", icon.Src, w.Code, w.Header().Get("Content-Type"), w.Body.Len())
		}
		if icon.Type != "image/png" {
			continue
		}
		picture, err := png.DecodeConfig(bytes.NewReader(w.Body.Bytes()))
		if size := strings.Split(icon.Sizes, "x")[0]; err != nil || picture.Width != picture.Height ||
			size != map[int]string{192: "192", 512: "512"}[picture.Width] {
			t.Errorf("%s: %v, %d by %d", icon.Src, err, picture.Width, picture.Height)
		}
	}
}
