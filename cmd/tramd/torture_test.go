package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// Without these a little of each torture is tried; `make torture` tries all of it and writes what came of it.
var (
	torture    = flag.Bool("torture", false, "the whole torture, some ten minutes")
	tortureOut = flag.String("torture.out", "",
		"a file the figures are written to, with a plot and a table of the soak beside it")
)

// much says how much of a torture there is to be.
func much(little, all int) int {
	if *torture {
		return all
	}
	return little
}

// tortured are the rows of the report.
var tortured struct {
	sync.Mutex
	rows []string
}

// cameOf notes what came of a torture.
func cameOf(what, figures string, args ...any) {
	tortured.Lock()
	defer tortured.Unlock()
	tortured.rows = append(tortured.rows, "| "+what+" | "+fmt.Sprintf(figures, args...)+" |")
}

func TestTorture(t *testing.T) {
	began := time.Now()
	t.Run("kills", tortureKills)
	t.Run("unplugs", tortureUnplugs)
	t.Run("garbage", tortureGarbage)
	t.Run("slow pages", tortureSlowPages)
	t.Run("scrapes", tortureScrapes)
	t.Run("hostile", tortureHostile)
	t.Run("soak", tortureSoak)
	for _, row := range tortured.rows {
		t.Log(row)
	}
	if *tortureOut == "" || t.Failed() {
		return
	}
	load, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		t.Fatal(err)
	}
	text :=
		"# Torture\n\nMade by `make torture`; each line is a test, and the run fails where one does. The machine: " +
			fmt.Sprintf("%d processors (%s), load at the end %s; it took %v, and other programs ran on it.\n\n",
				runtime.NumCPU(), processor(t),
				strings.Join(strings.Fields(string(load))[:3], " "), time.Since(began).Round(time.Second)) +
			"| torture | what came of it |\n|---|---|\n" + strings.Join(tortured.rows, "\n") + "\n" + tortureElsewhere
	if err := os.WriteFile(*tortureOut, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

const tortureElsewhere = `
The soak, second by second, is in [soak.csv](soak.csv); drawn:

![resident memory, open files, goroutines and write-ahead log over the soak](soak.svg)

` + "`make torture`" + ` also runs, each a test of its own: a writer of runs that is killed a thousand times, now and then in the middle of
folding its log in (TestKilledWhileWriting); the power cut at two thousand instants of its work, the sectors that were not synced
kept or lost at random (TestThePowerIsCut); a disk that fills up under the daemon in the middle of a sweep and is freed
(TestADiskThatFillsUpLosesNothing), and under the store (TestFull); a directory that may not be written
(TestOpenWhereNothingMayBeWritten); spoiled pages of the record (TestASpoiledPageCostsOnlyItself); a clock that is set late, stepped
both ways and put over a planned check (clock, schedule, unattended); a restore and a saving that are cut short.
Each decoder, parser and handler was fuzzed too: [fuzzing.md](fuzzing.md).
`

func processor(t *testing.T) string {
	text, err := os.ReadFile("/proc/cpuinfo")
	if err != nil {
		t.Fatal(err)
	}
	if m := regexp.MustCompile(`(?m)^model name\s*: (.*)$`).FindSubmatch(text); m != nil {
		return string(m[1])
	}
	return runtime.GOARCH
}

// footprint is what a process holds.
type footprint struct {
	rssKB, fds, goroutines int
	walBytes               int64
	cpu                    float64 // seconds so far
}

var scraped = regexp.MustCompile(
	`(?m)^(go_goroutines|process_open_fds|process_resident_memory_bytes|process_cpu_seconds_total) (\S+)$`)

// holds asks a daemon what it holds.
func holds(t *testing.T, s shop) footprint {
	t.Helper()
	f, err := s.footprintOf(get(t, "http://"+s.page+"/metrics"))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// footprintOf reads a scrape.
func (s shop) footprintOf(scrape string) (f footprint, err error) {
	for _, m := range scraped.FindAllStringSubmatch(scrape, -1) {
		x, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			return f, err
		}
		switch m[1] {
		case "go_goroutines":
			f.goroutines = int(x)
		case "process_open_fds":
			f.fds = int(x)
		case "process_resident_memory_bytes":
			f.rssKB = int(x) / 1024
		case "process_cpu_seconds_total":
			f.cpu = x
		}
	}
	if f.rssKB == 0 || f.fds == 0 || f.goroutines == 0 {
		return f, fmt.Errorf("the scrape does not say what the daemon holds: %+v", f)
	}
	if st, err := os.Stat(filepath.Join(s.dir, "tramd.db-wal")); err == nil {
		f.walBytes = st.Size()
	}
	return f, nil
}

// metric gives one series of a scrape.
func metric(t *testing.T, s shop, series string) float64 {
	t.Helper()
	for line := range strings.Lines(get(t, "http://"+s.page+"/metrics")) {
		if rest, ok := strings.CutPrefix(line, series+" "); ok {
			x, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
	}
	return 0
}
