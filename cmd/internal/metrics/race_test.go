package metrics

import (
	"strconv"
	"sync"
	"testing"
	"time"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// Scrapes beside an Update at full speed see whole snapshots: two channels and
// a counter that always move together never differ on one page.
func TestScrapesSeeWholeSnapshots(t *testing.T) {
	e, d := newPump(t)
	done := make(chan struct{})
	var loop, scrapers sync.WaitGroup
	loop.Go(func() {
		rs := []sensors.Reading{reading("wall", d.Now(), 0), reading("co", d.Now(), 0)}
		for n := 0; ; n++ {
			select {
			case <-done:
				return
			default:
			}
			rs[0].Value, rs[1].Value = float64(n), float64(n)
			rs[1].Status = sensors.Good
			if n%7 == 0 {
				rs[1].Status = sensors.Stale
			}
			e.Update(d.Now(), rs, nil, Health{Ticks: uint64(n)})
		}
	})
	co := labelled(names.COPpm, "channel", "co")
	coUp := labelled(names.ChannelUp, "channel", "co")
	pages := make([]int, 3)
	end := time.Now().Add(400 * time.Millisecond)
	for i := range pages {
		scrapers.Go(func() {
			for time.Now().Before(end) {
				p := lines(t, e)
				if p[wallValue] == "" {
					continue // before the first Update
				}
				n, err := strconv.ParseFloat(p[wallValue], 64)
				if err != nil {
					t.Error(err)
					return
				}
				stale := int(n)%7 == 0
				if p[names.Ticks] != p[wallValue] || (p[co] == "") != stale ||
					!stale && p[co] != p[wallValue] || (p[coUp] == "0") != stale {
					t.Errorf("torn page: wall %s, ticks %s, co %q, up %s", p[wallValue], p[names.Ticks], p[co], p[coUp])
					return
				}
				pages[i]++
			}
		})
	}
	scrapers.Wait()
	close(done)
	loop.Wait()
	for i, n := range pages {
		if n == 0 {
			t.Errorf("scraper %d saw no page", i)
		}
	}
}
