package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"testing"
)

func TestEveryKindHasItsStatus(t *testing.T) {
	seen := map[int]Kind{}
	for i := range statuses {
		k := Kind(i)
		if other, twice := seen[k.Status()]; twice || k.Status() < 400 || http.StatusText(k.Status()) == "" {
			t.Errorf("kind %d has status %d, as kind %d has", k, k.Status(), other)
		}
		seen[k.Status()] = k
	}
}

func TestAnErrorKeepsItsKindAndItsCause(t *testing.T) {
	cause := errors.New("disk is full")
	for err, want := range map[error]Kind{
		Full.Of(cause): Full,
		fmt.Errorf("start: %w", Conflict.New("busy")):    Conflict,
		NotFound.Errorf("run %d: %w", 7, cause):          NotFound,
		fmt.Errorf("read: %w", &http.MaxBytesError{}):    TooLarge,
		fmt.Errorf("wait: %w", context.DeadlineExceeded): Unavailable,
		cause: Internal,
	} {
		if got := KindOf(err); got != want {
			t.Errorf("%v: kind %d, want %d", err, got, want)
		}
	}
	if err := NotFound.Errorf("run %d: %w", 7, cause); !errors.Is(err, cause) || err.Error() != "run 7: disk is full" {
		t.Errorf("%v", err)
	}
}
