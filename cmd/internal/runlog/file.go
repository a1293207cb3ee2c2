package runlog

import (
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/ncruces/go-sqlite3"
)

// File is one file of the log, open for reading. It changes nothing, and a
// daemon may write the file meanwhile: what it commits later is seen by what is
// asked for later. It is not safe for concurrent use.
type File struct {
	path     string
	conn     *sqlite3.Conn
	meta     Meta
	inputs   []Channel
	reckoned []Channel
	clock    func() Clock
}

// Open opens a file of the log.
//
// A file whose daemon ended in order has no companions and is read as it is,
// also from a read-only place. One that is being written, or that a power cut
// ended, has a companion `-wal` with the newest rows, and reading it needs both
// companions beside it, or leave to make the other one, `-shm`.
func Open(path string) (*File, error) {
	f, err := open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	f.clock = sync.OnceValue(f.bootClock)
	return f, nil
}

// open opens it without a clock.
func open(path string) (*File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, errors.Unwrap(err)
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("not a file: want a file of the run log, such as 000007.db")
	}
	real, err := filepath.EvalSymlinks(path) // companions lie beside the file, not beside a link to it
	if err != nil {
		return nil, err
	}
	if real, err = filepath.Abs(real); err != nil {
		return nil, err
	}
	conn, err := connect(real)
	if err != nil {
		return nil, explain(err)
	}
	f := &File{path: path, conn: conn}
	if err := f.readHead(); err != nil {
		conn.Close()
		return nil, explain(err)
	}
	f.meta.Number, _ = numberOf(path)
	f.meta.Size = sizeOf(real)
	return f, nil
}

// connect opens the database so that nothing in it can make us write, or run
// what is not ours.
func connect(path string) (*sqlite3.Conn, error) {
	where := url.URL{Scheme: "file", OmitHost: true, Path: path, RawQuery: "vfs=" + guestVFS()}
	// Without a write-ahead log nobody has it open for writing, nor will: files
	// that are done are never written again. Then neither locks nor companions
	// are made.
	if info, err := os.Stat(path + "-wal"); errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0 && !present(path+"-shm") {
		where.RawQuery += "&immutable=1"
	}
	conn, err := sqlite3.OpenFlags(where.String(), sqlite3.OPEN_READONLY|sqlite3.OPEN_URI)
	if err != nil {
		return nil, err
	}
	conn.Limit(sqlite3.LIMIT_LENGTH, 64<<20) // of one text: a damaged length is no reason to take all memory
	err = errors.Join(conn.BusyTimeout(5*time.Second),
		conn.Exec("PRAGMA query_only=ON; PRAGMA trusted_schema=OFF; PRAGMA cell_size_check=ON"))
	if err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

func present(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// explain says what to do about an error of the database, where that is not the
// same for all of them.
func explain(err error) error {
	switch {
	case errors.Is(err, sqlite3.NOTADB):
		return fmt.Errorf("not a file of the run log, or its beginning is destroyed: try charwarden runs verify: %w", err)
	case errors.Is(err, sqlite3.CORRUPT):
		return fmt.Errorf("damaged: charwarden runs verify saves what can be read: %w", err)
	case errors.Is(err, sqlite3.BUSY):
		return fmt.Errorf("in use: try again in a moment: %w", err)
	case errors.Is(err, sqlite3.CANTOPEN), errors.Is(err, sqlite3.READONLY), errors.Is(err, sqlite3.PERM):
		return fmt.Errorf("cannot be read here: it needs a directory that can be written: copy it with its companion -wal to one: %w", err)
	}
	return err
}

// Close lets go of the file.
func (f *File) Close() error {
	if err := f.conn.Close(); err != nil {
		return fmt.Errorf("%s: close: %w", f.path, err)
	}
	return nil
}

// Path that it was opened by.
func (f *File) Path() string { return f.path }

// Meta is what the file said of itself when it was opened.
func (f *File) Meta() Meta { return f.meta }

// Inputs are the channels of Ticks, in the order of the cells.
func (f *File) Inputs() []Channel { return f.inputs }

// Reckoned are the channels of Seconds, in the order of the cells.
func (f *File) Reckoned() []Channel { return f.reckoned }

// Clock tells wall time by the best anchors of the file's boot: its own and
// those of the files of the same boot beside it. They are read at the first
// call; a neighbour that cannot be read is left out.
func (f *File) Clock() Clock { return f.clock() }

// query calls row for each row of the answer.
func (f *File) query(sql string, row func(s *sqlite3.Stmt) error, args ...int64) (err error) {
	s, _, err := f.conn.Prepare(sql)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	for i, a := range args {
		if err := s.BindInt64(i+1, a); err != nil {
			return err
		}
	}
	for s.Step() {
		if err := row(s); err != nil {
			return err
		}
	}
	return s.Err()
}

// one is the whole number that the query answers with; 0 if there is none.
func (f *File) one(sql string) (n int64, err error) {
	err = f.query(sql, func(s *sqlite3.Stmt) error { n = s.ColumnInt64(0); return nil })
	return n, err
}

// numberOf is the number in a file's name.
func numberOf(path string) (int, bool) {
	word, ours := strings.CutSuffix(filepath.Base(path), ".db")
	n, err := strconv.Atoi(word)
	return n, ours && err == nil && n > 0 && len(word) >= 6 && word[0] != '+'
}

// sizeOf is the size of the file and its companions.
func sizeOf(path string) (bytes int64) {
	for _, end := range []string{"", "-wal", "-shm"} {
		if info, err := os.Stat(path + end); err == nil {
			bytes += info.Size()
		}
	}
	return bytes
}

// column names of channels, each with a comma before it.
func columnList(channels []Channel) string {
	var b strings.Builder
	for _, c := range channels {
		b.WriteString(", " + quoted(c.Name))
	}
	return b.String()
}

// split are the inputs and what is reckoned, each in its order.
func split(channels []Channel) (inputs, reckoned []Channel) {
	for _, c := range channels {
		if c.Input {
			inputs = append(inputs, c)
		} else {
			reckoned = append(reckoned, c)
		}
	}
	return slices.Clip(inputs), slices.Clip(reckoned)
}
