package report

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

// out keeps the pages of the tests for a look at them.
var out = flag.String("out", "", "directory to keep the pages of the tests in")

// keep writes a page of a test to -out.
func keep(t testing.TB, name string, page []byte) {
	t.Helper()
	if *out == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(*out, name), page, 0o644); err != nil {
		t.Fatal(err)
	}
}

// zoneA is a zone east of Greenwich, without summer time.
var zoneA = time.FixedZone("EAT", 3*3600)

// dawn is when the made-up runs begin.
var dawn = time.Date(2026, 3, 14, 5, 40, 0, 0, time.UTC)

// fixedClock tells the time from one anchor.
type fixedClock struct {
	at      time.Time // of ms 0
	quality runlog.Quality
}

func (c fixedClock) Wall(ms int64) time.Time { return c.at.Add(time.Duration(ms) * time.Millisecond) }
func (c fixedClock) Quality() runlog.Quality { return c.quality }

// tale is a made-up run: what differs from one to the next.
type tale struct {
	number  int
	hours   float64 // of the engine
	cool    float64 // hours after it
	wall    float64 // K hotter than usual
	perKg   float64 // % of loading a kilogram
	batch   string
	ret     float64 // % of return
	tau     float64 // h
	quality runlog.Quality
	faults  bool
	storm   bool          // of alarms
	tick    time.Duration // 0: rows every 2 s, with all cells
}

func plainTale(number int) tale {
	return tale{number: number, hours: 3.2, cool: 7, perKg: 6, batch: "acacia, sack 4", ret: 10, tau: 1.3, quality: runlog.Synced}
}

// rigA is the reference rig by its roles.
func rigA() Rig {
	rig := Rig{Walls: []string{"wall_near", "wall_far"}, CO: []string{"co"}, GasOut: "gas_out", FilterIn: "filter_in", FilterOut: "filter_out",
		Return: "return_line", Suction: "suction", FilterDrop: "filter_drop", Speed: "speed"}
	add := func(ch, what, priority string, limit float64, means string) {
		rig.Limits = append(rig.Limits, Limit{ch + "_" + what, ch, priority, "above", limit, means})
	}
	for _, w := range rig.Walls {
		add(w, "notice", "notice", 480, "The wall at "+w+" is as hot as bare steel can bear for long.")
		add(w, "caution", "caution", 540, "The wall at "+w+" is so hot that the steel is burning away.")
		add(w, "alarm", "alarm", 600, "The wall at "+w+" is dangerously hot.")
		add(w, "stop", "alarm", 650, "The wall at "+w+" is so hot that it may fail, and the engine is being stopped.")
	}
	add("gas_out", "caution", "caution", 400, "The gas leaves the hearth too hot.")
	add("filter_in", "caution", "caution", 60, "The gas before the filter is hot.")
	add("filter_in", "alarm", "alarm", 80, "")
	add("filter_in", "stop", "alarm", 100, "")
	add("filter_drop", "caution", "caution", 250, "The filter is filling up.")
	add("filter_drop", "alarm", "alarm", 450, "")
	add("suction", "caution", "caution", 1040, "")
	add("suction", "alarm", "alarm", 1560, "")
	add("co", "caution", "caution", 25, "There is carbon monoxide in the air at the rig.")
	add("co", "alarm", "alarm", 100, "The air at the rig holds a dangerous amount of carbon monoxide.")
	add("co", "evacuate", "evacuate", 200, "The air at the rig is poisonous with carbon monoxide.")
	add("co_mean_5min", "alarm", "alarm", 100, "")
	add("co_stel_15min", "alarm", "alarm", 100, "")
	add("co_twa_8h", "caution", "caution", 20, "")
	add("co_cohb_linear", "caution", "caution", 2.5, "")
	add("co_cohb_linear", "alarm", "alarm", 5, "")
	add("co_cohb_linear", "evacuate", "evacuate", 10, "")
	add("filter_loading", "caution", "caution", 100, "")
	return rig
}

// channelsA are those of the reference rig, inputs first.
func channelsA() (all []runlog.Channel) {
	add := func(input bool, q sensors.Quantity, names ...string) {
		for _, n := range names {
			c := runlog.Channel{Name: n, Quantity: q, Unit: q.Unit(), Step: runlog.StepOf(q), Input: input}
			if input {
				c.Place, c.Care = "MAX31855 at /dev/spidev0.0", "no zero, factory span"
			}
			all = append(all, c)
		}
	}
	add(true, sensors.Temperature, "wall_near", "wall_far", "gas_out", "filter_in", "filter_out", "return_line")
	add(true, sensors.Pressure, "suction", "filter_drop")
	add(true, sensors.CO, "co")
	add(true, sensors.Speed, "speed")
	add(true, sensors.Voltage, "supply")
	add(true, sensors.Temperature, "air_temp")
	add(true, sensors.Pressure, "air_pressure")
	add(true, sensors.Humidity, "air_humidity")
	add(false, sensors.Mean, "co_mean_5min", "co_stel_15min", "co_twa_8h")
	add(false, sensors.COHb, "co_cohb", "co_cohb_linear")
	add(false, sensors.GasFlow, "gas_flow")
	add(false, sensors.Loading, "filter_loading")
	add(false, sensors.MassFlow, "charcoal_flow")
	add(false, sensors.Mass, "charcoal_burnt", "charcoal_left")
	add(false, sensors.Power, "shaft_power")
	add(false, sensors.Age, "cooldown_tau")
	add(false, sensors.Ratio, "seal_health")
	return all
}

