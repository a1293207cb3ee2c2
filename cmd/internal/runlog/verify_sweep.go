package runlog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/ncruces/go-sqlite3"
)

// sweeper reads a table that may be damaged: from its beginning to the first
// damage, from its end back to the last, and what is between in halves, until
// what cannot be read is narrower than a row.
type sweeper struct {
	*rescue
	table      damaged
	row        func(columns) error
	count      *TableCount
	first      error // that damage showed by
	low, high  int64 // numbers of the rows that could be read
	begin, end int64 // numbers of the first and last row, where they can be told
	tries      int
	holes      [][2]int64 // first and last number of rows that could not be read
	told       int
}

const (
	mostTries = 500              // to find rows between damaged ones; dig finds more
	longest   = 48 * 3600 * 1000 // ms that a file lasts at most, for one whose end is lost
	mostRows  = 1000             // behind the first damage, of a table of records whose end is lost
)

func (s *sweeper) why() string {
	if s.first == nil {
		return ""
	}
	return ": " + s.first.Error()
}

func (s *sweeper) all() error {
	var err error
	if s.table.key == "" {
		err = s.unnumbered()
	} else {
		err = s.numbered()
	}
	if err != nil {
		return err
	}
	switch {
	case s.high < s.low:
	case s.table.key == "id": // numbered 1, 2, ... without a hole
		s.count.Lost = max(s.count.Lost, s.high-s.count.Rows)
	}
	return nil
}

// numbered reads a table whose rows have numbers.
func (s *sweeper) numbered() error {
	f := File{conn: s.conn}
	s.begin, _ = f.one("SELECT min(" + s.table.key + ") FROM " + s.table.name) // for the progress only
	s.end, _ = f.one("SELECT max(" + s.table.key + ") FROM " + s.table.name)
	last, damage, err := s.walk(math.MinInt64, math.MaxInt64, false)
	if err != nil || damage == nil {
		return err
	}
	s.first = damage
	from := int64(1)
	if s.table.cells {
		from = 0
	}
	if s.high >= s.low {
		from = last + 1
	}
	to, damage, err := s.walk(from, math.MaxInt64, true)
	if err != nil || damage == nil {
		return err
	}
	if to--; s.high < from { // nothing could be read from the end
		to = from + mostRows
		if s.table.cells {
			if to = from + longest; s.last > 0 && s.last >= from {
				to = s.last
			}
		}
	}
	return s.between(from, to)
}

// between reads what can be read of a range that is damaged.
func (s *sweeper) between(from, to int64) error {
	grain := int64(0)
	if s.table.cells {
		if grain = s.tick - 1; s.table.name == "seconds" {
			grain = 999
		}
	}
	if from > to {
		return nil
	}
	if s.tries++; to-from <= grain || s.tries > mostTries {
		if s.table.cells {
			s.holes = append(s.holes, [2]int64{from, to})
		}
		if to <= s.high { // beyond it nobody knows whether there were any
			s.count.Lost += (to-from)/(grain+1) + 1
		}
		return nil
	}
	mid := from + (to-from)/2
	for _, half := range [2][2]int64{{from, mid}, {mid + 1, to}} {
		rows := s.count.Rows
		last, damage, err := s.walk(half[0], half[1], false)
		if err != nil {
			return err
		}
		if damage == nil {
			continue
		}
		if s.count.Rows > rows {
			half[0] = last + 1
		}
		rows = s.count.Rows
		last, damage, err = s.walk(half[0], half[1], true)
		if err != nil {
			return err
		}
		if damage == nil {
			continue
		}
		if s.count.Rows > rows {
			half[1] = last - 1
		}
		if err := s.between(half[0], half[1]); err != nil {
			return err
		}
	}
	return nil
}

