package device

// widths notices a line of another width in a stream whose lines all have one. A line that lost a character or doubled one is
// still a number, and a wrong one: nothing but its width shows it.
//
// A sign is not counted, since many instruments write only the minus. A stream that goes on at another width, as when a
// reading passes 10, is taken again from its third line there, and must then show a width of its own anew. Lines further
// apart than slowLines are not judged: somebody presses a button for each.
type widths struct {
	on    bool
	width int
	same  int // lines in a row of that width
	odd   int // lines in a row of another
	other int // that other width
	last  Stamp
}

const (
	widthSure    = 32 // lines of one width in a row from which the width counts as constant
	widthSettled = 3  // lines of another width in a row that the stream has gone over to
	slowLines    = Stamp(1e9)
)

// fits reports whether a line of text that reads well is to be believed.
func (w *widths) fits(text []byte, name string, at Stamp) bool {
	if !w.on {
		return true
	}
	n := len(text) - len(name)
	for _, c := range text {
		if c == '-' || c == '+' {
			n--
		}
	}
	slow := at-w.last > slowLines
	w.last = at
	switch {
	case slow || w.same < widthSure:
		if n != w.width {
			w.width, w.same = n, 0
		}
		w.same, w.odd = w.same+1, 0
		if slow {
			w.same = 1
		}
		return true
	case n == w.width:
		w.odd = 0
		return true
	}
	if w.odd == 0 || n != w.other {
		w.other, w.odd = n, 0
	}
	if w.odd++; w.odd < widthSettled {
		return false
	}
	w.width, w.same, w.odd = n, 1, 0
	return true
}