const bootMs = 1_000_000 // of the first tick

// make tells the tale to a run.
func (s tale) make(rig Rig) *run {
	m, rec := s.head()
	r := newRun(m, rig, fixedClock{dawn.Add(-bootMs * time.Millisecond), s.quality}, rec)
	ticks, seconds := r.rows(true), r.rows(false)
	s.rows(m.Channels, func(ms int64, input bool, cells []runlog.Cell) {
		to := seconds
		if input {
			to = ticks
		}
		if err := to.add(&runlog.Row{Ms: ms, Cells: cells}); err != nil {
			panic(err)
		}
	})
	r.close(ticks, seconds)
	return r
}

// only tells the tale to a run that has nothing but some of the channels.
func (s tale) only(rig Rig, channels ...string) *run {
	m, rec := s.head()
	all := m.Channels
	m.Channels = slices.DeleteFunc(slices.Clone(all), func(c runlog.Channel) bool { return !slices.Contains(channels, c.Name) })
	rec.transitions = slices.DeleteFunc(rec.transitions, func(t runlog.Transition) bool { return !slices.Contains(channels, t.Channel) })
	r := newRun(m, rig, fixedClock{dawn.Add(-bootMs * time.Millisecond), s.quality}, rec)
	to := map[bool]*rows{true: r.rows(true), false: r.rows(false)}
	s.rows(all, func(ms int64, input bool, cells []runlog.Cell) {
		row := runlog.Row{Ms: ms}
		i := 0
		for _, c := range all {
			if c.Input != input {
				continue
			}
			if slices.Contains(channels, c.Name) {
				row.Cells = append(row.Cells, cells[i])
			}
			i++
		}
		if err := to[input].add(&row); err != nil {
			panic(err)
		}
	})
	r.close(to[true], to[false])
	return r
}

// times of the tale, min after the first tick.
func (s tale) times() (engine, warm, stop, sealed, end float64) {
	engine, warm = 22, 36
	stop = engine + 60*s.hours
	sealed = stop + 6
	return engine, warm, stop, sealed, sealed + 60*s.cool
}

func sec(min float64) int64 { return bootMs + int64(min*60_000) }

