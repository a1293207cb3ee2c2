package main

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"strconv"
	"time"

	"charwarden/config"
)

// Set by the linker: -X main.release=... -X main.commit=...
var release, commit = "dev", "unknown"

// printConfig prints the reference configuration: a file to start from.
func printConfig(_ context.Context, c *call) error {
	if err := c.parse(c.flags("config", "config > rig.toml")); err != nil {
		return err
	}
	_, err := c.out.Write(config.Reference())
	return err
}

func version(_ context.Context, c *call) error {
	fs := c.flags("version", "version [--json]")
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	if !*asJSON {
		fmt.Fprintf(c.out, "charwarden %s (%s, %s, %s/%s)\n", release, commit, runtime.Version(), runtime.GOOS, runtime.GOARCH)
		return nil
	}
	return writeJSON(c.out, []map[string]string{{
		"version": release, "commit": commit, "go": runtime.Version(), "platform": runtime.GOOS + "/" + runtime.GOARCH,
	}})
}

// writeJSON prints a table: an array of objects, one a line.
func writeJSON[T any](w interface{ Write([]byte) (int, error) }, rows []T) error {
	if len(rows) == 0 {
		_, err := fmt.Fprintln(w, "[]")
		return err
	}
	for i, r := range rows {
		b, err := json.Marshal(r)
		if err != nil {
			return err
		}
		open, end := " ", ","
		if i == 0 {
			open = "["
		}
		if i == len(rows)-1 {
			end = "]"
		}
		if _, err := fmt.Fprintf(w, "%s%s%s\n", open, b, end); err != nil {
			return err
		}
	}
	return nil
}

// stamp is when the release was made, by the linker: -X main.stamp=1795600000.
var stamp = "0"

// built is a time that the clock cannot rightly be before.
func built() time.Time {
	s, _ := strconv.ParseInt(stamp, 10, 64)
	return time.Unix(s, 0)
}
