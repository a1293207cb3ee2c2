package runlog

import (
	"context"
	"fmt"
	"iter"
	"math"

	"github.com/ncruces/go-sqlite3"

	"charwarden/sensors"
)

// pageRows is how many rows are read in one go. Between two goes the file is
// let go of, so that a daemon that writes it can tidy up behind a slow reader.
const pageRows = 16384

// Ticks are the rows of the inputs from a time to another, both included; to 0
// means to the end. A Row's cells are used again for the next row. After an
// error nothing more comes.
func (f *File) Ticks(ctx context.Context, from, to int64) iter.Seq2[Row, error] {
	return f.rows(ctx, true, f.inputs, from, to)
}

// Seconds are the rows of what is reckoned, as Ticks.
func (f *File) Seconds(ctx context.Context, from, to int64) iter.Seq2[Row, error] {
	return f.rows(ctx, false, f.reckoned, from, to)
}

// rows are the cells of some of the inputs, or of some of what is reckoned.
func (f *File) rows(ctx context.Context, input bool, channels []Channel, from, to int64) iter.Seq2[Row, error] {
	table := "seconds"
	if input {
		table = "ticks"
	}
	return func(yield func(Row, error) bool) {
		fail := func(err error) { yield(Row{}, fmt.Errorf("%s: %s: %w", f.path, table, explain(err))) }
		q := "SELECT ms" + columnList(channels) + " FROM " + table + " WHERE ms BETWEEN ? AND ? ORDER BY ms LIMIT ?"
		s, _, err := f.conn.Prepare(q)
		if err != nil {
			fail(err)
			return
		}
		defer s.Close()      // repeats the error of its last step, which was told
		from, to := from, to // it may be ranged over again
		if to == 0 {
			to = math.MaxInt64
		}
		row := Row{Cells: make([]Cell, len(channels))}
		for n := pageRows; n == pageRows; {
			if err := ctx.Err(); err != nil {
				fail(err)
				return
			}
			for i, v := range []int64{from, to, pageRows} {
				if err := s.BindInt64(i+1, v); err != nil {
					fail(err)
					return
				}
			}
			for n = 0; s.Step(); n++ {
				row.Ms = s.ColumnInt64(0)
				if row.Ms < from { // damaged: else it might go on for ever
					fail(fmt.Errorf("row at %d ms after one at %d ms: %w", row.Ms, from-1, sqlite3.CORRUPT))
					return
				}
				from = row.Ms + 1
				for i := range row.Cells {
					if err := readCell(s, i+1, &row.Cells[i]); err != nil {
						fail(fmt.Errorf("row at %d ms: %s: %w", row.Ms, channels[i].Name, err))
						return
					}
				}
				if !yield(row, nil) {
					return
				}
			}
			if err := s.Reset(); err != nil {
				fail(err)
				return
			}
		}
	}
}

func readCell(s *sqlite3.Stmt, col int, c *Cell) (err error) {
	switch s.ColumnType(col) {
	case sqlite3.NULL:
		*c = Cell{}
	case sqlite3.INTEGER:
		*c = Cell{Count: s.ColumnInt64(col), Status: sensors.Good}
	case sqlite3.TEXT:
		*c, err = parseCell(s.ColumnText(col))
	default:
		err = fmt.Errorf("neither a count nor a word: %w", sqlite3.CORRUPT)
	}
	return err
}
