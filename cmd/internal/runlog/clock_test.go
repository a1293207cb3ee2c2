package runlog

import (
	"os"
	"testing"
	"time"
)

var (
	morning = time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	epoch   = time.Unix(0, 0).UTC()
)

func TestClock(t *testing.T) {
	after := func(d time.Duration) time.Time { return morning.Add(d) }
	hour := time.Hour.Milliseconds()
	for what, c := range map[string]struct {
		anchors []Anchor
		quality Quality
		want    map[int64]time.Time
	}{
		"no anchor": {nil, Unset, map[int64]time.Time{5000: epoch.Add(5 * time.Second)}},
		"never set": {[]Anchor{{1000, epoch.Add(20 * time.Second), Unset}}, Unset,
			map[int64]time.Time{0: epoch.Add(19 * time.Second), 2000: epoch.Add(21 * time.Second)}},
		"starts in 1970, synced after a minute": {
			[]Anchor{{1000, epoch.Add(20 * time.Second), Unset}, {61_000, after(time.Minute), Synced}}, Synced,
			map[int64]time.Time{1000: morning, 31_000: after(30 * time.Second), 61_000: after(time.Minute), 121_000: after(2 * time.Minute)}},
		"synced, then a worse one": {
			[]Anchor{{1000, morning, Synced}, {61_000, after(2 * time.Hour), Free}}, Synced,
			map[int64]time.Time{61_000: after(time.Minute)}},
		"slewed by 200 ms in an hour": {
			[]Anchor{{0, morning, Synced}, {hour, after(time.Hour + 200*time.Millisecond), Synced}}, Synced,
			map[int64]time.Time{-1000: after(-time.Second), 0: morning, hour / 2: after(30*time.Minute + 100*time.Millisecond),
				hour: after(time.Hour + 200*time.Millisecond), 2 * hour: after(2*time.Hour + 200*time.Millisecond)}},
		"set by hand in the middle: what came before moves": {
			[]Anchor{{0, morning, Free}, {hour, after(26 * time.Hour), Free}}, Free,
			map[int64]time.Time{0: after(25 * time.Hour), hour: after(26 * time.Hour)}},
		"set back in the middle": {
			[]Anchor{{0, morning, Synced}, {hour, after(-time.Hour), Synced}, {2 * hour, morning, Synced}}, Synced,
			map[int64]time.Time{0: after(-2 * time.Hour), hour: after(-time.Hour), 3 * hour: after(time.Hour)}},
		"one that nobody backs": {
			[]Anchor{{0, morning, Synced}, {hour, after(9 * time.Hour), Synced}, {2 * hour, after(2 * time.Hour), Synced}}, Synced,
			map[int64]time.Time{0: morning, hour: after(time.Hour)}},
		"two at one moment": {
			[]Anchor{{0, morning, Synced}, {0, after(time.Second), Synced}}, Synced,
			map[int64]time.Time{0: after(time.Second)}},
		"over midnight, and into a leap day": {
			[]Anchor{{1000, time.Date(2028, 2, 28, 23, 59, 59, 0, time.UTC), Synced}}, Synced,
			map[int64]time.Time{2000: time.Date(2028, 2, 29, 0, 0, 0, 0, time.UTC)}},
	} {
		clock := newClock(c.anchors)
		if clock.Quality() != c.quality {
			t.Errorf("%s: quality %v, want %v", what, clock.Quality(), c.quality)
		}
		for ms, want := range c.want {
			if got := clock.Wall(ms); !got.Equal(want) || got.Location() != time.UTC {
				t.Errorf("%s: at %d ms %v, want %v", what, ms, got, want)
			}
		}
	}
}

// Whatever the anchors, a later moment has a later time.
func FuzzClock(f *testing.F) {
	f.Add(int64(3_600_000), int64(200), int64(60_000), int64(-7_200_000), int64(1), int64(1), uint8(0b101010))
	f.Add(int64(1), int64(0), int64(1), int64(5), int64(86_400_000), int64(-80_000), uint8(0b111111))
	f.Fuzz(func(t *testing.T, ms1, off1, ms2, off2, ms3, off3 int64, qualities uint8) {
		anchors := []Anchor{{0, morning, Quality(qualities % 3)}}
		at := int64(0)
		for i, a := range [][2]int64{{ms1, off1}, {ms2, off2}, {ms3, off3}} {
			at += a[0] & (1<<36 - 1) // two years
			anchors = append(anchors, Anchor{at, morning.Add(time.Duration(at+a[1]%(1<<36)) * time.Millisecond), Quality(qualities>>(2*i)) % 3})
		}
		clock := newClock(anchors)
		for _, a := range anchors { // round the seams
			for ms := a.Ms - 2; ms <= a.Ms+2; ms++ {
				if !clock.Wall(ms + 1).After(clock.Wall(ms)) {
					t.Fatalf("%v: at %d ms no later than at %d", anchors, ms+1, ms)
				}
			}
		}
		for ms := int64(0); ms < at; ms += at/97 + 1 {
			if !clock.Wall(ms + 1).After(clock.Wall(ms)) {
				t.Fatalf("%v: at %d ms no later than at %d", anchors, ms+1, ms)
			}
		}
	})
}

// A file's clock is that of its boot: anchors of files beside it count, of
// another boot they do not.
func TestClockOfBoot(t *testing.T) {
	dir := t.TempDir()
	file := func(n int, boot string, ms int64, wall time.Time, q Quality) string {
		h := pump()
		h.Boot, h.Ms = boot, ms
		m := makeFile(t, dir, n, h)
		m.anchor(ms, wall, q)
		return m.done()
	}
	file(1, "b0", 1000, morning.Add(-48*time.Hour), Synced)
	first := file(2, "b1", 1000, epoch, Unset)
	file(3, "b1", 50_000, epoch, Unset)
	if err := os.WriteFile(dir+"/000004.db", []byte("damaged"), 0o644); err != nil {
		t.Fatal(err)
	}
	last := file(5, "b1", 61_000, morning.Add(time.Minute), Synced)
	// The power is cut, and the clock comes back half an hour early.
	late := file(6, "b2", 1000, morning.Add(-29*time.Minute), Free)
	file(7, "b3", 1000, morning.Add(time.Hour), Synced)

	for path, want := range map[string]struct {
		at      time.Time
		quality Quality
	}{first: {morning, Synced}, last: {morning, Synced}, late: {morning.Add(-29 * time.Minute), Free}} {
		clock := opened(t, path).Clock()
		if got := clock.Wall(1000); !got.Equal(want.at) || clock.Quality() != want.quality {
			t.Errorf("%s: %v %v, want %v", path, got, clock.Quality(), want)
		}
	}
}
