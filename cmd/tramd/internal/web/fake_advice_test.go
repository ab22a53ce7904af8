package web

import (
	"context"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep/advice"
	"tramd/sweep/units"
)

// someJob is a job under way on linnet, made by the adviser itself: one move made, the next to come.
type someJob struct {
	advice.Answer
	Limit     float64          `json:"limit_mm_per_m"`
	Run       int64            `json:"run"`
	MustSweep bool             `json:"must_sweep"`
	Adjusters []map[string]any `json:"adjusters"`
	Job       []map[string]any `json:"job"`
	Cutters   []map[string]any `json:"cutters"`
	Aims      []map[string]any `json:"aims"`

	TighteningMM float64 `json:"tightening_mm"`
}

func someAdvice(t testing.TB) someJob {
	t.Helper()
	tolerance, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	a, err := advice.Advise(advice.Problem{
		Tolerance: tolerance,
		Adjusters: []advice.Adjuster{
			{Name: "swing", Unit: "mm", Tilt: 4.2,
				Words: advice.Words{Plus: "swing the plate's top edge {} to the right",
					Minus: "swing the plate's top edge {} to the left", Loosens: true}},
			{Name: "lower shim", Unit: "mm", Nod: 7.1, Step: 0.05,
				Words: advice.Words{Plus: "pack {} behind the lower bolts",
					Minus: "take {} out from behind the lower bolts"}},
		},
		History: []advice.Entry{
			{Tilt: 0.9, Nod: -0.6, TiltU: 0.01, NodU: 0.01, Moved: map[string]float64{"swing": -0.2}},
			{Tilt: 0.2, Nod: -0.7, TiltU: 0.01, NodU: 0.01},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	return someJob{
		Answer: a, Limit: 0.0667, Run: 12,
		Adjusters: []map[string]any{
			{"name": "swing", "unit": "mm", "notes": "two M8 at the plate's lower edge are the pivot"},
			{"name": "lower shim", "unit": "mm", "notes": ""},
		},
		Job: []map[string]any{
			{"run": 11, "started_at": at, "verdict": "outside", "tilt_mm_per_m": 0.9, "tilt_U_mm_per_m": 0.02,
				"nod_mm_per_m": -0.6, "nod_U_mm_per_m": 0.02,
				"moved": map[string]float64{"swing": -0.2}, "told": []string{"new shim stock"}},
			{"run": 12, "started_at": at.Add(20 * time.Minute), "verdict": "outside", "tilt_mm_per_m": 0.2,
				"tilt_U_mm_per_m": 0.02, "nod_mm_per_m": -0.7,
				"nod_U_mm_per_m": 0.02, "moved": map[string]float64{}, "told": []string{}},
		},
		TighteningMM: 0.005,
		Aims: []map[string]any{{"adjuster": "swing", "by": a.Moves[0].By, "indicator": "lever", "spindle_deg": 0,
			"change_mm": -0.1, "u_mm": 0.01,
			"say": "Park the arm at 0°."}},
		Cutters: []map[string]any{{"cutter": "6 mm flat", "say": "6 mm flat: steps of 0.003 mm between passes."}},
	}
}

func adviceOf(v any) func(context.Context) (api.Advice, error) {
	return func(context.Context) (api.Advice, error) { return as[api.Advice](v), nil }
}
