// Command shop starts Prometheus and Alertmanager beside running daemons, with the rules that are here, and prints each
// alert as it arrives. It is the demo's other half: what a shop with many machines would see.
//
//	go run ./dashboards/shop -targets 127.0.0.1:9743,127.0.0.1:9744
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"tramd/dashboards/local"
)

func main() {
	targets := flag.String("targets", "127.0.0.1:9743,127.0.0.1:9744", "addresses of the daemons, with commas between")
	rules := flag.String("rules", "dashboards/rules/tramd.yml", "the rules")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, *rules, strings.Split(*targets, ","), os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "shop:", err)
		os.Exit(1)
	}
}

// Messages are those that would wait for half a minute and more in a shop; here somebody is looking on.
const alertmanagerConfig = `route: {receiver: here, group_by: [alertname, machine, axis], group_wait: 1s, group_interval: 1s, repeat_interval: 24h}
receivers:
  - name: here
    webhook_configs: [{url: "http://%s/", send_resolved: true}]
`

const prometheusConfig = `global: {scrape_interval: 1s, evaluation_interval: 1s}
rule_files: [%q]
alerting: {alertmanagers: [{static_configs: [{targets: [%q]}]}]}
scrape_configs:
  - job_name: tramd
    static_configs: [{targets: [%s]}]
`

// run keeps both servers going until ctx ends or one of them does.
func run(ctx context.Context, rulesFile string, targets []string, out io.Writer) error {
	prometheus, err := program("prometheus", "prometheus")
	if err != nil {
		return err
	}
	alertmanager, err := program("prometheus-alertmanager", "prometheus-alertmanager", "alertmanager")
	if err != nil {
		return err
	}
	rules, err := os.ReadFile(rulesFile)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "tramd-shop-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()

	bell, err := ring(ctx, out)
	if err != nil {
		return err
	}
	board, err := local.FreeAddress()
	if err != nil {
		return err
	}
	alarms, err := local.FreeAddress()
	if err != nil {
		return err
	}
	quoted := make([]string, len(targets))
	for i, t := range targets {
		quoted[i] = fmt.Sprintf("%q", t)
	}
	for name, text := range map[string]string{
		"alertmanager.yml": fmt.Sprintf(alertmanagerConfig, bell),
		"rules.yml":        string(local.Hurried(rules)),
		"prometheus.yml":   fmt.Sprintf(prometheusConfig, "rules.yml", alarms, strings.Join(quoted, ",")),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			return err
		}
	}
	ended := make(chan error, 2)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()
	for _, args := range [][]string{
		{alertmanager, "--config.file=alertmanager.yml", "--storage.path=alerts", "--web.listen-address=" + alarms,
			"--cluster.listen-address=", "--log.level=warn"},
		{prometheus, "--config.file=prometheus.yml", "--storage.tsdb.path=metrics", "--web.listen-address=" + board,
			"--log.level=warn"},
	} {
		cmd := exec.CommandContext(ctx, args[0], args[1:]...)
		cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
		cmd.WaitDelay = 10 * time.Second
		cmd.Dir = dir
		log, err := os.Create(filepath.Join(dir, filepath.Base(args[0])+".log"))
		if err != nil {
			return err
		}
		cmd.Stdout, cmd.Stderr = log, log
		if err := cmd.Start(); err != nil {
			return err
		}
		running.Go(func() {
			err := cmd.Wait()
			said, _ := os.ReadFile(log.Name()) // in memory's place: what it said last
			log.Close()
			ended <- fmt.Errorf("%s ended: %w\n%s", filepath.Base(args[0]), err, said)
		})
	}
	fmt.Fprintf(
		out,
		"Prometheus:   http://%s/alerts\nAlertmanager: http://%s/\nAlerts appear here as they arrive; Ctrl-C ends it.\n", board, alarms)
	select {
	case <-ctx.Done():
		return nil
	case err := <-ended:
		return err
	}
}

// program finds a program by one of its names.
func program(pkg string, names ...string) (string, error) {
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", fmt.Errorf("%s is missing: sudo apt-get install %s", names[0], pkg)
}

// message is what Alertmanager posts to a webhook (version 4).
type message struct {
	Alerts []struct {
		Status      string            `json:"status"`
		Labels      map[string]string `json:"labels"`
		Annotations map[string]string `json:"annotations"`
	} `json:"alerts"`
}

// ring prints each alert that is posted to the address it returns, until ctx ends.
func ring(ctx context.Context, out io.Writer) (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	server := &http.Server{ReadHeaderTimeout: 5 * time.Second,
		Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			var m message
			if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<20)).Decode(&m); err != nil {
				http.Error(w, err.Error(), http.StatusBadRequest)
				return
			}
			for _, a := range m.Alerts {
				fmt.Fprintf(out, "%s  %-8s  %-8s  %s: %s\n", time.Now().Format("15:04:05"), a.Status,
					a.Labels["severity"],
					a.Labels["alertname"], a.Annotations["summary"])
				if a.Status == "firing" {
					fmt.Fprintf(out, "          %s\n", strings.TrimSpace(a.Annotations["description"]))
				}
			}
		})}
	go func() {
		if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			fmt.Fprintln(out, "the alerts can no longer be received:", err)
		}
	}()
	context.AfterFunc(ctx, func() { _ = server.Close() })
	return l.Addr().String(), nil
}
