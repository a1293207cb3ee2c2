package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
)

// logRuns lists the runs, shows or checks one, and begins and ends them.
func logRuns(ctx context.Context, c *call) error {
	verb := ""
	if len(c.args) > 0 && !strings.HasPrefix(c.args[0], "-") {
		verb, c.args = c.args[0], c.args[1:]
	}
	switch verb {
	case "", "list":
		return c.listRuns()
	case "show":
		return c.showRun()
	case "verify":
		return c.verifyRuns(ctx)
	case "start", "stop":
		return c.markRun(ctx, verb)
	}
	return &usageError{fmt.Sprintf("runs: %q: want list, show RUN, verify [RUN], start or stop", verb)}
}

// runRow is one run as `runs` lists it.
type runRow struct {
	Run      int      `json:"run"`
	Begun    *string  `json:"begun"`    // RFC 3339
	Clock    string   `json:"clock"`    // how good that time is
	Seconds  *float64 `json:"seconds"`  // that it lasted
	State    string   `json:"state"`    // ended, open, torn (by a power cut), unreadable
	By       *string  `json:"by"`       // who began it
	Alarms   int      `json:"alarms"`   // caution or more
	Worst    *string  `json:"worst"`    // priority
	Charcoal *float64 `json:"charcoal"` // kg burnt
	Bytes    int64    `json:"bytes"`
	Why      *string  `json:"why"` // it cannot be read
}

func (c *call) listRuns() error {
	fs := c.flags("runs", "runs [list] [-c FILE | --dir DIR] [--json]")
	where := addLogFlags(fs)
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	dir, cfg, err := where.open("runs")
	if err != nil {
		return err
	}
	metas, err := runlog.List(dir)
	if err != nil {
		return fmt.Errorf("runs: %w", err)
	}
	rows := []runRow{}
	for i := range metas {
		if m := &metas[i]; m.Run != nil || m.Why != "" {
			rows = append(rows, runRowOf(dir, m, i == len(metas)-1))
		}
	}
	if *asJSON {
		return writeJSON(c.out, rows)
	}
	if len(rows) == 0 {
		_, err := fmt.Fprintf(c.out, "no run in %s yet: one begins with the fire, or with `charwarden runs start`\n", dir)
		return err
	}
	v := &visit{cfg: cfg}
	tw := tabwriter.NewWriter(c.out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "run\tbegun\tlasted\tstate\talarms\tworst\tcharcoal\tMB")
	for _, r := range rows {
		begun, lasted, worst := "-", "-", "-"
		if r.Worst != nil {
			worst = *r.Worst
		}
		if r.Begun != nil {
			begun = localTime(*r.Begun)
			if r.Clock != runlog.Synced.String() {
				begun += " ?"
			}
		}
		if r.Seconds != nil {
			lasted = seconds(*r.Seconds).Round(time.Second).String()
		}
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%d\t%s\t%s\t%.1f\n", r.Run, begun, lasted, r.State, r.Alarms, worst, v.massOrNone(r.Charcoal), float64(r.Bytes)/1e6)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for _, r := range rows {
		if r.Why != nil {
			fmt.Fprintf(c.out, "run %d: %s\n", r.Run, *r.Why)
		}
	}
	_, err = io.WriteString(c.out, unsureClock(rows))
	return err
}

// unsureClock says what the question marks mean, where there are some.
func unsureClock(rows []runRow) string {
	for _, r := range rows {
		if r.Begun != nil && r.Clock != runlog.Synced.String() {
			return "? the board's clock was not known to be right then\n"
		}
	}
	return ""
}

func runRowOf(dir string, m *runlog.Meta, newest bool) runRow {
	r := runRow{Run: m.Number, Bytes: m.Size, State: "unreadable", Why: orNull(m.Why)}
	if m.Run == nil {
		return r
	}
	f, err := openNumber(dir, m.Number)
	if err != nil {
		r.Why = orNull(err.Error())
		return r
	}
	defer f.Close() // was only read
	from, end := m.Span()
	switch {
	case m.Run.To != 0:
		r.State = "ended"
	case newest:
		r.State = "open"
	default:
		r.State = "torn"
	}
	lasted := float64(end-from) / 1000
	r.Begun, r.Clock, r.Seconds, r.By = stampOf(f.Clock().Wall(from)), f.Clock().Quality().String(), &lasted, orNull(m.Run.By)
	worst := alarms.Notice
	transitions, err := f.Transitions()
	if err != nil {
		r.Why = orNull(err.Error())
	}
	for _, t := range transitions {
		p, err := alarms.ParsePriority(t.Priority)
		if err != nil || p <= alarms.Notice || t.Test || t.To != alarms.Unacknowledged.String() || t.Ms < from || t.Ms > end {
			continue
		}
		r.Alarms++
		worst = max(worst, p)
	}
	if worst > alarms.Notice {
		r.Worst = orNull(worst.String())
	}
	r.Charcoal = burntIn(f, end)
	return r
}

func openNumber(dir string, number int) (*runlog.File, error) {
	path, err := runlog.Find(dir, strconv.Itoa(number))
	if err != nil {
		return nil, err
	}
	return runlog.Open(path)
}

// markRun begins or ends a run by hand.
func (c *call) markRun(ctx context.Context, verb string) error {
	v, _, err := c.visitWith("runs "+verb, "", flagsAnywhere, 0)
	if err != nil {
		return err
	}
	if err := v.post(ctx, pathOf("runs "+verb), bare{}, nil); err != nil {
		return fmt.Errorf("runs %s: %w", verb, err)
	}
	if verb == "start" {
		fmt.Fprintln(c.out, "a run begins; it ends when the rig is cold, or with `charwarden runs stop`")
	} else {
		fmt.Fprintln(c.out, "the run is ended; the rig is watched as before")
	}
	return nil
}
