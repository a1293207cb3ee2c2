package runlog

import (
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"
	"golang.org/x/sys/unix"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// What a file is written with. Device writes of the reference load (12 inputs,
// 45 reckoned channels, a commit for each 5 s) were measured on ext4 with
// noatime by BenchmarkDeviceWrites; the file system's own journal takes about
// half of them for the times of the file, whatever SQLite does.
const (
	// pageSize: each commit writes the last page of ticks and of seconds once
	// more, so small ones save; with 512 a second of 70 channels would no longer
	// fit twice.
	pageSize = 1024
	// walBytes is what the write-ahead log is filled with before it is used, so
	// that a commit overwrites blocks that are there and the file system has
	// nothing to note: it saves a sixth of all writes.
	walBytes = 1 << 20
	// walPages in it are copied into the file together, before it is full: a page
	// that many commits wrote is then copied once.
	walPages = 900
	// cacheKiB of pages: the last pages of two tables and the way to them. More
	// buys nothing here and is resident.
	cacheKiB = 64
)

// store is the open file.
type store struct {
	path         string
	number       int
	conn         *sqlite3.Conn
	tick, second *sqlite3.Stmt
	inputs       int // columns of tick
	reckoned     int // columns of second
	main, wal    fs.FileInfo
	handle       vfs.File // of main
	torn         bool
	inTx         bool
	rows, fresh  int64 // committed, and in the transaction
	commits      int
	walLen       int // pages in the write-ahead log
}

// uri names path to SQLite.
func (d *disk) uri(path string) string {
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}
	if d.vfs != "" {
		u.RawQuery = url.Values{"vfs": {d.vfs}}.Encode()
	}
	return u.String()
}

// create makes a file that has its head and stands under its number, or does
// not stand there at all.
func (d *disk) create(dir string, number int, h *Head, torn bool) (f *store, err error) {
	path, draft := pathOf(dir, number), filepath.Join(dir, "begin.tmp")
	if err := d.remove(draft); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, clean(d.remove(draft)), clean(d.remove(path)))
		}
	}()
	if err := d.draft(draft, h, torn); err != nil {
		return nil, err
	}
	if err := d.fill(path+"-wal", walBytes); err != nil {
		return nil, err
	}
	if err := d.settle(draft, path); err != nil {
		return nil, err
	}
	f = &store{path: path, number: number}
	if err := f.open(d, h.Channels); err != nil {
		return nil, errors.Join(err, f.abandon())
	}
	return f, nil
}

