package runlog

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// Marks in the order of operations.
type (
	ticked  int64 // ms of a row before it is handed over
	durably int   // number of the note whose Wait has returned
)

func (d *badDisk) mark(v any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.log = append(d.log, op{kind: "mark", mark: v})
}

// recorded is the operations of a writer that stores some minutes of the rig's
// time, with notes at random instants and a new file now and then.
func recorded(t testing.TB, seed uint64, syncs bool) []op {
	d := newBadDisk(t)
	d.keep = true
	if !syncs { // a disk that says that it has, and has not
		d.refuse(nil)
	}
	w := New(testOpts(t.TempDir()))
	w.d = d.disk()
	end := running(w)
	defer end()
	l := newLoad(seed)
	r := rand.New(rand.NewPCG(seed, 2))
	note := func(n int) {
		soon(t, w, w.Put(Note{Ms: l.ms, Kind: "remark", Text: fmt.Sprint(n)}))
		d.mark(durably(n))
	}
	w.Begin(l.head("s", 1))
	for n, part := 0, 1; n < 70; {
		d.mark(ticked(l.ms + 100))
		l.feed(w)
		switch {
		case r.IntN(12) == 0:
			n++
			note(n)
		case r.IntN(400) == 0:
			part++
			w.Begin(l.head("s", part))
		}
		l.follow(w)
	}
	if err := end(); err != nil {
		t.Fatal(err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	log := d.log
	if !syncs {
		for i := range log {
			if log[i].kind == "sync" || log[i].kind == "syncdir" {
				log[i] = op{kind: "mark"}
			}
		}
	}
	return log
}

// survived is what is wrong with a directory after a cut, given the newest row
// that was handed over and the newest note that was said to be durable.
func survived(ctx context.Context, dir string, handed ticked, durable durably) error {
	return survivedFrom(ctx, dir, 40_000, handed, 1, durable+1)
}

// survivedFrom is survived for rows that began at a time, and notes from one up
// to, but not with, another.
func survivedFrom(ctx context.Context, dir string, begin int64, handed ticked, first, end durably) error {
	all, err := numberedFiles(dir)
	if errors.Is(err, fs.ErrNotExist) && int64(handed) < begin+5000 {
		return nil
	}
	if err != nil {
		return err
	}
	notes := map[string]bool{}
	newest := int64(0)
	for _, m := range all {
		path := m.path
		f, err := Open(path)
		if err != nil {
			return err
		}
		verdict := ""
		err = f.query("PRAGMA quick_check", columnText(&verdict))
		if err != nil || verdict != "ok" {
			return fmt.Errorf("%s: quick_check: %s %w", path, verdict, err)
		}
		was := int64(0)
		for row, err := range f.Ticks(ctx, 0, 0) {
			if err != nil {
				return err
			}
			if was != 0 && row.Ms != was+100 {
				return fmt.Errorf("%s: a row at %d ms after one at %d ms", path, row.Ms, was)
			}
			was = row.Ms
		}
		newest = max(newest, was)
		ns, err := f.Notes()
		if err != nil {
			return err
		}
		for _, n := range ns {
			if notes[n.Text] {
				return fmt.Errorf("%s: note %s twice", path, n.Text)
			}
			notes[n.Text] = true
		}
		if err := f.Close(); err != nil {
			return err
		}
	}
	for n := first; n < end; n++ {
		if !notes[fmt.Sprint(n)] {
			return fmt.Errorf("note %d is lost, and %d were durable", n, end)
		}
	}
	if lost := int64(handed) - max(newest, begin); lost > 5000 {
		return fmt.Errorf("%d ms of rows are lost", lost)
	}
	return nil
}

// cuts is how many of n cuts of a recording did damage, and the first damage.
func cuts(t *testing.T, log []op, n int, seed uint64) (damaged int, first error) {
	r := rand.New(rand.NewPCG(seed, 3))
	for range n {
		at := 1 + r.IntN(len(log))
		var handed ticked
		var durable durably
		for _, o := range log[:at] {
			switch m := o.mark.(type) {
			case ticked:
				handed = m
			case durably:
				durable = m
			}
		}
		dir, err := os.MkdirTemp(t.TempDir(), "cut")
		if err != nil {
			t.Fatal(err)
		}
		if err := cut(dir, log, at, r); err != nil {
			t.Fatal(err)
		}
		if err := survived(t.Context(), dir, handed, durable); err != nil {
			damaged++
			if first == nil {
				first = fmt.Errorf("cut after %d of %d operations: %w", at, len(log), err)
				t.Logf("%v", first)
			}
			continue
		}
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
	}
	return damaged, first
}

func TestPowerCuts(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			log := recorded(t, seed, true)
			t.Logf("%d operations", len(log))
			if n, first := cuts(t, log, 75, seed); n > 0 {
				t.Errorf("%d of 75 cuts: %v", n, first)
			}
		})
	}
}

// TestPowerCutsFind makes sure that the test above would see it if nothing were
// synchronised.
func TestPowerCutsFind(t *testing.T) {
	if n, _ := cuts(t, recorded(t, 9, false), 40, 9); n < 10 {
		t.Errorf("of 40 cuts without any synchronisation only %d did damage", n)
	}
}

// TestCutLeftovers begins where a cut left a draft and companions without file.
func TestCutLeftovers(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"begin.tmp", "begin.tmp-wal", "begin.tmp-shm", "000004.db-wal", "000002.db"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("torn"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	w := New(testOpts(dir))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	l.feed(w)
	soon(t, w, w.Put(Note{Text: "x"}))
	if err := end(); err != nil {
		t.Fatal(err)
	}
	if f, err := Open(pathOf(dir, 5)); err != nil {
		t.Error(err)
	} else if err := f.Close(); err != nil {
		t.Error(err)
	}
	if b, err := os.ReadFile(pathOf(dir, 2)); err != nil || string(b) != "torn" {
		t.Errorf("the old file: %q %v", b, err)
	}
}
