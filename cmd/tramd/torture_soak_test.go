package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// soakFor is how long the soak lasts; zero is as long as the rest of a torture allows.
var soakFor = flag.Duration("torture.soak", 0, "how long the soak lasts; 49m are worth a day of watching")

// A soak: sweep after sweep at a thousand readings a second without a pause, so that minutes hold the sweeps of days,
// while pages are looked at, left and opened again and a scraper asks, so that they hold a day's watching. What the
// daemon holds is looked at each second and must not grow. Time itself is not compressed: what goes by the clock
// (backups, certificates, the hourly letting go of readings) comes no oftener than in as many minutes.
func tortureSoak(t *testing.T) {
	seconds := much(9, 180)
	if *soakFor > 0 {
		seconds = int(soakFor.Seconds())
	}
	// On a busy machine the simulated encoder may stand still for half a second; at a hundred counts a second the step
	// after that is still one that an arm can make.
	m := startOther(t, "--rate", "1000", "--encoder-rate", "100", "--turns", "25000", "--seconds", "100000",
		"--noise", "0.001")
	m.turn(t)
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	ctx, cancel := context.WithTimeout(context.Background(), time.Duration(2*seconds+60)*time.Second)
	defer cancel()
	sweeps, stop := make(chan int, 1), make(chan struct{})
	go func() {
		cl, n := s.client(t), 0
		defer func() { sweeps <- n }()
		for {
			select {
			case <-stop:
				return
			default:
			}
			id, err := cl.StartSweep(ctx, 1, "check")
			if err == nil {
				err = cl.Live(ctx, func(snap *api.Snapshot) bool { return snap.Sweep.Run == id })
			}
			if err == nil {
				n++
				continue
			}
			if ctx.Err() != nil {
				return // the count says it
			}
			time.Sleep(time.Second) // a sweep in hand ends; pages that were left make room
		}
	}()
	const reading = `tramd_readings_total{device="arm",machine="linnet"}`
	readBefore := metric(t, s, reading)
	watched := s.watchAll(ctx, much(2, soakPages))
	var looks []footprint
	began, unseen := time.Now(), 0
	for range time.Tick(time.Second) {
		if f, err := s.held(); err == nil {
			looks = append(looks, f)
		} else if unseen++; unseen > seconds/100+1 {
			t.Fatal(err)
		}
		if time.Since(began) >= time.Duration(seconds)*time.Second && len(looks) >= 3 {
			break
		}
	}
	close(stop)
	n := <-sweeps
	if n < seconds/9 {
		t.Fatalf("%d sweeps in %d s", n, seconds)
	}
	read := metric(t, s, reading) - readBefore
	failed := metric(t, s, `tramd_runs_total{kind="sweep",machine="linnet",outcome="failed"}`)
	cancel()
	w := watched()
	if w.states < seconds || w.scrapes < seconds/2 || w.failed > w.pages/10+3 {
		t.Errorf("%+v in %d s", w, seconds)
	}
	third := len(looks) / 3
	first, last := most(looks[:third]), most(looks[len(looks)-third:])
	const wal = 17 << 20
	if *torture && (last.rssKB > first.rssKB*13/10+4096 || last.fds > first.fds+4 || last.goroutines > first.goroutines+
		6) || last.walBytes > wal {
		t.Errorf("it grows: in the first third at most %+v, in the last %+v", first, last)
	}
	if failed > float64(n)/10 { // where it stood still for longer
		t.Errorf("%.0f of %d sweeps failed", failed, n)
	}
	cameOf("sweeps at 1,000 readings a second end to end, watched",
		"%d sweeps of some 4,000 readings in %d s, as many as %.1f days of hourly checks; %.2f million readings, as many as one indicator sends in a day at %.0f a second; pages watched for %.1f hours together (%d opened, %d refused or cut off, %d states shown), %d scrapes and %d other requests; %d looks put off, %.0f sweeps failed, where the simulated encoder stood still for too long on a busy machine; at most in the first third and in the last: resident %.1f, %.1f MB, open files %d, %d, goroutines %d, %d, write-ahead log %.1f, %.1f MB; %.0f %% of a processor",
		n, seconds, float64(n)/24, read/1e6, read/86400, w.hours, w.pages, w.failed, w.states, w.scrapes, w.others,
		unseen, failed, mb(first), mb(last),
		first.fds, last.fds, first.goroutines, last.goroutines, float64(first.walBytes)/1e6, float64(last.walBytes)/1e6,
		100*(looks[len(looks)-1].cpu-looks[0].cpu)/float64(seconds))
	if *tortureOut != "" {
		writeSoak(t, filepath.Dir(*tortureOut), looks, seconds)
	}
}

