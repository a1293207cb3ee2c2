package runlog

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"
	"golang.org/x/sys/unix"
)

// troubled is a writer on a badDisk in a bubble, fed ten times a second.
type troubled struct {
	*testing.T
	dir string
	d   *badDisk
	w   *Writer
	l   *load
	end func() error
}

func inTrouble(t *testing.T, test func(*troubled)) {
	d := newBadDisk(t)
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		w := New(testOpts(dir))
		w.d = d.disk()
		x := &troubled{T: t, dir: dir, d: d, w: w, l: newLoad(1), end: running(w)}
		defer x.end()
		w.Begin(x.l.head("s", 1))
		test(x)
		if err := x.end(); err != nil {
			t.Error(err)
		}
	})
}

// feed for that long; no call may wait.
func (x *troubled) feed(d time.Duration) {
	x.Helper()
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		before := time.Now()
		x.l.feed(x.w)
		x.w.Stats()
		x.w.Fault()
		if waited := time.Since(before); waited > 0 {
			x.Fatalf("a tick waited for %v", waited)
		}
	}
}

func (x *troubled) healthy() {
	x.Helper()
	if err := x.w.Fault(); err != nil {
		x.Fatal(err)
	}
}

// says waits until the fault is told in these words.
func (x *troubled) says(words ...string) {
	x.Helper()
	err := x.w.Fault()
	for range 300 {
		if err != nil {
			break
		}
		x.feed(100 * time.Millisecond)
		err = x.w.Fault()
	}
	if err == nil {
		x.Fatal("no fault is told")
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			x.Errorf("%v: nothing of %q", err, word)
		}
	}
}

// counted are the rows of ticks of a file.
func (x *troubled) counted(number int) (n int, m Meta) {
	x.Helper()
	f, err := Open(pathOf(x.dir, number))
	if err != nil {
		x.Fatal(err)
	}
	defer f.Close()
	for _, err := range f.Ticks(x.Context(), 0, 0) {
		if err != nil {
			x.Fatal(err)
		}
		n++
	}
	return n, f.Meta()
}

func (x *troubled) gaps(number int) []Gap {
	x.Helper()
	f, err := Open(pathOf(x.dir, number))
	if err != nil {
		x.Fatal(err)
	}
	defer f.Close()
	gaps, err := f.Gaps()
	if err != nil {
		x.Fatal(err)
	}
	return gaps
}

func TestStall(t *testing.T) {
	inTrouble(t, func(x *troubled) {
		x.feed(12 * time.Second)
		x.d.refuse(func(o op) error {
			if o.kind == "sync" {
				time.Sleep(5 * time.Second)
			}
			return nil
		})
		x.feed(30 * time.Second)
		x.healthy()
		x.d.refuse(nil)
		x.feed(10 * time.Second)
		x.end()
		if n, _ := x.counted(1); n != 520 {
			x.Errorf("%d rows, want 520", n)
		}
		if s := x.w.Stats(); s.Dropped+s.DroppedRecords+s.Faults != 0 {
			x.Errorf("%+v", s)
		}
	})
}

func TestLongStall(t *testing.T) {
	inTrouble(t, func(x *troubled) {
		x.feed(6 * time.Second)
		release := make(chan struct{})
		x.d.refuse(func(o op) error { <-release; return nil })
		x.feed(30 * time.Second)
		x.says("has not answered", "replace")
		at := x.w.Put(Note{Ms: x.l.ms, Text: "in the stall"})
		if err := x.w.Wait(x.Context(), at); err == nil || !strings.Contains(err.Error(), "has not answered") {
			x.Errorf("durable in a stall: %v", err)
		}
		x.feed(400 * time.Second)
		dropped := x.w.Stats().Dropped
		if dropped < 1000 || x.w.Stats().Queued > QueueBytes+queueMarks {
			x.Errorf("%+v", x.w.Stats())
		}
		for range 2 * queueRecords {
			x.w.Put(Note{Text: "many"})
		}
		if at := x.w.Put(Note{}); at != 0 || x.w.Wait(x.Context(), at) == nil {
			x.Errorf("ticket %d where there is no room", at)
		}
		x.d.refuse(nil)
		close(release)
		x.feed(10 * time.Second)
		x.healthy()
		soon(x, x.w, at)
		x.end()
		n, _ := x.counted(1)
		gaps := x.gaps(1)
		if len(gaps) != 2 || gaps[0].What != "rows dropped" || gaps[1].What != "records dropped" || gaps[1].N != 1026 {
			x.Fatalf("%+v", gaps)
		}
		if rows := int(x.w.Stats().Dropped); gaps[0].N != int64(rows) || n+rows < 4460 {
			x.Errorf("%d rows and %d dropped, gap %+v", n, rows, gaps[0])
		}
		if n < 2*600 {
			x.Errorf("only %d rows are kept: the queue holds less than a minute", n)
		}
	})
}

