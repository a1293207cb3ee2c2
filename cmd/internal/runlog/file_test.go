package runlog

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestFileReads(t *testing.T) {
	h := pump()
	h.Channels[0].Care = "gain 1.002"
	m := makeFile(t, t.TempDir(), 7, h)
	m.tick(1000, 6400, "clipped_high 16000", nil)
	m.tick(1100, nil, nil, "12@250")
	m.tick(1250, "open", -3, 0)
	m.second(1000, 3072, 2048)
	m.second(2000, "stale", nil)
	m.run(1100, 1200)
	m.anchor(1000, time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), Synced)
	m.transition(1250, "co_alarm", "alarm", "normal", "unacknowledged")
	m.put("INSERT INTO transitions VALUES (NULL, 1100, 'co_fault', 'co', 'alarm', 'normal', 'returned', NULL, NULL, NULL, 3, 9, 1, 1, 0)")
	m.put("INSERT INTO commands VALUES (NULL, 1100, 'phone', 'ack', '{}', '')")
	m.put("INSERT INTO notes VALUES (NULL, 1100, 'operator', 'fuel in', '12 kg', 12, 'kg')")
	m.put("INSERT INTO phases VALUES (NULL, 1000, 'cold', 0)")
	m.put("INSERT INTO gaps VALUES (NULL, 1250, 'ticks missed', 1)")
	m.put("INSERT INTO bands VALUES (NULL, 1000, 'co', 2.5, 1)")
	m.put("INSERT INTO snapshots VALUES (NULL, 1000, 'state', '{}')")
	f := opened(t, m.done())

	meta := f.Meta()
	if meta.Size == 0 {
		t.Error("no size")
	}
	meta.Size = 0
	if want := (Meta{Head: h, Number: 7, LastMs: 2000, Run: &Run{From: 1100, To: 1200, By: "phase", End: "phase"}}); !reflect.DeepEqual(meta, want) {
		t.Errorf("meta\n%+v\nwant\n%+v", meta, want)
	}
	if !reflect.DeepEqual(f.Inputs(), h.Channels[:3]) || !reflect.DeepEqual(f.Reckoned(), h.Channels[3:]) {
		t.Errorf("inputs %+v reckoned %+v", f.Inputs(), f.Reckoned())
	}

	good := func(n int64) Cell { return Cell{Count: n, Status: sensors.Good} }
	wantRows(t, f, 0, 0, "ticks",
		Row{1000, []Cell{good(6400), {Count: 16000, Status: sensors.ClippedHigh}, {}}},
		Row{1100, []Cell{{}, {}, {Count: 12, Status: sensors.Good, Lag: 250 * time.Millisecond}}},
		Row{1250, []Cell{{Status: sensors.Open}, good(-3), good(0)}})
	wantRows(t, f, 1100, 1100, "ticks", Row{1100, []Cell{{}, {}, {Count: 12, Status: sensors.Good, Lag: 250 * time.Millisecond}}})
	wantRows(t, f, 1101, 0, "seconds", Row{2000, []Cell{{Status: sensors.Stale}, {}}})
	wantRows(t, f, 3000, 0, "seconds")

	value, limit, kg := 120.5, 100., 12.
	wantRecords(t, f.Transitions,
		Transition{Ms: 1100, Alarm: "co_fault", Channel: "co", Priority: "alarm", From: "normal", To: "returned", Seq: 3, Order: 9, Test: true, Restored: true},
		Transition{Ms: 1250, Alarm: "co_alarm", Channel: "co", Priority: "alarm", From: "normal", To: "unacknowledged", Value: &value, Limit: &limit, Unit: "ppm", Seq: 1, Order: 1, FirstOut: true})
	wantRecords(t, f.Commands, Command{1100, "phone", "ack", "{}", ""})
	wantRecords(t, f.Notes, Note{1100, "operator", "fuel in", "12 kg", &kg, "kg"})
	wantRecords(t, f.Phases, PhaseChange{1000, "cold", false})
	wantRecords(t, f.Gaps, Gap{1250, "ticks missed", 1})
	wantRecords(t, f.Anchors, Anchor{1000, time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), Synced})
	wantRecords(t, f.Bands, Band{1000, "co", 2.5, true})
	wantRecords(t, f.Snapshots, Snapshot{1000, "state", "{}"})
}

