package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"
)

func logInAs(h http.Handler, word, from string) (int, []*http.Cookie, string) {
	w := do(h, call{method: "POST", path: "/api/v1/login", body: fmt.Sprintf(`{"password":%q}`, word), from: from})
	return w.Code, w.Result().Cookies(), w.Body.String()
}

func TestChangingNeedsALogin(t *testing.T) {
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Sweeps: store, Motion: store, Imports: store, Records: store,
		PasswordHash: hashed(t)})
	changes := []call{
		{method: "POST", path: "/api/v1/sweeps", body: "{}"},
		{method: "DELETE", path: "/api/v1/sweeps/7"},
		{method: "POST", path: "/api/v1/sweeps/7/take"},
		{method: "POST", path: "/api/v1/sweeps/7/skip"},
		{method: "POST", path: "/api/v1/motion/arm"},
		{method: "DELETE", path: "/api/v1/motion/arm"},
		{method: "POST", path: "/api/v1/motion/start", body: `{"key":"k"}`},
		{method: "POST", path: "/api/v1/motion/hold", body: `{"key":"k"}`},
		{method: "POST", path: "/api/v1/motion/release", body: `{"key":"k"}`},
		{method: "POST", path: "/api/v1/imports?name=x&at=2026-03-02T07:30:00Z"},
		{method: "POST", path: "/api/v1/sweeps/7/redo"},
		{method: "POST", path: "/api/v1/sweeps/7/reading", body: `{"text":"0.1"}`},
		{method: "POST", path: "/api/v1/events", body: `{"kind":"note"}`},
	}
	refused := func(when string, cookies []*http.Cookie) {
		t.Helper()
		for _, c := range changes {
			c.cookies = cookies
			if w := do(h, c); w.Code != 401 || !strings.Contains(w.Body.String(), "tramd password") {
				t.Errorf("%s: %s %s: got %d %s", when, c.method, c.path, w.Code, w.Body)
			}
		}
		if store.last() != "" {
			t.Errorf("%s: did %q", when, store.last())
		}
	}
	refused("before", nil)
	refused("with a made-up cookie", []*http.Cookie{{Name: cookieName, Value: "AAAA"}})
	refused("with an empty cookie", []*http.Cookie{{Name: cookieName, Value: ""}})

	code, cookies, body := logInAs(h, password, "")
	if code != 200 || len(cookies) != 1 {
		t.Fatalf("log in: %d %s", code, body)
	}
	if k := cookies[0]; !k.HttpOnly || k.SameSite != http.SameSiteStrictMode || len(k.Value) != 43 || k.MaxAge <= 0 {
		t.Errorf("cookie %v", k)
	}
	for _, c := range changes {
		c.cookies = cookies
		if w := do(h, c); w.Code >= 300 {
			t.Errorf("logged in: %s %s: got %d %s", c.method, c.path, w.Code, w.Body)
		}
	}
	if w := do(h, call{method: "GET", path: "/api/v1/login", cookies: cookies}); !strings.Contains(w.Body.String(),
		`"may_change":true`) {
		t.Errorf("who am I: %s", w.Body)
	}
	do(h, call{method: "POST", path: "/api/v1/logout", cookies: cookies})
	store.calls = nil
	refused("after logging out", cookies)
}

func TestWithoutAPasswordNothingCanBeChanged(t *testing.T) {
	h := Handler(Options{Live: always(linnet(0)), Sweeps: &shop{}})
	for _, c := range []call{{method: "POST", path: "/api/v1/sweeps"},
		{method: "POST", path: "/api/v1/login", body: `{"password":""}`}} {
		if w := do(h, c); w.Code != 401 || !strings.Contains(w.Body.String(), "http.password_hash") {
			t.Errorf("%s: got %d %s", c.path, w.Code, w.Body)
		}
	}
}

func TestBadHashIsSaid(t *testing.T) {
	h := Handler(Options{PasswordHash: "plain words"})
	if code, _, body := logInAs(h, "plain words", ""); code != 500 || !strings.Contains(body, "not a bcrypt hash") {
		t.Errorf("got %d %s", code, body)
	}
}

