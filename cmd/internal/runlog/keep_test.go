package runlog

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestKeep(t *testing.T) {
	now := time.Date(2030, 5, 1, 12, 0, 0, 0, time.UTC)
	const size = 1 << 20
	for _, c := range []struct {
		name  string
		files string // oldest first, a day between: r run, - none, x cannot be read, o the open one
		keep  Keep
		more  int
		want  string // numbers that are left
	}{
		{"nothing asked", "-r-rxo", Keep{}, 0, "1 2 3 4 5 6"},
		{"age", "-r-rx-o", Keep{Age: 84 * time.Hour}, 0, "5 6 7"},
		{"age but the newest runs", "rr-r--o", Keep{Age: time.Hour, Runs: 2}, 0, "2 4 7"},
		{"one unread among the newest runs", "rrx-ro", Keep{Age: time.Hour, Runs: 2}, 0, "2 3 5 6"},
		{"size takes those without a run first", "r-r-o", Keep{Bytes: 3*size + size/2}, 0, "1 3 5"},
		{"size then the oldest run", "r-r-o", Keep{Bytes: 2*size + size/2}, 0, "3 5"},
		{"size but never the newest runs", "r-r-o", Keep{Bytes: 1, Runs: 5}, 0, "1 3 5"},
		{"room is made", "r-r-o", Keep{}, 1, "1 3 4 5"},
		{"room cannot be made", "rro", Keep{Runs: 2}, 3, "1 2 3"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			w := New(Opts{Dir: dir, Log: quiet(), Keep: Keep{Runs: 100}, Now: func() time.Time { return now }})
			l := newLoad(1)
			for i, kind := range c.files {
				w.Begin(l.head("s", i+1))
				l.feed(w)
				if kind == 'r' {
					w.Put(RunMark{Ms: l.ms, By: "phase"})
				}
				w.take()
				if err := w.attempt(); err != nil {
					t.Fatal(err)
				}
			}
			for i, kind := range c.files {
				path := pathOf(dir, i+1)
				switch kind {
				case 'o':
					continue
				case 'x':
					if err := os.WriteFile(path, []byte("no database"), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				if err := os.Truncate(path, size); err != nil { // SQLite does not mind what is behind
					t.Fatal(err)
				}
				at := now.Add(-time.Duration(len(c.files)-i) * 24 * time.Hour)
				if err := os.Chtimes(path, at, at); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.WriteFile(pathOf(dir, 1)+"-shm", nil, 0o644); err != nil {
				t.Fatal(err)
			}
			w.o.Keep = c.keep
			w.sweep(c.more)
			var left []string
			for _, path := range must(filepath.Glob(filepath.Join(dir, "*.db"))) {
				n, _ := numberOf(path)
				left = append(left, fmt.Sprint(n))
			}
			if got := strings.Join(left, " "); got != c.want {
				t.Errorf("left are %s, want %s", got, c.want)
			}
			if kept := slices.Contains(left, "1"); present(pathOf(dir, 1)+"-shm") != kept {
				t.Error("the companion did not go with its file")
			}
			if err := w.end(); err != nil {
				t.Error(err)
			}
		})
	}
}
