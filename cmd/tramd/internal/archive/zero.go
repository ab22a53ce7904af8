package archive

import (
	"context"
	"encoding/json"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// encoderIdentity returns what a pointed zero belongs to: the encoder, its wheels and how the indicators sit on the
// arm. A zero of another one is not taken up.
func (a *Archive) encoderIdentity() string {
	x := a.Config.Angle
	var phases []float64
	for _, ind := range a.Config.Indicators {
		phases = append(phases, ind.PhaseDeg)
	}
	text, err := json.Marshal(struct {
		Port      string    `json:"port"`
		Counts    int64     `json:"counts_per_turn"`
		Bits      int       `json:"counter_bits,omitempty"`
		Spindle   int64     `json:"spindle_teeth,omitempty"`
		Encoder   int64     `json:"encoder_teeth,omitempty"`
		IndexMark string    `json:"index_mark,omitempty"`
		Phases    []float64 `json:"phases_deg"`
	}{x.Port, x.CountsPerTurn, x.CounterBits, x.SpindleTeeth, x.EncoderTeeth, x.IndexMark, phases})
	if err != nil {
		return "" // numbers and text are always written
	}
	return string(text)
}

// RecallZero sets out with the zero that a person pointed last, where the encoder's index mark has kept it.
func (a *Archive) RecallZero(ctx context.Context, angle *session.AngleRoute) {
	z, err := a.Store.LastZero(ctx, a.encoderIdentity())
	if err != nil {
		a.Log.Warn("the zero of the encoder cannot be looked up; it is asked for again", "error", err)
		return
	}
	if z == nil {
		return
	}
	angle.Kept = &session.KeptZero{At: z.At, ZeroDeg: z.ZeroDeg, Reversed: z.Reversed, IndexDeg: z.IndexDeg}
	if z.IndexDeg != nil && angle.IndexMark {
		angle.Encoder.IndexDeg, angle.Encoder.Reversed = z.IndexDeg, z.Reversed
	}
}

// KeepZero stores a zero that a person pointed.
func (a *Archive) KeepZero(ctx context.Context, z session.KeptZero) error {
	return a.Store.PutZero(ctx, store.Zero{
		At: z.At, ClockSet: a.ClockSet(), Encoder: a.encoderIdentity(), Setup: a.Config.Setup(), ZeroDeg: z.ZeroDeg,
		Reversed: z.Reversed, IndexDeg: z.IndexDeg,
	})
}
