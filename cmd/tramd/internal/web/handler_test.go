package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"tramd/cmd/tramd/internal/api"
)

const password = "brass and ebony"

func hashed(t testing.TB) string {
	t.Helper()
	h, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	return string(h)
}

type call struct {
	method, path, body string
	host, origin, from string
	cookies            []*http.Cookie
}

func do(h http.Handler, c call) *httptest.ResponseRecorder {
	r := httptest.NewRequest(c.method, c.path, strings.NewReader(c.body))
	r.Host = "127.0.0.1:9743"
	if c.host != "" {
		r.Host = c.host
	}
	if c.origin != "" {
		r.Header.Set("Origin", c.origin)
	}
	if c.from != "" {
		r.RemoteAddr = c.from
	}
	for _, k := range c.cookies {
		r.AddCookie(k)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// A typed temperature reaches the daemon before the run begins. Where it cannot, no run begins.
func TestAStartSendsTheTemperature(t *testing.T) {
	for _, x := range []struct{ path, body, started string }{
		{"/api/v1/sweeps", `{"temperature_c":21.5}`, "start 1 check"},
		{"/api/v1/motion/start", `{"key":"k","temperature_c":21.5}`, `start motion "k" check`},
	} {
		store := &shop{}
		o := Options{Live: always(linnet(0)), Sweeps: store, Motion: store, Temperature: store, Local: true}
		if w := do(Handler(o), call{method: "POST", path: x.path, body: x.body}); w.Code != 201 ||
			!slices.Equal(store.calls, []string{"at 21.5", x.started}) {
			t.Errorf("%s: %d %s, did %q", x.path, w.Code, w.Body, store.calls)
		}
		store.calls, store.err = nil, api.Invalid.Of(errors.New("temperature 215: write it"))
		if w := do(Handler(o), call{method: "POST", path: x.path, body: x.body}); w.Code != 400 ||
			len(store.calls) != 1 || !strings.Contains(w.Body.String(), "write it") {
			t.Errorf("%s, absurd: %d %s, did %q", x.path, w.Code, w.Body, store.calls)
		}
		store.calls, store.err, o.Temperature = nil, nil, nil
		if w := do(Handler(o), call{method: "POST", path: x.path, body: x.body}); w.Code != 503 ||
			len(store.calls) != 0 {
			t.Errorf("%s, nowhere to store it: %d %s, did %q", x.path, w.Code, w.Body, store.calls)
		}
		if w := do(Handler(o), call{method: "POST", path: x.path,
			body: strings.Replace(x.body, "21.5", "null", 1)}); w.Code != 201 {
			t.Errorf("%s, not known: %d %s", x.path, w.Code, w.Body)
		}
	}
}

func TestRoutes(t *testing.T) {
	store := &shop{csv: "t_s,angle_deg,reading_mm,indicator\n0,0,1.2,arm\n", runs: []api.Run{}}
	h := Handler(Options{Live: always(linnet(0)), Records: store, Sweeps: store, Motion: store, Imports: store,
		Separate: store.Separate, Local: true,
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "metrics here") })})
	for _, c := range []struct {
		name               string
		method, path, body string
		code               int
		says, did          string
	}{
		{"page", "GET", "/", "", 200, "<title>Outside the limit · linnet</title>", ""},
		{"asset", "GET", "/assets/main.js", "", 200, "import", ""},
		{"no such asset", "GET", "/assets/secret", "", 404, "no such file", ""},
		{"no such address", "GET", "/api/v1/nothing", "", 404, `{"error":"GET is not served here`, ""},
		{"no such method", "PUT", "/api/v1/runs", "", 405, `{"error":"PUT is not served here`, ""},
		{"metrics", "GET", "/metrics", "", 200, "metrics here", ""},
		{"health", "GET", "/healthz", "", 200, `"name":"arm","role":"indicator","state":"live"`, ""},
		{"runs", "GET", "/api/v1/runs", "", 200, "[]", "runs 0 20"},
		{"older runs", "GET", "/api/v1/runs?before=40&limit=5", "", 200, "[]", "runs 40 5"},
		{"runs, bad limit", "GET", "/api/v1/runs?limit=0", "", 400, "whole number from 1 to 500", ""},
		{"runs, bad before", "GET", "/api/v1/runs?before=x", "", 400, `before=\"x\"`, ""},
		{"run", "GET", "/api/v1/runs/3", "", 200, `{"id":3,`, "run 3"},
		{"no such run", "GET", "/api/v1/runs/404", "", 404, "run 404: not found", ""},
		{"not a run", "GET", "/api/v1/runs/three", "", 400, "whole number", ""},
		{"readings", "GET", "/api/v1/runs/3/readings.csv", "", 200, "0,0,1.2,arm", "csv 3"},
		{"start", "POST", "/api/v1/sweeps", `{"turns":2,"purpose":"adjust"}`, 201, `{"run":7}`, "start 2 adjust"},
		{"start as it comes", "POST", "/api/v1/sweeps", ``, 201, `{"run":7}`, "start 1 check"},
		{"start, no turns", "POST", "/api/v1/sweeps", `{"turns":0}`, 400, "turns:", ""},
		{"start, typo", "POST", "/api/v1/sweeps", `{"turn":1}`, 400, `unknown field \"turn\"`, ""},
		{"start, two values", "POST", "/api/v1/sweeps", `{} {}`, 400, "more than one value", ""},
		{"start, too long", "POST", "/api/v1/sweeps", `{"purpose":"` + strings.Repeat("x", 70000) + `"}`, 413,
			"longer than 65536", ""},
		{"too long after the value", "POST", "/api/v1/sweeps", `{}` + strings.Repeat(" ", 70000), 413,
			"longer than 65536", ""},
		{"abandon", "DELETE", "/api/v1/sweeps/7", "", 200, `{"run":7}`, "abandon 7"},
		{"take", "POST", "/api/v1/sweeps/7/take", "", 200, `{"run":7}`, "take 7"},
		{"skip", "POST", "/api/v1/sweeps/7/skip", "", 200, `{"run":7}`, "skip 7"},
		{"redo the last", "POST", "/api/v1/sweeps/7/redo", "", 200, `{"run":7}`, "redo 7 -1"},
		{"redo one", "POST", "/api/v1/sweeps/7/redo", `{"station":2}`, 200, `{"run":7}`, "redo 7 2"},
		{"redo, typo", "POST", "/api/v1/sweeps/7/redo", `{"stations":2}`, 400, "unknown field", ""},
		{"a typed reading", "POST", "/api/v1/sweeps/7/reading", `{"indicator":"dial","text":" -3 um "}`, 200,
			`{"run":7}`, `put 7 "dial" "-3 um"`},
		{"half turn", "POST", "/api/v1/pair", `{"axis":" nod "}`, 201, `{"run":9}`, `half turn "nod"`},
		{"half turn of nothing", "POST", "/api/v1/pair", "", 400, "axis: write 1 to 40", ""},
		{"half turn, typo", "POST", "/api/v1/pair", `{"axes":"nod"}`, 400, "unknown field", ""},
		{"separate", "GET", "/api/v1/runs/3/separate?turned=4", "", 200,
			`{"spindle":{"tilt":null,"nod":null},"plate":{"tilt":null,"nod":null}}`, "separate 3 4"},
		{"separate from nothing", "GET", "/api/v1/runs/3/separate", "", 400, "turned: write", ""},
		{"separate, bad run", "GET", "/api/v1/runs/x/separate?turned=4", "", 400, "whole number", ""},
		{"separate, nonsense", "GET", "/api/v1/runs/3/separate?turned=-4", "", 400, "turned", ""},
		{"forget the pair", "DELETE", "/api/v1/pair", "", 200, `{"zeroed":false}`, "forget the pair"},
		{"arm", "POST", "/api/v1/motion/arm", "", 200, `"key":"k"`, "arm 0s"},
		{"arm planned checks", "POST", "/api/v1/motion/arm", `{"unattended_hours":8}`, 200, `"key":"k"`, "arm 8h0m0s"},
		{"arm, nonsense", "POST", "/api/v1/motion/arm", `{"unattended_hours":-1}`, 400, "number of hours", ""},
		{"disarm", "DELETE", "/api/v1/motion/arm", "", 200, `{"armed":false}`, "disarm"},
		{"start the motion", "POST", "/api/v1/motion/start", `{"key":"k"}`, 201, `{"run":8}`, `start motion "k" check`},
		{"start it and say that it is held", "POST", "/api/v1/motion/start", `{"key":"k","held":true}`, 201,
			`{"run":8}`, `start motion "k" check`},
		{"start it unheld", "POST", "/api/v1/motion/start", `{"key":"k","held":false}`, 400,
			"every motion that somebody starts is held", ""},
		{"hold it", "POST", "/api/v1/motion/hold", `{"key":"k"}`, 200, `{"held":true}`, `hold "k"`},
		{"hold nothing", "POST", "/api/v1/motion/hold", `{}`, 400, "key: write", ""},
		{"let it go", "POST", "/api/v1/motion/release", `{"key":"k"}`, 200, `{"held":false}`, `let go "k"`},
		{"a terminal that goes at once", "POST", "/api/v1/motion/hold/8", ".", 200, `{"run":8}`, "let go 8"},
		{"start the motion without a key", "POST", "/api/v1/motion/start", `{}`, 400, "key: write", ""},
		{"import", "POST", "/api/v1/imports?name=a.csv&at=2026-03-02T07:30:00Z", "t_s", 201,
			`{"run":9,"kind":"sweep","result":{}}`, "import a.csv 2026-03-02 check at unknown false 3 bytes"},
		{"import of a temperature", "POST", "/api/v1/imports?name=a.csv&at=2026-03-02T07:30:00Z&temperature_c=21.5",
			"t_s", 201, `{"run":9,"kind":"sweep","result":{}}`, "import a.csv 2026-03-02 check at 21.5 false 3 bytes"},
		{"import of no temperature", "POST", "/api/v1/imports?name=a.csv&at=2026-03-02T07:30:00Z&temperature_c=warm",
			"t_s", 400, "temperature_c: write degrees", ""},
		{"import again, longer than a request", "POST",
			"/api/v1/imports?name=a.csv&at=2026-03-02T07:30:00Z&again=1&purpose=adjust", strings.Repeat("x", 70000),
			201, `{"run":9,"kind":"sweep","result":{}}`, "import a.csv 2026-03-02 adjust at unknown true 70000 bytes"},
		{"import without a date", "POST", "/api/v1/imports?name=a.csv", "t_s", 400, "at: write when", ""},
		{"a typed reading, empty", "POST", "/api/v1/sweeps/7/reading", `{}`, 400, "text: write 1 to 40", ""},
		{"take, bad run", "POST", "/api/v1/sweeps/0/take", "", 400, "whole number", ""},
		{"event", "POST", "/api/v1/events", `{"kind":"adjusted","text":" shim ","run":3}`, 201, `{"event":5}`,
			`event adjusted "shim" 3`},
		{"moves", "POST", "/api/v1/events", `{"kind":"adjusted","moved":{"swing":-0.2}}`, 201, `{"event":5}`,
			`event adjusted "" 0 map[swing:-0.2]`},
		{"moves, no number", "POST", "/api/v1/events", `{"kind":"adjusted","moved":{"swing":"far"}}`, 400, "moved", ""},
		{"event, no kind", "POST", "/api/v1/events", `{"text":"x"}`, 400, "kind:", ""},
		{"event, bad run", "POST", "/api/v1/events", `{"kind":"note","run":-1}`, 400, "run:", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			store.calls = nil
			w := do(h, call{method: c.method, path: c.path, body: c.body})
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.says) {
				t.Errorf("got %d %.200s, want %d with %q", w.Code, w.Body, c.code, c.says)
			}
			if store.last() != c.did {
				t.Errorf("did %q, want %q", store.last(), c.did)
			}
			if w.Header().Get("Content-Security-Policy") != contentPolicy ||
				w.Header().Get("X-Content-Type-Options") != "nosniff" ||
				w.Header().Get("Referrer-Policy") != "no-referrer" {
				t.Error("security headers are missing")
			}
		})
	}
}

