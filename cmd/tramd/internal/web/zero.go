package web

import (
	"context"
	"net/http"

	"tramd/cmd/tramd/internal/api"
)

// Zeros establishes where 0 degrees of an encoder is: a person points the arm right, presses, turns it towards the back
// and presses again.
type Zeros interface {
	Point(ctx context.Context, step api.ZeroStep) (*api.ZeroState, error)
	ForgetZero(ctx context.Context) (*api.ZeroState, error)
}

var noZeros = api.Unavailable.New("a zero cannot be set from here: the daemon was started without")

// pointZero takes a press: {"step":"right"}, then {"step":"back"}.
func (s *server) pointZero(r *http.Request) (any, error) {
	var in struct {
		Step string `json:"step"`
	}
	err := decode(r, &in)
	if err == nil {
		in.Step, err = words("step", in.Step, 1, 40)
	}
	if err == nil && s.Zeros == nil {
		err = noZeros
	}
	if err != nil {
		return nil, err
	}
	return s.Zeros.Point(r.Context(), api.ZeroStep(in.Step))
}

// forgetZero makes the zero unknown, after the encoder was mounted again.
func (s *server) forgetZero(r *http.Request) (any, error) {
	if s.Zeros == nil {
		return nil, noZeros
	}
	return s.Zeros.ForgetZero(r.Context())
}
