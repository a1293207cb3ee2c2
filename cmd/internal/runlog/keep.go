package runlog

import (
	"errors"
	"io/fs"
	"os"
	"slices"
	"time"
)

// seen is what a closed file was found to hold; it is looked at again when it
// has changed.
type seen struct {
	size int64
	at   time.Time
	run  bool // or it cannot be read: it may hold one
	sure bool // it can be read
}

// kept is one file of the directory.
type kept struct {
	seen
	path string
	held bool // never to be removed
}

// sweep removes what Keep no longer covers: oldest first, files without a run
// before those with one, never the newest Keep.Runs runs and never the open
// file. With more above zero it removes up to that many files that it may,
// however young, to make room. It returns how many it removed.
func (w *Writer) sweep(more int) (removed int) {
	w.untidy = false
	files, err := w.kept()
	if err != nil {
		w.o.Log.Warn("run log: retention", "dir", w.o.Dir, "err", err)
		return 0
	}
	var total int64
	for _, f := range files {
		total += f.size
	}
	if w.file != nil {
		total += w.file.size()
	}
	slices.SortStableFunc(files, func(a, b kept) int {
		switch {
		case a.run == b.run:
			return 0
		case b.run:
			return -1
		}
		return 1
	})
	now := w.o.Now()
	for _, f := range files {
		old := w.o.Keep.Age > 0 && now.Sub(f.at) > w.o.Keep.Age
		big := w.o.Keep.Bytes > 0 && total > w.o.Keep.Bytes
		if f.held || !(old || big || more > 0) {
			continue
		}
		if err := w.d.remove(f.path); err != nil {
			w.o.Log.Warn("run log: retention", "file", f.path, "err", err)
			continue
		}
		w.o.Log.Info("run log: file removed", "file", f.path, "bytes", f.size, "run", f.run, "too_old", old, "too_much", big)
		total -= f.size
		more--
		removed++
	}
	return removed
}

// kept lists the closed files, oldest first, with those held that may not go.
func (w *Writer) kept() (files []kept, err error) {
	all, err := numberedFiles(w.o.Dir)
	if err != nil {
		return nil, err
	}
	was := w.seen
	w.seen = map[int]seen{}
	for _, n := range all {
		if w.file != nil && n.number == w.file.number {
			continue
		}
		fi, err := os.Stat(n.path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		s := seen{size: sizeOf(n.path), at: fi.ModTime()}
		if old, ok := was[n.number]; ok && old.size == s.size && old.at.Equal(s.at) {
			s = old
		} else {
			s.run, s.sure = look(n)
		}
		w.seen[n.number] = s
		files = append(files, kept{seen: s, path: n.path})
	}
	runs := 0
	for i := len(files) - 1; i >= 0 && runs < w.o.Keep.Runs; i-- {
		files[i].held = files[i].run
		if files[i].run && files[i].sure {
			runs++
		}
	}
	return files, nil
}

// look whether a closed file holds a run. One that cannot be read may.
func look(f numbered) (run, sure bool) {
	defer func() {
		if recover() != nil {
			run, sure = true, false
		}
	}()
	m := metaOf(f)
	return m.Run != nil || m.Why != "", m.Why == ""
}
