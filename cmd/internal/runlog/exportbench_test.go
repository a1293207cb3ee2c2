package runlog

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
)

// tool finds a program. Without it the test is skipped, but never in CI.
func tool(tb testing.TB, name, pkg string) string {
	tb.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		tb.Fatalf("%v: CI needs it: apt-get install -y %s", err, pkg)
	}
	tb.Skipf("%v: to run this test: apt-get install -y %s", err, pkg)
	return ""
}

// openMetricsSQL makes the lines of the values, channel by channel, as a person
// would have the shell do it.
func openMetricsSQL(h Head) string {
	var b strings.Builder
	for _, c := range h.Channels {
		table := "seconds"
		if c.Input {
			table = "ticks"
		}
		fmt.Fprintf(&b, "SELECT printf('%s{channel=\"%s\"} %%.10g %%d.%%03d', %[3]s * %[4]g, (ms + 1777622400000) / 1000, (ms + 1777622400000) %% 1000) FROM %[5]s WHERE typeof(%[3]s) = 'integer' ORDER BY ms;\n",
			names.Quantity(c.Quantity), c.Name, quoted(c.Name), c.Step, table)
	}
	return b.String() + "SELECT '# EOF';"
}

// Export of ten hours of the reference load, each in turn with what the sqlite3
// shell needs for the same rows. Of both the quickest counts: the rest is other
// work on the machine. Ours for CSV may take no longer than the shell's dump of
// the bare counts, for OpenMetrics at most 0.35 of the shell's time.
func BenchmarkExport(b *testing.B) {
	sqlite := tool(b, "sqlite3", "sqlite3")
	path := tenHours(b)
	f := opened(b, path)
	out, err := os.Create(filepath.Join(b.TempDir(), "out"))
	if err != nil {
		b.Fatal(err)
	}
	defer out.Close()
	// timed runs work with an empty file to write to.
	timed := func(b *testing.B, work func() error) time.Duration {
		if err := out.Truncate(0); err != nil {
			b.Fatal(err)
		}
		if _, err := out.Seek(0, io.SeekStart); err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		if err := work(); err != nil {
			b.Fatal(err)
		}
		return time.Since(start)
	}
	shell := func(mode, sql string) func() error {
		return func() error {
			cmd := exec.CommandContext(b.Context(), sqlite, "-readonly", mode, path)
			cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(sql), out, os.Stderr
			return cmd.Run()
		}
	}
	files := []*File{f}
	for _, c := range []struct {
		name   string
		ours   func() (Counts, error)
		anchor func() error // nil: none
	}{
		{"csv", func() (Counts, error) { return ExportCSV(b.Context(), out, files, ExportOpts{}) },
			shell("-csv", "SELECT * FROM ticks LEFT JOIN seconds USING (ms) ORDER BY ms;")},
		{"csv against values", func() (Counts, error) { return ExportCSV(b.Context(), out, files, ExportOpts{}) },
			shell("-csv", "SELECT * FROM tick_values LEFT JOIN second_values USING (ms) ORDER BY ms;")},
		{"openmetrics", func() (Counts, error) { return ExportOpenMetrics(b.Context(), out, files, ExportOpts{}) },
			shell("-list", openMetricsSQL(f.Meta().Head))},
		{"long csv", func() (Counts, error) { return ExportCSV(b.Context(), out, files, ExportOpts{Long: true}) }, nil},
		{"sqlite", func() (Counts, error) {
			return ExportSQLite(b.Context(), filepath.Join(b.TempDir(), "out.db"), files, ExportOpts{})
		}, nil},
		{"read", func() (c Counts, err error) {
			for _, err := range f.Ticks(b.Context(), 0, 0) {
				if err != nil {
					return c, err
				}
			}
			return c, nil
		}, nil},
	} {
		b.Run(c.name, func(b *testing.B) {
			ours, anchor := time.Hour, time.Hour
			var counts Counts
			for b.Loop() {
				ours = min(ours, timed(b, func() (err error) { counts, err = c.ours(); return err }))
				if c.anchor != nil {
					anchor = min(anchor, timed(b, c.anchor))
				}
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(ours.Seconds(), "s")
			b.ReportMetric(float64(counts.Samples), "samples")
			if c.anchor != nil {
				b.ReportMetric(anchor.Seconds(), "s-shell")
				b.ReportMetric(ours.Seconds()/anchor.Seconds(), "of-shell")
			}
		})
	}
}
