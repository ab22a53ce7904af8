package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep/drift"
)

type driftFunc func() (*drift.View, error)

func (f driftFunc) Drift(context.Context) (*drift.View, error) { return f() }

func TestDriftAnswers(t *testing.T) {
	for _, x := range []struct {
		name  string
		drift Drift
		want  int
		says  string
	}{
		{"none", nil, http.StatusServiceUnavailable, "started without it"},
		{"not yet", driftFunc(func() (*drift.View, error) {
			return nil, api.Unavailable.New("still being worked through")
		}), http.StatusServiceUnavailable, "still being"},
		{"there", driftFunc(func() (*drift.View, error) { return &drift.View{Total: 3}, nil }), http.StatusOK,
			`"total":3`},
	} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest(http.MethodGet, "http://localhost/api/v1/drift", nil)
		Handler(Options{Drift: x.drift, Local: true}).ServeHTTP(w, r)
		if w.Code != x.want || !strings.Contains(w.Body.String(), x.says) {
			t.Errorf("%s: %d %s", x.name, w.Code, w.Body.String())
		}
	}
	if got := api.KindOf(api.Invalid.Of(errors.New("hours \"a lot\""))).Status(); got != http.StatusBadRequest {
		t.Errorf("a caller's mistake is answered with %d", got)
	}
}