func TestProblemsKeepTheirStatus(t *testing.T) {
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Records: store, Sweeps: store, Motion: store, Imports: store,
		Local: true})
	for _, c := range []struct {
		err  error
		code int
	}{
		{api.Conflict.New("run 6 is in hand; finish or abandon it first"), 409},
		{fmt.Errorf("start: %w", api.Unavailable.New("the indicator is lost")), 503},
		{errors.New("not an error at all"), 500},
		{errors.New("something else"), 500},
	} {
		store.err = c.err
		w := do(h, call{method: "POST", path: "/api/v1/sweeps", body: "{}"})
		if w.Code != c.code || !strings.Contains(w.Body.String(), c.err.Error()) {
			t.Errorf("%v: got %d %s, want %d", c.err, w.Code, w.Body, c.code)
		}
	}
}

func TestMissingPartsAnswerClearly(t *testing.T) {
	h := Handler(Options{Local: true})
	for path, method := range map[string]string{
		"/healthz": "GET", "/api/v1/runs": "GET", "/api/v1/runs/1": "GET", "/api/v1/runs/1/readings.csv": "GET",
		"/api/v1/sweeps": "POST", "/api/v1/sweeps/1": "DELETE", "/api/v1/pair": "DELETE", "/api/v1/advice": "GET",
	} {
		if w := do(h, call{method: method, path: path}); w.Code != 503 ||
			!strings.Contains(w.Body.String(), `"error"`) {
			t.Errorf("%s %s: got %d %s", method, path, w.Code, w.Body)
		}
	}
	if w := do(h, call{method: "POST", path: "/api/v1/events", body: `{"kind":"note"}`}); w.Code != 503 {
		t.Errorf("event without a store: got %d", w.Code)
	}
	if w := do(h, call{method: "GET", path: "/metrics"}); w.Code != 404 {
		t.Errorf("metrics: got %d", w.Code)
	}
}

