package web

import (
	"cmp"
	"net/http"
	"strconv"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// maxImport bounds a recorded sweep that is sent in: two million rows.
const maxImport = 64 << 20

// importSweep takes a recorded measurement as the body: CSV. The query says its file's name, when it was taken (RFC
// 3339), what for, at what temperature of the machine (degrees Celsius, where it is known), and whether it is wanted a
// second time; of one that is no sweep also its kind, where the columns do not say it, its subject, tolerance, and
// options as JSON.
func (s *server) importSweep(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	in := api.Recorded{Purpose: cmp.Or(q.Get("purpose"), "check"), Again: q.Get("again") == "1"}
	var err error
	in.Name, err = words("name", q.Get("name"), 1, 200)
	if err == nil {
		if in.At, err = time.Parse(time.RFC3339Nano, q.Get("at")); err != nil {
			err = api.Invalid.New("at: write when the sweep was taken, such as 2026-03-02T07:30:00Z")
		}
	}
	if text := q.Get("temperature_c"); err == nil && text != "" {
		celsius, bad := strconv.ParseFloat(text, 64)
		if bad != nil {
			err = api.Invalid.New("temperature_c: write degrees Celsius, such as 21.5, or leave it out")
		}
		in.TemperatureC = &celsius
	}
	for _, x := range []struct {
		key  string
		most int
		to   *string
	}{{"kind", 20, &in.Kind}, {"subject", 100, &in.Subject}, {"tolerance", 100, &in.Tolerance}} {
		if text := q.Get(x.key); err == nil && text != "" {
			*x.to, err = words(x.key, text, 1, x.most)
		}
	}
	if text := q.Get("options"); err == nil && text != "" {
		if len(text) > 2000 {
			err = api.Invalid.New("options: longer than 2000 bytes")
		}
		in.Own = []byte(text)
	}
	if err == nil && s.Imports == nil {
		err = noRecords
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	if !s.imports.take(r.Context()) {
		w.Header().Set("Retry-After", "60")
		s.fail(w, api.Unavailable.New("another import is under way: send this one again when it is done"))
		return
	}
	defer s.imports.free()
	out, err := s.Imports.Import(r.Context(), s.imports.body(w, r), in)
	if err != nil {
		s.fail(w, err)
		return
	}
	s.reply(w, http.StatusCreated, out)
}
