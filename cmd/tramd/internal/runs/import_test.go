package runs

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
	"tramd/sweep"
)

// An import whose sender goes away before or while it is fitted leaves nothing in the record.
func TestAnImportThatWasCalledOffIsNotStored(t *testing.T) {
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "linnet.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, before := range []bool{true, false} {
		ctx, away := context.WithCancel(t.Context())
		if before {
			away()
		}
		fits := 0
		fit := func([]sweep.Point, sweep.Setup) (sweep.Result, error) {
			fits++
			away()
			return sweep.Result{}, nil
		}
		text := sweep.CSVHeader + "\n0,0,0.1,arm\n1,90,0.2,arm\n2,180,0.1,arm\n3,270,0.0,arm\n"
		setup := sweep.Setup{Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120}}}
		_, err := Import(ctx, s, strings.NewReader(text),
			api.Recorded{Name: "a.csv", At: time.Now(), Purpose: "check"}, setup, fit)
		if !errors.Is(err, context.Canceled) {
			t.Errorf("before the fit %v: %v", before, err)
		}
		if before == (fits > 0) {
			t.Errorf("before the fit %v: %d fits", before, fits)
		}
	}
	if list, err := s.List(t.Context(), 0, 10); err != nil || len(list) != 0 {
		t.Errorf("%d runs, %v", len(list), err)
	}
}
