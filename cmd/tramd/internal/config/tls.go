package config

import (
	"fmt"
	"path/filepath"
	"strings"

	"tramd/cmd/tramd/internal/certs"
)

// Encrypted reports whether the page is served by TLS.
func (h HTTP) Encrypted() bool { return h.TLSCert != "" }

// CertFiles returns where the certificates are; a key that is a credential is looked up only now, as Hash does.
func (h HTTP) CertFiles() (certs.Files, error) {
	f := certs.Files{Cert: h.TLSCert, Key: h.TLSKey, ClientCA: h.ClientCA}
	if strings.HasPrefix(h.TLSKey, credentialScheme) {
		path, err := credentialFile(h.TLSKey)
		if err != nil {
			return f, fmt.Errorf("http.tls_key: %w", err)
		}
		f.Key = path
	}
	return f, nil
}

func (v *validator) tls(h HTTP) {
	switch {
	case h.TLSCert != "" && h.TLSKey == "":
		v.bad("http.tls_cert", "has no key; write tls_key, the file of its private key, beside it")
	case h.TLSCert == "" && h.TLSKey != "":
		v.bad("http.tls_key", "has no certificate; write tls_cert, the file of its certificate, beside it")
	case h.TLSCert == "" && h.ClientCA != "":
		v.bad("http.client_ca", "needs TLS; write tls_cert and tls_key too")
	}
	for _, x := range []struct{ key, value string }{{"tls_cert", h.TLSCert}, {"tls_key", h.TLSKey},
		{"client_ca", h.ClientCA}} {
		switch {
		case x.value == "" || filepath.IsAbs(x.value):
		case x.key == "tls_key" && strings.HasPrefix(x.value, credentialScheme):
			if !credentialForm.MatchString(x.value) {
				v.bad("http.tls_key",
					`%q names no credential; write "credential:tls_key" and LoadCredential=tls_key:FILE in the unit`,
					x.value)
			}
		default:
			v.bad("http."+x.key, "%q is not a full path; write it from the root, for example \"/etc/tramd/%s.pem\"",
				x.value, x.key)
		}
	}
}
