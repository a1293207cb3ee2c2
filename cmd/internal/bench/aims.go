package main

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"
)

// aim is a line of aims.csv: a figure of a benchmark and, if there is one, what
// it is to be. Several lines may be about one benchmark.
type aim struct {
	pkg       string  // its path below the module
	benchmark string  // BenchmarkName or BenchmarkName/case
	metric    string  // unit of the figure, as the benchmark prints it
	relation  string  // "<=", ">=" or "": no aim
	want      float64 // of the figure, or of the figure in what the anchor's is
	anchor    string  // unit of the anchor's figure in the same benchmark; "": none
	flags     string  // of `go test` for this benchmark; "": usual
	why       string
}

var aimColumns = []string{"package", "benchmark", "metric", "relation", "aim", "anchor", "flags", "why"}

// readAims reads a file of aims strictly.
func readAims(file string) ([]aim, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("aims: %w", err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', len(aimColumns)
	records, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("aims: %s: %w", file, err)
	}
	if len(records) == 0 || strings.Join(records[0], ",") != strings.Join(aimColumns, ",") {
		return nil, fmt.Errorf("aims: %s: want the columns %s", file, strings.Join(aimColumns, ","))
	}
	var aims []aim
	flags := map[string]string{} // of each function
	for _, f := range records[1:] {
		a := aim{pkg: f[0], benchmark: f[1], metric: f[2], relation: f[3], anchor: f[5], flags: f[6], why: f[7]}
		where := fmt.Sprintf("aims: %s: %s.%s %s", file, a.pkg, a.benchmark, a.metric)
		switch a.relation {
		case "<=", ">=":
			if a.want, err = strconv.ParseFloat(f[4], 64); err != nil {
				return nil, fmt.Errorf("%s: aim: %w", where, err)
			}
			if a.why == "" {
				return nil, fmt.Errorf("%s: an aim wants its why", where)
			}
		case "":
			if f[4] != "" {
				return nil, fmt.Errorf("%s: aim %s without a relation: want <= or >=", where, f[4])
			}
		default:
			return nil, fmt.Errorf("%s: relation %q: want <=, >= or nothing", where, a.relation)
		}
		if !strings.HasPrefix(a.benchmark, "Benchmark") || a.metric == "" || a.pkg == "" {
			return nil, fmt.Errorf("%s: want a package, a Benchmark and a metric", where)
		}
		key := a.pkg + "." + a.function()
		if was, seen := flags[key]; seen && was != a.flags {
			return nil, fmt.Errorf("%s: flags %q: another line of the same benchmark has %q", where, a.flags, was)
		}
		flags[key] = a.flags
		aims = append(aims, a)
	}
	return aims, nil
}

// function is the Go function of the benchmark.
func (a *aim) function() string {
	name, _, _ := strings.Cut(a.benchmark, "/")
	return name
}