// head is all but the rows.
func (s tale) head() (runlog.Meta, records) {
	engine, warm, stop, sealed, end := s.times()
	m := runlog.Meta{Number: s.number, LastMs: sec(end)}
	m.Head = runlog.Head{Rig: "pump", Ms: bootMs, Tick: cmp.Or(s.tick, 2*time.Second), Part: 1, Channels: channelsA()}
	m.Run = &runlog.Run{From: bootMs, To: sec(end), By: "phase", End: "phase"}
	v := func(x float64) *float64 { return &x }
	tr := func(min float64, alarm, ch, pr, from, to string, value, limit float64, unit string, seq uint64, first bool) runlog.Transition {
		return runlog.Transition{Ms: sec(min), Alarm: alarm, Channel: ch, Priority: pr, From: from, To: to, Value: v(value), Limit: v(limit), Unit: unit, Seq: seq, FirstOut: first}
	}
	rec := records{
		phases: []runlog.PhaseChange{{Ms: bootMs, Phase: "cold"}, {Ms: sec(2), Phase: "lighting"}, {Ms: sec(engine), Phase: "warming"},
			{Ms: sec(warm), Phase: "running"}, {Ms: sec(stop), Phase: "stopping"}, {Ms: sec(sealed), Phase: "sealed"}},
		notes: []runlog.Note{
			{Ms: sec(0.5), Person: "kim", Kind: "batch", Text: s.batch},
			{Ms: sec(0.7), Person: "kim", Kind: "in", Text: "7 kg", Value: v(7), Unit: "kg"},
			{Ms: sec(1), Person: "kim", Kind: "return", Text: fmt.Sprintf("%.0f %%, at the usual notch", s.ret), Value: v(s.ret), Unit: "percent"},
			{Ms: sec(15), Person: "kim", Kind: "flare", Text: "blue, steady"},
			{Ms: sec(engine), Kind: "engine", Text: ""},
			{Ms: sec(engine + 20), Person: "kim", Kind: "load", Text: "2200 W pump", Value: v(2200), Unit: "W"},
			{Ms: sec(120), Person: "kim", Kind: "lid", Text: "opened & shut, <tapped> the hopper"},
			{Ms: sec(stop + 1), Person: "kim", Kind: "remark", Text: "engine hunted a little before the stop"},
		},
		transitions: []runlog.Transition{
			tr(70, "wall_near_notice", "wall_near", "notice", "normal", "unacknowledged", 480.2, 480, "degC", 1, false),
			tr(stop-10, "wall_near_notice", "wall_near", "notice", "unacknowledged", "returned", 470, 480, "degC", 1, false),
		},
		bands: []runlog.Band{{Ms: bootMs, Channel: "wall_near", HalfWidth: 4.8}, {Ms: bootMs, Channel: "wall_far", HalfWidth: 4.5},
			{Ms: bootMs, Channel: "charcoal_burnt", HalfWidth: 0.05}, {Ms: sec(stop), Channel: "charcoal_burnt", HalfWidth: 0.41},
			{Ms: bootMs, Channel: "gas_flow", HalfWidth: 0.9}, {Ms: bootMs, Channel: "co", HalfWidth: 3}, {Ms: bootMs, Channel: "filter_drop", HalfWidth: 12},
			{Ms: bootMs, Channel: "shaft_power", HalfWidth: 260}, {Ms: sec(sealed), Channel: "cooldown_tau", HalfWidth: 180}, {Ms: bootMs, Channel: "charcoal_left", HalfWidth: 0.4}},
	}
	if s.faults {
		rec.transitions = append(rec.transitions,
			tr(96, "co_caution", "co", "caution", "normal", "unacknowledged", 26, 25, "ppm", 1, true),
			tr(97, "co_alarm", "co", "alarm", "normal", "unacknowledged", 104, 100, "ppm", 1, false),
			tr(98, "co_alarm", "co", "alarm", "unacknowledged", "acknowledged", 112, 100, "ppm", 1, false),
			tr(99, "co_caution", "co", "caution", "unacknowledged", "acknowledged", 60, 25, "ppm", 1, false),
			tr(101, "co_alarm", "co", "alarm", "acknowledged", "normal", 70, 100, "ppm", 1, false),
			tr(106, "co_caution", "co", "caution", "acknowledged", "normal", 18, 25, "ppm", 1, false),
			tr(130, "wall_near_caution", "wall_near", "caution", "normal", "unacknowledged", 541, 540, "degC", 1, true),
			tr(141, "wall_near_alarm", "wall_near", "alarm", "normal", "unacknowledged", 601, 600, "degC", 1, false),
			tr(150, "wall_near_alarm", "wall_near", "alarm", "unacknowledged", "returned", 588, 600, "degC", 1, false),
			tr(155, "wall_near_caution", "wall_near", "caution", "unacknowledged", "returned", 528, 540, "degC", 1, false),
			runlog.Transition{Ms: sec(160), Alarm: "filter_in_fault", Channel: "filter_in", Priority: "caution", From: "normal", To: "unacknowledged", Seq: 1, FirstOut: true},
			runlog.Transition{Ms: sec(168), Alarm: "filter_in_fault", Channel: "filter_in", Priority: "caution", From: "unacknowledged", To: "returned", Seq: 1},
		)
		rec.commands = []runlog.Command{{Ms: sec(98), Person: "kim", Verb: "ack", Body: `{"alarm":"co_alarm","seq":1}`},
			{Ms: sec(99), Person: "phone", Verb: "ack", Body: `{"alarm":"co_caution","seq":1}`},
			{Ms: sec(99.5), Person: "phone", Verb: "ack", Body: `{"alarm":"co_evacuate","seq":1}`, Err: "nothing stands: there is nothing to acknowledge"}}
		rec.gaps = []runlog.Gap{{Ms: sec(175), What: "rows dropped", N: 150}, {Ms: sec(40), What: "ticks missed", N: 2}}
	}
	for i := range 30 {
		if !s.storm {
			break
		}
		at, n := 40+5.3*float64(i), uint64(i+1)
		a, c := []string{"co_caution", "wall_near_caution", "filter_in_fault"}[i%3], []string{"co", "wall_near", "filter_in"}[i%3]
		raised := tr(at, a, c, "caution", "normal", "unacknowledged", 26, 25, []string{"ppm", "degC", ""}[i%3], n, i%5 == 0)
		if i%3 == 2 {
			raised.Value, raised.Limit = nil, nil
		}
		rec.transitions = append(rec.transitions, raised, tr(at+1+float64(i%4), a, c, "caution", "unacknowledged", "returned", 20, 25, "ppm", n, false))
	}
	return m, rec
}

