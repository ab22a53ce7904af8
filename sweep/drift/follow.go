package drift

import (
	"fmt"
	"sync"
)

// Entry is one line of a history: a check or an event.
type Entry struct {
	Check *Check
	Event *Event
	Place int // the line of the file, or the number of the run; 0: not known

	Surface string // of a check: what was swept
}

// Follow takes in a whole history, both axes side by side, and gives what Tracker would have said check by check, and the
// tracker as it then stands.
func (t *Tracker) Follow(entries []Entry) ([]Row, error) {
	met := make([]circumstances, 0, len(entries))
	for _, e := range entries {
		var err error
		if e.Event != nil {
			err = t.noteEvent(*e.Event)
		} else {
			var m circumstances
			m, err = t.noteCheck(e.Check)
			met = append(met, m)
		}
		if err != nil {
			return nil, fmt.Errorf("%d: %w", e.Place, err)
		}
	}
	n := len(met)
	rows := make([]Row, n)
	var alarms [2][][]Alarm
	var both sync.WaitGroup
	for i, a := range t.axes {
		alarms[i] = make([][]Alarm, n)
		leans := make([]Lean, n)
		both.Go(func() {
			k := 0
			for _, e := range entries {
				if e.Event != nil {
					a.event(*e.Event)
					continue
				}
				rows[k].Axis[i], alarms[i][k] = a.check(e.Check, i, t.began, &met[k], &leans[k])
				k++
			}
		})
	}
	both.Wait()
	k := 0
	for _, e := range entries {
		if e.Check == nil {
			continue
		}
		rows[k].Time = e.Check.Time
		if len(alarms[0][k])+len(alarms[1][k]) > 0 {
			rows[k].Alarms = append(alarms[0][k], alarms[1][k]...)
		}
		rows[k].Alarm = worst(rows[k].Alarms)
		k++
	}
	return rows, nil
}