func TestFullDisk(t *testing.T) {
	for name, cause := range map[string]error{"told": sqlite3.FULL, "with cause": vfs.SystemError(unix.ENOSPC, sqlite3.FULL)} {
		t.Run(name, func(t *testing.T) {
			inTrouble(t, func(x *troubled) {
				x.feed(8 * time.Second)
				x.d.refuse(func(o op) error {
					if o.kind == "write" {
						return cause
					}
					return nil
				})
				x.says("full", "remove")
				x.feed(20 * time.Second)
				x.d.refuse(nil)
				x.feed(40 * time.Second)
				x.healthy()
				rows := int(x.l.ms-40_000) / 100
				x.end()
				if n, m := x.counted(1); n != rows || m.Torn {
					x.Errorf("%d rows, want %d; %+v", n, rows, brief(m))
				}
			})
		})
	}
}

// TestFullDiskMakesRoom fills the disk until an old file goes.
func TestFullDiskMakesRoom(t *testing.T) {
	inTrouble(t, func(x *troubled) {
		x.feed(6 * time.Second)
		x.w.Put(RunMark{Ms: x.l.ms, By: "phase"})
		x.w.Begin(x.l.head("s", 2))
		x.feed(6 * time.Second)
		x.w.Begin(x.l.head("s", 3))
		x.feed(6 * time.Second)
		x.d.refuse(func(o op) error {
			if o.kind == "write" && present(pathOf(x.dir, 2)) {
				return sqlite3.FULL
			}
			return nil
		})
		x.feed(20 * time.Second)
		x.healthy()
		if !present(pathOf(x.dir, 1)) || present(pathOf(x.dir, 2)) || !present(pathOf(x.dir, 3)) {
			x.Error("want the file without a run gone, and no other")
		}
	})
}

