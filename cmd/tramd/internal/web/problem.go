package web

import (
	"encoding/json"
	"net/http"
	"strings"

	"tramd/cmd/tramd/internal/api"
)

// fail answers with an error; one that is ours rather than the caller's is logged too.
func (s *server) fail(w http.ResponseWriter, err error) {
	kind := api.KindOf(err)
	if kind == api.Internal && s.KindOf != nil {
		kind = s.KindOf(err)
	}
	code := kind.Status()
	if kind == api.Internal {
		s.Log.Error("request failed", "why", err)
	}
	s.reply(w, code, map[string]string{"error": err.Error()})
}

// refuseUnknown answers an address of the API that is not served, or not by this method, as any other error: programs
// read JSON. The rest goes to mux.
func (s *server) refuseUnknown(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, pattern := mux.Handler(r)
		if pattern != "" || !strings.HasPrefix(r.URL.Path, "/api/") {
			mux.ServeHTTP(w, r)
			return
		}
		refusal := refusal{header: w.Header(), code: http.StatusOK}
		h.ServeHTTP(&refusal, r)
		s.reply(w, refusal.code, map[string]string{
			"error": r.Method + " is not served here; /api/v1/openapi.json lists what is"})
	})
}

// refusal takes the status and the headers of an answer, and not its text.
type refusal struct {
	header http.Header
	code   int
}

func (x *refusal) Header() http.Header         { return x.header }
func (x *refusal) WriteHeader(code int)        { x.code = code }
func (x *refusal) Write(p []byte) (int, error) { return len(p), nil }

// reply sends v as JSON. It is encoded first, so that a value that cannot be encoded is an error and not half an
// answer.
func (s *server) reply(w http.ResponseWriter, code int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		s.Log.Error("answer cannot be written as JSON", "why", err)
		code, body = http.StatusInternalServerError,
			[]byte(`{"error":"the answer could not be written as JSON; the log says why"}`)
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = w.Write(append(body, '\n'))
}