// rows hands over the rows of inputs and of what is reckoned.
func (s tale) rows(channels []runlog.Channel, to func(ms int64, input bool, cells []runlog.Cell)) {
	engine, _, stop, sealed, end := s.times()
	rng := rand.New(rand.NewPCG(uint64(s.number), 1))
	at := map[string]int{}
	inputs := 0
	for i, c := range channels {
		at[c.Name] = i
		if c.Input {
			inputs++
		}
	}
	cells := make([]runlog.Cell, len(channels))
	step := cmp.Or(s.tick, 2*time.Second).Milliseconds()
	fresh := func(i int, ms int64) bool { // 4 Hz, every tick, 1 Hz
		n := ms / 100
		switch {
		case s.tick == 0, i >= 6 && i < 10:
			return true
		case i < 6:
			return (n+int64(i))%5 == 0 || (n+int64(i))%5 == 2
		}
		return n%10 == 0
	}
	burnt, blood, day := 0., 0.6, 0.
	for ms := int64(bootMs); ms <= sec(end); ms += step {
		min := float64(ms-bootMs) / 60_000
		on := min >= engine && min < stop
		heat := func(to, rise float64) float64 { // up while it burns, down when shut
			at := to * (1 - math.Exp(-math.Max(0, min-2)/rise))
			if min > stop {
				at = to * math.Exp(-(min-stop)/(60*s.tau))
			}
			return 24 + at
		}
		wave := math.Sin(min / 9)
		put := func(ch string, v float64) {
			i := at[ch]
			if n, ok := channels[i].CountOf(v); ok && (i >= inputs || fresh(i, ms)) {
				cells[i] = runlog.Cell{Count: n, Status: sensors.Good}
			} else {
				cells[i] = runlog.Cell{}
			}
		}
		bump := 0.
		if s.faults && min > 120 && min < 175 {
			bump = 115 * math.Exp(-(min-143)*(min-143)/120)
		}
		put("wall_near", heat(478+s.wall, 26)+6*wave+bump+rng.NormFloat64())
		put("wall_far", heat(392+s.wall, 30)+5*math.Sin(min/7)+0.4*bump+rng.NormFloat64())
		put("gas_out", heat(310, 20)+8*wave+rng.NormFloat64())
		put("filter_in", heat(24, 15)+rng.NormFloat64()/2)
		put("filter_out", heat(12, 20)+rng.NormFloat64()/2)
		ret := 24.
		if on {
			ret = 24 + 150*(1-math.Exp(-(min-engine)/8))
		}
		put("return_line", ret+rng.NormFloat64())
		load := 0.
		if on {
			load = 1 + 0.08*wave + 0.01*rng.NormFloat64()
			burnt += 1.35 * load * float64(step) / 3.6e6
		}
		put("suction", 520*load*load+4*rng.NormFloat64())
		loading := 8 + s.perKg*burnt
		put("filter_drop", 125*load*(1+loading/60)+5*rng.NormFloat64())
		co := 2 + rng.NormFloat64()
		if s.faults && min > 95 && min < 107 {
			co += 110 * math.Exp(-(min-99)*(min-99)/8)
		}
		if min > stop && min < stop+20 {
			co += 9
		}
		put("co", co)
		blood += (co*0.05 - 0.05*blood) / 3.6e6 * float64(step)
		day += co / 28.8e6 * float64(step)
		put("co_mean_5min", co)
		put("co_stel_15min", co*0.6)
		put("co_twa_8h", day)
		put("co_cohb", blood)
		put("co_cohb_linear", blood*1.1)
		rpm := 0.
		if on {
			rpm = 3000 + 40*rng.NormFloat64()
		}
		put("speed", rpm)
		put("supply", 5.02+0.01*rng.NormFloat64())
		put("air_temp", 24+6*math.Sin(min/200))
		put("air_pressure", 90210+30*math.Sin(min/100))
		put("air_humidity", 0.55)
		put("gas_flow", 9.1*load)
		if !on {
			put("gas_flow", math.NaN())
		}
		put("filter_loading", loading)
		if !on {
			put("filter_loading", math.NaN())
		}
		put("charcoal_flow", 1.35*load)
		put("charcoal_burnt", burnt)
		put("charcoal_left", 7-burnt)
		put("shaft_power", 2050*load)
		put("cooldown_tau", math.NaN())
		put("seal_health", math.NaN())
		if min > sealed+60 {
			put("cooldown_tau", s.tau*3600)
			put("seal_health", 0.97)
		}
		if s.faults && min >= 160 && min < 168 {
			cells[at["filter_in"]] = runlog.Cell{Status: sensors.Open}
		}
		if s.faults && min >= 175 && min < 180 {
			continue // rows dropped
		}
		to(ms, true, cells[:inputs])
		if ms%1000 == 0 {
			to(ms, false, cells[inputs:])
		}
	}
}
