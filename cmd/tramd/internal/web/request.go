package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"unicode/utf8"
)

// decode reads one JSON object from the body into v. An empty body leaves v as it is.
func decode(r *http.Request, v any) error {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if errors.Is(err, io.EOF) {
		return nil
	}
	if err == nil {
		if _, more := d.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("more than one value")
			var big *http.MaxBytesError
			if errors.As(more, &big) {
				err = more
			}
		}
	}
	if err == nil {
		return nil
	}
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		return fmt.Errorf("body is longer than %d bytes: %w", big.Limit, err)
	}
	return api.Invalid.New("the body must be one JSON object: " + err.Error())
}

// pathID is the {id} of the path.
func pathID(r *http.Request) (int64, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || id <= 0 {
		return 0, api.Invalid.Errorf("run %.40q: a run is named by a whole number from 1", r.PathValue("id"))
	}
	return id, nil
}

// queryInt is a whole number from the query, or otherwise when it is not given.
func queryInt(r *http.Request, name string, low, high, otherwise int64) (int64, error) {
	text := r.URL.Query().Get(name)
	if text == "" {
		return otherwise, nil
	}
	v, err := strconv.ParseInt(text, 10, 64)
	if err != nil || v < low || v > high {
		return 0, api.Invalid.Errorf("%s=%.40q: write a whole number from %d to %d", name, text, low, high)
	}
	return v, nil
}

// words checks a text that will be stored and shown.
func words(name, text string, least, most int) (string, error) {
	text = strings.TrimSpace(text)
	if n := utf8.RuneCountInString(text); n < least || n > most || !utf8.ValidString(text) ||
		strings.ContainsRune(text, 0) {
		return "", api.Invalid.Errorf("%s: write %d to %d characters", name, least, most)
	}
	return text, nil
}
