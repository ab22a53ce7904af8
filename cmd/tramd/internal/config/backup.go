package config

import (
	"path/filepath"
	"regexp"
	"strconv"
	"time"

	"tramd/cmd/tramd/internal/schedule"
)

// Backup is where the record is copied to, every day.
type Backup struct {
	To       string `toml:"to"`        // a folder on another disk; empty = no backups
	At       string `toml:"at"`        // local time
	Keep     int    `toml:"keep"`      // how many
	SameDisk bool   `toml:"same_disk"` // the folder may lie on the disk the record is on
}

func (b *Backup) setDefaults() {
	if b.To == "" {
		return
	}
	if b.At == "" {
		b.At = "02:30"
	}
	if b.Keep == 0 {
		b.Keep = 14
	}
}

// Plan says when it is due.
func (b Backup) Plan() schedule.Plan {
	m, err := schedule.ParseMinute(b.At)
	if b.To == "" || err != nil { // the latter was refused when the file was read
		return schedule.Plan{}
	}
	return schedule.Plan{Times: []schedule.Minute{m}}
}

func (v *validator) backup(b Backup) {
	if b.To == "" {
		if b != (Backup{}) {
			v.bad("backup.to",
				`missing; write the folder backups go to, on another disk, for example to = "/mnt/stick/tramd"`)
		}
		return
	}
	if !filepath.IsAbs(b.To) {
		v.bad("backup.to", `%q is not a full path; write it from the root, for example "/mnt/stick/tramd"`, b.To)
	}
	if _, err := schedule.ParseMinute(b.At); err != nil {
		v.bad("backup.at", "%v", err)
	}
	v.whole("backup.keep", int64(b.Keep), 1, 10000)
}

var ageForm = regexp.MustCompile(`^([1-9][0-9]{0,4}) (day|week|year)s?$`)

// age reads "400 days".
func age(text string) (time.Duration, bool) {
	m := ageForm.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	unit := map[string]int{"day": 1, "week": 7, "year": 365}[m[2]]
	if err != nil || n*unit > 36500 {
		return 0, false
	}
	return time.Duration(n*unit) * 24 * time.Hour, true
}

// ReadingsKept is how long raw readings are kept; 0: for ever.
func (s Store) ReadingsKept() time.Duration {
	d, _ := age(s.KeepReadings)
	return d
}

func (v *validator) keepReadings(text string) {
	if text == "" {
		return
	}
	if d, ok := age(text); !ok || d < 7*24*time.Hour {
		v.bad("store.keep_readings",
			`%q is not an age of 7 days or more; write for example "400 days" (results are kept for ever)`, text)
	}
}
