package store

import (
	"path/filepath"
	"strings"
	"testing"

	"tramd/sweep/drift"
)

// tamper changes the file as a spoiled bit would: behind the back of the triggers that keep the sums.
func tamper(t *testing.T, path string, statements ...string) {
	t.Helper()
	db := plainDB(t, path)
	db.SetMaxOpenConns(1)
	for _, table := range summed {
		for _, name := range []string{"_sum_new", "_sum_set"} {
			var text string
			if err := db.QueryRow("SELECT sql FROM sqlite_schema WHERE name = ?", table+name).Scan(&text); err != nil {
				t.Fatal(err)
			}
			if _, err := db.Exec("DROP TRIGGER " + table + name); err != nil {
				t.Fatal(err)
			}
			defer func() {
				if _, err := db.Exec(text); err != nil {
					t.Error(err)
				}
			}()
		}
	}
	for _, x := range statements {
		if _, err := db.Exec(x); err != nil {
			t.Fatalf("%s: %v", x, err)
		}
	}
}

// A record of five checks, and what spoils one of its rows.
func TestASpoiledRowSaysSoAndHidesNoOther(t *testing.T) {
	for name, c := range map[string]struct {
		spoil  string
		says   string // of run 3
		result bool   // fitting the readings again cures it
	}{
		"a digit of the result": {"UPDATE result SET json = replace(json, '0.3', '0.4') WHERE run_id = 3",
			"the result of run 3 is not as it was written", true},
		"the result's own JSON": {
			"UPDATE result SET json = json(replace(json, 'mm_per_m', 'mm_per_n')) WHERE run_id = 3",
			"the result of run 3", true},
		"a digit of the line": {"UPDATE line SET json = replace(json, '0.3', '0.4') WHERE run_id = 3",
			"the result of run 3", true},
		"the result of another": {"UPDATE result SET run_id = 3 WHERE run_id = 2", "", true},
		"the date": {"UPDATE run SET started_us = started_us + 1073741824 WHERE id = 3",
			"the row of run 3", false},
		"the outcome":           {"UPDATE run SET outcome = 'failed' WHERE id = 3", "the row of run 3", false},
		"the count of readings": {"UPDATE run SET readings = 700 WHERE id = 3", "the row of run 3", false},
		"the sum itself":        {"UPDATE result SET sum = sum + 4 WHERE run_id = 3", "the result of run 3", true},
		"a setup beyond one bit": {"UPDATE setup SET json = replace(json, 'linnet', 'magpie')",
			"the setup of run 3", false},
		"an event that is no more": {"UPDATE event SET text = 'x'", "", false},
	} {
		t.Run(name, func(t *testing.T) {
			ctx := t.Context()
			path := filepath.Join(t.TempDir(), "linnet.db")
			s := open(t, path)
			for n := range 5 {
				checked(t, s, setupOf(t, "0.02/300"), "check", day.AddDate(0, 0, n), true, 0.1*float64(n+1))
			}
			if _, err := s.AddEvent(ctx, Event{At: day, Kind: "note", Text: "oiled"}); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			tamper(t, path, c.spoil)
			var met []Damaged
			s, err := Open(ctx, path, Options{Damaged: func(d Damaged) { met = append(met, d) }})
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			runs, err := s.Runs(ctx, 0, 10)
			if err != nil || len(runs) != 5 {
				t.Fatalf("%d runs, %v", len(runs), err)
			}
			lines, err := s.List(ctx, 0, 10)
			if err != nil || len(lines) != 5 {
				t.Fatalf("%d lines, %v", len(lines), err)
			}
			said := 0
			for i, r := range runs {
				if r.Damage == "" && lines[i].Damage == "" {
					if r.Result == nil && r.ID != 2 {
						t.Errorf("run %d has no result, and does not say why", r.ID)
					}
					if r.Result != nil && !alike(r.Result.Tilt.Slope.MMPerM(), 0.1*float64(r.ID)) {
						t.Errorf("run %d: %v mm/m", r.ID, r.Result.Tilt.Slope.MMPerM())
					}
					continue
				}
				said++
				if r.ID == 3 && c.says != "" && !strings.Contains(r.Damage+lines[i].Damage, c.says) {
					t.Errorf("run 3 says %q and %q", r.Damage, lines[i].Damage)
				}
			}
			events, err := s.Events(ctx, 10)
			if err != nil || len(events) != 1 {
				t.Fatalf("%v, %v", events, err)
			}
			if events[0].Damage != "" {
				said++
			}
			if err := s.Check(ctx); (err == nil) != c.result {
				t.Errorf("the check says %v", err)
			}
			if said == 0 && c.says != "" || len(met) == 0 {
				t.Errorf("nothing was said: %d met", len(met))
			}
			for _, d := range met {
				if (d.Result != 0) != c.result {
					t.Errorf("met %v, cured by a fit: %d", d.Why, d.Result)
				}
			}
			if _, _, noted := damageNoted(path); noted == c.result {
				t.Errorf("the file is marked: %v", noted)
			}
			h, _, err := s.History(ctx, "linnet", Mark{})
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range h.Entries {
				if e.Check != nil && !alike(e.Check.Axis[0].MMPerM, 0.1*float64(e.Place)) {
					t.Errorf("the history believes %v of run %d", e.Check.Axis[0].MMPerM, e.Place)
				}
			}
			if _, err := s.Trials(ctx, "linnet", 10); err != nil {
				t.Error(err)
			}
			if !c.result {
				return
			}
			// What is fitted again is shown, and nothing is spoiled any more.
			for _, d := range met {
				if err := s.AddResult(ctx, d.Result, *resultOf(0.1e-3*float64(d.Result), 0)); err != nil {
					t.Fatal(err)
				}
			}
			if runs, err = s.Runs(ctx, 0, 10); err != nil {
				t.Fatal(err)
			}
			for _, r := range runs {
				if r.Damage != "" || r.Result == nil && r.ID != 2 {
					t.Errorf("after the fit run %d says %q", r.ID, r.Damage)
				}
			}
		})
	}
}

func alike(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }

// One bit of a setup, or of its hash, is turned back.
func TestASetupMendsItself(t *testing.T) {
	ctx := t.Context()
	for _, spoil := range []string{
		"UPDATE setup SET json = replace(json, '120', '130')", // the last bit of a digit
		"UPDATE setup SET tolerance = '0.03/300'",
		"UPDATE setup SET hash = CAST(x'01' || substr(hash, 2) AS BLOB) WHERE 0", // nothing at all
	} {
		path := filepath.Join(t.TempDir(), "linnet.db")
		s := open(t, path)
		id := begin(t, s)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		tamper(t, path, spoil)
		s = open(t, path)
		run, err := s.Run(ctx, id)
		if err != nil || run.Damage != "" || run.Setup.Indicators[0].RadiusMM != 120 || run.Tolerance != "0.02/300" {
			t.Errorf("%s: %+v, %v", spoil, run, err)
		}
	}
}

// The degrees of freedom come with each check.
func TestHistoryHasDegreesOfFreedom(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	res := resultOf(1e-4, 0)
	res.DoF = 7.5
	if err := s.FinishRun(ctx, id, Finished, day, "", res); err != nil {
		t.Fatal(err)
	}
	h, _, err := s.History(ctx, "linnet", Mark{})
	if err != nil || len(h.Entries) != 1 {
		t.Fatalf("%+v, %v", h, err)
	}
	for i, v := range h.Entries[0].Check.Axis {
		if v == nil || h.Entries[0].Check.DoF[i] != 7.5 || v.U == 0 {
			t.Errorf("%s: %+v", drift.Axes[i], v)
		}
	}
}
