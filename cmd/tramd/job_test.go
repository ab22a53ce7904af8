package main

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A job in the record: the page is the same from the command beside the daemon and from the daemon, and a browser is
// told to let it do nothing but look like itself.
func TestTheRecordOfAJob(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(t, shopAdjusters)
	s.storeSweep(t, 0.9, -0.6)
	s.daemon(t)
	if status, _, errOut := call(t, "event", "--config", s.config, "adjusted", "--move",
		"swing=-0.2"); status != exitDone {
		t.Fatal(errOut)
	}
	out := filepath.Join(s.dir, "job.html")
	if status, _, errOut := call(t, "job", "--config", s.config, "--out", out); status != exitDone {
		t.Fatal(errOut)
	}
	file, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.Get("http://" + s.page + "/job.html")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	page, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	if string(page) != string(file) {
		t.Errorf("the daemon's page is not the command's:\n%s\n%s", page, file)
	}
	for _, want := range []string{"linnet: squaring the spindle", "&#43;0.900", "−0.600", "swing −0.2 mm", "outside"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("missing %q in\n%s", want, page)
		}
	}
	if p := resp.Header.Get("Content-Security-Policy"); !strings.HasPrefix(
		p, "default-src 'none'; style-src 'sha256-") {
		t.Errorf("policy %q", p)
	}
}
