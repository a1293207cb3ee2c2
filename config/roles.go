package config

import (
	"slices"
	"strings"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// watch gives c the role that the file has for it, whose ready-made alarms it
// gets; "" is none.
func (t *table) watch(c *channel, words ...string) string {
	word := t.text("watch", "")
	if word == "" {
		return ""
	}
	if !slices.Contains(words, word) {
		t.fail("watch", "%q: unknown word%s (allowed: %s)", word, didYouMean(word, words), strings.Join(words, ", "))
		return ""
	}
	t.f.roles[word] = append(t.f.roles[word], c)
	return word
}

// steel returns what a wall is made of.
func (t *table) steel(role string) alarms.Steel {
	if !t.has("steel") {
		return alarms.CarbonSteel
	}
	if role != "wall" {
		t.fail("steel", "only watch = \"wall\" has it")
		return alarms.CarbonSteel
	}
	var words []string
	for s := alarms.CarbonSteel; s <= alarms.Galvanised; s++ {
		words = append(words, s.String())
	}
	s, err := alarms.ParseSteel(t.word("steel", words...))
	if err != nil { // word has refused it
		return alarms.CarbonSteel
	}
	return s
}

// clean returns what a pressure is with a clean filter at the usual load, 0 if
// the file does not tell.
func (t *table) clean(c *channel, least float64) float64 {
	v, ok := t.measure("clean", pressure.parse, pressure)
	most := min(c.high, 1e5)
	if ok && !(v >= least && v <= most) {
		show := func(v float64) string { return Display{}.Format(sensors.Pressure, v) }
		t.fail("clean", "%s: out of range (allowed: %s to %s)", written(t.values["clean"]), show(least), show(most))
		return 0
	}
	return v
}

// only returns the name of the one channel that has a role.
func (f *file) only(role string) string {
	if all := f.roles[role]; len(all) == 1 {
		return all[0].Name
	}
	return ""
}

// give adds built-in rules to the channels that they are for.
func (f *file) give(rules ...alarms.Rule) {
	for _, r := range rules {
		if ch := f.channels[r.Channel]; ch != nil { // else its name was refused
			ch.rules = append(ch.rules, r)
		}
	}
}

// ties fills Roles and adds the rules that look at more than one channel,
// where there is no doubt which.
func (f *file) ties(c *Config) {
	r := &c.Roles
	r.GasOut, r.FilterIn, r.FilterOut, r.Return = f.only("gas_out"), f.only("filter_in"), f.only("filter_out"), f.only("return")
	r.Suction, r.FilterDrop, r.Speed = f.only("suction"), f.only("filter_drop"), f.only("speed")
	if r.Suction == "" {
		r.CleanSuction = 0
	}
	if r.FilterDrop == "" {
		r.CleanDrop = 0
	}
	for _, w := range f.roles["wall"] {
		r.Walls, r.Steels = append(r.Walls, w.Name), append(r.Steels, w.steel)
		f.give(alarms.CoolingRule(w.Name))
	}
	if len(r.Walls) == 2 {
		f.give(alarms.WallSpreadRule(r.Walls[0], r.Walls[1]))
	}
	if r.FilterIn != "" && r.FilterOut != "" {
		f.give(alarms.FilterFireRule(r.FilterOut, r.FilterIn))
	}
	if r.FilterIn != "" && r.GasOut != "" {
		f.give(alarms.DoubtRules(r.FilterIn, r.GasOut, r.Walls...)...)
	}
	if r.Speed != "" {
		for _, ch := range []string{r.FilterDrop, r.Suction} {
			if ch != "" {
				f.give(alarms.PluggedTapRule(ch, r.Speed))
			}
		}
	}
	f.reckoned(c)
}

// ownNames are the channels that no sensor may be called after, so that a name
// that is free stays free when the file grows.
var ownNames = []string{"board_temp", "disk_free", "clock_unsynced", "bus_stall", "broker_away", "tick_late", "state_unsaved", "output_fault", "log_unsaved"}

func (f *file) reserve() {
	for _, name := range ownNames {
		f.claims["channel "+name] = claim{}
	}
	for _, n := range reckonedNames {
		f.claims["channel "+n.name] = claim{}
	}
}

// ever is an age that nothing reaches.
const ever = 10 * 365 * 86400

// own registers one of ownNames, from 0 to high.
func (f *file) own(from origin, name string, q sensors.Quantity, high float64) *channel {
	c := &channel{Channel: sensors.Channel{Name: name, Quantity: q, Period: time.Second, Gain: 1},
		high: high, table: f.table("board"), number: len(f.channels), origin: from}
	f.channels[name] = c
	return c
}

// board reads what the board can say of itself.
func (f *file) board(c *Config) {
	t := f.table("board")
	c.Board.Thermal = t.absolute("thermal", "")
	t.done()
	add := func(name string, q sensors.Quantity, low, high float64, doFirst string, rules ...alarms.Rule) {
		ch := f.own(fromBoard, name, q, high)
		ch.low = low
		fault := alarms.FaultRule(ch.Channel)
		fault.Priority, fault.DoFirst = alarms.Notice, doFirst
		ch.rules = append([]alarms.Rule{fault}, rules...)
	}
	if c.Board.Thermal != "" {
		add("board_temp", sensors.Temperature, -40, 150, "Look whether thermal in the configuration names the board's own file.", alarms.BoardRule("board_temp"))
	}
	add("disk_free", sensors.Ratio, 0, 1, "Look at the board's disk and at the daemon's log at the next pause.", alarms.DiskRules("disk_free")...)
	add("clock_unsynced", sensors.Age, 0, ever, "Look at the daemon's log at the next pause.", alarms.ClockRule("clock_unsynced"))
}

// loop adds the channels of the daemon's own work.
func (f *file) loop(c *Config) {
	add := func(name string, r alarms.Rule) {
		f.own(fromAll, name, sensors.Age, ever)
		f.give(r)
	}
	add("bus_stall", alarms.BusRule("bus_stall"))
	if c.MQTT.Broker != "" {
		add("broker_away", alarms.BrokerRule("broker_away"))
	}
	add("tick_late", alarms.LoopRule("tick_late"))
	add("state_unsaved", alarms.StateRule("state_unsaved"))
	add("output_fault", alarms.OutputRule("output_fault"))
	if c.RunLog.Dir != "" {
		add("log_unsaved", alarms.LogRule("log_unsaved"))
	}
}
