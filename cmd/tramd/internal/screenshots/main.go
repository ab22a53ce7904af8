// Command screenshots takes pictures of the page as a browser shows it: of a running tramd, one picture for each
// name,path,width,height and one of light, dark or print. It serves the README and those who work on the page.
//
//	screenshots -url http://127.0.0.1:9743 -out DIR now,/,360,740,light history,/history,1280,900,dark
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// ready is true once the page has figures from its stream and fonts to show them with.
const ready = `document.body.classList.contains("fresh") && document.fonts.status === "loaded"`

func main() {
	url := flag.String("url", "http://127.0.0.1:9743", "where the page is")
	out := flag.String("out", ".", "folder for the pictures")
	scale := flag.Float64("scale", 1, "device pixels for one of the page's")
	until := flag.String("until", "true", "JavaScript that must be true before a picture is taken")
	whole := flag.Bool("whole", false, "the whole page and not only what a screen shows")
	flag.Parse()
	if err := run(*url, *out, *scale, *until, *whole, flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "screenshots:", err)
		os.Exit(1)
	}
}

func run(url, out string, scale float64, until string, whole bool, shots []string) error {
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("chromium"), chromedp.DisableGPU)
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox) // Chromium's sandbox refuses to run as root
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, opts...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	for _, shot := range shots {
		f := strings.Split(shot, ",")
		if len(f) != 5 {
			return fmt.Errorf("%q: write name,path,width,height and light, dark or print", shot)
		}
		w, err := strconv.ParseInt(f[2], 10, 32)
		if err != nil {
			return fmt.Errorf("%q: width: %w", shot, err)
		}
		h, err := strconv.ParseInt(f[3], 10, 32)
		if err != nil {
			return fmt.Errorf("%q: height: %w", shot, err)
		}
		if err := take(ctx, url+f[1], filepath.Join(out, f[0]+".png"), w, h, scale, f[4], until, whole); err != nil {
			return fmt.Errorf("%q: %w", shot, err)
		}
	}
	return nil
}

func take(ctx context.Context, url, file string, w, h int64, scale float64, scheme, until string, whole bool) error {
	media := emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
	if scheme == "print" {
		media = emulation.SetEmulatedMediaParams{Media: "print"}
	}
	dress := chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		_, err := cdp.Call(ctx, tab, emulation.SetEmulatedMedia, media)
		return err
	})
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(w, h, chromedp.EmulateScale(scale)), dress,
		chromedp.Navigate(url)); err != nil {
		return err
	}
	for _, what := range []string{ready, until} {
		if _, err := chromedp.Run(ctx,
			chromedp.Poll[bool](what, chromedp.WithPollingTimeout(time.Minute))); err != nil {
			return fmt.Errorf("waited in vain for %s: %w", what, err)
		}
	}
	if err := chromedp.Do(ctx, chromedp.Sleep(150*time.Millisecond)); err != nil { // what came last is drawn
		return err
	}
	var png []byte
	var err error
	if whole {
		png, err = chromedp.Run(ctx, chromedp.FullScreenshot(100))
	} else {
		png, err = chromedp.Run(ctx, chromedp.CaptureScreenshot())
	}
	if err != nil {
		return err
	}
	return os.WriteFile(file, png, 0o644)
}