func TestHealthFollowsTheStoreNotTheDevices(t *testing.T) {
	s := quietWren() // its only device is lost
	if w := do(Handler(Options{Live: always(s)}), call{method: "GET", path: "/healthz"}); w.Code != 200 {
		t.Errorf("a lost device made the daemon ill: %d %s", w.Code, w.Body)
	}
	s.Store = api.StoreState{Error: "disk full: free some space"}
	if w := do(Handler(Options{Live: always(s)}), call{method: "GET", path: "/healthz"}); w.Code != 503 ||
		!strings.Contains(w.Body.String(), "disk full") {
		t.Errorf("a store in trouble: %d %s", w.Code, w.Body)
	}
}

func TestHosts(t *testing.T) {
	own, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	h := Handler(Options{Live: always(linnet(0)), Records: &shop{}, Hosts: []string{"Linnet.Shop.Example"}})
	for host, ok := range map[string]bool{
		"127.0.0.1:9743": true, "192.168.7.20": true, "[::1]:9743": true, "[fe80::1%25eth0]:9743": true,
		"localhost": true, "LOCALHOST:1": true,
		own: true, own + ":9743": true, "pi.local": true, "pi.local.:9743": true, "linnet.shop.example": true,
		"evil.example": false, "evil.example:9743": false, ".local": false, "local": false,
		"127.0.0.1.evil.example": false,
		"localhost.evil.example": false, "pi.local.evil.example": false, "": false,
	} {
		for _, path := range []string{"/", "/assets/main.js", "/api/v1/runs", "/healthz"} {
			r := httptest.NewRequest("GET", path, nil)
			r.Host = host
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if got := w.Code == 200; got != ok || !ok && w.Code != http.StatusMisdirectedRequest {
				t.Errorf("host %q on %s: got %d, allowed should be %v", host, path, w.Code, ok)
			}
		}
	}
	for _, path := range []string{"/api/v1/live", "/metrics", "/no/such/path"} {
		if w := do(h, call{method: "GET", path: path, host: "evil.example"}); w.Code != http.StatusMisdirectedRequest {
			t.Errorf("rebound request on %s: got %d", path, w.Code)
		}
	}
}

