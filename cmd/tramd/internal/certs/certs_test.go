package certs

import (
	"crypto/tls"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/certs/certstest"
)

func filesIn(dir string) Files {
	return Files{Cert: filepath.Join(dir, "cert.pem"), Key: filepath.Join(dir, "key.pem")}
}

// serial is that of the certificate a server shows.
func serial(t *testing.T, server *tls.Config, a *certstest.Authority) int64 {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	go func() {
		if c, err := tls.NewListener(l, server).Accept(); err == nil {
			_ = c.(*tls.Conn).Handshake() // the client says how it went
			c.Close()
		}
	}()
	c, err := tls.Dial("tcp", l.Addr().String(), a.Client(nil, nil))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
}

func TestARenewedCertificateIsTakenUpAndABadOneIsNot(t *testing.T) {
	dir, a := t.TempDir(), certstest.New(t, "shop")
	tomorrow := time.Now().Add(24 * time.Hour)
	put := func(n int64) {
		cert, key := a.Issue("linnet", n, tomorrow)
		certstest.Write(t, dir, map[string][]byte{"cert.pem": cert, "key.pem": key})
	}
	put(7)
	var log strings.Builder
	kept, err := Load(filesIn(dir), slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	c := kept.TLS
	if n := serial(t, c, a); n != 7 {
		t.Errorf("serial %d, want 7", n)
	}
	certstest.Write(t, dir, map[string][]byte{"cert.pem": []byte("half a certi")})
	if n := serial(t, c, a); n != 7 || !strings.Contains(log.String(), "the old one holds") ||
		!strings.Contains(log.String(), "certificate 7 of CN=linnet, good until ") {
		t.Errorf("with a bad file: serial %d, log %s", n, log.String())
	}
	put(8)
	if n := serial(t, c, a); n != 8 {
		t.Errorf("renewed: serial %d, want 8", n)
	}
	if at, err := Expires(filesIn(dir).Cert); err != nil || at.Sub(tomorrow).Abs() > time.Second {
		t.Errorf("expires %v, %v", at, err)
	}
}

func TestBadFilesAreRefusedByName(t *testing.T) {
	dir, a := t.TempDir(), certstest.New(t, "shop")
	log := slog.New(slog.DiscardHandler)
	if _, err := Load(filesIn(dir), log); err == nil || !strings.Contains(err.Error(), "http.tls_cert") {
		t.Errorf("no files: %v", err)
	}
	cert, _ := a.Issue("linnet", 1, time.Now().Add(time.Hour))
	_, other := a.Issue("wren", 2, time.Now().Add(time.Hour))
	certstest.Write(t, dir, map[string][]byte{"cert.pem": cert, "key.pem": other, "ca.pem": []byte("no authority")})
	if _, err := Load(filesIn(dir), log); err == nil || !strings.Contains(err.Error(), "http.tls_key") {
		t.Errorf("a key of another certificate: %v", err)
	}
	cert, key := a.Issue("linnet", 1, time.Now().Add(time.Hour))
	certstest.Write(t, dir, map[string][]byte{"cert.pem": cert, "key.pem": key})
	f := filesIn(dir)
	for _, f.ClientCA = range []string{filepath.Join(dir, "ca.pem"), filepath.Join(dir, "none.pem")} {
		if _, err := Load(f, log); err == nil || !strings.Contains(err.Error(), "http.client_ca") {
			t.Errorf("%s: %v", f.ClientCA, err)
		}
	}
	for _, name := range []string{"ca.pem", "none.pem"} {
		if _, err := Expires(filepath.Join(dir, name)); err == nil {
			t.Errorf("%s expires", name)
		}
	}
}
