package runlog

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"charwarden/cmd/internal/names"
)

// standing is how often a value that stands is told again: a graph looks back
// 5 minutes at most, and a shorter step shows when the log ends.
const standingMs = 30_000

// ExportOpenMetrics writes the files as OpenMetrics text, for `promtool tsdb
// create-blocks-from openmetrics`: the families and labels of the daemon's own
// metrics page, so that live and exported series are the same. A channel that
// is not good has no sample; what stands (whether a channel is up, the states
// of alarms, the phase) is told when it changes and every 30 s, or every
// o.Every if that is longer.
//
// To need little memory however long the run, it writes some minutes of each
// series in turn, which promtool accepts; each series is in order. Of two
// samples of one series in the same millisecond the first is written. Runs that
// overlap in wall time, as after a power cut, would be mixed up: they are
// refused unless o.RunLabel tells them apart.
//
// Format: OpenMetrics 1.0.
func ExportOpenMetrics(ctx context.Context, w io.Writer, files []*File, o ExportOpts) (Counts, error) {
	parts, err := o.plan(files)
	if err != nil {
		return Counts{}, err
	}
	if !o.RunLabel {
		if err := apart(parts); err != nil {
			return Counts{}, err
		}
	}
	m := &omWriter{w: w, series: map[string]*omSeries{}}
	done := newProgress(parts, &o)
	for i := range parts {
		p := &parts[i]
		e, err := newOMPart(m, p, &o)
		if err == nil {
			err = p.scan(ctx, &o, func(b *batch) error {
				for _, r := range b.rows {
					e.row(r.ms, b.in(r), b.out(r))
				}
				done.at(p, b.rows[len(b.rows)-1].ms)
				return m.flush()
			})
		}
		if err != nil {
			return m.counts(parts), err
		}
		e.eventsTo(p.to)
		done.ended(p)
	}
	err = m.flush()
	if err == nil {
		_, err = io.WriteString(w, "# EOF\n")
	}
	counts := m.counts(parts)
	if err == nil && counts.Samples == 0 {
		err = errNothing
	}
	return counts, err
}

// apart is an error if any two of the parts overlap in wall time.
func apart(parts []part) error {
	for i := 1; i < len(parts); i++ {
		a, b := &parts[i-1], &parts[i]
		if end, start := a.wall(a.to), b.wall(b.from); end.UnixMilli() >= start.UnixMilli() {
			return fmt.Errorf("runs %d and %d overlap in wall time (%s to %s): their series would be mixed up: tell them apart with --run-label, or export one at a time",
				a.file.meta.Number, b.file.meta.Number, start.Format("2006-01-02 15:04:05"), end.Format("2006-01-02 15:04:05 MST"))
		}
	}
	return nil
}

// omWriter holds every series, and of each the lines that wait to be written.
type omWriter struct {
	w        io.Writer
	families []*omFamily // by name
	series   map[string]*omSeries
	buf      []byte
}

type omFamily struct {
	name   string
	begun  bool
	series []*omSeries // by labels
}

type omSeries struct {
	name   string // with labels
	lead   string // and a space
	buf    []byte
	last   int64 // Unix ms of the newest line
	lines  int64
	total  int64 // of a counter
	family *omFamily
}

// omLabel is a label and its value.
type omLabel struct{ name, value string }

// of is the series of a family with these labels.
func (m *omWriter) of(family string, labels ...omLabel) *omSeries {
	slices.SortFunc(labels, func(a, b omLabel) int { return cmp.Compare(a.name, b.name) })
	var b strings.Builder
	b.WriteString(family)
	for i, l := range labels {
		b.WriteString([2]string{"{", ","}[min(i, 1)] + l.name + `="`)
		omEscape.WriteString(&b, l.value)
		b.WriteString(`"`)
	}
	if len(labels) > 0 {
		b.WriteString("}")
	}
	name := b.String()
	if s := m.series[name]; s != nil {
		return s
	}
	i, there := slices.BinarySearchFunc(m.families, family, func(f *omFamily, name string) int { return cmp.Compare(f.name, name) })
	if !there {
		m.families = slices.Insert(m.families, i, &omFamily{name: family})
	}
	f := m.families[i]
	s := &omSeries{name: name, lead: name + " ", last: math.MinInt64, family: f}
	i, _ = slices.BinarySearchFunc(f.series, name, func(s *omSeries, name string) int { return cmp.Compare(s.name, name) })
	f.series = slices.Insert(f.series, i, s)
	m.series[name] = s
	return s
}

var omEscape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

// omTime is a moment of the export.
type omTime struct {
	at   int64  // Unix ms
	tail []byte // " 1777622400.100\n"
}

func (t *omTime) set(at int64) {
	t.at = at
	t.tail = append(appendThousandths(append(t.tail[:0], ' '), at), '\n')
}

// count adds a sample of a count in steps.
func (s *omSeries) count(t *omTime, d *decimals, n int64) {
	if t.at <= s.last {
		return
	}
	s.last = t.at
	s.lines++
	s.buf = append(d.append(append(s.buf, s.lead...), n), t.tail...)
}

// whole adds a sample of a whole number.
func (s *omSeries) whole(t *omTime, n int64) { s.count(t, &ones, n) }

var ones = newDecimals(1)

func (s *omSeries) bool(t *omTime, yes bool) {
	n := int64(0)
	if yes {
		n = 1
	}
	s.whole(t, n)
}

// flush writes the lines that wait, series by series.
func (m *omWriter) flush() error {
	m.buf = m.buf[:0]
	for _, f := range m.families {
		for _, s := range f.series {
			if len(s.buf) == 0 {
				continue
			}
			if !f.begun {
				f.begun = true
				kind, name := "gauge", f.name
				if base, counter := strings.CutSuffix(name, "_total"); counter {
					kind, name = "counter", base
				}
				m.buf = append(m.buf, "# HELP "+name+" "+omHelp(f.name)+"\n# TYPE "+name+" "+kind+"\n"...)
			}
			m.buf = append(m.buf, s.buf...)
			s.buf = s.buf[:0]
		}
	}
	_, err := m.w.Write(m.buf)
	return err
}

func (m *omWriter) counts(parts []part) Counts {
	c := Counts{Quality: worst(parts)}
	for _, f := range m.families {
		for _, s := range f.series {
			if s.lines == 0 {
				continue
			}
			c.Samples += s.lines
			c.Series = append(c.Series, SeriesCount{s.name, s.lines})
		}
	}
	return c
}

// omHelp is what a family is, in a line.
func omHelp(family string) string {
	switch family {
	case names.ChannelUp:
		return "1 if the channel's newest reading is good, else 0."
	case names.ChannelFaults:
		return "How often the channel went into this fault, from good or from another fault, since the export's beginning."
	case names.AlarmState:
		return "1 for the state that the alarm is in, else 0; alarms that changed at some time of the session."
	case names.AlarmStanding:
		return "Alarms of this priority that are not in state normal, of those that changed at some time of the session."
	case names.Phase:
		return "1 for the phase that the rig is in, else 0; all 0 while it is not known."
	case names.TicksMissed:
		return "Ticks that the loop was too late for, since the export's beginning."
	}
	if q, ok := quantityOf(family); ok {
		return "In " + q.Unit() + "; absent unless good; from the run log."
	}
	return "From the run log."
}
