package web

import (
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"net/http"
	"sync"
	"time"

	"golang.org/x/crypto/bcrypt"
)

const (
	cookieName  = "tramd_login"
	loginLasts  = 12 * time.Hour // a shift and its overtime
	maxSessions = 64
	maxPassword = 72 // bytes; bcrypt reads no further
)

// login keeps who is logged in. Sessions live in memory: a restart logs everybody out.
type login struct {
	hash    []byte
	hashErr error // why the hash cannot be used
	now     func() time.Time
	limit   *loginLimit
	busy    sync.Mutex // one password at a time: a comparison costs a tenth of a second of a small computer

	mu       sync.Mutex
	sessions map[string]time.Time // token to expiry
}

func newLogin(hash string) *login {
	l := &login{hash: []byte(hash), now: time.Now, sessions: map[string]time.Time{}}
	l.limit = newLoginLimit(func() time.Time { return l.now() })
	if hash != "" {
		if _, err := bcrypt.Cost(l.hash); err != nil {
			l.hashErr = fmt.Errorf("http.password_hash is not a bcrypt hash: %w; make one with `tramd password`", err)
		}
	}
	return l
}

// open makes a session and gives its token.
func (l *login) open() string {
	var raw [32]byte
	_, _ = rand.Read(raw[:]) // never fails: it ends the program instead
	token := base64.RawURLEncoding.EncodeToString(raw[:])
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	var oldest string
	for t, end := range l.sessions {
		if !end.After(now) {
			delete(l.sessions, t)
		} else if oldest == "" || end.Before(l.sessions[oldest]) {
			oldest = t
		}
	}
	if len(l.sessions) >= maxSessions {
		delete(l.sessions, oldest)
	}
	l.sessions[token] = now.Add(loginLasts)
	return token
}

// holds reports whether the request carries a session that is still good.
func (l *login) holds(r *http.Request) bool {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	end, ok := l.sessions[c.Value]
	return ok && end.After(l.now())
}

func (l *login) close(r *http.Request) {
	if c, err := r.Cookie(cookieName); err == nil {
		l.mu.Lock()
		delete(l.sessions, c.Value)
		l.mu.Unlock()
	}
}

func (l *login) cookie(r *http.Request, token string, age int) *http.Cookie {
	return &http.Cookie{
		Name: cookieName, Value: token, Path: "/", MaxAge: age,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	}
}
