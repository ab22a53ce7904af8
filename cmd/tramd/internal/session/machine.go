package session

// InputState is an input line of the machine.
type InputState struct {
	Name   string  `json:"name"`
	State  string  `json:"state"` // on | off | unknown
	SinceS float64 `json:"since_s"`
	Error  string  `json:"error"`
}

// HoursState is how long the spindle has run, as it is on disk.
type HoursState struct {
	Hours *float64 `json:"hours"` // nil: not known yet
	From  string   `json:"from"`  // what counts them
	Error string   `json:"error"`
}

// MachineRole is the role of a port on which the machine is asked about itself. Readings go on without it.
const MachineRole = "machine"
