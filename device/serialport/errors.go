package serialport

import (
	"errors"
	"io"
)

// Why a port could not be opened. Each comes wrapped in a message that names the port and the cure.
var (
	ErrAbsent     = errors.New("port is absent")
	ErrPermission = errors.New("no permission")
	ErrInUse      = errors.New("port is in use")
)

// OpenError carries a whole sentence for people and the sentinel for code.
type OpenError struct {
	Text string
	Kind error
}

func (e *OpenError) Error() string { return e.Text }
func (e *OpenError) Unwrap() error { return e.Kind }

// LossText says why a stream ended. A vanished adapter shows as end of file or as an input/output error, by driver.
func LossText(err error) string {
	if err == nil || errors.Is(err, io.EOF) {
		return "the far end went away"
	}
	return err.Error()
}
