// Command dashboards writes the Grafana dashboards beside it, so that what is drawn is written once, as code, and can
// be checked without a Grafana server: every name it asks for must be one that tramd serves. Run it by go generate.
//
// Prometheus gets radians and metres; people read millimetres per metre and micrometres, so the panels convert.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

//go:generate go run .

func main() {
	if err := write("grafana"); err != nil {
		fmt.Fprintln(os.Stderr, "dashboards:", err)
		os.Exit(1)
	}
}

// boards are all dashboards, by file name.
func boards() map[string]*dashboard.DashboardBuilder {
	return map[string]*dashboard.DashboardBuilder{"tramd-machine.json": machine(), "tramd-fleet.json": fleet()}
}

func write(dir string) error {
	for name, b := range boards() {
		text, err := render(b)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

func render(b *dashboard.DashboardBuilder) ([]byte, error) {
	board, err := b.Build()
	if err != nil {
		return nil, err
	}
	text, err := json.MarshalIndent(board, "", "  ")
	return append(text, '\n'), err
}
