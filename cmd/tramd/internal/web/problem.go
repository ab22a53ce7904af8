package web

import (
	"encoding/json"
	"net/http"
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

// reply sends v as JSON. It is encoded first, so that a value that cannot be encoded is an error and not half an
// answer.
func (s *server) reply(w http.ResponseWriter, code int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		s.Log.Error("answer cannot be written as JSON", "why", err)
		code, body = http.StatusInternalServerError, []byte(`{"error":"the answer could not be written as JSON; the log says why"}`)
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = w.Write(append(body, '\n'))
}