// A page of another site, and one whose name was pointed at us, can do nothing even with a good cookie.
func TestForeignPages(t *testing.T) {
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Sweeps: store, Motion: store, Imports: store,
		PasswordHash: hashed(t)})
	in := do(h, call{method: "POST", path: "/api/v1/login", body: `{"password":"` + password + `"}`})
	cookies := in.Result().Cookies()
	start := call{method: "POST", path: "/api/v1/sweeps", body: "{}", cookies: cookies}
	foreign, rebound, own := start, start, start
	foreign.origin = "http://evil.example"
	rebound.host, rebound.origin = "evil.example", "http://evil.example"
	own.origin = "http://127.0.0.1:9743"
	if w := do(h, foreign); w.Code != 403 || !strings.Contains(w.Body.String(), "another site") {
		t.Errorf("foreign origin: got %d %s", w.Code, w.Body)
	}
	if w := do(h, rebound); w.Code != http.StatusMisdirectedRequest {
		t.Errorf("rebound: got %d", w.Code)
	}
	if store.last() != "" {
		t.Errorf("a foreign page did %q", store.last())
	}
	if w := do(h, own); w.Code != 201 {
		t.Errorf("our own page: got %d %s", w.Code, w.Body)
	}
}

func TestAssetsAreTagged(t *testing.T) {
	h := Handler(Options{})
	first := do(h, call{method: "GET", path: "/assets/page.css"})
	r := httptest.NewRequest("GET", "http://localhost/assets/page.css", nil)
	r.Header.Set("If-None-Match", first.Header().Get("ETag"))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if first.Header().Get("ETag") == "" || w.Code != http.StatusNotModified {
		t.Errorf("tag %q then %d", first.Header().Get("ETag"), w.Code)
	}
	for name, f := range files {
		if f.kind == "" {
			t.Errorf("%s has no type", name)
		}
	}
}

func TestABrokenDownloadIsNoticed(t *testing.T) {
	store := &shop{csvErr: api.NotFound.New("no such run")}
	srv := httptest.NewServer(Handler(Options{Records: store}))
	defer srv.Close()
	get := func() (*http.Response, string, error) {
		resp, err := http.Get(srv.URL + "/api/v1/runs/3/readings.csv")
		if err != nil {
			return nil, "", err
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		return resp, string(body), err
	}
	if resp, body, err := get(); err != nil || resp.StatusCode != 404 || !strings.Contains(body, "no such run") {
		t.Errorf("an error before the first byte: %v %v %s", err, resp, body)
	}
	store.csv, store.csvErr = strings.Repeat("0.001,12.5,1.234,arm\n", 4000), errors.New("disk gone")
	if _, body, err := get(); err == nil {
		t.Errorf("a broken download looked whole: %d bytes", len(body))
	}
	store.csvErr = nil
	if resp, body, err := get(); err != nil || body != store.csv ||
		resp.Header.Get("Content-Disposition") != `attachment; filename="run-3.csv"` {
		t.Errorf("download: %v, %d bytes", err, len(body))
	}
}
