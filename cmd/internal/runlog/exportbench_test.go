package runlog

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
)

// tool finds a program. Without it the test is skipped, but never in CI.
func tool(tb testing.TB, name, pkg string) string {
	tb.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		lacks(tb, "%v: apt-get install -y %s", err, pkg)
	}
	return path
}

// lacks ends a test that cannot run here: in CI that is a failure.
func lacks(tb testing.TB, format string, args ...any) {
	tb.Helper()
	if os.Getenv("CI") == "true" {
		tb.Fatalf("CI needs it: "+format, args...)
	}
	tb.Skipf("to run this test: "+format, args...)
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
// shell needs for the same rows. Of both the quickest counts, by the clock and by
// the processor's time, of which ours is that of two threads: the rest is other
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
	timed := func(b *testing.B, work func() error, best *[2]time.Duration) {
		if err := out.Truncate(0); err != nil {
			b.Fatal(err)
		}
		if _, err := out.Seek(0, io.SeekStart); err != nil {
			b.Fatal(err)
		}
		start, cpu := time.Now(), worked(b)
		if err := work(); err != nil {
			b.Fatal(err)
		}
		best[0], best[1] = min(best[0], time.Since(start)), min(best[1], worked(b)-cpu)
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
			ours, anchor := [2]time.Duration{time.Hour, time.Hour}, [2]time.Duration{time.Hour, time.Hour}
			var counts Counts
			for b.Loop() {
				timed(b, func() (err error) { counts, err = c.ours(); return err }, &ours)
				if c.anchor != nil {
					timed(b, c.anchor, &anchor)
				}
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(float64(counts.Samples), "samples")
			for i, what := range []string{"s", "cpu-s"} {
				b.ReportMetric(ours[i].Seconds(), what)
				if c.anchor != nil {
					b.ReportMetric(anchor[i].Seconds(), what+"-shell")
					b.ReportMetric(ours[i].Seconds()/anchor[i].Seconds(), what+"-of-shell")
				}
			}
		})
	}
}

// worked is the processor's time of ours and of the programs that have ended.
func worked(b *testing.B) (sum time.Duration) {
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err != nil {
			b.Fatal(err)
		}
		sum += time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	return sum
}
