package runlog

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"
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
