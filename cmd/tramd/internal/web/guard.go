package web

import (
	"net"
	"net/http"
	"net/netip"
	"os"
	"strings"

	"tramd/cmd/tramd/internal/api"
)

// contentPolicy allows this page's own files and nothing else: no inline script or style, no other site.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; manifest-src 'self'; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'self'"

// maxBody is far more than any request needs.
const maxBody = 64 << 10

func secureHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}

func limitBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		most := int64(maxBody)
		if r.URL.Path == "/api/v1/imports" {
			most = maxImport
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}

// allowHosts refuses a request that calls this machine by a name that is not its own. A hostile page can point a name
// it owns at our address (DNS rebinding); to the browser it is then the same origin, and only the Host gives it away.
func (s *server) allowHosts(next http.Handler) http.Handler {
	allowed := map[string]bool{"localhost": true}
	if name, err := os.Hostname(); err == nil && name != "" {
		name = strings.ToLower(name)
		allowed[name] = true
		short, _, _ := strings.Cut(name, ".")
		allowed[short] = true
	}
	for _, h := range s.Hosts {
		allowed[hostName(h)] = true
	}
	delete(allowed, "")
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !hostAllowed(hostName(r.Host), allowed) {
			s.fail(w, api.Misdirected.New(
				"this machine is not known by that name; use its address, or add the name to http.hosts in the config"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// hostName is the name in a Host header: no port, no brackets, no trailing dot, lower case.
func hostName(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	} else if strings.HasPrefix(host, "[") && strings.HasSuffix(host, "]") { // one bracket alone is no name of ours
		host = host[1 : len(host)-1]
	}
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

func hostAllowed(name string, allowed map[string]bool) bool {
	if _, err := netip.ParseAddr(name); err == nil {
		return true
	}
	// Names under .local are announced by the machines of the link themselves (RFC 6762); no outside name server can
	// own one.
	return allowed[name] || strings.HasSuffix(name, ".local") && len(name) > len(".local")
}
