package frame

// fault is the reason why a frame was refused.
type fault uint8

const (
	noFault       fault = iota
	faultGarbage        // holds no number where one belongs
	faultNotText        // control characters or bytes beyond ASCII: a wrong baud rate, mostly
	faultTooLong        // longer than maxLine
	faultNumber         // a number, but not one signed decimal: "12.3.4", "1,234.5", "--1", "5.", "1e3"
	faultUnit           // a unit that the frame does not know, or none where one is needed
	faultRange          // beyond what an indicator or an encoder can show
	faultStatus         // a message about the instrument's state ("err 3", "batt 2.9"), not a reading
	faultNoMatch        // text that does not fit the user's pattern
	faultDigit          // a nibble that is no digit, sign, place or unit where one belongs
	faultShort          // a frame that a silence cut off, or a burst that is no whole number of frames
	faultJunk           // bytes that belong to no frame: counted once for each loss of step
	faultCheck          // the check value is wrong
	faultRefused        // the instrument answered that it cannot
	faultNoAnswer       // the instrument did not answer in its time
	faultUnasked        // an answer that nothing was asked for, or that came too late to know what it answers
	faultWidth          // a line of another width than all before it: a character was lost or doubled
	faultTooClose       // whole lines so close behind a pulse that they count as the same
	faultReasons        // how many there are
)

var faultNames = [faultReasons]string{
	faultGarbage: "garbage",
	faultNotText: "not_text",
	faultTooLong: "too_long",
	faultNumber:  "bad_number",
	faultUnit:    "bad_unit",
	faultRange:   "out_of_range",
	faultStatus:  "status",

	faultNoMatch:  "no_match",
	faultDigit:    "bad_digit",
	faultShort:    "short_frame",
	faultJunk:     "junk",
	faultCheck:    "bad_checksum",
	faultRefused:  "refused",
	faultNoAnswer: "no_answer",
	faultUnasked:  "unasked",
	faultWidth:    "odd_width",
	faultTooClose: "too_close",
}

// textReasons are those of a frame that is a line of text.
var textReasons = []fault{faultGarbage, faultNotText, faultTooLong, faultNumber, faultUnit, faultRange, faultStatus,
	faultWidth}

// faultCount counts refused lines by reason.
type faultCount struct {
	by      [faultReasons]uint64
	total   uint64
	reasons []fault // those the frame can give; nil: textReasons
}

func (c *faultCount) add(f fault) {
	c.by[f]++
	c.total++
}

// Faults gives the number of refused frames by reason. Every reason that the kind of frame knows is present, at zero if
// it never occurred, so that a counter made of it exists before the first fault.
func (c *faultCount) Faults() map[string]uint64 {
	reasons := c.reasons
	if reasons == nil {
		reasons = textReasons
	}
	m := make(map[string]uint64, len(reasons))
	for _, f := range reasons {
		m[faultNames[f]] = c.by[f]
	}
	return m
}

func (c *faultCount) FaultTotal() uint64 { return c.total }
