package store

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/sweep"
)

// appendBySecond stores readings as the daemon does: a second's worth, here 1,000, in each commit.
func appendBySecond(tb testing.TB, s *Store, id int64, pts []sweep.Point) {
	tb.Helper()
	for part := range slices.Chunk(pts, 1000) {
		if err := s.AppendPoints(tb.Context(), id, part); err != nil {
			tb.Fatal(err)
		}
	}
}

func fileSize(tb testing.TB, path string) int64 {
	tb.Helper()
	st, err := os.Stat(path)
	if err != nil {
		tb.Fatal(err)
	}
	return st.Size()
}

// TestBytesPerReading holds the size of the file to what was promised: a minute of hand-turned sweep at 1,000 readings
// a second costs at most 8 bytes a reading, everything SQLite adds included.
func TestBytesPerReading(t *testing.T) {
	const n = 60_000
	s := fresh(t)
	id := begin(t, s)
	appendBySecond(t, s, id, handTurned(rand.New(rand.NewPCG(21, 22)), n))
	if err := s.FinishRun(t.Context(), id, Finished, day.Add(time.Minute), "", resultOf(1e-4, 0)); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if per := float64(fileSize(t, s.path)) / n; per > 8 {
		t.Errorf("%.2f bytes a reading on disk, want at most 8", per)
	}
}

// BenchmarkBytesPerReading compares the packed chunks with two plainer ways to keep the same readings, in the same run:
// a blob a second of three 4-byte numbers a reading, and a row of four integers a reading.
func BenchmarkBytesPerReading(b *testing.B) {
	const n = 60_000
	pts := handTurned(rand.New(rand.NewPCG(21, 22)), n)
	b.Run("chunks", func(b *testing.B) {
		for b.Loop() {
			s := fresh(b)
			id := begin(b, s)
			appendBySecond(b, s, id, pts)
			if err := s.Close(); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(fileSize(b, s.path))/n, "B/reading")
		}
	})
	b.Run("plain-blobs", func(b *testing.B) {
		for b.Loop() {
			plainBytes(b, n, func(tx *sql.Tx, from int) error {
				_, err := tx.Exec("INSERT INTO reading (data) VALUES (?)", make([]byte, 12*1000))
				return err
			}, "CREATE TABLE reading (id INTEGER PRIMARY KEY, data BLOB) STRICT")
		}
	})
	b.Run("rows", func(b *testing.B) {
		c, err := quantise(pts)
		if err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			plainBytes(b, n, func(tx *sql.Tx, from int) error {
				for i := from; i < from+1000; i++ {
					if _, err := tx.Exec("INSERT INTO reading (run, us, angle, nm) VALUES (1, ?, ?, ?)", c.micros[i],
						c.steps[i], c.nano[i]); err != nil {
						return err
					}
				}
				return nil
			},
				"CREATE TABLE reading (id INTEGER PRIMARY KEY, run INTEGER, us INTEGER, angle INTEGER, nm INTEGER) STRICT")
		}
	})
}

func plainBytes(b *testing.B, n int, insert func(tx *sql.Tx, from int) error, schema string) {
	b.Helper()
	path := filepath.Join(b.TempDir(), "plain.db")
	db := openWriter(path, time.Second)
	defer db.Close()
	if _, err := db.Exec(schema); err != nil {
		b.Fatal(err)
	}
	for from := 0; from < n; from += 1000 {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		if err := insert(tx, from); err != nil {
			b.Fatal(err)
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	if _, err := db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(fileSize(b, path))/float64(n), "B/reading")
}

// BenchmarkAppend is the cost of one durable commit of a second's readings, on whatever disk the temporary directory
// is.
func BenchmarkAppend(b *testing.B) {
	pts := handTurned(rand.New(rand.NewPCG(23, 24)), 1000)
	s := fresh(b)
	id := begin(b, s)
	var took []time.Duration
	for b.Loop() {
		start := time.Now()
		if err := s.AppendPoints(b.Context(), id, pts); err != nil {
			b.Fatal(err)
		}
		took = append(took, time.Since(start))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
}

func BenchmarkChunk(b *testing.B) {
	pts := handTurned(rand.New(rand.NewPCG(25, 26)), 1000)
	data, err := encodeChunk(pts)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("encode", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := encodeChunk(pts); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(data))/1000, "B/reading")
	})
	b.Run("decode", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := decodeChunk(data); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// manyRuns is a store with 100,000 finished runs, each with a result, written as their rows lie.
func manyRuns(tb testing.TB) *Store {
	tb.Helper()
	s := fresh(tb)
	id := begin(tb, s)
	if err := s.FinishRun(tb.Context(), id, Finished, day, "", wholeResult()); err != nil {
		tb.Fatal(err)
	}
	if _, err := s.w.Exec(`WITH RECURSIVE n (i) AS (SELECT 2 UNION ALL SELECT i + 1 FROM n WHERE i < 100000)
		INSERT INTO run (id, kind, purpose, setup_id, started_us, ended_us, boot_id, boot_us, clock_set, outcome, readings)
		SELECT i, kind, purpose, setup_id, started_us + i * 60000000, ended_us + i * 60000000, boot_id, boot_us, clock_set, outcome, 2000 FROM n, run;
		INSERT INTO result (run_id, model, model_version, json, cov_tilt, cov_tilt_nod, cov_nod)
		SELECT run.id, model, model_version, json, cov_tilt, cov_tilt_nod, cov_nod FROM run, result WHERE run.id > 1`); err != nil {
		tb.Fatal(err)
	}
	// as weeks of runs lie, not as one hasty commit does
	if _, err := s.w.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		tb.Fatal(err)
	}
	return s
}

