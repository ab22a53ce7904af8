package drift

import "fmt"

// Entry is one line of a history: a check or an event.
type Entry struct {
	Check *Check
	Event *Event
	Place int // the line of the file, or the number of the run; 0: not known

	Surface string // of a check: what was swept
}

// Follow takes in a whole history, both axes side by side, and gives what Tracker would have said check by check, and
// the tracker as it then stands.
func (t *Tracker) Follow(entries []Entry) ([]Row, error) { return t.follow(entries, nil) }

// part is how many rows are handed on at a time.
const part = 1024

// follow hands rows on as they are ready, while those after them are worked out; whether the history can be followed at
// all is known before the first of them. An error of each ends the handing on, and is given back.
func (t *Tracker) follow(entries []Entry, each func([]Row) error) ([]Row, error) {
	met := make([]circumstances, 0, len(entries))
	rows := make([]Row, 0, len(entries))
	for _, e := range entries {
		var err error
		if e.Event != nil {
			err = t.noteEvent(*e.Event)
		} else {
			var m circumstances
			m, err = t.noteCheck(e.Check)
			met, rows = append(met, m), append(rows, Row{Time: e.Check.Time})
		}
		if err != nil {
			return nil, fmt.Errorf("%d: %w", e.Place, err)
		}
	}
	var alarms [2][][]Alarm
	var ready [2]chan int // how many rows are
	for i, a := range t.axes {
		alarms[i] = make([][]Alarm, len(rows))
		ready[i] = make(chan int, len(rows)/part+1)
		leans := make([]Lean, len(rows))
		go func() {
			k := 0
			for _, e := range entries {
				if e.Event != nil {
					a.event(*e.Event)
					continue
				}
				rows[k].Axis[i], alarms[i][k] = a.check(e.Check, i, t.began, &met[k], &leans[k])
				if k++; k%part == 0 {
					ready[i] <- k
				}
			}
			ready[i] <- k
			close(ready[i])
		}()
	}
	var err error
	from := 0
	for to := range ready[0] {
		<-ready[1]
		for k := from; k < to; k++ {
			if len(alarms[0][k])+len(alarms[1][k]) > 0 {
				rows[k].Alarms = append(alarms[0][k], alarms[1][k]...)
			}
			rows[k].Alarm = worst(rows[k].Alarms)
		}
		if each != nil && err == nil && to > from {
			err = each(rows[from:to])
		}
		from = to
	}
	<-ready[1] // closed
	return rows, err
}
