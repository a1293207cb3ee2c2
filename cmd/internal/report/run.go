package report

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
	"charwarden/sensors/derive/flow"
)

// Columns of the pictures: as many as a wide screen has use for.
const (
	mainBins = 600
	coolBins = 300
)

// clock tells wall time; *runlog.Clock does.
type clock interface {
	Wall(ms int64) time.Time
	Quality() runlog.Quality
}

// run is a run as the report sees it. All times are ms of its boot.
type run struct {
	words
	meta   runlog.Meta
	letter string // behind its number, where another run has the same
	rig    Rig
	clock  clock

	from, to int64 // while there was a fire
	end      int64 // of the cooling after it; to if there is none
	tracks   []*track
	byName   map[string]*track

	transitions []runlog.Transition
	commands    []runlog.Command
	notes       []runlog.Note
	phases      []stretch
	gaps        []runlog.Gap
	holes       []stretch // rows missing
	episodes    []episode
}

// stretch is a time with a name.
type stretch struct {
	from, to int64
	name     string
}

// records are what a run is made of beside its rows.
type records struct {
	transitions []runlog.Transition
	commands    []runlog.Command
	notes       []runlog.Note
	phases      []runlog.PhaseChange
	gaps        []runlog.Gap
	bands       []runlog.Band
}

// newRun is the run before its rows.
func newRun(m runlog.Meta, rig Rig, c clock, rec records) *run {
	r := &run{meta: m, rig: rig, clock: c, byName: map[string]*track{},
		transitions: rec.transitions, commands: rec.commands, notes: rec.notes, gaps: rec.gaps}
	r.bound(rec.phases)
	main := newFold(r.from, r.to, mainBins)
	cool := fold{from: r.to, step: 1}
	if r.end > r.to {
		cool = newFold(r.to, r.end, coolBins)
	}
	for _, ch := range m.Channels {
		t := newTrack(ch, main, cool)
		for _, b := range rec.bands {
			if b.Channel == ch.Name {
				t.bands = append(t.bands, b)
			}
		}
		t.tests = r.testsOf(ch.Name)
		r.tracks = append(r.tracks, t)
		r.byName[ch.Name] = t
	}
	return r
}

// gasTest is how long a test with gas takes at most, and the gas needs to go
// afterwards, ms.
const (
	gasTest  = 300_000
	gasClear = 60_000
)

// testsOf are the times in which a channel was given test gas.
func (r *run) testsOf(channel string) (all []stretch) {
	on := false
	for _, c := range r.commands {
		var order struct {
			Channel string `json:"channel"`
		}
		if c.Err != "" || !strings.HasPrefix(c.Verb, "bumptest ") || json.Unmarshal([]byte(c.Body), &order) != nil || order.Channel != channel {
			continue
		}
		switch c.Verb {
		case "bumptest start":
			all, on = append(all, stretch{c.Ms, c.Ms + gasTest + gasClear, "test gas"}), true
		case "bumptest end":
			if on {
				last := &all[len(all)-1]
				last.to, on = min(last.to, c.Ms+gasClear), false
			}
		}
	}
	return all
}

// sensors are the inputs that measure something, not what the daemon tells of
// its own work.
func (r *run) sensors() (all []*track) {
	for _, t := range r.tracks {
		if t.Input && t.Quantity != sensors.Age {
			all = append(all, t)
		}
	}
	return all
}

