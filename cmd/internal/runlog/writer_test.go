package runlog

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/sensors"
)

// soon is Wait with an end.
func soon(t testing.TB, w *Writer, at Ticket) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := w.Wait(ctx, at); err != nil {
		t.Fatal(err)
	}
}

func TestWriterRoundTrip(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "runs") // made by the writer
	w := New(testOpts(dir))
	end := running(w)
	defer end()
	l := newLoad(1)
	w.Begin(l.head("s1", 1))
	var ticks, seconds [][]Cell
	start := l.ms
	for range 300 {
		second := l.step()
		if l.ms == start+500 {
			l.ticks[0] = Cell{Status: sensors.Open}
			l.ticks[1] = Cell{Status: sensors.ClippedHigh, Count: math.MaxInt64, Lag: 300 * time.Millisecond}
			l.ticks[2] = Cell{Status: sensors.Good, Count: math.MinInt64, Lag: 1500 * time.Millisecond}
			l.ticks[3] = Cell{Status: sensors.Stale, Lag: 2 * time.Second}
		}
		ticks = append(ticks, slices.Clone(l.ticks))
		w.Tick(l.ms, l.ticks)
		if second {
			seconds = append(seconds, slices.Clone(l.seconds))
			w.Second(l.ms, l.seconds)
		}
	}
	value, limit := 651.5, 650.0
	want := Transition{Ms: l.ms, Alarm: "wall_high", Channel: "wall_1", Priority: "warning", From: "normal", To: "raised",
		Value: &value, Limit: &limit, Unit: "degC", Seq: 7, Order: 9, FirstOut: true}
	w.Put(RunMark{Ms: start + 1000, By: "phase"})
	last := w.Put(want)
	soon(t, w, last)
	if s := w.Stats(); s.Number != 1 || s.DurableMs != l.ms || s.Dropped+s.DroppedRecords != 0 || s.Bytes == 0 {
		t.Errorf("%+v", s)
	}

	lastMs := l.ms
	check := func() {
		t.Helper()
		f, err := Open(filepath.Join(dir, "000001.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if m := f.Meta(); m.Session != "s1" || m.Part != 1 || m.Torn || m.LastMs != lastMs || m.Run == nil || m.Run.From != start+1000 || m.Rig != "pump" {
			t.Errorf("%+v", m)
		}
		for _, c := range []struct {
			rows func(context.Context, int64, int64) func(func(Row, error) bool)
			want [][]Cell
		}{
			{func(c context.Context, a, b int64) func(func(Row, error) bool) { return f.Ticks(c, a, b) }, ticks},
			{func(c context.Context, a, b int64) func(func(Row, error) bool) { return f.Seconds(c, a, b) }, seconds},
		} {
			n := 0
			for row, err := range c.rows(t.Context(), 0, 0) {
				if err != nil {
					t.Fatal(err)
				}
				if n >= len(c.want) || !slices.Equal(row.Cells, c.want[n]) {
					t.Fatalf("row %d: %+v", n, row)
				}
				n++
			}
			if n != len(c.want) {
				t.Errorf("%d rows, want %d", n, len(c.want))
			}
		}
		got, err := f.Transitions()
		if err != nil || len(got) != 1 || *got[0].Value != value || got[0].Order != 9 || !got[0].FirstOut {
			t.Errorf("%+v %v", got, err)
		}
	}
	check() // while it is written
	w.Begin(l.head("s1", 2))
	l.feed(w)
	if err := end(); err != nil {
		t.Fatal(err)
	}
	check()
	for _, leftover := range []string{"000001.db-wal", "000001.db-shm", "000002.db-wal", "begin.tmp"} {
		if present(filepath.Join(dir, leftover)) {
			t.Errorf("%s is left over", leftover)
		}
	}
	all, err := List(dir)
	if err != nil || len(all) != 2 || all[1].Part != 2 || all[1].LastMs != l.ms || all[1].Why != "" {
		t.Errorf("%+v %v", all, err)
	}
	if err := w.Wait(t.Context(), last+1); err == nil {
		t.Error("a record after the end is durable")
	}
}

func TestFollow(t *testing.T) {
	h := Head{Records: []Record{Anchor{Ms: 1, Quality: Free}, PhaseChange{Ms: 1, Phase: "cold"}, Band{Ms: 1, Channel: "a", HalfWidth: 1}}}
	for _, r := range []Record{
		Band{Ms: 2, Channel: "b", HalfWidth: 2}, Band{Ms: 3, Channel: "a", HalfWidth: 3}, Anchor{Ms: 4, Quality: Synced}, Anchor{Ms: 5, Quality: Free},
		PhaseChange{Ms: 6, Phase: "running"}, RunMark{Ms: 6}, Note{Ms: 7}, RunMark{Ms: 8, Ends: true}, RunMark{Ms: 9, Ends: true}, Gap{Ms: 9},
		Snapshot{Ms: 9, What: "state"}, Snapshot{Ms: 10, What: "state"},
	} {
		h.follow(r)
	}
	want := []Record{Anchor{Ms: 4, Quality: Synced}, PhaseChange{Ms: 6, Phase: "running"}, Band{Ms: 3, Channel: "a", HalfWidth: 3},
		Band{Ms: 2, Channel: "b", HalfWidth: 2}, Snapshot{Ms: 10, What: "state"}}
	if !slices.Equal(h.Records, want) {
		t.Errorf("%+v", h.Records)
	}
}

// TestBurst has records of one burst share a commit, and bands force none.
func TestBurst(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		w := New(testOpts(dir))
		end := running(w)
		defer end()
		l := newLoad(1)
		if at := w.Put(Note{Text: "before any file"}); at != 0 || w.Wait(t.Context(), at) == nil {
			t.Errorf("ticket %d before any file", at)
		}
		w.Begin(l.head("s", 1))
		time.Sleep(time.Second)
		begun := w.Stats().Commits
		at := w.Put(Band{Ms: l.ms, Channel: "wall_1", HalfWidth: 1})
		time.Sleep(4 * time.Second)
		if n := w.Stats().Commits; n != begun {
			t.Errorf("a band forced a commit: %d, then %d", begun, n)
		}
		time.Sleep(time.Second)
		if err := w.Wait(t.Context(), at); err != nil || w.Stats().Commits != begun+1 {
			t.Errorf("after 5 s: %v %+v", err, w.Stats())
		}
		l.feed(w)
		for range 50 {
			at = w.Put(Transition{Ms: l.ms, Alarm: "a"})
		}
		if err := w.Wait(t.Context(), at); err != nil || w.Stats().Commits != begun+2 || w.Stats().DurableMs != l.ms {
			t.Errorf("a burst: %v %+v", err, w.Stats())
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if err := w.Wait(ctx, at+1); !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
	})
}