// clean is err, but for a file that was not there to be removed.
func clean(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// draft writes a file with schema and head. Nothing of it needs to be durable
// yet: it has no number.
func (d *disk) draft(path string, h *Head, torn bool) (err error) {
	conn, err := sqlite3.OpenFlags(d.uri(path), sqlite3.OPEN_READWRITE|sqlite3.OPEN_CREATE|sqlite3.OPEN_URI)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	err = conn.Exec(founding(pageSize, h.Channels))
	if err != nil {
		return err
	}
	for _, kv := range []struct {
		key   string
		value any
	}{
		{"rig", h.Rig}, {"boot", h.Boot}, {"session", h.Session}, {"part", h.Part}, {"ms", h.Ms},
		{"tick_ms", h.Tick.Milliseconds()}, {"version", h.Version}, {"torn", torn},
	} {
		if err := execute(conn, "INSERT INTO head VALUES (?, ?)", kv.key, kv.value); err != nil {
			return err
		}
	}
	for i, c := range h.Channels {
		err := execute(conn, "INSERT INTO channels VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			i+1, c.Name, names.Quantity(c.Quantity), c.Unit, c.Step, c.Input, c.Place, c.Care)
		if err != nil {
			return err
		}
	}
	for _, r := range h.Records {
		if err := insert(conn, r); err != nil {
			return err
		}
	}
	return conn.Exec("COMMIT; PRAGMA journal_mode = WAL;")
}

func (f *store) open(d *disk, channels []Channel) (err error) {
	f.conn, err = sqlite3.OpenFlags(d.uri(f.path), sqlite3.OPEN_READWRITE|sqlite3.OPEN_URI)
	if err != nil {
		return err
	}
	if err := f.conn.BusyTimeout(time.Second); err != nil {
		return err
	}
	err = f.conn.Exec(fmt.Sprintf(`
PRAGMA synchronous = FULL;
PRAGMA wal_autocheckpoint = 0;
PRAGMA journal_size_limit = %d;
PRAGMA cache_size = -%d;
PRAGMA temp_store = MEMORY;
`, walBytes, cacheKiB))
	if err != nil {
		return err
	}
	for _, c := range channels {
		if c.Input {
			f.inputs++
		} else {
			f.reckoned++
		}
	}
	if f.tick, err = f.rowInto("ticks", f.inputs); err != nil {
		return err
	}
	if f.second, err = f.rowInto("seconds", f.reckoned); err != nil {
		return err
	}
	handle, err := f.conn.FileControl("main", sqlite3.FCNTL_FILE_POINTER)
	if err != nil {
		return err
	}
	f.handle, _ = handle.(vfs.File)
	f.conn.WALHook(func(_ *sqlite3.Conn, _ string, pages int) error {
		f.walLen = pages
		return nil
	})
	if f.main, err = os.Stat(f.path); err != nil {
		return err
	}
	f.wal, err = os.Stat(f.path + "-wal")
	return err
}

// rowInto replaces a row of the same ms: one that is written again is the same.
func (f *store) rowInto(table string, columns int) (*sqlite3.Stmt, error) {
	s, _, err := f.conn.PrepareFlags("INSERT OR REPLACE INTO "+table+" VALUES (?"+strings.Repeat(", ?", columns)+")", sqlite3.PREPARE_PERSISTENT)
	return s, err
}

// begin starts a transaction where none is, in a file that still has its name.
func (f *store) begin() error {
	if f.inTx {
		return nil
	}
	for _, c := range []struct {
		suffix string
		was    fs.FileInfo
	}{{"", f.main}, {"-wal", f.wal}} {
		is, err := os.Stat(f.path + c.suffix)
		if errors.Is(err, fs.ErrNotExist) || err == nil && !os.SameFile(c.was, is) {
			return errGone
		}
		if err != nil {
			return err
		}
	}
	if err := f.conn.Exec("BEGIN IMMEDIATE"); err != nil {
		return err
	}
	f.inTx = true
	return nil
}

// row stores a row; cells beyond the channels of the file are left out.
func (f *store) row(e *entry) error {
	if err := f.begin(); err != nil {
		return err
	}
	s, columns := f.tick, f.inputs
	if e.kind == entrySecond {
		s, columns = f.second, f.reckoned
	}
	if err := s.ClearBindings(); err != nil {
		return err
	}
	if err := s.BindInt64(1, e.ms); err != nil {
		return err
	}
	for i := range e.n {
		c := e.cell()
		if i >= columns {
			continue
		}
		var err error
		if text := c.text(); text != "" {
			err = s.BindText(i+2, text)
		} else if c.Status == sensors.Good {
			err = s.BindInt64(i+2, c.Count)
		}
		if err != nil {
			return err
		}
	}
	if err := f.done(s.Exec()); err != nil {
		return err
	}
	f.fresh++
	return nil
}

func (f *store) put(r Record) error {
	if err := f.begin(); err != nil {
		return err
	}
	return f.done(insert(f.conn, r))
}

// done gives up the transaction unless err is nil or what was to be inserted is
// what is wrong.
func (f *store) done(err error) error {
	if err != nil && !unfit(err) {
		return errors.Join(err, f.rollback())
	}
	return err
}

// rollback makes sure that no transaction is left open: SQLite ends some by
// itself.
func (f *store) rollback() error {
	f.inTx, f.fresh = false, 0
	if f.conn.GetAutocommit() {
		return nil
	}
	return f.conn.Exec("ROLLBACK")
}

// commit makes durable what was written since begin.
func (f *store) commit() error {
	if !f.inTx {
		return nil
	}
	if err := f.conn.Exec("COMMIT"); err != nil {
		return errors.Join(err, f.rollback())
	}
	f.inTx = false
	f.rows, f.fresh = f.rows+f.fresh, 0
	f.commits++
	return nil
}

// checkpoint copies the write-ahead log into the file if it holds that many
// pages, as far as no reader needs it.
func (f *store) checkpoint(pages int) error {
	if f.walLen < pages {
		return nil
	}
	_, _, err := f.conn.WALCheckpoint("main", sqlite3.CHECKPOINT_PASSIVE)
	if busy(err) || full(err) { // what is in the write-ahead log is durable there
		return nil
	}
	return err
}

func (f *store) size() int64 { return sizeOf(f.path) }

// close leaves one file that needs no companion.
func (f *store) close() error {
	return guarded(func() error {
		return errors.Join(f.tick.Close(), f.second.Close(), f.conn.Close())
	})
}

// abandon closes the file and leaves it and its companions as they are, except
// that what is in a write-ahead log that lost its name is saved.
func (f *store) abandon() error {
	if f.conn == nil {
		return nil
	}
	var err error
	if f.inTx {
		err = guarded(f.rollback)
	}
	main, e1 := os.Stat(f.path)
	_, e2 := os.Stat(f.path + "-wal")
	if !(e1 == nil && f.main != nil && os.SameFile(main, f.main) && errors.Is(e2, fs.ErrNotExist)) {
		_, cause := f.conn.Config(sqlite3.DBCONFIG_NO_CKPT_ON_CLOSE, true)
		err = errors.Join(err, cause)
	}
	cause := f.close()
	if cause != nil {
		cause = errors.Join(cause, guarded(f.letGo))
	}
	return errors.Join(err, cause)
}

// letGo takes the locks off a file that SQLite could not close, which would
// keep readers out: those of its index would last as long as it is mapped.
func (f *store) letGo() error {
	if f.handle == nil {
		return nil
	}
	var err error
	if h, ok := f.handle.(vfs.FileSharedMemory); ok {
		if shm, ok := h.SharedMemory().(interface{ Fd() uintptr }); ok {
			all := unix.Flock_t{Type: unix.F_UNLCK}
			err = unix.FcntlFlock(shm.Fd(), unix.F_OFD_SETLK, &all)
		}
	}
	return errors.Join(err, f.handle.Close())
}

// guarded does what may touch mapped memory that the disk does not give back.
func guarded(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", errPanic, p)
		}
	}()
	return do()
}
