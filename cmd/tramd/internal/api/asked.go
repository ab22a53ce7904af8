package api

// NewEvent is something that happened to the machine, as a client sends it.
type NewEvent struct {
	Kind  string             `json:"kind"`
	Text  string             `json:"text"`
	Run   int64              `json:"run"`   // the run it belongs to; 0: none
	Moved map[string]float64 `json:"moved"` // of adjusted: how much, by adjuster

	Tightened *Tightened `json:"tightened"` // of adjusted: what tightening did to a parked arm
}

// Tightened is what a parked arm read before and after its adjuster was tightened, mm.
type Tightened struct {
	LooseMM float64 `json:"loose_mm"`
	TightMM float64 `json:"tight_mm"`
}

// Wanted is a measurement of the configuration that a person asks for.
type Wanted struct {
	Kind    string `json:"kind"`    // traverse, bar or travel
	Name    string `json:"name"`    // empty: the only one
	Purpose string `json:"purpose"` // check or adjust
	Typed   bool   `json:"typed"`   // a plain dial is read, and its readings typed
}
