package device

import (
	"time"

	"tramd/device/frame"
)

// Stamp and Sample are those of package frame, under the name of the package that hands them out.
type (
	Stamp  = frame.Stamp
	Sample = frame.Sample
)

var origin = time.Now()

// Now reads the monotonic clock.
func Now() Stamp { return Stamp(time.Since(origin)) }
