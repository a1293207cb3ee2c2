package main

import (
	"cmp"
	"slices"

	"charwarden/cmd/internal/runlog"
)

// events collects what happened in a run.
type events struct {
	clock    runlog.Clock
	from, to int64
	rows     []eventRow
}

func (l *events) add(ms int64, what, text string) {
	if ms < l.from || ms > l.to {
		return
	}
	l.rows = append(l.rows, eventRow{*stampOf(l.clock.Wall(ms)), float64(ms-l.from) / 1000, what, text})
}

func (l *events) sorted() []eventRow {
	slices.SortStableFunc(l.rows, func(a, b eventRow) int { return cmp.Compare(a.Seconds, b.Seconds) })
	return l.rows
}
