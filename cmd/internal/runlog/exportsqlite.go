package runlog

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"github.com/ncruces/go-sqlite3"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// ExportSQLite writes a file as one database without companions, which any tool
// opens: the tables of the log, with the rows and channels that are asked for.
// What holds for the whole file (head, phases, bands, snapshots, anchors) is
// in it as a whole, and so are the best anchors of the file's boot, wherever
// they were; transitions, commands, notes and gaps are those of the time asked
// for. A file holds one run, so that several are refused; so is a path that is
// there already.
func ExportSQLite(ctx context.Context, path string, files []*File, o ExportOpts) (c Counts, err error) {
	if len(files) != 1 {
		return c, fmt.Errorf("%d files: a database of the log holds one run: export each to a path of its own", len(files))
	}
	parts, err := o.plan(files)
	if err != nil {
		return c, err
	}
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return c, fmt.Errorf("%s: is there already: name another, or remove it first", path)
	}
	half := path + ".part"
	if err := os.Remove(half); err != nil && !errors.Is(err, fs.ErrNotExist) { // of an export that was broken off
		return c, err
	}
	p := &parts[0]
	c.Quality = p.clock.Quality()
	e, err := newSQLiteExport(half, p)
	if err != nil {
		return c, err
	}
	done := newProgress(parts, &o)
	err = e.records()
	if err == nil {
		err = p.scan(ctx, &o, func(b *batch) error {
			for _, r := range b.rows {
				if err := e.row(r.ms, b.in(r), b.out(r), &c); err != nil {
					return err
				}
			}
			done.at(p, b.rows[len(b.rows)-1].ms)
			return nil
		})
	}
	if err == nil {
		err = e.finish()
	}
	if err = errors.Join(err, e.conn.Close()); err == nil {
		err = syncFile(half)
	}
	if err == nil {
		err = os.Rename(half, path)
	}
	if err != nil {
		os.Remove(half)
		return c, fmt.Errorf("%s: %w", path, err)
	}
	done.ended(p)
	return c, nil
}

type sqliteExport struct {
	conn    *sqlite3.Conn
	p       *part
	ticks   *sqlite3.Stmt
	seconds *sqlite3.Stmt
}

// copied are the tables of records; true: only those of the time asked for.
var copied = []struct {
	table string
	timed bool
}{
	{"head", false}, {"phases", false}, {"bands", false}, {"snapshots", false}, {"anchors", false}, {"runs", false},
	{"transitions", true}, {"commands", true}, {"notes", true}, {"gaps", true},
}

// exportPage is SQLite's own page size: an export is not written to again.
const exportPage = 4096

func newSQLiteExport(path string, p *part) (e *sqliteExport, err error) {
	e = &sqliteExport{p: p}
	if e.conn, err = sqlite3.Open(path); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	channels := slices.Concat(p.inputs, p.reckoned)
	err = e.conn.Exec(founding(exportPage, channels))
	for i, c := range channels {
		if err == nil {
			err = e.copy("channels", i+1, c.Name, names.Quantity(c.Quantity), c.Unit, c.Step, c.Input, c.Place, c.Care)
		}
	}
	if err == nil {
		e.ticks, err = e.prepare("ticks", 1+len(p.inputs))
	}
	if err == nil {
		e.seconds, err = e.prepare("seconds", 1+len(p.reckoned))
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", path, errors.Join(err, e.conn.Close()))
		os.Remove(path)
		return nil, err
	}
	return e, nil
}

func (e *sqliteExport) prepare(table string, columns int) (*sqlite3.Stmt, error) {
	s, _, err := e.conn.Prepare("INSERT INTO " + table + " VALUES (?" + strings.Repeat(", ?", columns-1) + ")")
	return s, err
}

// copy inserts a row as it was read; nil is NULL.
func (e *sqliteExport) copy(table string, values ...any) error {
	for i := range values {
		if values[i] == nil {
			values[i] = (*float64)(nil)
		}
	}
	return execute(e.conn, "INSERT INTO "+table+" VALUES (?"+strings.Repeat(", ?", len(values)-1)+")", values...)
}

// records copies what is not rows of cells.
func (e *sqliteExport) records() error {
	for _, t := range copied {
		q := "SELECT * FROM " + t.table
		var args []int64
		if t.timed {
			q += " WHERE ms BETWEEN ? AND ?"
			args = []int64{e.p.from, e.p.to}
		}
		err := e.p.file.query(q, func(s *sqlite3.Stmt) error {
			row := make([]any, s.ColumnCount())
			if err := s.Columns(row...); err != nil {
				return err
			}
			return e.copy(t.table, row...)
		}, args...)
		if err != nil {
			return fmt.Errorf("%s: %w", t.table, explain(err))
		}
	}
	own, err := e.p.file.Anchors()
	if err != nil {
		return err
	}
	for _, a := range e.p.clock.anchors {
		if !slices.Contains(own, a) {
			if err := insert(e.conn, a); err != nil {
				return err
			}
		}
	}
	return nil
}

func (e *sqliteExport) row(ms int64, in, out []Cell, c *Counts) error {
	err := put(e.ticks, ms, in, c)
	return errors.Join(err, put(e.seconds, ms, out, c))
}

// put inserts a row of cells, unless there are none.
func put(s *sqlite3.Stmt, ms int64, cells []Cell, c *Counts) error {
	if !came(cells) {
		return nil
	}
	err := s.BindInt64(1, ms)
	for i, x := range cells {
		if err != nil {
			return err
		}
		switch word := x.text(); {
		case word != "":
			err = s.BindText(i+2, word)
		case x.Status == sensors.Good:
			err = s.BindInt64(i+2, x.Count)
		default:
			err = s.BindNull(i + 2)
		}
		if x.Status == sensors.Good {
			c.Samples++
		}
	}
	if err != nil {
		return err
	}
	c.Rows++
	return s.Exec()
}

func (e *sqliteExport) finish() error {
	return errors.Join(e.ticks.Close(), e.seconds.Close(), e.conn.Exec("COMMIT"))
}

func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
