package web

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// FuzzBodies sends anything at all to the requests that read a body: each answer is JSON, and a refusal names its
// reason.
func FuzzBodies(f *testing.F) {
	for _, s := range []string{``, `{}`, `null`, `[]`, `{"turns":1,"purpose":"check"}`, `{"turns":1e9}`, `{"turns":-1}`,
		`{"kind":"note","text":"x","run":1}`,
		`{"kind":"\u0000"}`, `{"password":"x"}`, `{"turns":1}{"turns":2}`, `{"run":9223372036854775808}`, "\xff",
		`{"turns":1}x`, `{"purpose":"\ud800"}`} {
		f.Add(s)
	}
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Records: store, Sweeps: store, Motion: store, Imports: store,
		Local: true})
	f.Fuzz(func(t *testing.T, body string) {
		for _, path := range []string{"/api/v1/sweeps", "/api/v1/events", "/api/v1/login", "/api/v1/sweeps/3/take",
			"/api/v1/sweeps/3/redo", "/api/v1/sweeps/3/reading", "/api/v1/pair"} {
			w := do(h, call{method: "POST", path: path, body: body})
			wellFormed(t, w)
			if w.Code == http.StatusInternalServerError {
				t.Errorf("%s %q: %s", path, body, w.Body)
			}
		}
		store.calls = nil
	})
}

// FuzzQueries does the same to the query and the path; a run or a page is asked for only by numbers in range.
func FuzzQueries(f *testing.F) {
	for _, s := range []string{"", "0", "1", "20", "-1", "501", "1e3", "9223372036854775807", "9223372036854775808",
		"%", "a&limit=3", "١", "0x10", " 1", "+1"} {
		f.Add(s, s)
	}
	store := &shop{runs: []api.Run{}}
	h := Handler(Options{Records: store, Local: true})
	f.Fuzz(func(t *testing.T, a, b string) {
		r := httptest.NewRequest("GET", "/api/v1/runs", nil)
		r.URL.RawQuery = "before=" + url.QueryEscape(a) + "&limit=" + url.QueryEscape(b)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		wellFormed(t, w)
		if w.Code != 200 && w.Code != 400 {
			t.Errorf("%q: %d", r.URL.RawQuery, w.Code)
		}
		r.URL.RawQuery = a + "=" + b // and as it is
		w = httptest.NewRecorder()
		h.ServeHTTP(w, r)
		wellFormed(t, w)
		if seg := url.PathEscape(a); seg != "" && seg != "." && seg != ".." {
			r := httptest.NewRequest("GET", "/api/v1/runs/"+seg, nil)
			w = httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code == 500 {
				t.Errorf("run %q: %s", a, w.Body)
			}
		}
		store.calls = nil
	})
}

// FuzzHost: where a Host header is let through, the name it was let through by is the one that a URL parser sees in it.
func FuzzHost(f *testing.F) {
	for _, s := range []string{"localhost", "127.0.0.1:1", "[::1]", "[::1]:80", "evil.example", "evil.example:80",
		"a.local", "a.local.", "[", "]:", ":", "::1", "1.2.3", "localhost\x00", "[localhost]", "a@localhost"} {
		f.Add(s)
	}
	allowed := map[string]bool{"localhost": true}
	f.Fuzz(func(t *testing.T, host string) {
		name := hostName(host)
		if !hostAllowed(name, allowed) {
			return
		}
		u, err := url.Parse("http://" + host + "/")
		if err != nil || u.Host != host {
			return // the server and every browser refuse it before us
		}
		if seen := strings.ToLower(strings.TrimSuffix(u.Hostname(), ".")); seen != name &&
			!strings.Contains(name, "%") {
			t.Errorf("%q was let through as %q, but names %q", host, name, seen)
		}
	})
}

func wellFormed(t *testing.T, w *httptest.ResponseRecorder) {
	t.Helper()
	if !json.Valid(w.Body.Bytes()) {
		t.Fatalf("%d: not JSON: %.200s", w.Code, w.Body)
	}
	var v struct{ Error string }
	if w.Code >= 400 && (json.Unmarshal(w.Body.Bytes(), &v) != nil || v.Error == "") {
		t.Fatalf("%d without a reason: %.200s", w.Code, w.Body)
	}
}