// bound finds the part with a fire and the cooling after it, and the phases in
// both.
func (r *run) bound(changes []runlog.PhaseChange) {
	m := &r.meta
	r.from, r.end = m.Ms, max(m.Ms, m.LastMs)
	if m.Run != nil {
		r.from = m.Run.From
		r.end = max(r.end, r.from)
	}
	for i, c := range changes {
		next := r.end
		if i+1 < len(changes) {
			next = changes[i+1].Ms
		}
		if next > r.from {
			r.phases = append(r.phases, stretch{max(c.Ms, r.from), next, c.Phase})
		}
	}
	ended := int64(0)
	if m.Run != nil {
		ended = m.Run.To
	}
	burns, cold := int64(0), int64(0)
	for _, p := range r.phases {
		after := ended > 0 && p.from >= ended
		switch p.name {
		case "cold":
			if cold == 0 && burns > 0 {
				cold = p.from
			}
		case "sealed":
		default:
			if after && p.name != "stopping" { // another fire in the same file
				r.end = min(r.end, p.from)
				break
			}
			if !after {
				burns, cold = p.to, 0
			}
		}
	}
	if ended > 0 {
		r.end = min(r.end, ended+int64(16*time.Hour/time.Millisecond))
	}
	if cold > 0 {
		r.end = min(r.end, max(ended, cold+600_000))
	}
	r.to = r.end
	if burns > r.from {
		if to := burns + max(600_000, (burns-r.from)/20); r.end-to > 900_000 {
			r.to = to
		}
	}
	r.phases = slices.DeleteFunc(r.phases, func(p stretch) bool { return p.from >= r.end })
	for i := range r.phases {
		r.phases[i].to = min(r.phases[i].to, r.end)
	}
}

func (r *run) rows(input bool) *rows {
	s := &rows{run: r, input: input, step: 1000, at: r.from}
	if input {
		s.step = r.meta.Tick.Milliseconds()
	}
	for _, t := range r.tracks {
		if t.Input == input {
			s.tracks = append(s.tracks, t)
		}
	}
	return s
}

func (r *run) name() string { return fmt.Sprintf("run %d%s", r.meta.Number, r.letter) }

// of is the track of a channel, nil if there is none.
func (r *run) of(channel string) *track { return r.byName[channel] }

// wall is the wall clock at ms, in the reader's zone.
func (r *run) wall(ms int64) time.Time { return r.clock.Wall(ms).In(r.zone) }

// byQuantity are the inputs that measure q, as the log has them.
func (r *run) byQuantity(q sensors.Quantity) (all []string) {
	for _, t := range r.tracks {
		if t.Input && t.Quantity == q {
			all = append(all, t.Name)
		}
	}
	return all
}

// fitted are those of the channels that the log has.
func (r *run) fitted(channels ...string) (all []string) {
	for _, c := range channels {
		if r.of(c) != nil && !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	return all
}

// load is the channel that tells how hard the rig is drawn on: the gas flow, or
// the suction where none is reckoned.
func (r *run) load() *track {
	if t := r.of(flow.Channel); t.seen() {
		return t
	}
	if t := r.of(r.rig.Suction); t.seen() {
		return t
	}
	return nil
}

// turns says for each column whether the engine turned all through it: by its
// speed, or by the phase where that is not measured.
func (r *run) turns() []bool {
	f := newFold(r.from, r.to, mainBins)
	on := make([]bool, len(f.bins))
	if t := r.of(r.rig.Speed); t.seen() {
		for i := range on {
			on[i] = t.main.bins[i].n > 0 && t.main.bins[i].lo > 300
		}
		return on
	}
	for _, p := range r.phases {
		if p.name != "running" && p.name != "warming" {
			continue
		}
		for i := range on {
			if m := f.middle(i); m >= p.from && m < p.to {
				on[i] = true
			}
		}
	}
	return on
}

// median of what is there; NaN of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Sorted(slices.Values(v))
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// ranks of the priorities, the gravest first.
var ranks = []string{"evacuate", "alarm", "caution", "notice"}

func byPriority(a, b string) int { return cmp.Compare(rankOf(a), rankOf(b)) }

func rankOf(priority string) int {
	if i := slices.Index(ranks, priority); i >= 0 {
		return i
	}
	return 0 // what is no priority is taken for the gravest
}

// told says that the wall clock was ever set.
func (r *run) told() bool { return r.clock.Quality() > runlog.Unset }
