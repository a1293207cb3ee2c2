package runlog

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// logDir is a directory with a session of two parts, a damaged file, and two
// parts of another session.
func logDir(t *testing.T) string {
	dir := t.TempDir()
	part := func(n int, session string, part int, run bool) {
		h := pump()
		h.Session, h.Part = session, part
		m := makeFile(t, dir, n, h)
		m.tick(1000, 1, 2, 3)
		if run {
			m.run(1000, nil)
		}
		m.done()
	}
	part(7, "s1", 1, false)
	part(8, "s1", 2, true)
	part(10, "s2", 1, true)
	part(1000011, "s2", 2, false) // more than six digits
	for name, text := range map[string]string{"000009.db": "gone", "9.db": "", "notes.db": "", "000012.db-wal": "", "+00013.db": ""} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(strings.Repeat(text, 300)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "000014.db"), 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestList(t *testing.T) {
	all, err := List(logDir(t))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range all {
		word := m.Session
		if m.Run != nil {
			word += " run"
		}
		if m.Why != "" {
			word = m.Why[:len("not a file of the run log")]
		}
		got = append(got, word)
		if m.Size == 0 || m.Number == 0 {
			t.Errorf("%+v", m)
		}
	}
	want := []string{"s1", "s1 run", "not a file of the run log", "s2 run", "s2"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if _, err := List(filepath.Join(t.TempDir(), "none")); err == nil || !strings.Contains(err.Error(), "no such file") {
		t.Error(err)
	}
}

func TestFind(t *testing.T) {
	dir := logDir(t)
	here := filepath.Join(dir, "notes.db")
	for word, want := range map[string]string{
		"7": "000007.db", "000008": "000008.db", "9": "000009.db", "1000011": "1000011.db", "last": "000010.db", here: "notes.db",
	} {
		if got, err := Find(dir, word); err != nil || filepath.Base(got) != want {
			t.Errorf("%s: %q %v", word, got, err)
		}
	}
	for word, want := range map[string]string{"11": "no such file", "newest": "neither a number", "": "neither a number", "-1": "no such file"} {
		if got, err := Find(dir, word); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %q %v", word, got, err)
		}
	}
	if _, err := Find(t.TempDir(), "last"); err == nil || !strings.Contains(err.Error(), "no run") {
		t.Error(err)
	}
}

func TestSession(t *testing.T) {
	dir := logDir(t)
	all, err := List(dir)
	if err != nil {
		t.Fatal(err)
	}
	names := func(m Meta) string {
		paths, err := Session(dir, m)
		if err != nil {
			return err.Error()
		}
		for i := range paths {
			paths[i] = filepath.Base(paths[i])
		}
		return strings.Join(paths, " ")
	}
	for i, want := range map[int]string{0: "000007.db", 1: "000007.db 000008.db", 3: "000010.db", 4: "000010.db 1000011.db"} {
		if got := names(all[i]); got != want {
			t.Errorf("%d: %s, want %s", all[i].Number, got, want)
		}
	}
	if err := os.Remove(filepath.Join(dir, "000007.db")); err != nil {
		t.Fatal(err)
	}
	if got := names(all[1]); !strings.Contains(got, "part 1 of session s1 is not there") {
		t.Error(got)
	}
}
