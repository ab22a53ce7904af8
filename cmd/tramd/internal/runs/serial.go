package runs

import (
	"fmt"

	"tramd/store"
	"tramd/sweep"
)

// WarnIndicatorChanged is the code of the warning that a run was taken with another indicator than the one before.
const WarnIndicatorChanged = "indicator_changed"

// lookBack is how many of the latest runs are searched for the last finished one of the same machine.
const lookBack = 10

func serialKnown(setup sweep.Setup) bool {
	for _, ind := range setup.Indicators {
		if ind.Serial != "" {
			return true
		}
	}
	return false
}

// changedIndicators compares the serial numbers with those of the last finished run of this machine; runs come latest
// first.
func changedIndicators(runs []store.Run, setup sweep.Setup) (out []sweep.Warning) {
	for _, r := range runs {
		if r.Outcome != store.Finished || r.Setup.Machine != setup.Machine {
			continue
		}
		for _, now := range setup.Indicators {
			for _, was := range r.Setup.Indicators {
				if was.Name == now.Name && was.Serial != "" && now.Serial != "" && was.Serial != now.Serial {
					out = append(out, sweep.Warning{Code: WarnIndicatorChanged, Text: fmt.Sprintf(
						"indicator %s is another one (serial %s) than in run %d (serial %s): what changed between the two may be the indicator",
						now.Name, now.Serial, r.ID, was.Serial)})
				}
			}
		}
		return out
	}
	return nil
}
