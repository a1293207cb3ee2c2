// Package dashboards makes the two Grafana dashboards that stand in
// deploy/grafana: one run, and runs side by side. They are data here, so that a
// metric that is renamed, a limit that is moved and a unit that does not fit
// are found by the compiler or by a test, not by a blank graph.
//
// The daemon never imports it: the JSON is what is used.
package dashboards

//go:generate go run generate.go

import (
	"encoding/json"
	"fmt"
)

// Files returns the text of each file below deploy/grafana that is generated,
// by its name.
func Files() (map[string][]byte, error) {
	all := map[string][]byte{}
	for name, b := range map[string]board{"one-run.json": oneRun(), "runs.json": runs()} {
		made, err := b.build()
		if err != nil {
			return nil, fmt.Errorf("dashboard %s: %w", b.title, err)
		}
		text, err := json.MarshalIndent(made, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("dashboard %s: %w", b.title, err)
		}
		all[name] = append(text, '\n')
	}
	return all, nil
}
