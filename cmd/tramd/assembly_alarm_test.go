package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A rail that is found outside its tolerance goes out as the spindle's lean does, under its own name.
func TestARailOutsideItsToleranceIsAnAlarm(t *testing.T) {
	t.Parallel()
	sent := make(chan string, 64)
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body) // what was cut short is no message that is looked for
		sent <- string(body)
	}))
	t.Cleanup(hook.Close)
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(
		t,
		fmt.Sprintf(
			"[alarm]\nwebhook = %q\n[[traverse]]\nname = \"left rail\"\npositions_mm = [0, 100, 200, 300, 400, 500]\n[clock]\ntrusted = true\n", hook.URL))
	s.daemon(t)
	for day, slope := range []float64{0.01, 0.02, 0.03, 0.6} {
		csv := "t_s,position_mm,reading_mm\n"
		for i := range 12 {
			x := float64(i%6) * 100
			csv += fmt.Sprintf("%d,%g,%.3f\n", 8*i, x, 0.2+x/1000*slope+0.001*float64(i%2))
		}
		path := filepath.Join(s.dir, fmt.Sprintf("rail-%d.csv", day))
		if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
			t.Fatal(err)
		}
		status, _, errOut := call(t, "import", "--config", s.config, "--name", "left rail", "--tolerance", "0.05/300",
			"--at", time.Now().AddDate(0, 0, day-4).Format(time.RFC3339), path)
		if status == exitFailed || status == exitUsage {
			t.Fatalf("import: exit status %d: %s", status, errOut)
		}
	}
	patience := time.After(time.Minute)
	for {
		select {
		case m := <-sent:
			if strings.Contains(m, "outside") && strings.Contains(m, "traverse left rail") {
				return
			}
		case <-patience:
			t.Fatal("no message named the rail within a minute")
		}
	}
}