// TestFreshFile breaks the open file in ways after which it cannot be
// continued: the next one carries on, and nothing is lost.
func TestFreshFile(t *testing.T) {
	once := func(kind, end string, err error) func(*troubled) {
		return func(x *troubled) {
			hit := false
			x.d.refuse(func(o op) error {
				if !hit && o.kind == kind && strings.HasSuffix(o.path, end) {
					hit = true
					return err
				}
				return nil
			})
		}
	}
	for _, c := range []struct {
		name string
		do   func(*troubled)
		lost bool // what was in the old file is gone
	}{
		{"write", once("write", "-wal", unix.EIO), false},
		{"sync", once("sync", "-wal", unix.EIO), false},
		{"read-only", once("write", "-wal", unix.EROFS), false},
		{"damaged", func(x *troubled) {
			x.d.refuse(func(o op) error {
				if o.kind == "read" && strings.HasPrefix(o.path, "000001.db") {
					return sqlite3.CORRUPT
				}
				return nil
			})
			if err := x.w.file.conn.ReleaseMemory(); err != nil { // between two commits
				x.Error(err)
			}
		}, false},
		{"removed", func(x *troubled) { x.must(os.Remove(pathOf(x.dir, 1))) }, true},
		{"log removed", func(x *troubled) { x.must(os.Remove(pathOf(x.dir, 1) + "-wal")) }, false},
		{"all removed", func(x *troubled) { x.must(remove(pathOf(x.dir, 1))) }, true},
		{"directory removed", func(x *troubled) { x.must(os.RemoveAll(x.dir)) }, true},
		{"index cut short", func(x *troubled) { x.must(os.Truncate(pathOf(x.dir, 1)+"-shm", 0)) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			inTrouble(t, func(x *troubled) {
				x.feed(10 * time.Second)
				x.w.Put(RunMark{Ms: x.l.ms, By: "phase"})
				x.w.Put(Band{Ms: x.l.ms, Channel: "wall_1", HalfWidth: 3})
				x.w.Put(Band{Ms: x.l.ms, Channel: "wall_2", HalfWidth: 4})
				at := x.w.Put(PhaseChange{Ms: x.l.ms, Phase: "running"})
				soon(x, x.w, at)
				synctest.Wait()
				c.do(x)
				x.feed(20 * time.Second)
				x.healthy()
				rows := int(x.l.ms-40_000) / 100
				x.w.Begin(x.l.head("s", 2))
				x.feed(5 * time.Second)
				x.end()
				second := 2
				n2, m := x.counted(second)
				if m.Part != 2 || !m.Torn || m.Session != "s" || m.Run == nil || m.Run.By != "phase" {
					x.Errorf("%+v", brief(m))
				}
				if _, m := x.counted(second + 1); m.Part != 3 || m.Torn || m.Run != nil {
					x.Errorf("after it: %+v", brief(m))
				}
				old := 0
				if !c.lost {
					old, _ = x.counted(1)
				} else if gaps := x.gaps(second); len(gaps) != 1 || gaps[0].N != 110 {
					x.Errorf("what was lost is not told: %+v", gaps)
				}
				if !c.lost { // the old file may hold some a second time
					old = int(min(m.Ms-40_100, int64(old)*100) / 100)
				}
				if !c.lost && old+n2 != rows || c.lost && n2 != rows-100 {
					x.Errorf("%d and %d rows of %d", old, n2, rows)
				}
				f, err := Open(pathOf(x.dir, second))
				if err != nil {
					x.Fatal(err)
				}
				defer f.Close()
				bands, _ := f.Bands()
				phases, _ := f.Phases()
				anchors, _ := f.Anchors()
				snaps, _ := f.Snapshots()
				if len(bands) != 2 || bands[0].HalfWidth+bands[1].HalfWidth != 7 || len(phases) != 1 || phases[0].Phase != "running" || len(anchors) != 1 || len(snaps) != 1 {
					x.Errorf("%+v %+v %+v %+v", bands, phases, anchors, snaps)
				}
			})
		})
	}
}

func (x *troubled) must(err error) {
	x.Helper()
	if err != nil {
		x.Fatal(err)
	}
}

// TestNoPlace begins where no file can be made, until one can.
func TestNoPlace(t *testing.T) {
	for _, c := range []struct {
		name       string
		spoil, fix func(dir string) error
		words      []string
	}{
		{"no parent", os.RemoveAll, func(dir string) error { return os.MkdirAll(dir, 0o755) }, []string{"not there", "mount"}},
		{"a file", func(dir string) error {
			return os.WriteFile(dir, nil, 0o644)
		}, os.Remove, []string{"directory"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			dir := filepath.Join(root, "state", "runs")
			must := func(err error) {
				t.Helper()
				if err != nil {
					t.Fatal(err)
				}
			}
			if c.name == "a file" {
				must(os.Mkdir(filepath.Dir(dir), 0o755))
			}
			must(c.spoil(dir))
			synctest.Test(t, func(t *testing.T) {
				w := New(testOpts(dir))
				x := &troubled{T: t, dir: dir, w: w, l: newLoad(1), end: running(w)}
				defer x.end()
				w.Begin(x.l.head("s", 1))
				x.says(c.words...)
				x.feed(10 * time.Second)
				must(c.fix(dir))
				x.feed(40 * time.Second)
				x.healthy()
				rows := int(x.l.ms-40_000) / 100
				must(x.end())
				if n, m := x.counted(1); n != rows || m.Torn || m.Part != 1 {
					t.Errorf("%d rows of %d: %+v", n, rows, brief(m))
				}
			})
		})
	}
}

// brief is m without its channels.
func brief(m Meta) Meta {
	m.Channels = nil
	return m
}
