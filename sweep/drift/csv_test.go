package drift

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

const head = CSVHeader + "\n"

func TestCSV(t *testing.T) {
	h, err := ReadCSV(strings.NewReader("\xef\xbb\xbf# linnet, the gantry router\n"+head+
		"2026-03-02T07:30:00Z,0.01,0.004,-0.02,0.004,120.5,\r\n"+
		"2026-03-03T08:30:00+01:00,0.011,,,,,\n"+
		"\n2026-03-04T07:30:00Z,,,,,,\"adjusted: swing, 0.2 mm\"\n"+
		"2026-03-05T07:30:00Z,0.02,0,-0.01,0.004,,Crashed\n"), 0.0667)
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Entries) != 5 {
		t.Fatalf("%d entries, want three checks and two events", len(h.Entries))
	}
	first, second, third := h.Entries[0].Check, h.Entries[1].Check, h.Entries[2].Event
	if first.SpindleHours != 120.5 || first.Axis[1].MMPerM != -0.02 || first.Axis[0].U != 0.004 ||
		first.Limit != 0.0667 {
		t.Errorf("%+v", first)
	}
	if second.Time.Hour() != 8 || second.Time.UTC().Hour() != 7 || second.Axis[1] != nil ||
		!math.IsNaN(second.Axis[0].U) || !math.IsNaN(second.SpindleHours) {
		t.Errorf("%+v", second)
	}
	if third.Kind != "adjusted" || third.Text != "adjusted: swing, 0.2 mm" || h.Entries[2].Place != 6 {
		t.Errorf("%+v in line %d", third, h.Entries[2].Place)
	}
	if e := h.Entries[3].Event; e == nil || e.Kind != "crashed" || h.Entries[4].Check == nil {
		t.Error("an event on a check's row must come just before it")
	}
	var codes []string
	for _, w := range h.Warnings {
		codes = append(codes, w.Code)
	}
	if got := strings.Join(codes, " "); got != "no_uncertainty zero_uncertainty" {
		t.Errorf("warnings %s", got)
	}
}

