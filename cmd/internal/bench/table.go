package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path"
	"strconv"
	"strings"
	"text/tabwriter"
)

// row is a figure held against its aim.
type row struct {
	Benchmark string   `json:"benchmark"` // with its package
	Metric    string   `json:"metric"`
	Aim       string   `json:"aim"`    // "" for none
	Figure    *float64 `json:"figure"` // null: none came
	Anchor    *float64 `json:"anchor"` // null: there is none
	Ratio     *float64 `json:"ratio"`  // of the figure to the anchor's
	Met       *bool    `json:"met"`    // null: there is no aim
	Why       string   `json:"why,omitempty"`
}

// rowsOf holds figures against aims.
func rowsOf(aims []aim, f figures) (rows []row) {
	for i := range aims {
		rows = append(rows, aims[i].row(f))
	}
	return rows
}

func (a *aim) row(f figures) row {
	r := row{Benchmark: a.pkg + "." + strings.TrimPrefix(a.benchmark, "Benchmark"), Metric: a.metric, Why: a.why}
	figure, known := f.figure(a.benchmark, a.metric)
	if known {
		r.Figure = &figure
	}
	judged := figure
	if a.anchor != "" {
		anchor, has := f.figure(a.benchmark, a.anchor)
		if has {
			r.Anchor = &anchor
		}
		if known = known && has && anchor != 0; known {
			judged = figure / anchor
			r.Ratio = &judged
		}
	}
	if a.relation == "" {
		return r
	}
	r.Aim = a.relation + " " + strconv.FormatFloat(a.want, 'f', -1, 64)
	if a.anchor != "" {
		r.Aim += " x anchor"
	}
	met := known && (a.relation == "<=" && judged <= a.want || a.relation == ">=" && judged >= a.want)
	r.Met = &met
	return r
}

// missed says that there is an aim and that it is not met. A figure that did not
// come meets none.
func (r *row) missed() bool { return r.Met != nil && !*r.Met }

func writeJSON(w io.Writer, rows []row) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(rows)
}

// writeTable prints one line a figure, and a last one with how many aims are met.
func writeTable(w io.Writer, rows []row) error {
	tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "benchmark\tmetric\taim\tfigure\tanchor\tratio\tmet")
	aims, met := 0, 0
	for i := range rows {
		r := &rows[i]
		verdict := "-"
		if r.Met != nil {
			aims++
			if verdict = "NO"; *r.Met {
				verdict = "yes"
				met++
			} else if r.Figure == nil {
				verdict = "NO: no figure"
			}
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", short(r.Benchmark), r.Metric, orDash(r.Aim),
			text(r.Figure), text(r.Anchor), text(r.Ratio), verdict)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%d of %d aims met\n", met, aims)
	return err
}

// short leaves out the directories above a package.
func short(benchmark string) string {
	pkg, name, _ := strings.Cut(benchmark, ".")
	return path.Base(pkg) + "." + name
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func text(v *float64) string {
	if v == nil {
		return "-"
	}
	if math.Abs(*v) >= 1000 {
		return strconv.FormatFloat(*v, 'f', 0, 64)
	}
	return strconv.FormatFloat(*v, 'g', 4, 64)
}
