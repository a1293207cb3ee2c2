package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/cmd/internal/runlog"
)

// export writes runs in a form that other tools read.
func export(ctx context.Context, c *call) error {
	fs := c.flags("export", "export RUN|last ... --format csv|openmetrics|sqlite [-o FILE] [-c FILE | --dir DIR] [--from TIME] [--to TIME] [--channels A,B] [--every DURATION] [--long] [--run-label]")
	where := addLogFlags(fs)
	format := fs.String("format", "csv", "csv, openmetrics or sqlite")
	out := fs.String("o", "", "the `FILE` to write (default: the output, for csv and openmetrics)")
	from := fs.String("from", "", "from this `TIME` on: a time of the run (12m) or of the clock (2026-06-01T08:30:00Z)")
	to := fs.String("to", "", "up to this `TIME`")
	channels := fs.String("channels", "", "only these, `A,B`")
	every := fs.Duration("every", 0, "at most one reading a channel in this `DURATION`")
	long := fs.Bool("long", false, "csv: a line a reading, as `charwarden replay --readings` takes it")
	label := fs.Bool("run-label", false, "openmetrics: every series gets the label run, to compare runs")
	whole := fs.Bool("whole", false, "all of the file, not only its run")
	asJSON := fs.Bool("json", false, "the counts as JSON")
	words, err := c.words(fs, flagsAnywhere, flagsAnywhere, "RUN")
	if err != nil {
		return err
	}
	o := runlog.ExportOpts{Every: *every, Long: *long, RunLabel: *label, Whole: *whole}
	if *channels != "" {
		o.Channels = strings.Split(*channels, ",")
	}
	switch {
	case !slices.Contains([]string{"csv", "openmetrics", "sqlite"}, *format):
		return &usageError{fmt.Sprintf("export: --format %q: want csv, openmetrics or sqlite", *format)}
	case *format == "sqlite" && *out == "":
		return &usageError{"export: --format sqlite wants -o FILE"}
	case *every < 0:
		return &usageError{fmt.Sprintf("export: --every %v: want a time above 0", *every)}
	}
	if err := errors.Join(edge("from", *from, &o.From, &o.Begin), edge("to", *to, &o.To, &o.End)); err != nil {
		return &usageError{"export: " + err.Error()}
	}
	dir, _, err := where.open("export")
	if err != nil {
		return err
	}
	files, err := openRuns(dir, words)
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	defer closeRuns(files)
	p := newProgress(c, "export")
	o.Progress = p.at
	counts, err := exportTo(ctx, c.out, *format, *out, files, o)
	p.done()
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	if *asJSON && *out != "" {
		return writeJSON(c.out, countRows(&counts))
	}
	return printCounts(c, *format, *out, &counts)
}

// edge reads a time of the run, or of the clock.
func edge(flag, s string, wall *time.Time, since *time.Duration) (err error) {
	if s == "" {
		return nil
	}
	if *since, err = time.ParseDuration(s); err != nil {
		*wall, err = time.Parse(time.RFC3339, s)
	}
	if err != nil || *since < 0 {
		return fmt.Errorf("--%s %q: want a time of the run (12m) or of the clock (2026-06-01T08:30:00Z)", flag, s)
	}
	return nil
}

// exportTo writes to a file, or to out where it has no name. A file that is not
// whole is left under another name.
func exportTo(ctx context.Context, out io.Writer, format, name string, files []*runlog.File, o runlog.ExportOpts) (n runlog.Counts, err error) {
	if format == "sqlite" {
		return runlog.ExportSQLite(ctx, name, files, o)
	}
	write := runlog.ExportCSV
	if format == "openmetrics" {
		write = runlog.ExportOpenMetrics
	}
	if name == "" {
		w := bufio.NewWriterSize(out, 1<<16)
		n, err = write(ctx, w, files, o)
		return n, errors.Join(err, w.Flush())
	}
	err = wholeFile(name, func(w io.Writer) error {
		n, err = write(ctx, w, files, o)
		return err
	})
	return n, err
}

// wholeFile makes a file that is whole or not there.
func wholeFile(name string, write func(io.Writer) error) error {
	part := name + ".part"
	f, err := os.Create(part)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<18)
	err = errors.Join(write(w), w.Flush(), f.Sync(), f.Close())
	if err != nil {
		os.Remove(part) // the error to tell is the first
		return err
	}
	return os.Rename(part, name)
}

// countRow is how much was written of one series.
type countRow struct {
	Series  string `json:"series"`
	Samples int64  `json:"samples"`
}

func countRows(n *runlog.Counts) []countRow {
	rows := []countRow{{"all", n.Samples}}
	for _, s := range n.Series {
		rows = append(rows, countRow{s.Name, s.Samples})
	}
	return rows
}

// printCounts goes where it cannot be taken for the export.
func printCounts(c *call, format, name string, n *runlog.Counts) error {
	if name == "" {
		return nil
	}
	fmt.Fprintf(c.out, "%s: %d samples", name, n.Samples)
	if format == "openmetrics" {
		fmt.Fprintf(c.out, " in %d series", len(n.Series))
	} else {
		fmt.Fprintf(c.out, " in %d rows", n.Rows)
	}
	if n.Quality != runlog.Synced {
		fmt.Fprint(c.out, "; the board's clock was not known to be right: times may be off")
	}
	fmt.Fprintln(c.out)
	tw := tabwriter.NewWriter(c.out, 0, 8, 2, ' ', 0)
	byName := make(map[string]int64)
	var order []string
	for _, s := range n.Series {
		name, _, _ := strings.Cut(s.Name, "{")
		if byName[name] == 0 {
			order = append(order, name)
		}
		byName[name] += s.Samples
	}
	for _, name := range order {
		fmt.Fprintf(tw, "  %s\t%d\n", name, byName[name])
	}
	return tw.Flush()
}