func TestCSVRefusesWithLineAndCure(t *testing.T) {
	for _, x := range []struct{ name, in, want string }{
		{"nothing", "", "nothing in it: write " + CSVHeader + " as the first row"},
		{"no header", "2026-03-02T07:30:00Z,0.01,0.004,-0.02,0.004,,\n",
			`line 1: found "2026-03-02t07:30:00z,0.01,0.004,-0.02,0.004,," where the header should be`},
		{"unknown column", "time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,hours,event\n",
			"line 1: found"},
		{"absurd temperature", CSVHeader + ",temperature_c\n2026-03-02T07:30:00Z,0.01,0.004,-0.02,0.004,,,21500\n",
			`line 2, column temperature_c: found "21500": write the machine's temperature in degrees Celsius, -40 to 80, or leave it empty`},
		{"no nod", "time,tilt_mm_per_m\n", "line 1: no column nod_mm_per_m"},
		{"twice", "time,tilt_mm_per_m,nod_mm_per_m,time\n", "line 1: column time twice: leave one out"},
		{"bad time", head + "02.03.2026,0.01,0.004,0,0.004,,\n",
			`line 2, column time: found "02.03.2026": write the time as 2026-03-02T07:30:00Z or with its zone as +01:00`},
		{"no zone", head + "2026-03-02T07:30:00,0.01,0.004,0,0.004,,\n", "line 2, column time"},
		{"not a number", head + "2026-03-02T07:30:00Z,level,0.004,0,0.004,,\n",
			`line 2, column tilt_mm_per_m: found "level": write a number with a decimal point, or leave it empty`},
		{"not finite", head + "2026-03-02T07:30:00Z,NaN,0.004,0,0.004,,\n", "line 2, column tilt_mm_per_m"},
		{"infinite u", head + "2026-03-02T07:30:00Z,0,Inf,0,0.004,,\n", "line 2, column tilt_u_mm_per_m"},
		{"negative u", head + "2026-03-02T07:30:00Z,0,-0.004,0,0.004,,\n",
			`line 2, column tilt_u_mm_per_m: found "-0.004": write the standard uncertainty in mm/m, above 0, or leave it empty`},
		{"u alone", head + "2026-03-02T07:30:00Z,,0.004,0,0.004,,\n",
			"line 2, column tilt_mm_per_m: found nothing: an uncertainty without a lean"},
		{"negative hours", head + "2026-03-02T07:30:00Z,0,0.004,0,0.004,-3,\n", "line 2, column spindle_hours"},
		{"neither", head + "2026-03-02T07:30:00Z,,,,,17,\n", "line 2: neither a check nor an event"},
		{"too few", head + "2026-03-02T07:30:00Z,0,0.004\n", "line 2: found 3 columns, not 7"},
		{"decimal comma", head + "2026-03-02T07:30:00Z,0,01,0,004,0,0,004,,\n",
			"line 2: found 10 columns, not 7: write " + CSVHeader + ", with a decimal point and not a comma"},
		{"out of order", head + "2026-03-02T07:30:00Z,0,0.004,0,0.004,,\n2026-03-01T07:30:00Z,0,0.004,0,0.004,,\n",
			"line 3, column time: 2026-03-01T07:30:00Z comes after 2026-03-02T07:30:00Z: sort the rows by time; if the clock was wrong, correct the time or take the row out"},
		{"open quote", head + "2026-03-02T07:30:00Z,0,0.004,0,0.004,,\"adj\n", "a quotation mark out of place"},
		{"not text", head + "2026-03-02T07:30:00Z,0,\x00\n", "not plain text: save the file as UTF-8"},
		{"huge", head + "2026-03-02T07:30:00Z,1e9,0.004,0,0.004,,\n", "line 2, column tilt_mm_per_m"},
	} {
		_, err := ReadCSV(strings.NewReader(x.in), 0)
		if err == nil || !strings.Contains(strings.ToLower(err.Error()), strings.ToLower(x.want)) {
			t.Errorf("%s: got %v, want %q", x.name, err, x.want)
		}
	}
}

// What cannot be relied on is said, and no date comes of it.
func TestDoubtfulHistories(t *testing.T) {
	day := func(n int, rest string) string { return "2026-03-" + two(n) + "T07:30:00Z," + rest + "\n" }
	var quiet strings.Builder
	for n := 1; n <= 20; n++ {
		quiet.WriteString(day(n, "0.01"+two(n*7%20)+",0.004,-0.02"+two(n*3%20)+",0.004,,"))
	}
	for _, x := range []struct {
		name, in, warning, why string
		next                   bool
	}{
		{"quiet", quiet.String(), "", "", true},
		{"one check", day(1, "0.01,0.004,0,0.004,,"), "", "one check only", true},
		{"one instant", strings.Repeat(day(1, "0.01,0.004,0,0.004,,"), 5), "same_instant", "within a day", true},
		{"an event last", quiet.String() + day(21, ",,,,,adjusted"), "", "no check since the last event", true},
		{"a note last", quiet.String() + day(21, ",,,,,note swept the floor"), "", "", true},
		{"clock not set in between", "1970-01-01T00:00:09Z,0.5,0.004,0,0.004,,\n" + quiet.String(),
			"clock_not_set", "", true},
		{"clock not set at the end", quiet.String() + "1970-01-01T00:00:09Z,0.5,0.004,0,0.004,,\n", "clock_not_set",
			"no believable time", false},
		{"months off", quiet.String() + "2026-09-01T07:30:00Z,0.01,0.004,-0.02,0.004,,\n", "gap", "", true},
		{"hours back", quiet.String() + day(21, "0.01,0.004,-0.02,0.004,50,") + day(22, "0.01,0.004,-0.02,0.004,2,"),
			"hours_went_back", "", true},
		{"no check", "", "", "no check yet", false},
	} {
		h, err := ReadCSV(strings.NewReader(head+x.in), 0.0667)
		if err != nil {
			t.Errorf("%s: %v", x.name, err)
			continue
		}
		var b bytes.Buffer
		a, err := WorkJSON(&b, h, 0.95)
		if err != nil || !json.Valid(b.Bytes()) {
			t.Errorf("%s: %v: %s", x.name, err, b.String())
			continue
		}
		var said []string
		for _, w := range a.Warnings {
			said = append(said, w.Code)
		}
		if x.warning != strings.Join(said, " ") || !strings.Contains(a.Forecast.Why, x.why) ||
			(a.Forecast.Next != nil) != x.next {
			t.Errorf("%s: warnings %v, why %q, next %+v", x.name, said, a.Forecast.Why, a.Forecast.Next)
		}
	}
}

