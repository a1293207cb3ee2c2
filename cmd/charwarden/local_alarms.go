package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/alarms"
	"charwarden/config"
	"charwarden/sensors"
)

// listAlarms shows the alarms of the running daemon.
func listAlarms(ctx context.Context, c *call) error {
	fs := c.flags("alarms", "alarms [-c FILE | --socket PATH] [--all] [--json]")
	where := addVisitFlags(fs)
	all := fs.Bool("all", false, "the normal ones too")
	asJSON := fs.Bool("json", false, "as JSON")
	if err := c.parse(fs); err != nil {
		return err
	}
	v, err := where.visit("alarms")
	if err != nil {
		return err
	}
	var rows []levelRow
	if err := v.get(ctx, "/alarms", &rows); err != nil {
		return fmt.Errorf("alarms: %w", err)
	}
	var permit permitRow
	if err := v.get(ctx, "/permit", &permit); err != nil {
		return fmt.Errorf("alarms: %w", err)
	}
	suppressed := 0
	if !*all {
		rows = slices.DeleteFunc(rows, func(r levelRow) bool {
			by := r.State == alarms.Suppressed.String()
			if by {
				suppressed++ // a table would be full of them: they are counted, and listed by --all
			}
			return by && !*asJSON || r.State == alarms.Normal.String()
		})
	}
	slices.SortStableFunc(rows, func(a, b levelRow) int { return a.compare(b.alarmRow) })
	if *asJSON {
		plain := make([]alarmRow, len(rows))
		for i, r := range rows {
			plain[i] = r.alarmRow
		}
		err = writeJSON(c.out, plain)
	} else {
		err = printAlarms(c.out, v.cfg, rows)
		if err == nil && suppressed > 0 {
			_, err = fmt.Fprintf(c.out, "%d do not watch in this phase of the rig (suppressed by design); --all shows them\n", suppressed)
		}
		if err == nil {
			_, err = io.WriteString(c.out, permit.line())
		}
	}
	if err == nil && slices.ContainsFunc(rows, func(r levelRow) bool { return r.stands() }) {
		err = errNotGood
	}
	return err
}

// line is "" where no permit is fitted.
func (p permitRow) line() string {
	switch {
	case !p.Fitted:
		return ""
	case p.Held:
		return "run permit: given\n"
	}
	why := "no reason told"
	if p.Why != nil {
		why = *p.Why
	}
	return "run permit: dropped: " + why + "\n"
}

// stands takes a state of a newer daemon for an alarm.
func (r alarmRow) stands() bool {
	s, err := alarms.ParseState(r.State)
	return err != nil || s.Standing()
}

// compare puts what stands first, then what is hidden, the worst priority
// first, and of one priority what came first.
func (r alarmRow) compare(o alarmRow) int {
	rank := func(r alarmRow) int {
		switch {
		case r.stands():
			return 0
		case r.State != alarms.Normal.String():
			return 1
		}
		return 2
	}
	urgency := func(r alarmRow) alarms.Priority {
		p, err := alarms.ParsePriority(r.Priority)
		if err != nil {
			return alarms.Evacuate
		}
		return p
	}
	came := func(r alarmRow) uint64 {
		if r.Order == nil {
			return math.MaxUint64
		}
		return *r.Order
	}
	return cmp.Or(cmp.Compare(rank(r), rank(o)), cmp.Compare(urgency(o), urgency(r)), cmp.Compare(came(r), came(o)))
}

func printAlarms(w io.Writer, cfg *config.Config, rows []levelRow) error {
	if len(rows) == 0 {
		_, err := fmt.Fprintln(w, "all alarms are normal")
		return err
	}
	first := firstOut(rows)
	tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(tw, "alarm\tpriority\tstate\tvalue\tlimit\tsince\tseq\torder\tnote")
	for _, r := range rows {
		since, order := "-", "-"
		if r.Since != nil {
			since = localTime(*r.Since)
		}
		if r.Order != nil {
			order = fmt.Sprint(*r.Order)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\t%s\n", r.Name, r.Priority, r.State,
			r.figure(cfg, r.Value), r.figure(cfg, r.Limit),
			since, r.Seq, order, r.note(r.Order != nil && *r.Order == first))
	}
	return tw.Flush()
}

// figure shows the value or the limit.
func (r levelRow) figure(cfg *config.Config, v *float64) string {
	if v == nil || r.Unit == nil {
		return "-"
	}
	if !r.Level {
		return fmt.Sprintf("%.3g %s", *v, *r.Unit)
	}
	return shown(cfg, r.Channel, *r.Unit, v)
}

// firstOut is the order of what came first among several that stand; 0 where
// it says nothing. A notice, which may stand for days, is not the first of a
// trouble.
func firstOut(rows []levelRow) (first uint64) {
	n := 0
	for _, r := range rows {
		if !r.stands() || r.Order == nil || r.Priority == alarms.Notice.String() {
			continue
		}
		if n++; first == 0 || *r.Order < first {
			first = *r.Order
		}
	}
	if n < 2 {
		return 0
	}
	return first
}

// note is what a person should know beside the state.
func (r alarmRow) note(first bool) string {
	var notes []string
	if first {
		notes = append(notes, "first out")
	}
	if r.Test {
		notes = append(notes, "test")
	}
	if r.LeftS != nil {
		notes = append(notes, "left "+leftText(*r.LeftS))
	}
	if r.Reason != nil {
		reason := *r.Reason
		if r.State == alarms.OutOfService.String() {
			reason = "out: " + reason
		}
		notes = append(notes, reason)
	}
	if r.Hidden > 0 {
		notes = append(notes, fmt.Sprintf("came %d x unheard", r.Hidden))
	}
	return strings.Join(notes, "; ")
}

// leftText is whole minutes, rounded up, and seconds below one.
func leftText(seconds float64) string {
	if seconds < 60 {
		return fmt.Sprintf("%.0fs", math.Ceil(seconds))
	}
	return fmt.Sprintf("%.0fm", math.Ceil(seconds/60))
}

// localTime shows a time of the daemon on the clock on the wall.
func localTime(stamp string) string {
	t, err := time.Parse(time.RFC3339, stamp)
	if err != nil {
		return stamp
	}
	return t.Local().Format("2006-01-02 15:04:05")
}

// shown is a value in the units of the configuration; without one, or where
// the file does not know the channel, in the unit that the daemon named.
func shown(cfg *config.Config, channel, unit string, v *float64) string {
	if v == nil {
		return "-"
	}
	var d config.Display
	if cfg != nil {
		d = cfg.Display
		for _, ch := range slices.Concat(cfg.Channels, cfg.Derived) {
			if ch.Name == channel {
				return d.Format(ch.Quantity, *v)
			}
		}
	}
	if q, ok := quantityIn(unit); ok {
		return d.Format(q, *v)
	}
	return fmt.Sprintf("%.4g %s", *v, unit)
}

// quantityIn is the quantity whose unit this is, where there is but one that
// people write in the same way.
func quantityIn(unit string) (sensors.Quantity, bool) {
	for _, q := range []sensors.Quantity{sensors.Temperature, sensors.Pressure, sensors.CO, sensors.Speed,
		sensors.Voltage, sensors.Age, sensors.COHb} {
		if q.Unit() == unit {
			return q, true
		}
	}
	return 0, false
}
