package runlog

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"
)

// TestShellReads has the sqlite3 shell (https://sqlite.org/cli.html) read a file
// while it is written and afterwards.
func TestShellReads(t *testing.T) {
	shell := tool(t, "sqlite3", "sqlite3")
	dir := t.TempDir()
	w := New(testOpts(dir))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	ask := func(sql, want string) {
		t.Helper()
		out, err := exec.Command(shell, pathOf(dir, 1), sql).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != want {
			t.Errorf("%s: %s %v, want %s", sql, got, err, want)
		}
	}
	for range 2 {
		for range 600 {
			l.feed(w)
			l.follow(w)
		}
		soon(t, w, w.Put(Note{Ms: l.ms, Kind: "remark", Text: "x"}))
	}
	check := func() {
		t.Helper()
		ask("PRAGMA integrity_check", "ok")
		ask("SELECT count(*), max(ms) FROM ticks", "1200|160000")
		ask("SELECT count(*), typeof(reckoned_1) FROM second_values", "120|real")
		ask("SELECT count(*) FROM tick_values WHERE wall_1 > 200 AND wall_1 < 500", "480")
		ask("SELECT value FROM head WHERE key = 'session'", "s")
		ask("PRAGMA application_id", "1668770919")
	}
	check()
	if err := end(); err != nil {
		t.Fatal(err)
	}
	check()
}

// patient feeds w at ten times the rig's pace until ok, for at most 30 s.
func (l *load) patient(t *testing.T, w *Writer, what string, ok func() bool) {
	t.Helper()
	for range 3000 {
		l.feed(w)
		if ok() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("%s: not within 30 s; %+v %v", what, w.Stats(), w.Fault())
}

// TestRealFullDisk fills a real file system to the last byte and makes room.
func TestRealFullDisk(t *testing.T) {
	dir, _ := loopMounted(t, 12<<20)
	w := New(testOpts(filepath.Join(dir, "runs")))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	l.patient(t, w, "begin", func() bool { return w.Stats().Commits > 2 })
	ballast := filepath.Join(dir, "ballast")
	f, err := os.Create(ballast)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	w.Begin(l.head("s", 2))
	l.patient(t, w, "full", func() bool { return w.Fault() != nil })
	if err := w.Fault(); !strings.Contains(err.Error(), "full") {
		t.Error(err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	l.patient(t, w, "room again", func() bool { return w.Fault() == nil })
	if err := end(); err != nil {
		t.Fatal(err)
	}
	all, err := List(filepath.Join(dir, "runs"))
	if err != nil || len(all) != 2 || all[1].Part != 2 || all[1].LastMs != l.ms || all[0].Why+all[1].Why != "" {
		t.Errorf("%+v %v", all, err)
	}
}

// TestRealReadOnly has the kernel turn a file system read-only, as it does with
// one in which it finds an error, and then a whole one in its place.
func TestRealReadOnly(t *testing.T) {
	dir, device := loopMounted(t, 32<<20)
	w := New(testOpts(filepath.Join(dir, "runs")))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	l.patient(t, w, "begin", func() bool { return w.Stats().Commits > 2 })
	shell(t, "mount", "-o", "remount,errors=remount-ro", dir)
	if err := os.WriteFile("/sys/fs/ext4/"+device+"/trigger_fs_error", []byte("made by the test"), 0); errors.Is(err, os.ErrNotExist) {
		lacks(t, "a kernel that can be asked for an error of the file system")
	} else if err != nil {
		t.Fatal(err)
	}
	l.patient(t, w, "read-only", func() bool { return w.Fault() != nil })
	if err := w.Fault(); !strings.Contains(err.Error(), "only be read") {
		t.Error(err)
	}
	shell(t, "umount", dir) // nothing of it is held
	shell(t, "mount", "-o", "noatime", "/dev/"+device, dir)
	l.patient(t, w, "mounted again", func() bool { return w.Fault() == nil })
	if err := end(); err != nil {
		t.Fatal(err)
	}
	all, err := List(filepath.Join(dir, "runs"))
	if err != nil || len(all) != 2 || all[1].Part != 2 || !all[1].Torn || all[1].LastMs != l.ms || all[0].Why+all[1].Why != "" {
		t.Errorf("%+v %v", all, err)
	}
}

// TestLocked has another program keep the file locked for longer and longer.
func TestLocked(t *testing.T) {
	inTrouble(t, func(x *troubled) {
		x.feed(6 * time.Second)
		other, err := sqlite3.Open(pathOf(x.dir, 1))
		x.must(err)
		defer other.Close()
		x.must(other.Exec("BEGIN IMMEDIATE"))
		x.says("another program", "close it")
		x.must(other.Exec("ROLLBACK"))
		x.feed(20 * time.Second)
		x.healthy()
		if x.w.Stats().Number != 1 {
			x.Errorf("%+v", x.w.Stats())
		}
		x.must(other.Exec("BEGIN IMMEDIATE"))
		x.feed(4 * time.Minute)
		x.healthy()
		if x.w.Stats().Number != 2 {
			x.Errorf("%+v", x.w.Stats())
		}
	})
}