// walk reads rows from one number to another, or back, until damage. last is the
// number of the last row that was read.
func (s *sweeper) walk(from, to int64, back bool) (last int64, damage, err error) {
	order := ""
	if back {
		order = " DESC"
	}
	q, _, err := s.conn.Prepare("SELECT * FROM " + s.table.name + " WHERE " + s.table.key + " BETWEEN ? AND ? ORDER BY " + s.table.key + order)
	if err != nil {
		return 0, err, nil
	}
	defer func() {
		if cause := q.Close(); damage == nil {
			damage = cause
		}
	}()
	if err := errors.Join(q.BindInt64(1, from), q.BindInt64(2, to)); err != nil {
		return 0, nil, err
	}
	began := false
	for q.Step() {
		n := q.ColumnInt64(0)
		if n < from || n > to || began && (back && n >= last || !back && n <= last) {
			return last, fmt.Errorf("rows out of their order: %w", sqlite3.CORRUPT), nil
		}
		last, began = n, true
		if err := s.take(q, n); err != nil {
			return last, nil, err
		}
	}
	if s.ctx.Err() != nil {
		return last, nil, context.Cause(s.ctx)
	}
	return last, q.Err(), nil
}

// take hands a row on, unless it cannot be one.
func (s *sweeper) take(q *sqlite3.Stmt, n int64) error {
	if s.told++; s.told%10_000 == 0 && n <= s.end {
		s.tell(s.from + int64(float64(s.to-s.from)*float64(n-s.begin)/float64(s.end-s.begin+1)))
	}
	s.low, s.high = min(s.low, n), max(s.high, n)
	if s.table.cells {
		var c Cell
		for i := range q.DataCount() - 1 {
			if err := readCell(q, i+1, &c); err != nil {
				s.count.Lost++
				if s.first == nil {
					s.first = fmt.Errorf("row at %d ms: %w", n, err)
				}
				return nil
			}
		}
	}
	if s.table.name == "channels" && !s.fits(q) {
		s.count.Lost++
		s.first = fmt.Errorf("channel %q: is not what a channel can be", q.ColumnText(1))
		return nil
	}
	if err := s.row(q); err != nil {
		if unfit(err) {
			s.count.Lost++
			if s.first == nil {
				s.first = err
			}
			return nil
		}
		return err
	}
	s.count.Rows++
	return nil
}

// fits says whether a row of channels belongs to a column and can be read.
// Without it the column stays and the rest of the file can be read.
func (s *sweeper) fits(q *sqlite3.Stmt) bool {
	name, step, input := q.ColumnText(1), q.ColumnFloat(4), q.ColumnBool(5)
	_, known := quantityOf(q.ColumnText(2))
	return known && step > 0 && step <= 1<<20 && slices.ContainsFunc(s.channels, func(c Channel) bool {
		return c.Name == name && c.Input == input
	})
}

// unnumbered reads the table of keys from both ends.
func (s *sweeper) unnumbered() error {
	seen := map[string]bool{}
	for _, order := range []string{"", " DESC"} {
		q, _, err := s.conn.Prepare("SELECT * FROM " + s.table.name + " ORDER BY key" + order)
		if err != nil {
			s.first = err
			return nil
		}
		for q.Step() {
			if key := q.ColumnText(0); !seen[key] {
				seen[key] = true
				if err := s.row(q); err != nil {
					return errors.Join(err, q.Close())
				}
				s.count.Rows++
			}
		}
		err = q.Err()
		if cause := q.Close(); err == nil {
			err = cause
		}
		if s.ctx.Err() != nil {
			return context.Cause(s.ctx)
		}
		if err == nil {
			return nil
		}
		s.first = err
	}
	return nil
}

// dig looks in the pages themselves for rows that are in a hole: where a page
// that leads to a hundred others is damaged, those may be whole.
func (s *sweeper) dig() error {
	cells, other := 0, 0
	for _, c := range s.channels {
		if c.Input == (s.table.name == "ticks") {
			cells++
		} else {
			other++
		}
	}
	if cells == other { // then nobody knows which table a page belongs to
		return nil
	}
	slices.SortFunc(s.holes, func(a, b [2]int64) int { return cmp.Compare(a[0], b[0]) })
	found := map[int64]bool{}
	return s.leaves(cells, func(r *leafRow) error {
		_, in := slices.BinarySearchFunc(s.holes, r.ms, func(h [2]int64, ms int64) int {
			switch {
			case h[1] < ms:
				return -1
			case h[0] > ms:
				return 1
			}
			return 0
		})
		if !in || found[r.ms] {
			return nil
		}
		found[r.ms] = true
		if err := s.row(r); err != nil {
			return err
		}
		s.count.Rows++
		s.count.Lost = max(0, s.count.Lost-1)
		return nil
	})
}
