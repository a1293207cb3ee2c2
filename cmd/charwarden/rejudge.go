package main

import (
	"context"
	"fmt"
	"path/filepath"
	"text/tabwriter"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
)

// rejudge judges a logged run again, by its own rules or by others.
type rejudge struct {
	run, rules, dir string
	all, json       bool
}

func (j *rejudge) play(ctx context.Context, c *call) error {
	none := ""
	dir, _, err := logFlags{&none, &j.dir}.open("replay")
	if err != nil {
		return err
	}
	var cfg *config.Config
	if j.rules != "" {
		if cfg, err = loadConfig("replay", j.rules); err != nil {
			return err
		}
	}
	path, err := runlog.Find(dir, j.run)
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	rows, exact, err := rerunFile(ctx, path, cfg, newProgress(c, "replay"))
	if err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	shown := []rerunChange{}
	for _, r := range rows {
		from, _ := alarms.ParseState(r.From)
		to, _ := alarms.ParseState(r.To)
		if j.all || !byDesign(from, to) {
			shown = append(shown, r)
		}
	}
	if exact != nil {
		fmt.Fprintf(c.err, "charwarden: replay: not exactly the same again: %v\n", exact)
	}
	if j.json {
		return writeJSON(c.out, shown)
	}
	return printRerun(c, shown, cfg != nil)
}

// rerunFile judges the run of a file again and compares. exact is why the
// readings may not be the same as they were; nil: they are.
func rerunFile(ctx context.Context, path string, cfg *config.Config, p *progress) (rows []rerunChange, exact, err error) {
	last, err := runlog.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer last.Close() // was only read
	m := last.Meta()
	from, to := m.Span()
	parts, err := runlog.Session(filepath.Dir(path), m)
	if err != nil || len(parts) == 0 {
		parts = []string{path}
	}
	var r *rerun
	var again []rerunChange
	for _, part := range parts {
		f, err := runlog.Open(part)
		if err != nil {
			return nil, nil, err
		}
		if r == nil {
			r, err = newRerun(f, cfg)
		}
		if err == nil {
			err = r.play(ctx, f, func(ms int64, trs []alarms.Transition) {
				p.at(ms-r.baseMs, to-r.baseMs)
				if ms < from || ms > to {
					return
				}
				for i := range trs {
					t := &trs[i]
					again = append(again, rerunChange{change: r.change(t, time.Duration(ms-from)*time.Millisecond), ms: ms, seq: t.Seq})
				}
			})
		}
		f.Close() // was only read
		if err != nil {
			return nil, nil, err
		}
	}
	p.done()
	logged, err := loggedChanges(last, from, to)
	if err != nil {
		return nil, nil, err
	}
	return compare(logged, again), r.exact, nil
}

// loggedChanges are the transitions of a run as they were written down.
func loggedChanges(f *runlog.File, from, to int64) (rows []rerunChange, err error) {
	all, err := f.Transitions()
	for _, t := range all {
		if t.Ms < from || t.Ms > to {
			continue
		}
		rows = append(rows, rerunChange{ms: t.Ms, seq: t.Seq, change: change{
			Seconds: float64(t.Ms-from) / 1000, Alarm: t.Alarm, Channel: t.Channel, From: t.From, To: t.To,
			Priority: t.Priority, Value: t.Value, Limit: t.Limit, Unit: orNull(t.Unit)}})
	}
	return rows, err
}

func printRerun(c *call, rows []rerunChange, otherRules bool) error {
	tw := tabwriter.NewWriter(c.out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "seconds\talarm\tpriority\tfrom\tto\tvalue\tlimit\t")
	var both, gone, fresh int
	for _, r := range rows {
		value, limit := r.figures()
		mark := ""
		switch {
		case r.Logged && r.Replayed:
			both++
		case r.Logged:
			gone++
			mark = "only then"
		default:
			fresh++
			mark = "only now"
		}
		fmt.Fprintf(tw, "%.1f\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Seconds, r.Alarm, r.Priority, r.From, r.To, value, limit, mark)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	rules := "By the rules that were in force"
	if otherRules {
		rules = "By these rules"
	}
	_, err := fmt.Fprintf(c.out, "\n%s: %d changes as they were, %d that were and do not come, %d that come and were not.\n", rules, both, gone, fresh)
	return err
}
