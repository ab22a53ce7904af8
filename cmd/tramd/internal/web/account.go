package web

import (
	"math"
	"net/http"
	"strconv"

	"golang.org/x/crypto/bcrypt"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/peerlimit"
)

const (
	needPassword = "nothing can be changed over the network until there is a password: run `tramd password` and put what it prints as http.password_hash into the config"
	needCert     = "nothing can be changed without a client certificate from the authority in http.client_ca; install one in the browser"
	needLogin    = "log in first: POST /api/v1/login {\"password\":\"...\"}, or use the login field of the page; the password is the one http.password_hash was made from by `tramd password`"
)

// changes lets a request through that may change something.
func (s *server) changes(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		switch {
		case s.may(r):
			next(w, r)
		case s.ClientCerts && s.PasswordHash == "":
			s.fail(w, api.Unauthorized.New(needCert))
		case s.PasswordHash == "":
			s.fail(w, api.Unauthorized.New(needPassword))
		default:
			s.fail(w, api.Unauthorized.New(needLogin))
		}
	}
}

// may reports whether a request comes from someone who may change things.
func (s *server) may(r *http.Request) bool {
	return s.Local || s.OpenLoopback && peerlimit.Peer(r.RemoteAddr).IsLoopback() || s.login.holds(r) ||
		s.ClientCerts && r.TLS != nil && len(r.TLS.VerifiedChains) > 0
}

// whoami tells the page what it may offer.
func (s *server) whoami(w http.ResponseWriter, r *http.Request) {
	s.reply(w, http.StatusOK, map[string]bool{
		"may_change":   s.may(r),
		"password_set": s.PasswordHash != "" && s.login.hashErr == nil,
	})
}

func (s *server) logIn(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Password string `json:"password"`
	}
	if err := decode(r, &in); err != nil {
		s.fail(w, err)
		return
	}
	switch {
	case s.Local:
		s.reply(w, http.StatusOK, map[string]bool{"may_change": true})
		return
	case s.PasswordHash == "":
		s.fail(w, api.Unauthorized.New(needPassword))
		return
	case s.login.hashErr != nil:
		s.fail(w, s.login.hashErr)
		return
	case in.Password == "" || len(in.Password) > maxPassword:
		s.fail(w, api.Invalid.New("write the password: 1 to 72 bytes"))
		return
	}
	if wait, ok := s.login.limit.take(r.RemoteAddr); !ok {
		sec := int(math.Ceil(wait.Seconds()))
		w.Header().Set("Retry-After", strconv.Itoa(sec))
		s.fail(w, api.TooMany.New("too many wrong passwords: wait "+strconv.Itoa(sec)+" s"))
		return
	}
	s.login.busy.Lock()
	err := bcrypt.CompareHashAndPassword(s.login.hash, []byte(in.Password))
	s.login.busy.Unlock()
	if err != nil {
		s.Log.Warn("wrong password", "from", r.RemoteAddr)
		s.fail(w, api.Unauthorized.New("wrong password"))
		return
	}
	s.login.limit.forgive(r.RemoteAddr)
	http.SetCookie(w, s.login.cookie(r, s.login.open(), int(loginLasts.Seconds())))
	s.reply(w, http.StatusOK, map[string]bool{"may_change": true})
}

func (s *server) logOut(w http.ResponseWriter, r *http.Request) {
	s.login.close(r)
	http.SetCookie(w, s.login.cookie(r, "", -1))
	s.reply(w, http.StatusOK, map[string]bool{"may_change": s.Local})
}
