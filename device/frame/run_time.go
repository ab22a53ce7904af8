package frame

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// MaxRunTimeHours bounds what a counter of running time may show: more than a thousand years are no machine's.
const MaxRunTimeHours = 1e7

// timeUnits are in milliseconds.
var timeUnits = map[string]float64{"h": 3.6e6, "min": 6e4, "s": 1e3, "ms": 1}

// parseRunTime reads the time of one count, "0.1 h", "1 min" or "1 h / 100", and gives it in milliseconds.
func parseRunTime(text string) (float64, error) {
	bad := func() (float64, error) {
		return 0,
			fmt.Errorf(
				`%q is not the time of one count; write for example "1 h", "0.1 h", "1 min", "1 s" or "1 h / 100"`,
				text)
	}
	length, counts, divided := strings.Cut(text, "/")
	d, rest, f := scanDecimal([]byte(strings.TrimSpace(length)))
	unit, known := timeUnits[strings.TrimSpace(string(rest))]
	if f != noFault || !known || d.signed {
		return bad()
	}
	ms := float64(d.mant) / float64(pow10[d.frac]) * unit
	if divided {
		n, err := strconv.ParseUint(strings.TrimSpace(counts), 10, 32)
		if err != nil || n == 0 {
			return bad()
		}
		ms /= float64(n)
	}
	if !(ms >= 0.01 && ms <= 1000*timeUnits["h"]) {
		return bad()
	}
	return ms, nil
}

// CountTime is the time of one count of a counter; 0 where its scale is wrong.
func (r Register) CountTime() time.Duration {
	ms, _ := parseRunTime(r.Scale) // 0 with an error
	return time.Duration(ms * float64(time.Millisecond))
}

// runTime rounds to whole milliseconds what a counter can show: nothing below zero.
func runTime(ms float64) (int64, bool) {
	if !(ms >= 0 && ms < MaxRunTimeHours*timeUnits["h"]) { // NaN is not
		return 0, false
	}
	return int64(math.Round(ms)), true
}
