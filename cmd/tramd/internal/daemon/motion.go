package daemon

import (
	"context"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/motion"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
)

// motionOf gives the session its program and the way to the controller; nil where a hand turns the arm.
func motionOf(cfg *config.Config, unsafe func() string) *session.Motion {
	if cfg.Angle.Source != config.SourceProgram {
		return nil
	}
	return &session.Motion{Program: cfg.Motion(), Unsafe: unsafe, Open: func(ctx context.Context) (motion.Line, error) {
		line, err := device.OpenDialogue(ctx, cfg.MotionPort())
		if err != nil {
			return nil, err // never a nil *Dialogue inside a Line
		}
		return line, nil
	}}
}
