package report

import (
	"context"
	"fmt"
	"iter"

	"charwarden/cmd/internal/runlog"
)

// load reads a run, row by row.
func load(ctx context.Context, f *runlog.File, rig Rig) (*run, error) {
	m := f.Meta()
	where := func(err error) error { return fmt.Errorf("run %d: %w", m.Number, err) }
	rec, err := recordsOf(f)
	if err != nil {
		return nil, where(err)
	}
	m.Channels = append(append([]runlog.Channel(nil), f.Inputs()...), f.Reckoned()...)
	c := f.Clock()
	r := newRun(m, rig, &c, rec)
	ticks, seconds := r.rows(true), r.rows(false)
	for _, part := range []struct {
		into *rows
		all  func(context.Context, int64, int64) iter.Seq2[runlog.Row, error]
	}{{ticks, f.Ticks}, {seconds, f.Seconds}} {
		for row, err := range part.all(ctx, r.from, r.end) {
			if err == nil {
				err = part.into.add(&row)
			}
			if err != nil {
				return nil, where(err)
			}
		}
	}
	r.close(ticks, seconds)
	return r, nil
}

// recordsOf are the file's records.
func recordsOf(f *runlog.File) (rec records, err error) {
	take := func(read func() error) {
		if err == nil {
			err = read()
		}
	}
	take(func() (e error) { rec.transitions, e = f.Transitions(); return e })
	take(func() (e error) { rec.commands, e = f.Commands(); return e })
	take(func() (e error) { rec.notes, e = f.Notes(); return e })
	take(func() (e error) { rec.phases, e = f.Phases(); return e })
	take(func() (e error) { rec.gaps, e = f.Gaps(); return e })
	take(func() (e error) { rec.bands, e = f.Bands(); return e })
	return rec, err
}
