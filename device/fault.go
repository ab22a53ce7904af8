package device

// fault is the reason why a line was refused.
type fault uint8

const (
	noFault      fault = iota
	faultGarbage       // holds no number where one belongs
	faultNotText       // control characters or bytes beyond ASCII: a wrong baud rate, mostly
	faultTooLong       // longer than maxLine
	faultNumber        // a number, but not one signed decimal: "12.3.4", "1,234.5", "--1", "5.", "1e3"
	faultUnit          // a unit that the frame does not know, or none where one is needed
	faultRange         // beyond what an indicator or an encoder can show
	faultStatus        // a message about the instrument's state ("err 3", "batt 2.9"), not a reading
	faultReasons       // how many there are
)

var faultNames = [faultReasons]string{
	faultGarbage: "garbage",
	faultNotText: "not_text",
	faultTooLong: "too_long",
	faultNumber:  "bad_number",
	faultUnit:    "bad_unit",
	faultRange:   "out_of_range",
	faultStatus:  "status",
}

// faultCount counts refused lines by reason.
type faultCount struct {
	by    [faultReasons]uint64
	total uint64
}

func (c *faultCount) add(f fault) {
	c.by[f]++
	c.total++
}

// Faults gives the number of refused lines by reason. Every reason is present, at zero if it never occurred, so that
// a counter made of it exists before the first fault.
func (c *faultCount) Faults() map[string]uint64 {
	m := make(map[string]uint64, faultReasons-1)
	for f := faultGarbage; f < faultReasons; f++ {
		m[faultNames[f]] = c.by[f]
	}
	return m
}

func (c *faultCount) faultTotal() uint64 { return c.total }
