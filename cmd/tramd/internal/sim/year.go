package sim

import (
	"math"
	"math/rand/v2"
	"time"
)

// Entry is one line of a machine's year: a check, or something that happened to it.
type Entry struct {
	At           time.Time
	Truth        // of a check: how the spindle leaned
	TemperatureC float64
	SpindleHours float64
	Event, Text  string // of an event: its kind, in the words of `tramd event`, and what it was; empty: a check
}

// LinnetYear returns a gantry router's year: checked each fortnight, nodding slowly by its own weight, crashed in
// spring, serviced in autumn, and moved to another place in the shop just now, so that it must be squared again.
func LinnetYear(now time.Time) []Entry {
	const spring, autumn = 24, 43 // weeks
	var year []Entry
	rng := rand.New(rand.NewPCG(1, 11))
	at := Truth{TiltMMPerM: 0.012, NodMMPerM: -0.010}
	for week := 0; week < 52; week++ {
		day := now.AddDate(0, 0, -7*(52-week))
		at.NodMMPerM -= 0.0005
		switch week {
		case spring:
			year = append(year, Entry{At: day.Add(-3 * time.Hour), Event: "crashed",
				Text: "a clamp was left on the bed"})
			at.TiltMMPerM += 0.11
			year = append(year, check(day.Add(-2*time.Hour), at, week, 0.0009, rng))
			year = append(year, Entry{At: day.Add(-time.Hour), Event: "adjusted", Text: "plate swung back"})
			at.TiltMMPerM -= 0.105
		case autumn:
			year = append(year, Entry{At: day.Add(-2 * time.Hour), Event: "serviced",
				Text: "gantry bearings replaced, spindle squared"})
			at = Truth{TiltMMPerM: -0.006, NodMMPerM: 0.008}
		}
		if week%2 == 0 {
			year = append(year, check(day, at, week, 0.0009, rng))
		}
	}
	return append(year, Entry{At: now.Add(-time.Hour), Event: "moved",
		Text: "to the place beside the window; not squared yet"})
}

// WrenYear returns a bench mill's year: checked each week, leaning with the warmth of the summer, and tilting ever
// further as a gib wears, so that a date to look at it again can be named.
func WrenYear(now time.Time) []Entry {
	var year []Entry
	rng := rand.New(rand.NewPCG(2, 12))
	for week := 0; week < 52; week++ {
		day := now.AddDate(0, 0, -7*(52-week)).Add(2 * time.Hour)
		at := Truth{TiltMMPerM: 0.004 + 0.00065*float64(week), NodMMPerM: -0.015}
		year = append(year, check(day, at, week, 0.0014, rng))
		if week == 30 {
			year = append(year, Entry{At: day.Add(time.Hour), Event: "note", Text: "new way oil"})
		}
	}
	return year
}

// check returns a check in the week-th week of a year that began in late autumn. The machine leans by perKelvin mm/m
// more for each kelvin above 20 degrees Celsius.
func check(day time.Time, at Truth, week int, perKelvin float64, rng *rand.Rand) Entry {
	celsius := 20 - 6*math.Cos(2*math.Pi*float64(week-6)/52) + 1.2*rng.NormFloat64() // coldest six weeks in, in winter
	at.NodMMPerM += perKelvin * (celsius - 20)
	at.TiltMMPerM += 0.001 * rng.NormFloat64()
	at.NodMMPerM += 0.001 * rng.NormFloat64()
	return Entry{At: day, Truth: at, TemperatureC: math.Round(celsius*10) / 10, SpindleHours: 18 * float64(week)}
}
