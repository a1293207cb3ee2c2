package runlog

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sys/unix"

	"charwarden/sensors"
)

// nobody is a user that owns nothing here.
const nobody = 65534

// asGuest runs f as somebody who may read dir and all that is in it, and write
// none of it.
func asGuest(t *testing.T, dir string, f func()) {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range files {
		if err := os.Chmod(filepath.Join(dir, e.Name()), 0o444); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o755) })
	done := make(chan error)
	go func() {
		defer close(done)
		if os.Geteuid() == 0 { // whom modes do not bind: this thread gives it up, and ends with the function
			runtime.LockOSThread()
			if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil { // TempDir's own is root's alone
				done <- err
				return
			}
			if err := unix.Setfsuid(nobody); err != nil {
				done <- err
				return
			}
		}
		if w, err := os.OpenFile(filepath.Join(dir, files[0].Name()), os.O_RDWR, 0); err == nil {
			w.Close()
			t.Error("a guest may write: nothing is proved")
		}
		f()
	}()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

// Who may only read the directory sees what the daemon commits beside them, and
// what a power cut left.
func TestFileAsGuest(t *testing.T) {
	good := func(n int64) Cell { return Cell{Count: n, Status: sensors.Good} }
	t.Run("written meanwhile", func(t *testing.T) {
		dir := t.TempDir()
		m := makeFile(t, dir, 1, pump())
		m.tick(1000, 1, 2, 3)
		asGuest(t, dir, func() {
			f := opened(t, m.path)
			wantRows(t, f, 1000, 0, "ticks", Row{1000, []Cell{good(1), good(2), good(3)}})
			m.tick(1100, 4, 5, 6)
			wantRows(t, f, 1100, 0, "ticks", Row{1100, []Cell{good(4), good(5), good(6)}})
			if all, err := List(dir); err != nil || len(all) != 1 || all[0].LastMs != 1100 || all[0].Why != "" {
				t.Errorf("%+v %v", all, err)
			}
		})
	})
	t.Run("torn", func(t *testing.T) {
		m := makeFile(t, t.TempDir(), 3, pump())
		m.tick(1000, 1, 2, 3)
		dir := t.TempDir()
		for _, end := range []string{"", "-wal", "-shm"} {
			b, err := os.ReadFile(m.path + end)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "000003.db"+end), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		asGuest(t, dir, func() {
			wantRows(t, opened(t, filepath.Join(dir, "000003.db")), 1000, 0, "ticks", Row{1000, []Cell{good(1), good(2), good(3)}})
		})
	})
}
