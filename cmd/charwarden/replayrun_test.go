package main

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/runlog"
	"charwarden/config"
	"charwarden/sensors/sim"
)

// outing is one life of the daemon on the simulated rig.
type outing struct {
	seed   uint64
	length time.Duration // on the rig
	dir    string        // of its state; "" is one of the test
	later  time.Duration // than now it is when it begins
	during func(ctx context.Context, s *simRig, w *watch)
}

// playRig runs the whole daemon, without network, in a bubble where time costs
// nothing. It returns the directory of the runs.
func playRig(t *testing.T, o outing) string {
	t.Helper()
	if o.dir == "" {
		o.dir = t.TempDir()
	}
	synctest.Test(t, o.play)
	return filepath.Join(o.dir, "runs")
}

func (o *outing) play(t *testing.T) {
	time.Sleep(o.later)
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		t.Fatal(err)
	}
	cfg = withoutBoard(cfg)
	cfg.State, cfg.Socket, cfg.MQTT.Broker, cfg.Metrics.Listen = o.dir, "", "", ""
	cfg.RunLog.Dir = filepath.Join(o.dir, "runs")
	rig, err := newSimRig(cfg, bubbleClock{}, o.seed)
	if err != nil {
		t.Fatal(err)
	}
	w := &watch{cfg: cfg, board: rig.board, clock: bubbleClock{}, log: slog.New(slog.DiscardHandler)}
	w.boot = func() (string, time.Duration) { return fmt.Sprintf("boot-%v", o.later), time.Minute }
	now := time.Now().Round(0)
	w.prepare = func(s *saved) { // somebody has looked after the cell
		if s.Cared == nil {
			s.Cared = map[string]cared{"co": {ZeroAt: now.AddDate(0, 0, -20), BumpAt: now.Add(-time.Hour)}}
		}
	}
	if err := w.assemble(); err != nil {
		t.Fatal(err)
	}
	w.parts = slices.DeleteFunc(w.parts, func(p part) bool { return p.name == "socket" })
	ctx, cancel := context.WithTimeout(t.Context(), o.length)
	defer cancel()
	if o.during != nil {
		go o.during(ctx, rig, w)
	}
	context.AfterFunc(ctx, func() { // a bus that hangs would outlive the bubble
		time.Sleep(time.Second)
		rig.board.Heal(cfg.ADCs[0].Bus)
		rig.board.Heal(cfg.Thermocouples[0].Port)
	})
	if err := w.start(ctx); err != nil {
		t.Fatal(err)
	}
	time.Sleep(outage) // until the last fault has been done
	if s := w.loop.book.w.Stats(); s.Dropped+s.DroppedRecords > 0 {
		t.Fatalf("seed %d: the run log dropped %d rows, %d records", o.seed, s.Dropped, s.DroppedRecords)
	}
}

// person orders something.
func person(w *watch, verb string, o order) {
	d, err := deedOf(verb, o)
	if err != nil {
		panic(err)
	}
	w.loop.requests <- func(now time.Time, c *core) { c.carryOut(now, "tester", d) }
}