func two(n int) string { return string([]byte{byte('0' + n/10), byte('0' + n%10)}) }

// The answer's names are a contract.
func TestAnswerJSON(t *testing.T) {
	in := head + "2026-03-02T07:30:00Z,0.09,0.004,0.001,0.004,10,\n"
	h, err := ReadCSV(strings.NewReader(in), 0.0667)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := WorkJSON(&b, h, 0.95); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Checks []struct {
			Time   string
			Axis   map[string]map[string]float64
			Alarm  string
			Alarms []map[string]any
		}
		Next    *map[string]any `json:"next_check"`
		Outside *map[string]any `json:"outside_expected"`
		Why     string
		Verdict string
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	row := got.Checks[0]
	if row.Time != "2026-03-02T07:30:00Z" || row.Alarm != "outside" || row.Axis["tilt"]["level_mm_per_m"] != 0.09 ||
		row.Axis["nod"]["level_mm_per_m"] != 0.001 || row.Axis["tilt"]["u_mm_per_m"] < 0.004 ||
		row.Alarms[0]["kind"] != "outside" {
		t.Errorf("%s", b.String())
	}
	if got.Next == nil || (*got.Next)["reason"] != "outside" || (*got.Next)["days"] != 0.0 || got.Outside != nil ||
		got.Why == "" || got.Verdict != "outside" {
		t.Errorf("%s", b.String())
	}
	for _, name := range []string{`"outside_expected":null`, `"rate_mm_per_m_per_day":`} {
		if !strings.Contains(b.String(), name) {
			t.Errorf("no %s in %s", name, b.String())
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add(head + "2026-03-02T07:30:00Z,0.01,0.004,-0.02,0.004,120.5,\n2026-03-03T07:30:00Z,,,,,,adjusted\n")
	f.Add(head + "2026-03-02T07:30:00Z,0.01,,,,,\n1970-01-01T00:00:00Z,0.01,0,0,0,1,\"a,b\"\n")
	f.Add(
		"time,nod_mm_per_m,tilt_mm_per_m\n2026-03-02T07:30:00+14:00,1e5,-1e-300\n2026-03-02T07:30:00+14:00,1e5,1e-300\n")
	f.Add(
		CSVHeader +
			",temperature_c\n2026-03-02T07:30:00Z,0.01,0.004,-0.02,0.004,,,21.5\n2026-03-02T08:30:00Z,0.01,0.001,-0.02,0.004,,,\n")
	f.Add("#\n\xef\xbb\xbf" + head + "\"\n")
	f.Fuzz(func(t *testing.T, in string) {
		h, err := ReadCSV(strings.NewReader(in), 0.0667)
		if err != nil {
			if strings.ContainsRune(err.Error(), '\n') {
				t.Errorf("an error over several lines: %q", err)
			}
			return
		}
		var b bytes.Buffer
		if _, err := WorkJSON(&b, h, 0.95); err != nil || !json.Valid(b.Bytes()) {
			t.Errorf("%v: %s", err, b.String())
		}
	})
}
