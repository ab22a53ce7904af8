package setup

import (
	"errors"
	"fmt"
	"math"
)

// Arm is an arm whose encoder is being read.
type Arm interface {
	Still() error                               // nil where it is read and stands still; else why not
	Place() int64                               // in the encoder's units
	TravelDeg(from, to int64) float64           // degrees of the spindle, positive where the encoder counts up
	SetZero(right int64, reversed bool) float64 // the spindle angle at which the encoder shows 0, in degrees
}

// Degrees of a turn towards the back that shows a direction.
const (
	leastTurnDeg = 20
	mostTurnDeg  = 160
)

// AskZero has the person point the arm right and then turn it towards the back, and gives the lines of [angle] that say
// what that showed. The direction of counting holds for good. The zero does only where the encoder keeps it while it is
// off.
func AskZero(a *Prompter, open func() (arm Arm, done func(), err error)) (lines string, kept bool, err error) {
	now,
		err := a.yes(
		"Is the encoder switched on, the spindle's power isolated, and the arm free to be turned by hand? Then where 0 degrees is can be shown now", false)
	if err != nil || !now {
		return "", false, err
	}
	arm, done, err := open()
	if err != nil {
		a.say("  %v; the first `tramd sweep` asks for the zero.", err)
		return "", false, nil
	}
	defer done()
	var right int64
	if err := a.press("Point the arm right, hold it still and press Enter", func() error {
		right = arm.Place()
		return arm.Still()
	}); err != nil {
		return "", false, err
	}
	var turned float64
	if err := a.press("Now turn the arm about a quarter turn towards the back, and press Enter", func() error {
		turned = arm.TravelDeg(right, arm.Place())
		if x := math.Abs(turned); x < leastTurnDeg || x > mostTurnDeg {
			return fmt.Errorf(
				"the encoder shows %.0f degrees since the arm pointed right; turn it about a quarter turn towards the back, the short way "+
					"(if it was turned so, counts of one turn is wrong: begin again with tramd setup --force)", x)
		}
		return nil
	}); err != nil {
		return "", false, err
	}
	zero := arm.SetZero(right, turned < 0)
	lines = fmt.Sprintf("reversed = %t   # shown by hand: true where it counts up clockwise, seen from above\n",
		turned < 0)
	kept, err = a.yes("Does the encoder show the same angle after it was switched off (an absolute encoder)", false)
	if err != nil {
		return "", false, err
	}
	if kept {
		lines += fmt.Sprintf(
			"zero_deg = %.1f   # pointed by eye\nzero_u_deg = 2.0   # how sure that is (standard uncertainty)\n", zero)
	}
	return lines, kept, nil
}

// press waits for Enter until take has nothing against it.
func (a *Prompter) press(say string, take func() error) error {
	return a.ask(say, "", func(answer string) error {
		if answer != "" {
			return errors.New("press Enter alone, or Ctrl-C to leave")
		}
		return take()
	})
}
