package runlog

import (
	"context"
	"iter"

	"charwarden/sensors"
)

// batchRows is how many rows are handed over in one go, about seven minutes.
// It bounds the memory of an export, however long the run.
const batchRows = 4096

// batch is some rows of a part, by time: those of the inputs and those of what
// is reckoned, at one moment together.
type batch struct {
	rows      []batchRow
	inputs    []Cell // one row after another
	reckoned  []Cell
	ins, outs int // cells of a row
	err       error
}

// batchRow is where the cells of a moment are; -1 for none.
type batchRow struct {
	ms               int64
	inputs, reckoned int
}

// in are the inputs' cells of a row; nil if there are none.
func (b *batch) in(r batchRow) []Cell { return cellsAt(b.inputs, r.inputs, b.ins) }

// out are the cells of what is reckoned; nil if there are none.
func (b *batch) out(r batchRow) []Cell { return cellsAt(b.reckoned, r.reckoned, b.outs) }

func cellsAt(all []Cell, at, n int) []Cell {
	if at < 0 {
		return nil
	}
	return all[at : at+n]
}

// add appends a row.
func (b *batch) add(ms int64, in, out []Cell) {
	r := batchRow{ms, -1, -1}
	if in != nil {
		r.inputs = len(b.inputs)
		b.inputs = append(b.inputs, in...)
	}
	if out != nil {
		r.reckoned = len(b.reckoned)
		b.reckoned = append(b.reckoned, out...)
	}
	b.rows = append(b.rows, r)
}

// scan calls use for every batch of the part. Reading runs ahead of use in a
// goroutine of its own, which has ended when scan returns.
func (p *part) scan(ctx context.Context, o *ExportOpts, use func(*batch) error) error {
	ctx, cancel := context.WithCancel(ctx)
	const ahead = 3
	full, free := make(chan *batch, ahead), make(chan *batch, ahead)
	for range ahead {
		free <- &batch{ins: len(p.inputs), outs: len(p.reckoned)}
	}
	go func() {
		defer close(full)
		b := <-free
		hand := func() bool {
			select {
			case full <- b:
			case <-ctx.Done():
				return false
			}
			select {
			case b = <-free:
				b.rows, b.inputs, b.reckoned = b.rows[:0], b.inputs[:0], b.reckoned[:0]
				return true
			case <-ctx.Done():
				return false
			}
		}
		ours := true // b is not with the one who uses it
		err := p.thinned(ctx, o, func(ms int64, in, out []Cell) bool {
			b.add(ms, in, out)
			ours = len(b.rows) < batchRows || hand()
			return ours
		})
		if ours {
			b.err = err
			hand()
		}
	}()
	defer func() {
		cancel()
		for range full { // until it has ended
		}
	}()
	for b := range full {
		err := b.err
		if len(b.rows) > 0 {
			if useErr := use(b); useErr != nil {
				return useErr
			}
		}
		if err != nil {
			return err
		}
		free <- b
	}
	return context.Cause(ctx)
}

// thinned calls yield for every row, or for the newest cells of each o.Every,
// until it returns false.
func (p *part) thinned(ctx context.Context, o *ExportOpts, yield func(ms int64, in, out []Cell) bool) error {
	every := o.Every.Milliseconds()
	if every <= 0 {
		return p.merged(ctx, yield)
	}
	var last int64
	var in, out []Cell // of the slot so far; nil: none came
	slot, more := int64(0), true
	end := func() {
		if in != nil || out != nil {
			more = yield(last, in, out)
		}
	}
	ins, outs := make([]Cell, len(p.inputs)), make([]Cell, len(p.reckoned))
	err := p.merged(ctx, func(ms int64, i, o []Cell) bool {
		if s := (ms - p.begin) / every; s != slot {
			end()
			slot, in, out = s, nil, nil
			clear(ins)
		}
		if i != nil {
			in = ins
			newest(in, i)
		}
		if o != nil { // a row of what is reckoned stands for itself
			out = outs
			copy(out, o)
		}
		last = ms
		return more
	})
	if more && err == nil {
		end()
	}
	return err
}

// newest puts the inputs of which something came over those of before.
func newest(into, cells []Cell) {
	for i, c := range cells {
		if c.Status != sensors.Unknown {
			into[i] = c
		}
	}
}

// merged calls yield for every moment of the part, until it returns false.
func (p *part) merged(ctx context.Context, yield func(ms int64, in, out []Cell) bool) error {
	next, stop := iter.Pull2(p.rows(ctx, false, p.reckoned))
	defer stop()
	second, err, more := next()
	// before yields the seconds before a moment.
	before := func(ms int64) bool {
		for more && err == nil && second.Ms < ms {
			if !yield(second.Ms, nil, second.Cells) {
				return false
			}
			second, err, more = next()
		}
		return err == nil
	}
	for tick, tickErr := range p.rows(ctx, true, p.inputs) {
		if tickErr != nil {
			return tickErr
		}
		if !before(tick.Ms) {
			return err
		}
		if !more || second.Ms > tick.Ms {
			if !yield(tick.Ms, tick.Cells, nil) {
				return nil
			}
			continue
		}
		if !yield(tick.Ms, tick.Cells, second.Cells) {
			return nil
		}
		second, err, more = next()
	}
	before(p.to + 1)
	return err
}

// rows of the part; none where no channel is asked for.
func (p *part) rows(ctx context.Context, input bool, channels []Channel) iter.Seq2[Row, error] {
	if len(channels) == 0 {
		return func(func(Row, error) bool) {}
	}
	return p.file.rows(ctx, input, channels, p.from, p.to)
}
