package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/fuel"
)

// eventRow is one thing that happened in a run.
type eventRow struct {
	Time    string  `json:"time"`    // RFC 3339
	Seconds float64 `json:"seconds"` // since the run began
	What    string  `json:"what"`    // phase, alarm, note, command, gap
	Text    string  `json:"text"`
}

// showRun tells a run as a list of what happened.
func (c *call) showRun() error {
	fs := c.flags("runs show", "runs show RUN|last [-c FILE | --dir DIR] [--json]")
	where := addLogFlags(fs)
	asJSON := fs.Bool("json", false, "as JSON")
	words, err := c.words(fs, flagsAnywhere, 0, "RUN")
	if err != nil {
		return err
	}
	dir, _, err := where.open("runs")
	if err != nil {
		return err
	}
	files, err := openRuns(dir, words)
	if err != nil {
		return fmt.Errorf("runs: %w", err)
	}
	defer closeRuns(files)
	rows, err := eventsOf(files[0])
	if err != nil {
		return fmt.Errorf("runs: %w", err)
	}
	if *asJSON {
		return writeJSON(c.out, rows)
	}
	m := files[0].Meta()
	fmt.Fprintf(c.out, "run %d of %s, version %s, clock %s\n", m.Number, m.Rig, m.Version, files[0].Clock().Quality())
	tw := tabwriter.NewWriter(c.out, 0, 8, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", localTime(r.Time), seconds(r.Seconds).Round(time.Second), r.What, r.Text)
	}
	return tw.Flush()
}

// eventsOf the run of a file, in order.
func eventsOf(f *runlog.File) ([]eventRow, error) {
	m := f.Meta()
	from, to := m.Span()
	l := &events{clock: f.Clock(), from: from, to: to, rows: []eventRow{}}
	phases, err1 := f.Phases()
	for _, p := range phases {
		word := p.Phase
		if word == "" {
			word = "not known"
		}
		if p.Forced {
			word += ", by hand"
		}
		l.add(p.Ms, "phase", word)
	}
	transitions, err2 := f.Transitions()
	for _, t := range transitions {
		if t.To == "suppressed" || t.From == "suppressed" && t.To == "normal" {
			continue
		}
		text := fmt.Sprintf("%s (%s): %s -> %s", t.Alarm, t.Priority, t.From, t.To)
		if t.Value != nil && t.Limit != nil {
			text += fmt.Sprintf(", %.4g against %g %s", *t.Value, *t.Limit, t.Unit)
		}
		if t.FirstOut {
			text += ", first out"
		}
		l.add(t.Ms, "alarm", text)
	}
	notes, err3 := f.Notes()
	for _, n := range notes {
		l.add(n.Ms, "note", n.String())
	}
	commands, err4 := f.Commands()
	for _, k := range commands {
		text := k.Person + ": " + k.Verb + " " + strings.TrimSuffix(k.Body, "{}")
		if k.Err != "" {
			text += ", refused: " + k.Err
		}
		l.add(k.Ms, "command", text)
	}
	gaps, err5 := f.Gaps()
	for _, g := range gaps {
		l.add(g.Ms, "gap", fmt.Sprintf("%d %s", g.N, g.What))
	}
	return l.sorted(), errors.Join(err1, err2, err3, err4, err5)
}

// verifyRow is what became of one file when it was checked.
type verifyRow struct {
	Run  int     `json:"run"`
	Good bool    `json:"good"`
	Text string  `json:"text"`
	Copy *string `json:"salvaged_to"`
}

// verifyRuns checks files, and saves what can be read of one into another.
func (c *call) verifyRuns(ctx context.Context) error {
	fs := c.flags("runs verify", "runs verify [RUN ...] [-c FILE | --dir DIR] [--salvage FILE] [--json]")
	where := addLogFlags(fs)
	salvage := fs.String("salvage", "", "copy what can be read of one RUN into a new `FILE`")
	asJSON := fs.Bool("json", false, "as JSON")
	words, err := c.words(fs, flagsAnywhere, flagsAnywhere)
	if err != nil {
		return err
	}
	if *salvage != "" && len(words) != 1 {
		return &usageError{"runs verify: --salvage wants exactly one RUN"}
	}
	dir, _, err := where.open("runs")
	if err != nil {
		return err
	}
	paths, err := pathsOf(dir, words)
	if err != nil {
		return fmt.Errorf("runs: %w", err)
	}
	rows := []verifyRow{}
	good := true
	for _, path := range paths {
		row, err := verifyFile(ctx, path, *salvage, newProgress(c, "verify"))
		if err != nil {
			return fmt.Errorf("runs: %w", err)
		}
		good = good && row.Good
		rows = append(rows, row)
	}
	if *asJSON {
		err = writeJSON(c.out, rows)
	} else {
		for _, r := range rows {
			fmt.Fprintf(c.out, "run %d: %s\n", r.Run, r.Text)
		}
	}
	if err == nil && !good {
		err = errNotGood
	}
	return err
}

// pathsOf the runs that words name; of every file where there are none.
func pathsOf(dir string, words []string) (paths []string, err error) {
	if len(words) == 0 {
		metas, err := runlog.List(dir)
		if err != nil {
			return nil, err
		}
		for _, m := range metas {
			words = append(words, fmt.Sprint(m.Number))
		}
	}
	for _, word := range words {
		path, err := runlog.Find(dir, word)
		if err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, nil
}

// burntIn is how much charcoal was burnt since the rig was lit, in kg, as it was
// counted at the end; nil where it was not.
func burntIn(f *runlog.File, to int64) (kg *float64) {
	channels := f.Reckoned()
	at := slices.IndexFunc(channels, func(ch runlog.Channel) bool { return ch.Name == fuel.BurntChannel })
	if at < 0 {
		return nil
	}
	for row, err := range f.Seconds(context.Background(), to-60_000, to) {
		if err != nil {
			return nil
		}
		if c := row.Cells[at]; c.Status == sensors.Good {
			kg = figure(channels[at].Value(c.Count))
		}
	}
	return kg
}
