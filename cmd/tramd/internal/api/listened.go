package api

// Listened is one read of a port.
type Listened struct {
	Seconds float64  `json:"t_s"`
	Asked   bool     `json:"asked"`          // true: these bytes were written to the port
	Bytes   string   `json:"hex"`            // of the read
	Read    []string `json:"read,omitempty"` // what they were read as, and "bad: REASON"
}

// ListenedInput is a state of an input.
type ListenedInput struct {
	Seconds float64 `json:"t_s"`
	State   string  `json:"state"`
}

// ListenedSum is the sum at the end.
type ListenedSum struct {
	Readings uint64            `json:"readings"`
	Seconds  float64           `json:"seconds"`
	Asked    uint64            `json:"asked"`
	Answered uint64            `json:"answered"`
	Faults   map[string]uint64 `json:"faults"`
}
