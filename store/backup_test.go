package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/sweep"
)

// otherDisk is a folder on another file system than t.TempDir.
func otherDisk(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "backup")
	if err != nil {
		t.Fatalf("%v; these tests need a second file system at /dev/shm, as every Linux has", err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// Backups are made while runs are being written; each holds every run that had ended before it began, whole.
func TestBackupBesideTheWriter(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	stop, done, ended := make(chan struct{}), make(chan error, 1), make(chan int64, 10000)
	go func() {
		done <- func() error {
			for {
				select {
				case <-stop:
					return nil
				default:
				}
				id, err := s.BeginRun(context.Background(), NewRun{Kind: "sweep", Purpose: "check", StartedAt: day})
				if err != nil {
					return err
				}
				for chunk := range childChunks {
					if err := s.AppendPoints(context.Background(), id, childPoints(id, chunk)); err != nil {
						return err
					}
				}
				if err := s.FinishRun(context.Background(), id, Finished, day, "", resultOf(0, 0)); err != nil {
					return err
				}
				ended <- id
			}
		}()
	}()
	folder := otherDisk(t)
	last := int64(0)
	for range 6 {
		last = <-ended
		for len(ended) > 0 {
			last = <-ended
		}
		ro, err := OpenReadOnly(ctx, s.path, Options{}) // as the command does, beside the daemon
		if err != nil {
			t.Fatal(err)
		}
		file, _, err := ro.Backup(ctx, folder, BackupOptions{Name: "linnet"})
		if err := errors.Join(err, ro.Close()); err != nil {
			t.Fatal(err)
		}
		b, err := OpenReadOnly(ctx, file, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, id := range []int64{1, (last + 1) / 2, last} {
			pts, err := b.Points(ctx, id)
			if err != nil {
				t.Fatal(err)
			}
			for chunk := range childChunks {
				samePoints(t, pts[chunk*childChunk:(chunk+1)*childChunk], childPoints(id, chunk))
			}
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
	close(stop)
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestBackupsAreNumberedAndRotated(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	begin(t, s)
	folder := otherDisk(t)
	others := []string{"linnet-000001.db", "wren-000001-20200101T000000Z.db", "linnet-000001-20200101T000000Z.db.txt"}
	// the last is of a backup that was cut short
	for _, name := range append(others, "linnet-000003-20300101T000000Z.db.part") {
		if err := os.WriteFile(filepath.Join(folder, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	// One that bears a date of the future: its number is the lower, so it is the older.
	if err := os.WriteFile(filepath.Join(folder, "linnet-000004-20990101T000000Z.db"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	var made []string
	for n := range 4 {
		file, gone, err := s.Backup(ctx, folder, BackupOptions{Name: "linnet", Keep: 3})
		if err != nil {
			t.Fatal(err)
		}
		made = append(made, filepath.Base(file))
		want := map[int]int{0: 0, 1: 0, 2: 1, 3: 1}[n]
		if len(gone) != want || !strings.HasPrefix(made[n], fmt.Sprintf("linnet-%06d-", 5+n)) {
			t.Errorf("backup %d: %s, removed %v", n, file, gone)
		}
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	want := slices.Sorted(slices.Values(append(made[1:], others...)))
	if !slices.Equal(names, want) {
		t.Errorf("there are %v, want %v", names, want)
	}
}

func TestBackupRefuses(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	dir := filepath.Dir(s.path)
	o := BackupOptions{Name: "linnet"}
	_, _, err := s.Backup(ctx, filepath.Join(dir, "nowhere"), o)
	wantErr(t, err, fs.ErrNotExist, "mount that disk")
	_, _, err = s.Backup(ctx, s.path, o)
	wantErr(t, err, nil, "not a folder")
	_, _, err = s.Backup(ctx, dir, o)
	wantErr(t, err, nil, "the disk that the record is on", "same_disk")
	o.SameDisk = true
	file, _, err := s.Backup(ctx, dir, o)
	if err != nil {
		t.Fatal(err)
	}
	wantErr(t, s.BackupFile(ctx, file), nil, "there is a file of that name")
	if small := tmpfs(t, "size=16k"); small != "" {
		_, _, err = s.Backup(ctx, small, o)
		wantErr(t, err, ErrFull, "free some space")
		if left, err := os.ReadDir(small); err != nil || len(left) != 0 {
			t.Errorf("left behind: %v, %v", left, err)
		}
	}
}

func TestRestore(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "linnet.db")
	healthy(t, path)
	s := open(t, path)
	backup := filepath.Join(otherDisk(t), "b.db")
	if err := s.BackupFile(ctx, backup); err != nil {
		t.Fatal(err)
	}
	later := begin(t, s)
	_, err := Restore(ctx, path, backup)
	wantErr(t, err, ErrBusy, "nothing was changed", fmt.Sprintf("pid %d", os.Getpid()))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = Restore(ctx, path, path)
	wantErr(t, err, nil, "the record itself")
	broken := backup + ".broken"
	text, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(broken, text, 0o600); err != nil {
		t.Fatal(err)
	}
	spoil(t, broken, 30, 0xa5)
	_, err = Restore(ctx, path, broken)
	wantErr(t, err, ErrDamaged, "nothing was changed")
	if _, err := open(t, path).Run(ctx, later); err != nil {
		t.Fatalf("after refusals: %v", err)
	}
}

// A restore is cut short at each of its steps. Afterwards there is the old record or the backup, never less, and the
// old one's log is never played into the backup.
func TestRestoreCutShort(t *testing.T) {
	for _, step := range []string{"done", "noted", "copied", "kept aside", "log removed"} {
		t.Run(step, func(t *testing.T) {
			ctx := t.Context()
			path := filepath.Join(t.TempDir(), "linnet.db")
			healthy(t, path)
			s := open(t, path)
			backup := filepath.Join(otherDisk(t), "b.db")
			if err := s.BackupFile(ctx, backup); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			killedChild(t, path, 30*time.Millisecond) // leaves more runs, and a log
			aside := path + ".replaced-x"
			var err error
			switch step {
			case "done":
				aside, err = Restore(ctx, path, backup)
			case "log removed":
				err = errors.Join(keepAs(path, aside), keepAs(path+"-wal", aside+"-wal"), os.Remove(path+"-wal"))
				fallthrough
			case "kept aside":
				err = errors.Join(err, keepAs(path, aside))
				fallthrough
			case "copied":
				err = errors.Join(err, copyFile(backup, path+".saved"))
				fallthrough
			case "noted":
				err = errors.Join(err, MarkDamaged(path, errors.New("it was being replaced by the backup "+backup)))
			}
			if err != nil {
				t.Fatal(err)
			}
			if step != "done" {
				wantErr(t, tryOpen(t, path), ErrDamaged, "being replaced")
				if _, err := Salvage(ctx, path, Options{}); err != nil {
					t.Fatal(err)
				}
			}
			got := open(t, path)
			if err := got.Check(ctx); err != nil {
				t.Fatal(err)
			}
			list, err := got.Runs(ctx, 0, 1000)
			if err != nil {
				t.Fatal(err)
			}
			if restored := len(list) == healthyRuns; restored != (step != "noted") {
				t.Errorf("%d runs", len(list))
			}
			if step == "done" {
				old := open(t, aside)
				if list, err := old.Runs(ctx, 0, 1000); err != nil || len(list) <= healthyRuns {
					t.Errorf("what was replaced holds %d runs, %v", len(list), err)
				}
			}
		})
	}
}

func TestOldReadingsAreLetGo(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	run := func(days int, set bool, note string, o Outcome) int64 {
		t.Helper()
		at := day.AddDate(0, 0, days)
		id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, ""), StartedAt: at,
			ClockSet: set, Note: note})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.AppendPoints(ctx, id, []sweep.Point{{T: 1, Reading: 0.1}, {T: 2, Reading: 0.2}}); err != nil {
			t.Fatal(err)
		}
		var res *sweep.Result
		if o == Finished {
			res = resultOf(float64(id)*1e-6, 0)
		}
		if err := s.FinishRun(ctx, id, o, at.Add(time.Minute), "", res); err != nil {
			t.Fatal(err)
		}
		return id
	}
	first := run(0, true, "", Finished)
	plain := run(1, true, "", Finished)
	noted := run(2, true, "after the crash", Finished)
	unset := run(3, false, "", Finished)
	failed := run(4, true, "", Failed)
	if _, err := s.AddEvent(ctx, Event{At: day.AddDate(0, 0, 5), Kind: "adjusted"}); err != nil {
		t.Fatal(err)
	}
	baseline := run(6, true, "", Finished)
	var many []int64
	for n := range 50 {
		many = append(many, run(7+n/10, true, "", Finished))
	}
	young := run(100, true, "", Finished)

	dropped := append([]int64{plain, failed}, many...)
	var got []int64
	for n := 0; ; n++ {
		batch, err := s.DropReadings(ctx, day.AddDate(0, 0, 50))
		if err != nil {
			t.Fatal(err)
		}
		if len(batch) == 0 {
			break
		}
		if len(batch) > retainBatch || n > 10 {
			t.Fatalf("batch %d: %v", n, batch)
		}
		got = append(got, batch...)
	}
	if !slices.Equal(got, dropped) {
		t.Errorf("let go %v, want %v", got, dropped)
	}
	for _, id := range []int64{first, noted, unset, baseline, young} {
		if pts, err := s.Points(ctx, id); err != nil || len(pts) != 2 {
			t.Errorf("run %d: %d readings, %v", id, len(pts), err)
		}
	}
	for _, id := range []int64{plain, many[49]} {
		_, err := s.Points(ctx, id)
		wantErr(t, err, ErrGone, "its result stays")
		if r, err := s.Run(ctx, id); err != nil || r.Result == nil || r.Readings != 2 {
			t.Errorf("run %d: %+v, %v", id, r, err)
		}
	}
	// The last finished one is kept however old it is.
	if batch, err := s.DropReadings(ctx, day.AddDate(1, 0, 0)); err != nil || len(batch) != 0 {
		t.Errorf("let go %v, %v", batch, err)
	}
}

// A backup may be read by the record's group and by no one else, whatever the umask, and while it is being written too.
func TestABackupsModeIsNotTheUmasks(t *testing.T) {
	s := fresh(t)
	dir := t.TempDir()
	before := syscall.Umask(0)
	defer syscall.Umask(before)
	for _, mask := range []int{0, 0o022, 0o077, 0o777} {
		syscall.Umask(mask)
		file := filepath.Join(dir, fmt.Sprintf("%o.db", mask))
		part := filepath.Join(dir, fmt.Sprintf("%o.part", mask))
		err := errors.Join(s.BackupFile(t.Context(), file), makePrivate(part))
		syscall.Umask(before)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{file, part} {
			if st, err := os.Stat(name); err != nil || st.Mode() != 0o640 {
				t.Errorf("umask %o: %v, %v", mask, st.Mode(), err)
			}
		}
	}
}
