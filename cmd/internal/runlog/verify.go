package runlog

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/ncruces/go-sqlite3"
)

// Verdict is what Verify found in a file, or what Salvage saved of one.
type Verdict struct {
	Tables []TableCount
	Wrong  []string // what is wrong, in words; none: nothing is
}

// TableCount is how much of a table can be read.
type TableCount struct {
	Name string
	Rows int64 // that can be read and say what a row can
	Lost int64 // that cannot, as far as that can be told
}

// Lost rows of all tables, as far as that can be told.
func (v *Verdict) Lost() (n int64) {
	for _, t := range v.Tables {
		n += t.Lost
	}
	return n
}

// ErrBeyond is a file of which nothing can be read.
var ErrBeyond = errors.New("nothing of it can be read as a file of the run log")

// whole is the total that is told to a progress function.
const whole = 1000

// Verify reads all of a file, changes nothing, and says what is wrong with it.
// It may be one that a daemon writes. progress may be nil. An error means that
// there is no verdict: there is no such file, ctx ended, or the file cannot be
// read at all (ErrBeyond).
func Verify(ctx context.Context, path string, progress func(done, total int64)) (v Verdict, err error) {
	err = guarded(func() (err error) {
		r, err := newRescue(ctx, path, progress)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, r.conn.Close()) }()
		for i, t := range r.tables {
			r.from, r.to = whole*int64(i)*8/int64(10*len(r.tables)), whole*int64(i+1)*8/int64(10*len(r.tables))
			if err := r.read(t, func(columns) error { return nil }); err != nil {
				return err
			}
		}
		if err := r.integrity(); err != nil {
			return err
		}
		r.tell(whole)
		v = r.Verdict
		return nil
	})
	if err != nil {
		return v, fmt.Errorf("%s: %w", path, beyond(err))
	}
	return v, nil
}

// beyond says so of what a destroyed file made of the library.
func beyond(err error) error {
	if errors.Is(err, errPanic) || corrupt(err) {
		return fmt.Errorf("%w: %w", ErrBeyond, err)
	}
	return err
}

// Salvage copies what can be read of the file at path into a new one at out,
// which must not be there yet, and counts what cannot. What is copied can be
// read like any other file. progress may be nil; errors as with Verify.
func Salvage(ctx context.Context, path, out string, progress func(done, total int64)) (v Verdict, err error) {
	if _, err := os.Lstat(out); !errors.Is(err, fs.ErrNotExist) {
		return v, fmt.Errorf("%s: is there already: choose another name to save into", out)
	}
	err = guarded(func() error {
		r, err := newRescue(ctx, path, progress)
		if err != nil {
			return err
		}
		err = errors.Join(r.salvage(out), r.conn.Close())
		v = r.Verdict
		return err
	})
	if err != nil {
		return v, errors.Join(fmt.Errorf("%s: %w", path, beyond(err)), clean(remove(out)))
	}
	return v, syncPath(out)
}

// rescue reads a file that may be damaged.
type rescue struct {
	Verdict
	ctx      context.Context
	path     string
	conn     *sqlite3.Conn
	tables   []damaged
	channels []Channel // names and steps: columns of ticks and seconds
	last     int64     // ms that no row is later than; 0 where that cannot be told
	tick     int64     // ms; 100 where that cannot be read
	progress func(done, total int64)
	from, to int64 // of whole, for the table that is being read
}

// damaged is a table that may be.
type damaged struct {
	name  string
	key   string // column of the row's number; "" for head, which has none
	cells bool   // ticks or seconds
}

func newRescue(ctx context.Context, path string, progress func(done, total int64)) (*rescue, error) {
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if _, err := os.Stat(path); err != nil {
		return nil, errors.Unwrap(err)
	}
	conn, err := connect(path)
	if err != nil {
		return nil, err
	}
	// It lets a file be read that is shorter than its beginning says. Nothing is
	// written: the connection is for reading only.
	if err := conn.Exec("PRAGMA writable_schema = ON"); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	if progress == nil {
		progress = func(int64, int64) {}
	}
	conn.SetInterrupt(ctx)
	r := &rescue{ctx: ctx, path: path, conn: conn, tick: 100, progress: progress}
	if err := r.look(); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return r, nil
}

// look finds the tables and their columns.
func (r *rescue) look() error {
	f := File{conn: r.conn}
	if id, err := f.one("PRAGMA application_id"); err != nil {
		return err
	} else if id != applicationID {
		r.wrong("its beginning does not say that it is a file of the run log (application_id %d)", id)
	}
	if v, err := f.one("PRAGMA user_version"); err != nil {
		return err
	} else if v > schemaVersion {
		return fmt.Errorf("written by a newer charwarden (schema %d, this one reads up to %d)", v, schemaVersion)
	}
	var known []string
	for line := range strings.Lines(schema + tables(nil)) {
		if word := strings.Fields(line); len(word) > 2 && word[0] == "CREATE" && word[1] == "TABLE" {
			known = append(known, word[2])
		}
	}
	err := f.query("SELECT name FROM sqlite_schema WHERE type = 'table'", func(s *sqlite3.Stmt) error {
		name := s.ColumnText(0)
		if i := slices.Index(known, name); i >= 0 {
			known = slices.Delete(known, i, i+1)
			t := damaged{name: name, key: "id", cells: name == "ticks" || name == "seconds"}
			if name == "head" {
				t.key = ""
			} else if t.cells {
				t.key = "ms"
			}
			r.tables = append(r.tables, t)
		}
		return nil
	})
	if r.ctx.Err() != nil {
		return context.Cause(r.ctx)
	}
	if len(r.tables) == 0 {
		return errors.Join(ErrBeyond, err)
	}
	for _, name := range known {
		r.wrong("table %s is not there", name)
	}
	if ms, err := f.one("SELECT value FROM head WHERE key = 'tick_ms'"); err == nil && ms >= 10 && ms <= 10_000 {
		r.tick = ms
	}
	for _, t := range r.tables {
		if t.cells {
			if ms, err := f.one("SELECT max(ms) FROM " + t.name); err == nil {
				r.last = max(r.last, ms+1000)
			}
		}
	}
	return r.columns(&f)
}

