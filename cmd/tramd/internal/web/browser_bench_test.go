package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// BenchmarkFirstPaint measures when a phone shows the now view: Chromium on loopback with a quarter of a core and
// nothing kept from an earlier visit. It reports the median of the first paint and of the first live figures, and what
// a visit fetches. Beside it stands a bare page with one sentence: what is left of the time when there is nothing to
// draw.
func BenchmarkFirstPaint(b *testing.B) {
	s := newStage(b, "")
	s.show(still(quietWren()))
	bare := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, "<!doctype html><title>bare</title><body class=fresh><p>One sentence.")
	}))
	b.Cleanup(bare.Close)
	b.Run("now", func(b *testing.B) { firstPaint(b, s.url) })
	b.Run("bare", func(b *testing.B) { firstPaint(b, bare.URL) })
}

func firstPaint(b *testing.B, url string) {
	ctx := browser(b)
	slow := chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		if _, err := cdp.Call(ctx, tab, network.SetCacheDisabled,
			network.SetCacheDisabledParams{CacheDisabled: true}); err != nil {
			return err
		}
		_, err := cdp.Call(ctx, tab, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
		return err
	})
	if err := chromedp.Do(ctx, slow); err != nil {
		b.Fatal(err)
	}
	var paint, alive []float64
	var weight float64
	for b.Loop() {
		open(b, ctx, "about:blank", 360, 740, "light")
		open(b, ctx, url, 360, 740, "light")
		until(b, ctx, `document.body.classList.contains("fresh")`)
		alive = append(alive, eval[float64](b, ctx, `performance.now()`))
		paint = append(paint, paintedIn(b, ctx))
		weight = eval[float64](b, ctx, fetchedKB)
	}
	b.ReportMetric(median(paint), "ms/paint")
	b.ReportMetric(median(alive), "ms/live")
	b.ReportMetric(weight, "kB/visit")
}

func median(list []float64) float64 {
	sorted := slices.Sorted(slices.Values(list))
	return sorted[len(sorted)/2]
}