// BenchmarkList is a page of the list of 100,000 runs as the face of the program asks for it, the same as the JSON that
// goes out, and for comparison the same runs with their results taken apart.
func BenchmarkList(b *testing.B) {
	s := manyRuns(b)
	for _, size := range []int{20, 50} {
		for name, before := range map[string]int64{"first": 0, "middle": 50_000} {
			for what, page := range map[string]func() (int, error){
				"lines": func() (int, error) { l, err := s.List(b.Context(), before, size); return len(l), err },
				"json": func() (int, error) {
					l, err := s.List(b.Context(), before, size)
					if err == nil {
						_, err = json.Marshal(l)
					}
					return len(l), err
				},
				"decoded": func() (int, error) { r, err := s.Runs(b.Context(), before, size); return len(r), err },
			} {
				b.Run(fmt.Sprintf("%s-%d-%s", name, size, what), func(b *testing.B) {
					used := cpu(b)
					for b.Loop() {
						if n, err := page(); err != nil || n != size {
							b.Fatalf("%d runs, %v", n, err)
						}
					}
					b.ReportMetric(float64(cpu(b)-used)/float64(b.N), "cpu-ns/op")
				})
			}
		}
	}
}

// cpu gives the processor time of this process so far: on a busy machine it tells more than the clock.
func cpu(b *testing.B) time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkRuns is what else is asked of 100,000 runs.
func BenchmarkRuns(b *testing.B) {
	s := manyRuns(b)
	b.Run("last-finished", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.LastFinished(b.Context(), "sweep"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("counts", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.RunCounts(b.Context()); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkBytesWritten is what storing makes the kernel write, which is what wears a memory card: handed to write
// calls (wchar), and of that what has to go to a disk, in blocks of the file system (write_bytes; proc(5)). A sweep is
// 2,000 readings in four seconds, stored as the daemon does, a commit each second; a day is twenty-four of those, an
// hour's checks. Each is counted with its share of the folding of the log into the file. Small pages and the usual ones
// side by side.
func BenchmarkBytesWritten(b *testing.B) {
	pts := handTurned(rand.New(rand.NewPCG(27, 28)), 2000)
	for _, page := range []int{pageBytes, 4096} {
		b.Run(fmt.Sprintf("page-%d", page), func(b *testing.B) {
			for b.Loop() {
				s, err := Open(b.Context(), filepath.Join(b.TempDir(), "linnet.db"), Options{pageBytes: page})
				if err != nil {
					b.Fatal(err)
				}
				storeSweep(b, s, pts)
				if err := s.Checkpoint(b.Context()); err != nil {
					b.Fatal(err)
				}
				calls, disk := wroteSoFar(b)
				storeSweep(b, s, pts)
				oneCalls, oneDisk := wroteSoFar(b)
				b.ReportMetric(float64(oneCalls-calls), "B-calls/sweep")
				b.ReportMetric(float64(oneDisk-disk), "B-disk/sweep")
				for range 23 {
					storeSweep(b, s, pts)
				}
				if err := s.Close(); err != nil { // folds the log in
					b.Fatal(err)
				}
				dayCalls, dayDisk := wroteSoFar(b)
				b.ReportMetric(float64(dayCalls-calls), "B-calls/day")
				b.ReportMetric(float64(dayDisk-disk), "B-disk/day")
				b.ReportMetric(float64(fileSize(b, s.path))/25, "B-kept/sweep")
			}
		})
	}
}

// TestBytesWritten holds what a memory card is asked to do to what was promised: at most 64 KiB for a sweep of 2,000
// readings, and less than 1 GB kept of a year of such checks, one an hour.
func TestBytesWritten(t *testing.T) {
	pts := handTurned(rand.New(rand.NewPCG(27, 28)), 2000)
	s := fresh(t)
	storeSweep(t, s, pts)
	before, _ := wroteSoFar(t)
	storeSweep(t, s, pts)
	after, _ := wroteSoFar(t)
	if n := after - before; n > 64<<10 || n < 10_000 {
		t.Errorf("%d bytes handed to the kernel for a sweep, want at most %d (and more than its readings take)", n,
			64<<10)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if year := fileSize(t, s.path) / 2 * 24 * 365; year > 1e9 {
		t.Errorf("a year of hourly checks would take %d MB", year/1e6)
	}
}

func storeSweep(b testing.TB, s *Store, pts []sweep.Point) {
	b.Helper()
	id := begin(b, s)
	for part := range slices.Chunk(pts, 500) {
		if err := s.AppendPoints(b.Context(), id, part); err != nil {
			b.Fatal(err)
		}
	}
	if err := s.FinishRun(b.Context(), id, Finished, day, "", resultOf(1e-4, 0)); err != nil {
		b.Fatal(err)
	}
}

// wroteSoFar is how many bytes this process has handed to write calls, and how many of them were bound for a disk.
func wroteSoFar(tb testing.TB) (calls, disk uint64) {
	tb.Helper()
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		tb.Fatal(err)
	}
	if _, err := fmt.Sscanf(string(text), "rchar: %d\nwchar: %d\nsyscr: %d\nsyscw: %d\nread_bytes: %d\nwrite_bytes: %d",
		new(uint64), &calls, new(uint64), new(uint64), new(uint64), &disk); err != nil {
		tb.Fatalf("/proc/self/io: %v", err)
	}
	return calls, disk
}
