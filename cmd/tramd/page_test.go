package main

import (
	"math"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// The real page of a real daemon, a machine behind real ptys, and a person at 360 px who logs in, starts a sweep by the
// page's button and reads the lean.
func TestAPersonSweepsByThePage(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.3", "--nod", "-0.2", "--rate", "200", "--encoder-rate", "200", "--seconds", "6",
		"--turns", "1.05", "--noise", "0.001")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.givePassword(t)
	s.daemon(t)
	waitState(t, s, "both ports live", live)

	// What the page cannot be talked into: a change without a login.
	resp, err := http.Post("http://"+s.page+"/api/v1/sweeps", "application/json",
		strings.NewReader(`{"turns":1,"purpose":"check"}`))
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusUnauthorized {
		t.Errorf("a sweep was started without a login: %s", resp.Status)
	}

	ph := newPhone(t, "http://"+s.page+"/?unit=mm_per_m")
	ph.start()
	ph.until(`document.querySelector('#login').open && document.querySelector('#start').offsetParent !== null`)
	if err := chromedp.Do(ph.ctx, chromedp.SendKeys("#password", "instrument-case\r")); err != nil {
		t.Fatal(err)
	}
	ph.tap("#caution-ok") // the cautions stand between the login and the first start
	ph.until(`document.querySelector('#say').textContent.includes('Turn the arm')`)
	m.turn(t)
	ph.until(
		`/\d/.test(document.querySelector('#tilt').textContent) && document.querySelectorAll('#trace *').length > 5`)
	ph.picture("real-sweep-360")
	ph.until(
		`document.querySelector('#band').textContent.includes('Outside the limit') && document.title.includes('Outside the limit')`)
	ph.until(`document.querySelector('#runs').textContent.includes('outside')`)
	ph.picture("real-done-360")
	shown, err := chromedp.Run(ph.ctx, chromedp.Evaluate[string](`document.querySelector('#tilt .digits').textContent`))
	if err != nil {
		t.Fatal(err)
	}
	if got := firstNumber(shown); math.Abs(got-0.3) > 0.02 {
		t.Errorf("the page shows a tilt of %v (%q), the truth is 0.3 mm/m", got, shown)
	}
}

// givePassword lets the page change things.
func (s shop) givePassword(t *testing.T) {
	t.Helper()
	var hash, errOut strings.Builder
	if status := run(t.Context(), []string{"password"}, strings.NewReader("instrument-case\n"), &hash,
		&errOut); status != exitDone {
		t.Fatal(errOut.String())
	}
	text, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.config, []byte(strings.Replace(string(text), "[http]\n", "[http]\n"+hash.String(), 1)),
		0o600); err != nil {
		t.Fatal(err)
	}
}

// firstNumber finds the first signed decimal in a text.
func firstNumber(text string) float64 {
	text = strings.ReplaceAll(text, "−", "-")
	for i := range text {
		for j := len(text); j > i; j-- {
			if x, err := strconv.ParseFloat(text[i:j], 64); err == nil {
				return x
			}
		}
	}
	return math.NaN()
}