// held asks the daemon what it holds, as often as it may: on a machine with no time left a scrape is put off.
func (s shop) held() (footprint, error) {
	resp, err := http.Get("http://" + s.page + "/metrics")
	if err != nil {
		return footprint{}, err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s", resp.Status, text)
	}
	if err != nil {
		return footprint{}, err
	}
	return s.footprintOf(string(text))
}

func most(looks []footprint) (out footprint) {
	for _, f := range looks {
		out.rssKB, out.fds = max(out.rssKB, f.rssKB), max(out.fds, f.fds)
		out.goroutines, out.walBytes = max(out.goroutines, f.goroutines), max(out.walBytes, f.walBytes)
	}
	return out
}

// writeSoak writes the looks as a table and as a plot, of a long soak the most in each few seconds.
func writeSoak(t *testing.T, dir string, looks []footprint, seconds int) {
	t.Helper()
	each, all := (len(looks)+299)/300, len(looks)
	var few []footprint
	for chunk := range slices.Chunk(looks, each) {
		few = append(few, most(chunk))
	}
	looks = few
	var csv strings.Builder
	csv.WriteString("t_s,rss_kb,open_files,goroutines,wal_kb\n")
	lines := make([][]float64, 4)
	for i, f := range looks {
		fmt.Fprintf(&csv, "%d,%d,%d,%d,%d\n", min((i+1)*each, all)*seconds/all, f.rssKB, f.fds, f.goroutines,
			f.walBytes/1024)
		for k, x := range []float64{float64(f.rssKB) / 1024, float64(f.fds), float64(f.goroutines),
			float64(f.walBytes) / 1e6} {
			lines[k] = append(lines[k], x)
		}
	}
	const width, height, gap = 640, 90, 28
	var svg strings.Builder
	fmt.Fprintf(
		&svg,
		"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" font-family=\"sans-serif\" font-size=\"11\">\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n",
		width+20, 4*(height+gap)+20)
	for k, name := range []string{"resident memory, MB", "open files", "goroutines", "write-ahead log, MB"} {
		top := 1.0
		for _, x := range lines[k] {
			top = max(top, x*1.1)
		}
		y0 := (k+1)*(height+gap) - 8
		fmt.Fprintf(
			&svg,
			"<text x=\"10\" y=\"%d\">%s (full height %.1f)</text>\n<path d=\"M10 %d h%d\" stroke=\"#999\"/>\n<polyline fill=\"none\" stroke=\"#036\" stroke-width=\"1.5\" points=\"",
			y0-height-4, name, top, y0, width)
		for i, x := range lines[k] {
			fmt.Fprintf(&svg, "%.1f,%.1f ", 10+float64(i)*width/float64(max(len(looks)-1, 1)), float64(y0)-x/top*height)
		}
		svg.WriteString("\"/>\n")
	}
	fmt.Fprintf(&svg, "<text x=\"10\" y=\"%d\">0 to %d s</text>\n</svg>\n", 4*(height+gap)+12, seconds)
	for name, text := range map[string]string{"soak.csv": csv.String(), "soak.svg": svg.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
