package web

import (
	"crypto/tls"
	"crypto/x509"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
)

func TestOneGuestLeavesRoomForOtherPages(t *testing.T) {
	h := newServer(Options{Live: always(linnet(0))}).hub
	guest, phone := netip.MustParseAddr("192.168.7.66"), netip.MustParseAddr("192.168.7.20")
	var open []*client
	for h.join(guest) != nil {
		if open = append(open, nil); len(open) > maxClients {
			break
		}
	}
	if len(open) != maxPerPeer {
		t.Errorf("one address got %d streams, want %d", len(open), maxPerPeer)
	}
	if h.join(phone) == nil {
		t.Error("another address got none")
	}
	proxy, n := netip.MustParseAddr("127.0.0.1"), 0
	for h.join(proxy) != nil {
		n++
	}
	if n != maxClients-maxPerPeer-1 {
		t.Errorf("this machine got %d streams, want all that were left", n)
	}
	for c := range h.clients {
		h.leave(c)
	}
}

// What TLS verified is as good as a password; what it did not verify is nothing, and so is any certificate where none
// was asked for.
func TestAClientCertificateIsALogin(t *testing.T) {
	verified := &tls.ConnectionState{VerifiedChains: [][]*x509.Certificate{{{}}}}
	shown := &tls.ConnectionState{PeerCertificates: []*x509.Certificate{{}}}
	for _, c := range []struct {
		name  string
		certs bool
		tls   *tls.ConnectionState
		code  int
	}{
		{"verified", true, verified, 201}, {"shown but not verified", true, shown, 401}, {"plain", true, nil, 401},
		{"not asked for", false, verified, 401},
	} {
		store := &shop{}
		h := Handler(Options{Live: always(linnet(0)), Sweeps: store, Motion: store, Imports: store,
			ClientCerts: c.certs})
		ask := func(method, path, origin string) *httptest.ResponseRecorder {
			r := httptest.NewRequest(method, "https://127.0.0.1:9743"+path, nil)
			r.TLS = c.tls
			if origin != "" {
				r.Header.Set("Origin", origin)
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			return w
		}
		if w := ask("POST", "/api/v1/sweeps", ""); w.Code != c.code {
			t.Errorf("%s: %d %s, want %d", c.name, w.Code, w.Body, c.code)
		}
		if w := ask("GET", "/api/v1/login", ""); strings.Contains(w.Body.String(), `"may_change":true`) != (c.code == 201) {
			t.Errorf("%s: who am I: %s", c.name, w.Body)
		}
		// The browser shows the certificate to every page's requests: those of other sites must still be refused.
		if w := ask("POST", "/api/v1/sweeps", "https://evil.example"); w.Code != http.StatusForbidden {
			t.Errorf("%s: a foreign page got %d", c.name, w.Code)
		}
	}
}

func TestTheCookieIsSecureOverTLS(t *testing.T) {
	for scheme, want := range map[string]bool{"http": false, "https": true} {
		h := Handler(Options{PasswordHash: hashed(t)})
		r := httptest.NewRequest("POST", scheme+"://127.0.0.1:9743/api/v1/login",
			strings.NewReader(`{"password":"`+password+`"}`))
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		k := w.Result().Cookies()
		if len(k) != 1 || k[0].Secure != want || k[0].SameSite != http.SameSiteStrictMode || !k[0].HttpOnly {
			t.Errorf("%s: %v", scheme, k)
		}
	}
}

// The policy lets nothing in but the page's own files (Content Security Policy Level 3: directive names from memory).
func TestThePagesPolicyIsTight(t *testing.T) {
	w := do(Handler(Options{}), call{method: "GET", path: "/"})
	policy := w.Header().Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'",
		"base-uri 'none'", "form-action 'self'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("%q is not in %q", want, policy)
		}
	}
	for _, never := range []string{"unsafe-inline", "unsafe-eval", "*", "http:"} {
		if strings.Contains(policy, never) {
			t.Errorf("%q is in %q", never, policy)
		}
	}
}

// Every route that may change something asks for a login, also one that is added later: the test takes them from the
// server.
func TestNoChangeWithoutALogin(t *testing.T) {
	var routes []string
	newServer(Options{}).routes(func(pattern string, _ http.HandlerFunc) { routes = append(routes, pattern) })
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Records: store, Sweeps: store, PasswordHash: hashed(t),
		ClientCerts: true})
	tried := 0
	for _, r := range routes {
		method, path, _ := strings.Cut(strings.ReplaceAll(r, "{id}", "7"), " ")
		if method == "GET" || strings.HasSuffix(path, "/login") || strings.HasSuffix(path, "/logout") {
			continue
		}
		tried++
		if w := do(h, call{method: method, path: path, body: "{}"}); w.Code != http.StatusUnauthorized {
			t.Errorf("%s %s without a login: %d %s", method, path, w.Code, w.Body)
		}
	}
	if tried < 10 || store.last() != "" {
		t.Errorf("%d routes tried; did %q", tried, store.last())
	}
}
