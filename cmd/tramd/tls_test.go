package main

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/certs/certstest"
)

// The whole daemon with certificates on both sides: guests look, people with a certificate change things, strangers'
// certificates are turned away, and the stream runs over the protocol browsers choose.
func TestThePageOverTLSWithClientCertificates(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	shopCA, strangerCA := certstest.New(t, "shop"), certstest.New(t, "stranger")
	later := time.Now().Add(time.Hour)
	cert, key := shopCA.Issue("linnet", 1, later)
	certstest.Write(t, s.dir, map[string][]byte{"cert.pem": cert, "key.pem": key, "ca.pem": shopCA.PEM})
	s.edit(t, "[http]\n", fmt.Sprintf("[http]\ntls_cert = %q\ntls_key = %q\nclient_ca = %q\n",
		filepath.Join(s.dir, "cert.pem"), filepath.Join(s.dir, "key.pem"), filepath.Join(s.dir, "ca.pem")))
	s.daemon(t)

	as := func(c *tls.Config) *http.Client {
		tr := &http.Transport{TLSClientConfig: c}
		t.Cleanup(tr.CloseIdleConnections)
		return &http.Client{Transport: tr, Timeout: 20 * time.Second}
	}
	guest := as(shopCA.Client(nil, nil))
	joiner := as(shopCA.Client(shopCA.Issue("joiner", 2, later)))
	// A stranger trusts the shop's page, but has its own certificate from elsewhere.
	other, otherKey := strangerCA.Issue("stranger", 3, later)
	stranger := as(shopCA.Client(other, otherKey))
	gone, goneKey := shopCA.Issue("left us", 4, time.Now().Add(-time.Minute))
	expired := as(shopCA.Client(gone, goneKey))

	event := func(c *http.Client) (int, error) {
		resp, err := c.Post("https://"+s.page+"/api/v1/events", "application/json",
			strings.NewReader(`{"kind":"note","text":"shim"}`))
		if err != nil {
			return 0, err
		}
		defer resp.Body.Close()
		return resp.StatusCode, nil
	}
	if code, err := event(joiner); err != nil || code != http.StatusCreated {
		t.Errorf("with a certificate: %d, %v", code, err)
	}
	if code, err := event(guest); err != nil || code != http.StatusUnauthorized {
		t.Errorf("a guest: %d, %v", code, err)
	}
	for name, c := range map[string]*http.Client{"a stranger's certificate": stranger, "an expired one": expired} {
		if code, err := event(c); err == nil && code < 400 {
			t.Errorf("%s: %d", name, code)
		}
	}
	resp, err := guest.Get("https://" + s.page + "/api/v1/live")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() && !bytes.HasPrefix(lines.Bytes(), []byte("event: state")) {
	}
	if lines.Err() != nil || resp.ProtoMajor != 1 { // HTTP/2 is left out of the build
		t.Errorf("the stream: %v over %s", lines.Err(), resp.Proto)
	}
	if resp, err := http.Get("http://" + s.page + "/"); err == nil {
		resp.Body.Close()
		if resp.StatusCode != http.StatusBadRequest {
			t.Errorf("plain HTTP: %s", resp.Status)
		}
	}
	old := &tls.Config{RootCAs: shopCA.Client(nil, nil).RootCAs, MinVersion: tls.VersionTLS10,
		MaxVersion: tls.VersionTLS11}
	if _, err := as(old).Get("https://" + s.page + "/"); err == nil {
		t.Error("TLS 1.1 was spoken")
	}
}

func TestTheDaemonDoesNotStartWithoutItsCertificate(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.edit(t, "[http]\n", "[http]\ntls_cert = \"/no/cert.pem\"\ntls_key = \"/no/key.pem\"\n")
	p := program(t, "run", "--config", s.config)
	if status := p.wait(); status != exitFailed || !strings.Contains(p.err.String(), "http.tls_cert") {
		t.Errorf("status %d, %s", status, p.err.String())
	}
}
