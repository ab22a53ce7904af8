package web

import (
	"net/http"
	"time"
)

// maxImport bounds a recorded sweep that is sent in: two million rows.
const maxImport = 64 << 20

// importSweep takes a recorded sweep as the body: CSV. The query says its name, when it was taken (RFC 3339), what for, and
// whether it is wanted a second time.
func (s *server) importSweep(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	name, err := words("name", q.Get("name"), 1, 200)
	var at time.Time
	if err == nil {
		if at, err = time.Parse(time.RFC3339Nano, q.Get("at")); err != nil {
			err = problem{http.StatusBadRequest, "at: write when the sweep was taken, such as 2026-03-02T07:30:00Z"}
		}
	}
	purpose := q.Get("purpose")
	if purpose == "" {
		purpose = "check"
	}
	if err == nil && s.Imports == nil {
		err = noRecords
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	out, err := s.Imports.Import(r.Context(), r.Body, name, at, purpose, q.Get("again") == "1")
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusCreated, out)
}
