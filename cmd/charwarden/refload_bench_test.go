package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"charwarden/config"
)

// refLoad is the configuration of the load that all our figures are for: six
// thermocouples at 4 Hz; two pressures, CO and speed at 10 Hz; supply and air at
// 1 Hz; a tick of 100 ms; readings over MQTT at 1 Hz at most. It writes the zeros
// of both pressures where the daemon finds them.
func refLoad(tb testing.TB, broker, listen string) string {
	tb.Helper()
	dir := tb.TempDir()
	text := string(config.Reference())
	for _, r := range [][2]string{
		{`channel = "suction"`, `channel = "suction"` + "\n" + `every = "100 ms"`},
		{`channel = "filter_drop"`, `channel = "filter_drop"` + "\n" + `every = "100 ms"`},
		{`channel = "co" `, `every = "100 ms"` + "\n" + `channel = "co" `},
		{`channel = "speed"                 # engine`, `every = "100 ms"` + "\n" + `channel = "speed" # engine`},
		{`channel = "supply"                # the 5 V rail`, `every = "1 s"` + "\n" + `channel = "supply" # the 5 V rail`},
		{`state = "/var/lib/charwarden" `, `state = ` + strconv.Quote(dir) + " "},
		{`dir = "/var/lib/charwarden/runs"`, `dir = ` + strconv.Quote(filepath.Join(dir, "runs"))},
		{`socket = "/run/charwarden/charwarden.sock"`, `socket = ` + strconv.Quote(filepath.Join(dir, "socket"))},
		{`broker = "tcp://127.0.0.1:1883"`, `broker = ` + strconv.Quote(broker)},
		{`listen = "127.0.0.1:9455"`, `listen = ` + strconv.Quote(listen)},
	} {
		if strings.Count(text, r[0]) != 1 {
			tb.Fatalf("the reference configuration has not exactly one %q any more", r[0])
		}
		text = strings.Replace(text, r[0], r[1], 1)
	}
	zeros := `{"zeros":{"suction":{"pa":0,"at":"2026-01-01T00:00:00Z"},"filter_drop":{"pa":0,"at":"2026-01-01T00:00:00Z"}}}`
	if err := os.WriteFile(filepath.Join(dir, "state.json"), []byte(zeros), 0o644); err != nil {
		tb.Fatal(err)
	}
	return text
}

// refConfig is refLoad, parsed.
func refConfig(tb testing.TB, broker, listen string) *config.Config {
	tb.Helper()
	cfg, err := config.Parse("refload.toml", []byte(refLoad(tb, broker, listen)))
	if err != nil {
		tb.Fatal(err)
	}
	return cfg
}