func TestPasswordSizes(t *testing.T) {
	h := Handler(Options{PasswordHash: hashed(t)})
	for _, word := range []string{"", strings.Repeat("x", 73)} {
		if code, _, body := logInAs(h, word, ""); code != 400 {
			t.Errorf("%d bytes: got %d %s", len(word), code, body)
		}
	}
}

// A configuration may open this computer itself; the network needs the password all the same.
func TestOpenLoopback(t *testing.T) {
	store := &shop{}
	h := Handler(Options{Live: always(linnet(0)), Records: store, PasswordHash: hashed(t), OpenLoopback: true})
	note := call{method: "POST", path: "/api/v1/events", body: `{"kind":"note","text":"x"}`}
	for from, want := range map[string]int{"127.0.0.1:4000": 201, "[::1]:4000": 201, "192.168.7.20:4000": 401,
		"[2001:db8::1]:4000": 401} {
		note.from = from
		if w := do(h, note); w.Code != want {
			t.Errorf("from %s: got %d %s, want %d", from, w.Code, w.Body, want)
		}
	}
}

func TestGuessingIsSlow(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	tr := newLoginLimit(func() time.Time { return now })
	for i := range guessesPerPeer {
		if _, ok := tr.take("192.168.7.31:4000"); !ok {
			t.Fatalf("try %d was refused", i+1)
		}
	}
	wait, ok := tr.take("192.168.7.31:4001")
	if ok || wait != guessEvery {
		t.Fatalf("try %d: ok %v, wait %v", guessesPerPeer+1, ok, wait)
	}
	if _, ok := tr.take("192.168.7.32:4000"); !ok {
		t.Error("one person's mistakes shut out another")
	}
	now = now.Add(guessEvery)
	if _, ok := tr.take("192.168.7.31:4002"); !ok {
		t.Error("waiting did not help")
	}
	if _, ok := tr.take("192.168.7.31:4002"); ok {
		t.Error("one wait gave two tries")
	}
	// One IPv6 host may choose any address of its /64.
	for i := range guessesPerPeer {
		tr.take(fmt.Sprintf("[2001:db8::%d]:4000", i+1))
	}
	if _, ok := tr.take("[2001:db8::ffff]:4000"); ok {
		t.Error("a fresh address of the same network got a fresh start")
	}
	// Many addresses together meet the bucket of all, and the memory for them is bounded.
	heard := 0
	for i := range 5000 {
		if _, ok := tr.take(fmt.Sprintf("10.1.%d.%d:1", i/250, i%250)); ok {
			heard++
		}
	}
	if heard > guessesInAll || len(tr.each) > maxGuessers {
		t.Errorf("%d guesses heard at once, %d addresses kept", heard, len(tr.each))
	}
}

func TestLoginIsLimited(t *testing.T) {
	h := Handler(Options{PasswordHash: hashed(t)})
	for range guessesPerPeer {
		if code, cookies, _ := logInAs(h, "wrong", "192.168.7.31:4000"); code != 401 || len(cookies) != 0 {
			t.Fatalf("wrong password: %d, %d cookies", code, len(cookies))
		}
	}
	w := do(h, call{method: "POST", path: "/api/v1/login", body: `{"password":"` + password + `"}`,
		from: "192.168.7.31:4000"})
	if w.Code != 429 || w.Header().Get("Retry-After") == "" {
		t.Errorf("got %d, Retry-After %q", w.Code, w.Header().Get("Retry-After"))
	}
	if code, _, body := logInAs(h, password, "192.168.7.40:4000"); code != 200 {
		t.Errorf("another address: %d %s", code, body)
	}
}

func TestSessionsEnd(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	l := newLogin("")
	l.now = func() time.Time { return now }
	holds := func(token string) bool {
		r, _ := http.NewRequest("GET", "/", nil)
		r.AddCookie(&http.Cookie{Name: cookieName, Value: token})
		return l.holds(r)
	}
	first := l.open()
	now = now.Add(loginLasts - time.Second)
	if !holds(first) {
		t.Error("ended early")
	}
	now = now.Add(time.Second)
	if holds(first) {
		t.Error("did not end")
	}
	oldest := l.open()
	for range maxSessions {
		now = now.Add(time.Second)
		l.open()
	}
	if len(l.sessions) > maxSessions || holds(oldest) {
		t.Errorf("%d sessions kept, the oldest still good: %v", len(l.sessions), holds(oldest))
	}
}
