//go:build ignore

// The program that `go generate` runs: it writes the dashboards to where they
// are used.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"charwarden/cmd/internal/dashboards"
)

func main() {
	files, err := dashboards.Files()
	for name, text := range files {
		if err == nil {
			err = os.WriteFile(filepath.Join("..", "..", "..", "deploy", "grafana", name), text, 0o644)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}
