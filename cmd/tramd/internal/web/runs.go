package web

import (
	"bufio"
	"fmt"
	"math"
	"net/http"
)

// Sizes of a page of runs.
const (
	defaultRuns = 20
	maxRuns     = 500
)

func (s *server) runs(r *http.Request) (any, error) {
	before, err := queryInt(r, "before", 0, math.MaxInt64, 0)
	var limit int64
	if err == nil {
		limit, err = queryInt(r, "limit", 1, maxRuns, defaultRuns)
	}
	if err == nil && s.Records == nil {
		err = noRecords
	}
	if err != nil {
		return nil, err
	}
	return s.Records.Runs(r.Context(), before, int(limit))
}

// recordID is the {id} of the path, where there is a record to look it up in.
func (s *server) recordID(r *http.Request) (int64, error) {
	id, err := pathID(r)
	if err == nil && s.Records == nil {
		err = noRecords
	}
	return id, err
}

func (s *server) run(r *http.Request) (any, error) {
	id, err := s.recordID(r)
	if err != nil {
		return nil, err
	}
	return s.Records.Run(r.Context(), id)
}

func (s *server) readings(w http.ResponseWriter, r *http.Request) {
	id, err := s.recordID(r)
	if err != nil {
		s.fail(w, err)
		return
	}
	file := &download{w: w, name: fmt.Sprintf("run-%d.csv", id)}
	out := bufio.NewWriterSize(file, 32<<10)
	if err = s.Records.WriteReadingsCSV(r.Context(), id, out); err == nil {
		err = out.Flush()
	}
	switch {
	case err == nil && !file.begun: // no readings at all
		_, _ = file.Write(nil)
	case err == nil:
	case !file.begun:
		s.fail(w, err)
	default:
		// Part of the file is on its way: only a broken connection can still say that it is not whole.
		s.Log.Warn("download broken off", "run", id, "why", err)
		panic(http.ErrAbortHandler)
	}
}

// download sends a file; its head goes out with the first piece, so that an error before it can still be answered.
type download struct {
	w     http.ResponseWriter
	name  string
	begun bool
}

func (d *download) Write(p []byte) (int, error) {
	if !d.begun {
		d.begun = true
		h := d.w.Header()
		h.Set("Content-Type", "text/csv; charset=utf-8; header=present")
		h.Set("Content-Disposition", `attachment; filename="`+d.name+`"`)
		h.Set("Cache-Control", "no-store")
		d.w.WriteHeader(http.StatusOK)
	}
	return d.w.Write(p)
}