// Whatever happens to the rig and whatever people do, the log of a run replayed
// under the rules in force changes the same alarms at the same moments.
func TestReplayIsExact(t *testing.T) {
	seeds := uint64(10)
	if testing.Short() || underRace {
		seeds = 2
	}
	total := 0
	for seed := range seeds {
		dir := playRig(t, outing{seed: seed, length: 14 * time.Minute, during: func(ctx context.Context, s *simRig, w *watch) {
			rng := rand.New(rand.NewPCG(seed, 1))
			wires, rigs := wireFaults(), sim.FaultNames()
			if err := s.Inject(rigs[rng.IntN(len(rigs))].Name, time.Duration(2+rng.IntN(6))*time.Minute); err != nil {
				panic(err)
			}
			for ctx.Err() == nil {
				s.clock.Sleep(ctx, time.Duration(20+rng.IntN(60))*time.Second)
				switch rng.IntN(8) {
				case 0:
					person(w, "ack", ackOrder{Alarm: "suction_caution"})
				case 1:
					person(w, "shelve", shelfOrder{"filter_drop_caution", 60})
				case 2:
					person(w, "filled", massOrder{0.5})
				case 3:
					person(w, "phase", phaseOrder{[]string{"running", "lighting", "auto"}[rng.IntN(3)]})
				case 4:
					person(w, "note", noteOrder{"wind from the west"})
				case 5:
					person(w, "cleaned", bare{})
				default:
					if f := wires[rng.IntN(len(wires))]; f.name != "broker-gone" {
						go f.do(ctx, s)
					}
				}
			}
		}})
		metas, err := runlog.List(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range metas {
			path := filepath.Join(dir, fmt.Sprintf("%06d.db", m.Number))
			rows, exact, err := rerunFile(t.Context(), path, nil, new(progress))
			if err != nil || exact != nil {
				t.Fatalf("seed %d run %d: %v, %v", seed, m.Number, err, exact)
			}
			sameAgain(t, path)
			for _, r := range rows {
				if !r.Logged || !r.Replayed {
					t.Errorf("seed %d run %d: %+v", seed, m.Number, r)
				}
			}
			total += len(rows)
		}
		if len(metas) == 0 || metas[0].Run == nil && metas[len(metas)-1].Run == nil {
			t.Errorf("seed %d: no run in %d files", seed, len(metas))
		}
	}
	if total < 40*int(seeds) {
		t.Errorf("only %d changes in all", total)
	}
	t.Logf("%d changes of alarms", total)
}

// sameAgain holds what was reckoned, each second, against what is reckoned from
// the log. Only the first part of a session begins from a state that is known.
func sameAgain(t *testing.T, path string) {
	t.Helper()
	f, err := runlog.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.Meta().Part != 1 {
		return
	}
	logged := make(map[int64][]runlog.Cell)
	for row, err := range f.Seconds(t.Context(), 0, 0) {
		if err != nil {
			t.Fatal(err)
		}
		logged[row.Ms] = slices.Clone(row.Cells)
	}
	r, err := newRerun(f, nil)
	if err != nil {
		t.Fatal(err)
	}
	differ, seen := make(map[string]bool), 0
	err = r.play(t.Context(), f, func(ms int64, _ []alarms.Transition) {
		for i, was := range logged[ms] {
			ch := &f.Reckoned()[i]
			if got := cellOf(ch, r.reading(ch.Name)); got != was && !differ[ch.Name] {
				differ[ch.Name] = true
				t.Errorf("%s: %s after %d ms: %+v, again %+v", path, ch.Name, ms-r.baseMs, was, got)
			}
			seen++
		}
	})
	if err != nil || seen < 5_000 {
		t.Errorf("%s: %d cells compared, %v", path, seen, err)
	}
}

// Other rules give other alarms, and the difference is told.
func TestReplayUnderOtherRules(t *testing.T) {
	dir := playRig(t, outing{seed: 3, length: 13 * time.Minute, during: func(_ context.Context, s *simRig, _ *watch) {
		if err := s.Inject("wall-hot", 5*time.Minute); err != nil {
			panic(err)
		}
	}})
	path, err := runlog.Find(dir, "last")
	if err != nil {
		t.Fatal(err)
	}
	text := string(config.Reference()) + "\n[[alarm]]\nchannel = \"wall_near\"\nas = \"notice\"\nlimit = \"120 degC\"\n"
	file := filepath.Join(t.TempDir(), "strict.toml")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Parse(file, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	rows, _, err := rerunFile(t.Context(), path, cfg, new(progress))
	if err != nil {
		t.Fatal(err)
	}
	then, now := 0.0, 0.0
	for _, r := range rows {
		if r.Alarm != "wall_near_notice" || r.To != "unacknowledged" {
			continue
		}
		if r.Logged && then == 0 {
			then = r.Seconds
		}
		if r.Replayed && now == 0 {
			now = r.Seconds
		}
	}
	if now == 0 || then != 0 && now >= then {
		t.Errorf("notice at %g s then, at %g s by the stricter rule", then, now)
	}
	var out strings.Builder
	if code := dispatch(t.Context(), []string{"replay", "last", "--dir", dir, "-c", file}, strings.NewReader(""), &out, &out); code != 0 ||
		!strings.Contains(out.String(), "By these rules") || !strings.Contains(out.String(), "only now") {
		t.Errorf("exit %d: %s", code, &out)
	}
}
