// Package certs holds the certificate the page is served with, read anew when its file is renewed, and the authority that
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
)

// Files are where everything is read from, in PEM.
type Files struct {
	Cert, Key string
	ClientCA  string // empty: nobody is asked for a certificate
}

// Config gives what a TLS server needs. Whoever shows a certificate must have it from the client authority; who shows none
// is let in as well, as a guest.
func Config(f Files, log *slog.Logger) (*tls.Config, error) {
	k := &keeper{files: f, log: log}
	if err := k.load(); err != nil {
		return nil, err
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: k.get}
	if f.ClientCA == "" {
		return c, nil
	}
	text, err := os.ReadFile(f.ClientCA)
	if err != nil {
		return nil, fmt.Errorf("http.client_ca: %w", err)
	}
	c.ClientCAs = x509.NewCertPool()
	if !c.ClientCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("http.client_ca: %s holds no certificate in PEM", f.ClientCA)
	}
	c.ClientAuth = tls.VerifyClientCertIfGiven
	return c, nil
}

// Expires says until when the certificate in a file is good.
func Expires(file string) (time.Time, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return time.Time{}, err
	}
	c, err := first(text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%s: %w", file, err)
	}
	return c.NotAfter, nil
}

// keeper holds the present certificate.
type keeper struct {
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

func (k *keeper) load() error {
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
func (k *keeper) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	seen, err := k.files.stamps()
	if err != nil || seen == k.seen {
		return k.pair, nil
	}
	if err := k.load(); err != nil {
		k.log.Error("the new certificate cannot be used; the old one holds", "error", err)
	} else {
		k.log.Info("the certificate was renewed")
	}
	return k.pair, nil
}

// first gives the first certificate of a file in PEM.
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
