package device

import (
	"errors"
	"fmt"
	"time"

	"tramd/device/frame"
)

// Asking says how a port is asked. With the zero value it is not asked at all.
type Asking struct {
	Asks     []frame.Ask   // in turn; a modbus port makes its own
	Every    time.Duration // from one question to the next; 0: a tenth of a second
	Answer   time.Duration // how long an answer may take; 0: half a second
	OnDemand bool          // only when Device.Ask is called
}

// withDefaults checks what is asked. A modbus port asks by itself.
func (a Asking) withDefaults(modbus bool) (Asking, error) {
	if modbus && len(a.Asks) > 0 {
		return a, errors.New("a modbus indicator has its own questions: remove ask")
	}
	for _, x := range a.Asks {
		if x.Request == "" || len(x.Request) > frame.MaxRequest {
			return a, fmt.Errorf("question %q: write 1 to %d bytes", x.Request, frame.MaxRequest)
		}
	}
	if a.Every < 0 || a.Answer < 0 {
		return a, errors.New("the time between questions or for an answer is negative: write a positive one")
	}
	if len(a.Asks) == 0 && !modbus && (a.OnDemand || a.Every != 0 || a.Answer != 0) {
		return a, errors.New("it is said when to ask, but not what: write ask")
	}
	if a.Every == 0 {
		a.Every = defaultEvery
	}
	if a.Answer == 0 {
		a.Answer = defaultAnswer
	}
	return a, nil
}

const (
	defaultEvery  = 100 * time.Millisecond
	defaultAnswer = 500 * time.Millisecond
)
