package device

import "errors"

// Why a port could not be opened. Each comes wrapped in a message that names the port and the cure.
var (
	ErrAbsent     = errors.New("port is absent")
	ErrPermission = errors.New("no permission")
	ErrInUse      = errors.New("port is in use")
)

// portError carries a whole sentence for people and the sentinel for code.
type portError struct {
	text string
	kind error
}

func (e *portError) Error() string { return e.text }
func (e *portError) Unwrap() error { return e.kind }
