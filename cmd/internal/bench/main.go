// Command bench runs the project's benchmarks, as testdata/aims.csv lists them,
// and holds their figures against their aims. It is for developers and no part
// of the daemon.
package main

import (
	"flag"
	"fmt"
	"os"
	"regexp"
	"time"
)

const (
	exitMissed = 1 // an aim is missed, or has no figure
	exitUsage  = 2
)

func main() { os.Exit(run()) }

func run() int {
	file := flag.String("aims", "testdata/aims.csv", "the `FILE` with benchmarks and aims")
	only := flag.String("only", "", "run only what `REGEX` finds in package.Benchmark")
	asJSON := flag.Bool("json", false, "print the figures as JSON")
	flag.Parse()
	pick, err := regexp.Compile(*only)
	if err != nil || flag.NArg() > 0 {
		fmt.Fprintln(os.Stderr, "bench: usage: bench [--json] [--only REGEX] [--aims FILE]")
		return exitUsage
	}
	aims, err := readAims(*file)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		return exitUsage
	}
	if load := others(); load > 0.5 {
		fmt.Fprintf(os.Stderr, "bench: load average %.1f before anything has begun: figures of time are worth little on a machine with other work\n", load)
	}
	var rows []row
	began := time.Now()
	jobs := jobsOf(aims, pick)
	for i, j := range jobs {
		fmt.Fprintf(os.Stderr, "[%d/%d, %3.0f s] %s\n", i+1, len(jobs), time.Since(began).Seconds(), j)
		figures, err := j.run()
		if err != nil {
			fmt.Fprintf(os.Stderr, "bench: %s: %v\n", j, err)
		}
		rows = append(rows, rowsOf(j.aims, figures)...)
	}
	if *asJSON {
		err = writeJSON(os.Stdout, rows)
	} else {
		err = writeTable(os.Stdout, rows)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		return exitMissed
	}
	for _, r := range rows {
		if r.missed() {
			return exitMissed
		}
	}
	return 0
}

// others is the load average of the last minute, 0 where it cannot be read:
// proc_loadavg(5).
func others() (load float64) {
	if b, err := os.ReadFile("/proc/loadavg"); err == nil {
		fmt.Sscan(string(b), &load)
	}
	return load
}