func wantRows(t *testing.T, f *File, from, to int64, table string, want ...Row) {
	t.Helper()
	rows := f.Ticks
	if table == "seconds" {
		rows = f.Seconds
	}
	var got []Row
	for r, err := range rows(t.Context(), from, to) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, Row{r.Ms, append([]Cell(nil), r.Cells...)})
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s %d to %d:\n%+v\nwant\n%+v", table, from, to, got, want)
	}
}

func wantRecords[R Record](t *testing.T, read func() ([]R, error), want ...R) {
	t.Helper()
	if got, err := read(); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v\n%+v\nwant\n%+v", err, got, want)
	}
}

// More rows than are read in one go, and none is lost at the seams.
func TestFilePages(t *testing.T) {
	m := makeFile(t, t.TempDir(), 1, pump())
	const rows = 2*pageRows + 1
	m.exec(fmt.Sprintf("WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < %d) INSERT INTO ticks SELECT 1000 + i * 100, i, 0, 0 FROM n", rows-1))
	f := opened(t, m.done())
	n := int64(0)
	all := f.Ticks(t.Context(), 0, 0)
	for range 2 {
		n = 0
		for r, err := range all {
			if err != nil || r.Ms != 1000+n*100 || r.Cells[0].Count != n {
				t.Fatalf("row %d: %+v %v", n, r, err)
			}
			n++
		}
		if n != rows {
			t.Errorf("%d rows, want %d", n, rows)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	n = 0
	var last error
	for _, err := range f.Ticks(ctx, 0, 0) {
		cancel()
		n, last = n+1, err
	}
	if n > pageRows+1 || !errors.Is(last, context.Canceled) {
		t.Errorf("cancelled: %d rows, %v", n, last)
	}
}

// A daemon writes while we read: nothing is held up, and what it commits is
// seen.
func TestFileWhileWritten(t *testing.T) {
	dir := t.TempDir()
	m := makeFile(t, dir, 1, pump())
	m.tick(1000, 1, 2, 3)
	f := opened(t, m.path)
	wantRows(t, f, 1001, 0, "ticks")
	for range f.Ticks(t.Context(), 0, 0) { // reading
		m.tick(1100, 4, 5, 6)
		break
	}
	wantRows(t, f, 1100, 0, "ticks", Row{1100, []Cell{{Count: 4, Status: sensors.Good}, {Count: 5, Status: sensors.Good}, {Count: 6, Status: sensors.Good}}})
	// A slow reader does not keep the log from being tidied up for ever.
	if all, err := List(dir); err != nil || len(all) != 1 || all[0].LastMs != 1100 || all[0].Why != "" {
		t.Errorf("%+v %v", all, err)
	}
}

// A power cut leaves the newest rows in the companion.
func TestFileAfterPowerCut(t *testing.T) {
	m := makeFile(t, t.TempDir(), 3, pump())
	m.tick(1000, 1, 2, 3)
	to := t.TempDir()
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(m.path + end)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, "000003.db"+end), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f := opened(t, filepath.Join(to, "000003.db"))
	if f.Meta().LastMs != 1000 {
		t.Errorf("%+v", f.Meta())
	}
}

// Reading leaves nothing behind, and needs no leave to write.
func TestFileReadOnlyPlace(t *testing.T) {
	dir := t.TempDir()
	m := makeFile(t, dir, 3, pump())
	m.tick(1000, 1, 2, 3)
	m.done()
	f := opened(t, m.path)
	wantRows(t, f, 1001, 0, "ticks")
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestFileRefuses(t *testing.T) {
	edit := func(sql string) func(*testing.T, string) string {
		return func(t *testing.T, dir string) string {
			m := makeFile(t, dir, 1, pump())
			m.tick(1000, 1, 2, 3)
			m.exec(sql)
			return m.done()
		}
	}
	text := func(s string) func(*testing.T, string) string {
		return func(t *testing.T, dir string) string {
			path := filepath.Join(dir, "000001.db")
			if err := os.WriteFile(path, []byte(s), 0o644); err != nil {
				t.Fatal(err)
			}
			return path
		}
	}
	for what, c := range map[string]struct {
		make func(*testing.T, string) string
		want string
	}{
		"absent":       {func(_ *testing.T, dir string) string { return filepath.Join(dir, "x.db") }, "no such file"},
		"directory":    {func(_ *testing.T, dir string) string { return dir }, "not a file"},
		"empty":        {text(""), "never finished"},
		"text":         {text(strings.Repeat("a letter home. ", 100)), "not a file of the run log"},
		"foreign":      {edit("PRAGMA application_id=1"), "application_id 1"},
		"newer":        {edit("PRAGMA user_version=2"), "newer charwarden (schema 2, this one reads up to 1)"},
		"unfinished":   {edit("PRAGMA user_version=0"), "schema 0"},
		"no table":     {edit("DROP TABLE notes"), "12 of 13 tables"},
		"view":         {edit("DROP TABLE notes; CREATE VIEW notes AS SELECT 1"), "12 of 13 tables"},
		"no column":    {edit("ALTER TABLE channels DROP COLUMN care"), "no such column: care"},
		"no key":       {edit("DELETE FROM head WHERE key IN ('boot', 'rig')"), "of its keys"},
		"new quantity": {edit("UPDATE channels SET metric = 'charwarden_noise' WHERE id = 2"), `filter_drop: measures "charwarden_noise"`},
		"step":         {edit("UPDATE channels SET step = 0 WHERE id = 2"), "step 0"},
		"infinite":     {edit("UPDATE channels SET step = 9e999 WHERE id = 2"), "step +Inf"},
	} {
		t.Run(what, func(t *testing.T) {
			f, err := Open(c.make(t, t.TempDir()))
			if err == nil {
				f.Close()
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v\nwant %s", err, c.want)
			}
			if what == "absent" && !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("%v is not fs.ErrNotExist", err)
			}
		})
	}
}

func TestFileBadCells(t *testing.T) {
	for cell, want := range map[any]string{1.5: "neither a count nor a word", "boiling": "unknown word", "12@0": "lag"} {
		m := makeFile(t, t.TempDir(), 1, pump())
		m.tick(1000, 1, 2, 3)
		m.tick(1100, 1, cell, 3)
		f := opened(t, m.done())
		n := 0
		var last error
		for _, err := range f.Ticks(t.Context(), 0, 0) {
			n, last = n+1, err
		}
		if n != 2 || last == nil || !strings.Contains(last.Error(), want) || !strings.Contains(last.Error(), "row at 1100 ms: filter_drop") {
			t.Errorf("%v: %d rows, %v", cell, n, last)
		}
	}
}

// A file in which anything may be broken is read, or refused, and ends.
func FuzzFile(f *testing.F) {
	m := makeFile(f, f.TempDir(), 1, pump())
	for i := range 200 {
		m.tick(int64(1000+100*i), i, "open", nil)
		m.transition(int64(1000+100*i), "co_alarm", "alarm", "normal", "unacknowledged")
	}
	m.anchor(1000, time.UnixMilli(1), Free)
	sound, err := os.ReadFile(m.done())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint32(100), []byte{1, 2, 3})
	f.Add(uint32(5000), []byte{0xff, 0xff})
	f.Fuzz(func(t *testing.T, at uint32, with []byte) {
		b := append([]byte(nil), sound...)
		copy(b[at%uint32(len(b)):], with)
		path := filepath.Join(t.TempDir(), "000001.db")
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		f, err := Open(path)
		if err != nil {
			return
		}
		defer f.Close()
		for _, rows := range []func(context.Context, int64, int64) func(func(Row, error) bool){
			func(c context.Context, a, b int64) func(func(Row, error) bool) { return f.Ticks(c, a, b) },
			func(c context.Context, a, b int64) func(func(Row, error) bool) { return f.Seconds(c, a, b) },
		} {
			last := int64(-1)
			for r, err := range rows(t.Context(), 0, 0) {
				if err == nil && r.Ms <= last {
					t.Fatalf("row at %d after %d", r.Ms, last)
				}
				last = r.Ms
			}
		}
		f.Transitions()
		f.Commands()
		f.Notes()
		f.Phases()
		f.Gaps()
		f.Bands()
		f.Snapshots()
		f.Clock().Wall(f.Meta().LastMs)
	})
}
