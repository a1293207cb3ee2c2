package runlog

import (
	"context"
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"
)

// aFile is a closed file with five minutes of the reference load, 60 notes, and
// what Verify says of it.
func aFile(tb testing.TB) (path string, whole Verdict) {
	tb.Helper()
	dir := tb.TempDir()
	w := New(testOpts(dir))
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	for range 60 {
		hours(tb, w, l, 5)
		w.Put(Note{Ms: l.ms, Kind: "remark", Text: strings.Repeat("x", 100)})
		w.Put(Transition{Ms: l.ms, Alarm: "a", Channel: "wall_1"})
	}
	if err := w.end(); err != nil {
		tb.Fatal(err)
	}
	path = pathOf(dir, 1)
	whole, err := Verify(tb.Context(), path, nil)
	if err != nil || len(whole.Wrong) > 0 || whole.Lost() > 0 {
		tb.Fatalf("%+v %v", whole, err)
	}
	return path, whole
}

func (v *Verdict) rows(table string) int64 {
	for _, t := range v.Tables {
		if t.Name == table {
			return t.Rows
		}
	}
	return -1
}

func TestVerifySound(t *testing.T) {
	path, v := aFile(t)
	if len(v.Tables) != 13 || v.rows("ticks") != 3000 || v.rows("seconds") != 300 || v.rows("notes") != 60 || v.rows("channels") != 57 {
		t.Errorf("%+v", v)
	}
	was := int64(-1)
	if _, err := Verify(t.Context(), path, func(done, total int64) {
		if done < was || done > total {
			t.Errorf("%d of %d after %d", done, total, was)
		}
		was = done
	}); err != nil || was != whole {
		t.Errorf("%d %v", was, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Verify(ctx, path, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if _, err := Verify(t.Context(), path+"x", nil); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
	if _, err := Salvage(t.Context(), path, path, nil); err == nil {
		t.Error("saved over a file")
	}
	out := filepath.Join(t.TempDir(), "000001.db")
	saved, err := Salvage(t.Context(), path, out, nil)
	if err != nil || saved.Lost() != 0 || saved.rows("ticks") != 3000 {
		t.Errorf("%+v %v", saved, err)
	}
	again, err := Verify(t.Context(), out, nil)
	if err != nil || len(again.Wrong) > 0 || again.rows("seconds") != 300 {
		t.Errorf("%+v %v", again, err)
	}
}

// leaves are the pages that begin with the byte of a table's leaf
// (https://sqlite.org/fileformat2.html, section 1.6), but the first.
func leaves(b []byte) (pages []int) {
	for off := pageSize; off < len(b); off += pageSize {
		if b[off] == 0x0d && binary.BigEndian.Uint16(b[off+3:]) > 0 {
			pages = append(pages, off)
		}
	}
	return pages
}

func TestVerifyDamaged(t *testing.T) {
	path, sound := aFile(t)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var roots []int // of the tables of records
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	err = f.query("SELECT rootpage FROM sqlite_schema WHERE name NOT IN ('ticks', 'seconds')", func(s *sqlite3.Stmt) error {
		roots = append(roots, (s.ColumnInt(0)-1)*pageSize)
		return nil
	})
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	all := int64(0)
	for _, c := range sound.Tables {
		all += c.Rows
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name   string
		damage func(b []byte) []byte
		least  int64 // rows of all that are saved
	}{
		{"one leaf zeroed", func(b []byte) []byte {
			at := leaves(b)
			clear(b[at[len(at)/2]:][:pageSize])
			return b
		}, all - 60},
		{"ten leaves garbled", func(b []byte) []byte {
			at := leaves(b)
			for range 10 {
				page := b[at[20+r.IntN(len(at)-40)]:][:pageSize]
				for i := range page {
					page[i] = byte(r.Uint32())
				}
			}
			return b
		}, all * 8 / 10},
		{"the ways to all ticks and seconds zeroed", func(b []byte) []byte {
			for off := pageSize; off < len(b); off += pageSize {
				if b[off] == 0x05 && !slices.Contains(roots, off) {
					clear(b[off:][:pageSize])
				}
			}
			return b
		}, all - 40},
		{"cut at half", func(b []byte) []byte { return b[:len(b)/2/pageSize*pageSize] }, all / 3},
		{"cut in a page", func(b []byte) []byte { return b[:len(b)*9/10] }, all * 8 / 10},
		{"bits flipped", func(b []byte) []byte {
			at := leaves(b)
			for range 20 {
				b[at[r.IntN(len(at))]+r.IntN(pageSize)] ^= 1 << r.IntN(8)
			}
			return b
		}, all * 8 / 10},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			bad, out := filepath.Join(dir, "000001.db"), filepath.Join(dir, "saved.db")
			if err := os.WriteFile(bad, c.damage(append([]byte(nil), good...)), 0o644); err != nil {
				t.Fatal(err)
			}
			v, err := Verify(t.Context(), bad, nil)
			if err != nil || len(v.Wrong) == 0 {
				t.Fatalf("%+v %v", v, err)
			}
			saved, err := Salvage(t.Context(), bad, out, nil)
			if err != nil {
				t.Fatal(err)
			}
			n := int64(0)
			for _, c := range saved.Tables {
				n += c.Rows
			}
			t.Logf("%d of %d rows saved, %d said to be lost; %q", n, all, saved.Lost(), v.Wrong[0])
			if n < c.least {
				t.Errorf("%+v", saved)
			}
			again, err := Verify(t.Context(), out, nil)
			if err != nil || !usable(again) {
				t.Errorf("what was saved: %+v %v", again, err)
			}
			f, err := Open(out)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			rows := int64(0)
			for _, err := range f.Ticks(t.Context(), 0, 0) {
				if err != nil {
					t.Fatal(err)
				}
				rows++
			}
			if rows != saved.rows("ticks") {
				t.Errorf("%d ticks can be read, %d were saved", rows, saved.rows("ticks"))
			}
		})
	}
	for name, b := range map[string][]byte{"empty": nil, "text": []byte(strings.Repeat("not a database\n", 300)), "no beginning": append(make([]byte, pageSize), good[pageSize:]...)} {
		bad := filepath.Join(t.TempDir(), "000001.db")
		if err := os.WriteFile(bad, b, 0o644); err != nil {
			t.Fatal(err)
		}
		if v, err := Verify(t.Context(), bad, nil); !errors.Is(err, ErrBeyond) {
			t.Errorf("%s: %+v %v", name, v, err)
		}
		out := filepath.Join(t.TempDir(), "out.db")
		if v, err := Salvage(t.Context(), bad, out, nil); !errors.Is(err, ErrBeyond) || present(out) {
			t.Errorf("%s: %+v %v", name, v, err)
		}
	}
}

// usable is a verdict on what was saved: nothing is wrong but that channels are
// lost.
func usable(v Verdict) bool {
	return !slices.ContainsFunc(v.Wrong, func(w string) bool { return !strings.HasPrefix(w, "channels: ") })
}

// FuzzVerify damages a small file at a place: an error or a verdict, and an end.
func FuzzVerify(f *testing.F) {
	dir := f.TempDir()
	w := New(testOpts(dir))
	l := newLoad(1)
	w.Begin(l.head("s", 1))
	hours(f, w, l, 20)
	if err := w.end(); err != nil {
		f.Fatal(err)
	}
	good, err := os.ReadFile(pathOf(dir, 1))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint32(100), []byte{0xff})
	f.Add(uint32(16), []byte{2, 0})
	f.Add(uint32(len(good)-pageSize), make([]byte, pageSize))
	bad, out := filepath.Join(dir, "bad.db"), filepath.Join(dir, "out.db")
	f.Fuzz(func(t *testing.T, at uint32, b []byte) {
		data := append([]byte(nil), good...)
		copy(data[int(at)%len(data):], b)
		if err := os.WriteFile(bad, data, 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := Verify(t.Context(), bad, nil)
		_, saved := Salvage(t.Context(), bad, out, nil)
		if err == nil && saved == nil {
			if v, err := Verify(t.Context(), out, nil); err != nil || !usable(v) {
				t.Errorf("what was saved: %+v %v", v, err)
			}
		}
		if err := clean(remove(out)); err != nil {
			t.Fatal(err)
		}
	})
}