// columns finds those of ticks and seconds, which say more than the table of
// channels: that may be damaged.
func (r *rescue) columns(f *File) error {
	steps, unknown := map[string]float64{}, []string(nil)
	err := f.query("SELECT name, step FROM channels", func(s *sqlite3.Stmt) error {
		steps[s.ColumnText(0)] = s.ColumnFloat(1)
		return nil
	})
	if err != nil {
		r.wrong("channels: %v", err)
	}
	for _, t := range r.tables {
		if !t.cells {
			continue
		}
		err := f.query("SELECT name FROM pragma_table_info('"+t.name+"') WHERE name <> 'ms' ORDER BY cid", func(s *sqlite3.Stmt) error {
			name := s.ColumnText(0)
			step, ok := steps[name]
			if !ok {
				step = 1
				unknown = append(unknown, name)
			}
			r.channels = append(r.channels, Channel{Name: name, Step: step, Input: t.name == "ticks"})
			return nil
		})
		if err != nil {
			return err
		}
	}
	if len(unknown) > 0 {
		r.wrong("channels: not known what a count is worth of %s", strings.Join(unknown, ", "))
	}
	return nil
}

func (r *rescue) wrong(format string, args ...any) {
	if len(r.Wrong) < 100 {
		r.Wrong = append(r.Wrong, fmt.Sprintf(format, args...))
	}
}

func (r *rescue) tell(done int64) { r.progress(done, whole) }

// integrity has SQLite look at every page.
func (r *rescue) integrity() error {
	f := File{conn: r.conn}
	err := f.query("PRAGMA integrity_check(20)", func(s *sqlite3.Stmt) error {
		if line := s.ColumnText(0); line != "ok" {
			for line := range strings.Lines(line) {
				if line = strings.TrimSpace(line); line != "*** in database main ***" {
					r.wrong("%s", line)
				}
			}
		}
		return nil
	})
	switch {
	case r.ctx.Err() != nil:
		return context.Cause(r.ctx)
	case err != nil:
		r.wrong("pages: %v", err)
	}
	return nil
}

// read reads what can be read of a table and calls row with each row.
func (r *rescue) read(t damaged, row func(columns) error) error {
	count := TableCount{Name: t.name}
	s := sweeper{rescue: r, table: t, row: row, count: &count, low: math.MaxInt64, high: math.MinInt64}
	err := s.all()
	if err == nil && len(s.holes) > 0 {
		err = s.dig()
	}
	r.Tables = append(r.Tables, count)
	if err != nil {
		return err
	}
	if count.Lost > 0 {
		r.wrong("%s: %d rows can be read, about %d cannot%s", t.name, count.Rows, count.Lost, s.why())
	} else if s.first != nil {
		r.wrong("%s: %d rows can be read, not known how many cannot%s", t.name, count.Rows, s.why())
	}
	r.tell(r.to)
	return nil
}

func (r *rescue) salvage(out string) (err error) {
	conn, err := sqlite3.OpenFlags(out, sqlite3.OPEN_READWRITE|sqlite3.OPEN_CREATE)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	if err := conn.Exec(founding(pageSize, r.channels)); err != nil {
		return err
	}
	for i, t := range r.tables {
		r.from, r.to = whole*int64(i)/int64(len(r.tables)), whole*int64(i+1)/int64(len(r.tables))
		if err := r.copy(t, conn); err != nil {
			return err
		}
	}
	return conn.Exec("COMMIT; PRAGMA journal_mode = WAL;")
}

// copy is what can be read of a table.
func (r *rescue) copy(t damaged, into *sqlite3.Conn) (err error) {
	var insert *sqlite3.Stmt
	defer func() { err = errors.Join(err, insert.Close()) }()
	return r.read(t, func(s columns) error {
		n := s.DataCount()
		if insert == nil {
			insert, _, err = into.Prepare("INSERT INTO " + t.name + " VALUES (?" + strings.Repeat(", ?", n-1) + ")")
			if err != nil {
				return err
			}
		}
		for i := range n {
			if err := bindColumn(insert, i+1, s, i); err != nil {
				return err
			}
		}
		return insert.Exec()
	})
}

// bindColumn binds a column of a row of another file.
func bindColumn(to *sqlite3.Stmt, at int, from columns, col int) error {
	switch from.ColumnType(col) {
	case sqlite3.INTEGER:
		return to.BindInt64(at, from.ColumnInt64(col))
	case sqlite3.FLOAT:
		return to.BindFloat(at, from.ColumnFloat(col))
	case sqlite3.TEXT:
		return to.BindText(at, from.ColumnText(col))
	case sqlite3.BLOB:
		return to.BindBlob(at, from.ColumnRawBlob(col))
	}
	return to.BindNull(at)
}
