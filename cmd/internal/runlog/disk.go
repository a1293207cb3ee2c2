package runlog

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/sys/unix"
)

// disk is what the writer does to the directory beside SQLite, and where SQLite
// finds its files: tests put one below it that stalls, fills up or forgets.
type disk struct {
	vfs    string                           // of SQLite; "": the system's
	fill   func(path string, n int64) error // a new file of n zero bytes, on the disk when it returns
	settle func(from, to string) error      // from is on the disk, then called to, then so is that
	remove func(path string) error          // of a file and its companions
}

var systemDisk = disk{fill: fill, settle: settle, remove: remove}

// companions of a file, while it is open or after a power cut.
var companions = []string{"-wal", "-shm", "-journal"}

func fill(path string, n int64) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() {
		if cause := f.Close(); err == nil {
			err = cause
		}
	}()
	zeros := make([]byte, 16<<10)
	for ; n > 0; n -= int64(len(zeros)) {
		if _, err := f.Write(zeros[:min(n, int64(len(zeros)))]); err != nil {
			return err
		}
	}
	return f.Sync()
}

func settle(from, to string) error {
	if err := syncPath(from); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return syncPath(filepath.Dir(to))
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func remove(path string) error {
	err := os.Remove(path)
	for _, c := range companions {
		if cause := os.Remove(path + c); cause != nil && !errors.Is(cause, fs.ErrNotExist) {
			err = errors.Join(err, cause)
		}
	}
	return err
}

var ours = regexp.MustCompile(`^(\d{6,9})\.db`)

// highest is the highest number in dir, of files and of companions that lost
// theirs; 0 in an empty one. It makes dir where its parent is there: a disk that
// is not mounted is not written past.
func highest(dir string) (n int, err error) {
	if err := os.Mkdir(dir, 0o750); err != nil && !errors.Is(err, fs.ErrExist) {
		return 0, err
	}
	d, err := os.Open(dir)
	if err != nil {
		return 0, err
	}
	names, err := d.Readdirnames(-1)
	if err := errors.Join(err, d.Close()); err != nil {
		return 0, err
	}
	for _, name := range names {
		if m := ours.FindStringSubmatch(name); m != nil {
			if k, err := strconv.Atoi(m[1]); err == nil {
				n = max(n, k)
			}
		}
	}
	return n, nil
}

func pathOf(dir string, number int) string {
	return filepath.Join(dir, fmt.Sprintf("%06d.db", number))
}

var (
	errGone  = errors.New("the file was removed or replaced while it was written")
	errPanic = errors.New("the disk did not give back what was written")
)

func full(err error) bool {
	return errors.Is(err, sqlite3.FULL) || errors.Is(err, unix.ENOSPC) || errors.Is(err, unix.EDQUOT)
}

func busy(err error) bool {
	return errors.Is(err, sqlite3.BUSY) || errors.Is(err, sqlite3.LOCKED)
}

func readOnly(err error) bool {
	return errors.Is(err, sqlite3.READONLY) || errors.Is(err, unix.EROFS)
}

func corrupt(err error) bool {
	return errors.Is(err, sqlite3.CORRUPT) || errors.Is(err, sqlite3.NOTADB)
}

// unfit says that the row or record, not the file, is what is wrong.
func unfit(err error) bool {
	for _, code := range []sqlite3.ErrorCode{sqlite3.CONSTRAINT, sqlite3.MISMATCH, sqlite3.TOOBIG, sqlite3.RANGE} {
		if errors.Is(err, code) {
			return true
		}
	}
	return false
}

// explained is err with the cause beside it that SQLite lost on its way up: the
// disk of dir is full, or has turned read-only.
func explained(dir string, err error) error {
	var fs unix.Statfs_t
	if !errors.Is(err, sqlite3.IOERR) || unix.Statfs(dir, &fs) != nil {
		return err
	}
	switch {
	case fs.Flags&unix.ST_RDONLY != 0:
		return errors.Join(err, unix.EROFS)
	case int64(fs.Bavail)*int64(fs.Bsize) < walBytes:
		return errors.Join(err, unix.ENOSPC)
	}
	return err
}

// advice is what is wrong and what to do about it.
func advice(err error) string {
	switch {
	case full(err):
		return "the disk is full: remove what is not needed, or let fewer runs be kept"
	case readOnly(err):
		return "the disk can only be read: check it, and mount it for writing"
	case busy(err):
		return "another program keeps the file locked: close it"
	case corrupt(err):
		return "the file is damaged: it is kept as it is, save what is in it with 'charwarden runs verify'"
	case errors.Is(err, fs.ErrPermission):
		return "the daemon may not write there: give it the directory"
	case errors.Is(err, fs.ErrNotExist):
		return "the directory is not there: make it, or mount its disk"
	case errors.Is(err, errGone):
		return "somebody removed or replaced it while it was written: leave the open file alone"
	}
	return "the disk cannot store it: save the runs elsewhere and replace the card or disk"
}
