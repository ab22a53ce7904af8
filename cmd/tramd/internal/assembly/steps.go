package assembly

import (
	"fmt"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
)

// stepped returns a planned traverse as one whose places a motor goes to.
func stepped(cfg *config.Config, t *config.Traverse, m session.Measurement, w Wanted) (session.Measurement, error) {
	if typedBy(cfg, w) {
		return m,
			fmt.Errorf("a motor moves the axis along %s, and typed readings cannot stop it: write by_hand = true there",
				t.Name)
	}
	targets := make([]float64, len(m.Places))
	for i := range m.Places {
		targets[i] = m.Places[i].At
	}
	p := cfg.StepProgram(t, targets)
	m.Steps = &p
	return m, p.Check()
}
