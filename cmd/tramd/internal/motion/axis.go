package motion

import "strconv"

// Axis is what a program moves.
type Axis uint8

// Axes.
const (
	Arm      Axis = iota // the spindle with its arm, by angles in degrees
	Carriage             // an axis that carries an indicator along a line, by positions in millimetres
)

// The fastest feeds that are accepted: an indicator is moved over a surface slowly.
const (
	armFeedMost      = 1800 // degrees a minute
	carriageFeedMost = 3000 // millimetres a minute
)

// FeedMost returns the fastest feed that is accepted, in the axis's unit a minute.
func (a Axis) FeedMost() float64 {
	if a == Carriage {
		return carriageFeedMost
	}
	return armFeedMost
}

// Text writes a target, or a distance, as people read it.
func (a Axis) Text(x float64) string {
	text := strconv.FormatFloat(x, 'f', -1, 64)
	if a == Carriage {
		return text + " mm"
	}
	return text + "°"
}

// hole names the target in a command.
func (a Axis) hole() string {
	if a == Carriage {
		return "mm"
	}
	return "deg"
}

func (a Axis) unit() string {
	if a == Carriage {
		return "mm"
	}
	return "degrees"
}
