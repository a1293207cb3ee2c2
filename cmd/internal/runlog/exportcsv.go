package runlog

import (
	"context"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"

	"charwarden/sensors"
)

// ExportCSV writes the files one after another, oldest first, as a spreadsheet
// opens them: the columns time (UTC; empty where the clock was never set) and
// seconds (since the file began), then one for each channel, named with its
// unit; several files get a column run before them. A cell is empty where
// nothing new came, or nothing good. A row in which nothing came is left out.
//
// With o.Long it is a line a reading instead: time, seconds, channel, value,
// fault. A bad reading has the word and no value, but where it was clipped:
// there the value is the end of the range. It has the inputs alone, since a
// replay reckons the rest again, unless o.Channels names others.
//
// The time of a reading is that of the row in which the daemon had it.
func ExportCSV(ctx context.Context, w io.Writer, files []*File, o ExportOpts) (Counts, error) {
	parts, err := o.plan(files)
	if err != nil {
		return Counts{}, err
	}
	if o.Long && len(o.Channels) == 0 {
		for i := range parts {
			parts[i].reckoned = nil
		}
	}
	e := csvExport{w: w, stamps: newStamps(), several: len(files) > 1}
	header := []string{"time", "seconds"}
	if e.several {
		header = append([]string{"run"}, header...)
	}
	if o.Long {
		header = append(header, "channel", "value", "fault")
	} else {
		e.columns = columnsOf(parts)
		header = append(header, e.columns...)
	}
	e.counts.Quality = worst(parts)
	e.buf = append(e.buf, csvLine(header...)...)
	done := newProgress(parts, &o)
	for i := range parts {
		p := &parts[i]
		e.begin(p)
		err := p.scan(ctx, &o, func(b *batch) error {
			for _, r := range b.rows {
				if o.Long {
					e.long(b, r)
				} else {
					e.wide(b, r)
				}
			}
			done.at(p, b.rows[len(b.rows)-1].ms)
			return e.flush()
		})
		if err != nil {
			return e.counts, err
		}
		done.ended(p)
	}
	if e.counts.Rows == 0 {
		return e.counts, errNothing
	}
	return e.counts, e.flush()
}

// csvLine is a line of fields, with quotes where they are needed.
func csvLine(fields ...string) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write(fields) // of a Builder: no error
	w.Flush()
	return b.String()
}

// columnName says what a column holds: the channel and its unit.
func columnName(c Channel) string { return c.Name + "_" + c.Unit }

// columnsOf the parts, in the order in which they come up.
func columnsOf(parts []part) (all []string) {
	for _, p := range parts {
		for _, c := range slices.Concat(p.inputs, p.reckoned) {
			if n := columnName(c); !slices.Contains(all, n) {
				all = append(all, n)
			}
		}
	}
	return all
}

type csvExport struct {
	w       io.Writer
	buf     []byte
	stamps  *stamps
	several bool
	columns []string
	counts  Counts

	// Of the part under way.
	part   *part
	timed  bool
	prefix []byte     // of every line: its run
	wides  []csvCell  // by column
	longs  [][]byte   // by channel, inputs first: the name between commas
	values []decimals // by channel, inputs first
}

// csvCell is where a column's cells come from; -1: the part has none.
type csvCell struct {
	at     int
	input  bool
	values decimals
}

func (e *csvExport) begin(p *part) {
	e.part, e.timed = p, p.clock.Quality() != Unset
	e.prefix = nil
	if e.several {
		e.prefix = append(strconv.AppendInt(nil, int64(p.file.meta.Number), 10), ',')
	}
	e.wides = slices.Repeat([]csvCell{{at: -1}}, len(e.columns))
	e.longs, e.values = nil, nil
	for i, c := range slices.Concat(p.inputs, p.reckoned) {
		cell := csvCell{at: i, input: i < len(p.inputs), values: newDecimals(c.Step)}
		if !cell.input {
			cell.at -= len(p.inputs)
		}
		if at := slices.Index(e.columns, columnName(c)); at >= 0 {
			e.wides[at] = cell
		}
		e.longs = append(e.longs, []byte(","+strings.TrimSuffix(csvLine(c.Name), "\n")+","))
		e.values = append(e.values, cell.values)
	}
}

// lead appends what every line of the moment begins with.
func (e *csvExport) lead(b []byte, ms int64) []byte {
	b = append(b, e.prefix...)
	if e.timed {
		b = e.stamps.append(b, e.part.wall(ms).UnixMilli())
	}
	b = append(b, ',')
	return appendThousandths(b, ms-e.part.begin)
}

func (e *csvExport) wide(b *batch, r batchRow) {
	in, out := b.in(r), b.out(r)
	if !came(in) && !came(out) {
		return
	}
	buf, n := e.lead(e.buf, r.ms), int64(0)
	for i := range e.wides {
		c := &e.wides[i]
		buf = append(buf, ',')
		from := out
		if c.input {
			from = in
		}
		if from == nil || c.at < 0 {
			continue
		}
		if x := &from[c.at]; x.Status == sensors.Good {
			buf = c.values.append(buf, x.Count)
			n++
		}
	}
	e.buf = append(buf, '\n')
	e.counts.Rows++
	e.counts.Samples += n
}

// came reports whether anything new is in the cells.
func came(cells []Cell) bool {
	for i := range cells {
		if cells[i].Status != sensors.Unknown {
			return true
		}
	}
	return false
}

func (e *csvExport) long(b *batch, r batchRow) {
	start := len(e.buf)
	e.buf = e.lead(e.buf, r.ms)
	lead := e.buf[start:len(e.buf):len(e.buf)]
	first := true
	for n, cells := range [2][]Cell{b.in(r), b.out(r)} {
		for i := range cells {
			c, at := &cells[i], i+n*b.ins
			if c.Status == sensors.Unknown {
				continue
			}
			if !first {
				e.buf = append(e.buf, lead...)
			}
			first = false
			e.buf = append(e.buf, e.longs[at]...)
			switch c.Status {
			case sensors.Good, sensors.ClippedHigh, sensors.ClippedLow:
				e.buf = e.values[at].append(e.buf, c.Count)
				e.counts.Samples++
			}
			e.buf = append(e.buf, ',')
			if c.Status != sensors.Good {
				e.buf = append(e.buf, c.Status.String()...)
			}
			e.buf = append(e.buf, '\n')
			e.counts.Rows++
		}
	}
	if first {
		e.buf = e.buf[:start]
	}
}

func (e *csvExport) flush() error {
	_, err := e.w.Write(e.buf)
	e.buf = e.buf[:0]
	return err
}
