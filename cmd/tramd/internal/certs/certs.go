// Package certs holds the page's certificate, which it reads again when the file changes, and the authority that
// vouches for people who come with certificates of their own.
package certs

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/smallfile"
)

// Files are where everything is read from, in PEM.
type Files struct {
	Cert, Key string
	ClientCA  string // empty: no client is asked for a certificate
}

// Kept are certificates in force. They stay so whatever becomes of their files.
type Kept struct {
	TLS       *tls.Config // for a server
	Authority []byte      // that vouches for people, in PEM; nil: none does

	page *reloader
}

// Load reads what a TLS server needs. A certificate that a client shows must come from the client authority; a client
// that shows none is let in as well, as a guest.
func Load(f Files, log *slog.Logger) (*Kept, error) {
	k := &Kept{page: &reloader{files: f, log: log}}
	if err := k.page.load(); err != nil {
		return nil, err
	}
	k.TLS = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: k.page.get}
	if f.ClientCA == "" {
		return k, nil
	}
	var err error
	if k.Authority, err = smallfile.Read(f.ClientCA); err != nil {
		return nil, fmt.Errorf("http.client_ca: %w", err)
	}
	k.TLS.ClientCAs = x509.NewCertPool()
	if !k.TLS.ClientCAs.AppendCertsFromPEM(k.Authority) {
		return nil, fmt.Errorf("http.client_ca: %s holds no certificate in PEM", f.ClientCA)
	}
	k.TLS.ClientAuth = tls.VerifyClientCertIfGiven
	return k, nil
}

// Page names the certificate the page is served with.
func (k *Kept) Page() string {
	k.page.mu.Lock()
	defer k.page.mu.Unlock()
	return k.page.name()
}

// Expires says until when the certificate in a file is good.
func Expires(file string) (time.Time, error) {
	text, err := smallfile.Read(file)
	if err != nil {
		return time.Time{}, err
	}
	c, err := first(text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%s: %w", file, err)
	}
	return c.NotAfter, nil
}

// reloader holds the present certificate.
type reloader struct {
	files Files
	log   *slog.Logger

	mu   sync.Mutex
	pair *tls.Certificate
	seen [2]stamp // of the files, as last read or tried
}

type stamp struct {
	at   time.Time
	size int64
}

func (f Files) stamps() (s [2]stamp, err error) {
	for i, name := range []string{f.Cert, f.Key} {
		st, err := os.Stat(name)
		if err != nil {
			return s, err
		}
		s[i] = stamp{st.ModTime(), st.Size()}
	}
	return s, nil
}

func (k *reloader) load() error {
	seen, err := k.files.stamps()
	if err != nil {
		return fmt.Errorf("http.tls_cert and http.tls_key: %w; let the user the daemon runs as read them", err)
	}
	k.seen = seen
	pair, err := tls.LoadX509KeyPair(k.files.Cert, k.files.Key)
	if err != nil {
		return fmt.Errorf("http.tls_cert %s and http.tls_key %s: %w", k.files.Cert, k.files.Key, err)
	}
	k.pair = &pair
	return nil
}

// get is asked at every handshake. A certificate that was renewed is taken up; a bad one, or half of one that is being
// written, leaves the old in force.
func (k *reloader) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	seen, err := k.files.stamps()
	if err != nil || seen == k.seen {
		return k.pair, nil
	}
	if err := k.load(); err != nil {
		k.log.Error("the new certificate cannot be used; the old one holds", "old", k.name(), "error", err)
	} else {
		k.log.Info("the certificate was renewed", "new", k.name())
	}
	return k.pair, nil
}

// name tells the certificate in force from others.
func (k *reloader) name() string {
	c := k.pair.Leaf
	return fmt.Sprintf("certificate %d of %s, good until %s", c.SerialNumber, c.Subject,
		c.NotAfter.Local().Format(time.DateTime))
}

// first returns the first certificate of a file in PEM.
func first(text []byte) (*x509.Certificate, error) {
	for {
		block, rest := pem.Decode(text)
		if block == nil {
			return nil, errors.New("holds no certificate in PEM")
		}
		if block.Type == "CERTIFICATE" {
			return x509.ParseCertificate(block.Bytes)
		}
		text = rest
	}
}
