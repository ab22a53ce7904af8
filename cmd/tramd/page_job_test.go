package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
)

// pageAdjusters are what linnet's owner says of the machine; how it really answers is in personWithASpanner.
const pageAdjusters = `
[[adjuster]]
name = "swing"
kind = "swing"
lever_mm = 240.0
leans = "right"
[[adjuster]]
name = "lower shim"
kind = "shim"
spacing_mm = 140.0
leans = "back"
step = 0.01
`

// personWithASpanner does what the page says. The plate gives less than the drawing has it and upsets the other axis;
// each tightening leaves something behind.
type personWithASpanner struct {
	tilt, nod float64 // the truth, mm/m
	moves     int
}

func (p *personWithASpanner) move(t *testing.T, m *otherMachine, moved map[string]float64) {
	t.Helper()
	swing, shim := moved["swing"], moved["lower shim"]
	p.tilt += swing*1000/240*0.75 + shim*1000/140*0.15 + 0.006
	p.nod += swing*1000/240*-0.2 + shim*1000/140*1.1 - 0.004
	p.moves++
	if _, err := io.WriteString(m.in, fmt.Sprintf("lean %.6f %.6f\n", p.tilt, p.nod)); err != nil {
		t.Fatal(err)
	}
}

// A whole job by touch on a phone, from the first sweep to the printed record, against a machine behind real ptys:
// sweep, move what the page says, log it, sweep again, until the page says stop. What it then says is true of the
// machine.
func TestAWholeJobByTouch(t *testing.T) {
	t.Parallel()
	person := &personWithASpanner{tilt: 0.9, nod: -0.6}
	m := startOther(t, "--tilt", "0.9", "--nod", "-0.6", "--rate", "200", "--encoder-rate", "200", "--seconds", "4",
		"--turns", "1.05", "--noise", "0.001")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.addTo(t, pageAdjusters)
	s.givePassword(t)
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	p := newPhone(t, "http://"+s.page+"/")

	const most = 6
	done := false
	for sweeps := 1; !done; sweeps++ {
		if sweeps > most+1 {
			t.Fatalf("not done after %d moves: the truth is tilt %.3f, nod %.3f mm/m", person.moves, person.tilt,
				person.nod)
		}
		ask[string](p, `document.querySelector('#purpose').value = 'adjust'`)
		p.tap("#start")
		if sweeps == 1 { // the password and the cautions are asked for once
			p.until(`document.querySelector('#login').open`)
			ask[string](p, `document.querySelector('#password').value = 'instrument-case'`)
			p.tap("#login-form button")
			p.tap("#caution-ok")
		}
		p.until(`document.querySelector('#say').textContent.includes('Turn the arm')`)
		m.turn(t)
		p.until(
			fmt.Sprintf(
				`document.querySelector('#news').textContent.endsWith('no sweep') && document.querySelectorAll('#travel li').length === %d`, sweeps))
		var advice struct {
			Done  bool
			Moves []struct {
				Adjuster string
				By       float64
			}
		}
		if err := json.Unmarshal([]byte(get(t, "http://"+s.page+"/api/v1/advice")), &advice); err != nil {
			t.Fatal(err)
		}
		if done = advice.Done; done {
			break
		}
		p.until(`!document.querySelector('#next').hidden`) // the next act is to adjust
		p.tap("#next")
		// The person goes by what stands on the page: the amounts in the form are those of the sentences.
		p.until(`document.querySelectorAll('#moves li').length > 0`)
		p.picture(fmt.Sprintf("real-job-%d", sweeps))
		moved := map[string]float64{}
		for _, a := range advice.Moves {
			moved[a.Adjuster] = a.By
		}
		p.until(
			fmt.Sprintf(`[...document.querySelectorAll('#moved-rows input')].filter(e => e.value !== '').length === %d`,
				len(moved)))
		person.move(t, m, moved)
		p.tap("#moved-log")
		p.until(`document.querySelector('#moved-answer').textContent.startsWith('Logged')`)
		ask[string](p, `document.querySelector('#moved-answer').textContent = ''`)
		p.view("now")
		p.until(`document.querySelector('#say').textContent.includes('Sweep again')`)
	}
	const limit = 0.02 / 300 * 1000
	if math.Abs(person.tilt) > limit || math.Abs(person.nod) > limit {
		t.Errorf("the page says stop, but the truth is tilt %.4f, nod %.4f mm/m, past %.4f", person.tilt,
			person.nod, limit)
	}
	p.view("adjust")
	p.until(`document.querySelector('#job-why').textContent.includes('Stop here')`)
	p.picture("real-job-done")
	p.tap("#travel-part .print")
	p.arrived(`document.title.includes('squaring the spindle')`)
	sheet := ask[string](p, `document.body.innerText`)
	for _, want := range []string{"Before and after", "within", "swing",
		fmt.Sprintf("after (run %d)", person.moves+1)} {
		if !strings.Contains(sheet, want) {
			t.Errorf("the record lacks %q:\n%s", want, sheet)
		}
	}
	p.picture("real-job-record")
	t.Logf("within after %d moves", person.moves)
}
