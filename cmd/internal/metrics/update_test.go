package metrics

import (
	"errors"
	"math"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

var (
	wallValue = labelled(names.TemperatureCelsius, names.LabelChannel, "wall")
	wallUp    = labelled(names.ChannelUp, names.LabelChannel, "wall")
	wallAge   = labelled(names.ChannelAgeSeconds, names.LabelChannel, "wall")
)

// tick reports one reading of wall and nothing else.
func tick(e *Exporter, d *dial, r sensors.Reading) {
	now := d.advance(100 * time.Millisecond)
	r.Channel, r.At = "wall", now
	e.Update(now, []sensors.Reading{r}, nil, Health{})
}

func TestFailedChannelIsAbsentAndComesBack(t *testing.T) {
	e, d := newPump(t)
	expect(t, e, "before the first update", map[string]string{wallValue: "", wallUp: "0", wallAge: ""})

	tick(e, d, reading("", time.Time{}, 412.5))
	expect(t, e, "good", map[string]string{wallValue: "412.5", wallUp: "1", wallAge: "0"})

	for _, s := range sensors.Statuses() {
		if s == sensors.Good {
			continue
		}
		// A number beside a status that is not good must not come through.
		r := reading("", time.Time{}, 9999)
		r.Status, r.Err = s, errors.New("no couple")
		tick(e, d, r)
		expect(t, e, s.String(), map[string]string{wallValue: "", wallUp: "0", wallAge: "0"})
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		tick(e, d, reading("", time.Time{}, v))
		expect(t, e, "good but no number", map[string]string{wallValue: "", wallUp: "0"})
	}

	tick(e, d, reading("", time.Time{}, 413))
	expect(t, e, "back", map[string]string{wallValue: "413", wallUp: "1"})

	now := d.advance(100 * time.Millisecond)
	e.Update(now, nil, nil, Health{})
	expect(t, e, "left out", map[string]string{wallValue: "", wallUp: "0", wallAge: ""})
}

func TestAgeIsThatOfTheReadingAtScrape(t *testing.T) {
	e, d := newPump(t)
	r := reading("wall", d.Now(), 400)
	e.Update(d.advance(time.Second), []sensors.Reading{r}, nil, Health{})
	d.advance(1500 * time.Millisecond)
	expect(t, e, "live", map[string]string{wallValue: "400", wallAge: "2.5", names.LoopAgeSeconds: "1.5"})
}

func TestFaultsAreCountedOnEdges(t *testing.T) {
	e, d := newPump(t)
	faults := func(f string) string {
		return names.ChannelFaults + `{channel="wall",fault="` + f + `"}`
	}
	expect(t, e, "start: a zero to count from", map[string]string{
		faults("open"): "0", faults("stale"): "0", faults("good"): "", faults("unknown"): "",
	})
	good, open, stale := sensors.Good, sensors.Open, sensors.Stale
	for i, step := range []struct {
		status      sensors.Status
		open, stale string
	}{
		{open, "1", "0"}, // from unknown
		{open, "1", "0"},
		{good, "1", "0"},
		{good, "1", "0"},
		{open, "2", "0"}, // from good
		{stale, "2", "1"},
		{stale, "2", "1"},
		{open, "3", "1"}, // from another fault
		{sensors.Unknown, "3", "1"},
		{sensors.Status(200), "3", "1"}, // no such status: not good, not counted
		{good, "3", "1"},
	} {
		tick(e, d, sensors.Reading{Status: step.status, Value: 1})
		expect(t, e, "step "+string(rune('a'+i)), map[string]string{
			faults("open"): step.open, faults("stale"): step.stale, faults("jump"): "0",
		})
	}
}

func TestDeadLoopShowsNoLastValueAsLive(t *testing.T) {
	e, d := newPump(t)
	state := func(alarm, priority, state string) string {
		return names.AlarmState + `{alarm="` + alarm + `",priority="` + priority + `",state="` + state + `"}`
	}
	standing := func(p string) string { return labelled(names.AlarmStanding, names.LabelPriority, p) }
	expect(t, e, "never alive", map[string]string{
		wallUp: "0", standing("evacuate"): "", state("co_evacuate", "evacuate", "normal"): "",
		names.LoopAgeSeconds: "0", names.MQTTConnects: "", names.TickSeconds: "",
	})
	rs, as, h := morning(e, d.Now())
	e.Update(d.Now(), rs, as, h)
	live := map[string]string{
		wallValue: "412.25", wallUp: "1", names.MQTTConnected: "1",
		standing("evacuate"): "0", standing("caution"): "2",
		state("co_evacuate", "evacuate", "normal"):               "1",
		state("gas_out_fault", "caution", "unacknowledged"):      "1",
		labelled(names.BusStuckSeconds, "bus", "/dev/i2c-1"):     "1.5",
		labelled(names.BusStuckSeconds, "bus", "/dev/spidev0.0"): "0",
	}
	d.advance(3 * time.Second)
	expect(t, e, "3 s", live)

	d.advance(time.Millisecond)
	expect(t, e, "dead", map[string]string{
		wallValue: "", wallUp: "0", wallAge: "3.251", names.LoopAgeSeconds: "3.001",
		names.MQTTConnected: "", names.MQTTConnects: "4", names.Ticks: "36000",
		labelled(names.BusStuckSeconds, "bus", "/dev/i2c-1"): "",
		// What stood still stands; what was normal is not vouched for.
		standing("evacuate"): "", standing("caution"): "2",
		state("co_evacuate", "evacuate", "normal"):          "",
		state("gas_out_fault", "caution", "unacknowledged"): "1",
		state("gas_out_fault", "caution", "normal"):         "0",
	})

	for i := range rs {
		if !rs[i].At.IsZero() {
			rs[i].At = d.Now()
		}
	}
	e.Update(d.Now(), rs, as, h)
	expect(t, e, "alive again", live)
}

func TestWhatIsOffIsAbsent(t *testing.T) {
	e, d := newPump(t)
	e.Update(d.Now(), nil, nil, Health{MQTTOff: true, MQTTConnects: 4, LogOff: true, LogFaults: 1})
	for _, n := range []string{names.MQTTConnected, names.MQTTConnects, names.MQTTRebuilds, names.MQTTPublished, names.MQTTDropped,
		names.RunLogQueuedBytes, names.RunLogFileBytes, names.RunLogDropped, names.RunLogFaults} {
		expect(t, e, "off", map[string]string{n: ""})
	}
	e.Update(d.Now(), nil, nil, Health{})
	expect(t, e, "on", map[string]string{names.MQTTConnected: "0", names.MQTTConnects: "0", names.RunLogFaults: "0", names.RunLogFileBytes: "0"})
}

// Names that wiring gets wrong must not take the page away.
func TestUpdateBearsOddInput(t *testing.T) {
	e, d := newPump(t)
	stranger := alarms.Rule{Name: "nobody"}
	bus := []BusHealth{{"b", time.Second}, {"a", 0}, {"b", 5 * time.Hour}}
	e.Update(d.Now(), []sensors.Reading{reading("nowhere", d.Now(), 1)},
		[]alarms.Alarm{{}, {Rule: &stranger}, alarm(e.opts, "co_evacuate", alarms.State(99))}, Health{Bus: bus})
	expect(t, e, "odd", map[string]string{
		labelled(names.BusStuckSeconds, "bus", "a"):               "0",
		labelled(names.BusStuckSeconds, "bus", "b"):               "18000",
		labelled(names.AlarmStanding, "priority", "evacuate"):     "1", // unknown state is alarm
		labelled(names.TemperatureCelsius, "channel", "nowhere"):  "",
		`promhttp_metric_handler_errors_total{cause="gathering"}`: "0",
	})
	if bus[0].Name != "b" || bus[2].Stuck != 5*time.Hour {
		t.Errorf("the caller's buses were touched: %v", bus)
	}
}

// An alarm that the loop no longer names is unknown, not what it was.
func TestAlarmLeftOutIsUnknown(t *testing.T) {
	e, d := newPump(t)
	state := names.AlarmState + `{alarm="co_caution",priority="caution",state="normal"}`
	as := []alarms.Alarm{alarm(e.opts, "co_caution", alarms.Normal)}
	e.Update(d.Now(), nil, as, Health{})
	expect(t, e, "named", map[string]string{state: "1"})
	e.Update(d.Now(), nil, nil, Health{})
	expect(t, e, "left out", map[string]string{state: ""})
}

func TestUpdateKeepsNothingAndAllocatesNothing(t *testing.T) {
	e, d := newPump(t)
	rs, as, h := morning(e, d.Now())
	if n := testing.AllocsPerRun(100, func() { e.Update(d.Now(), rs, as, h) }); n != 0 {
		t.Errorf("Update allocates %v times", n)
	}
	rs[0].Value, as[1].State, h.Bus[0].Stuck = 1, alarms.Normal, time.Hour
	expect(t, e, "after the caller's change", map[string]string{
		wallValue: "412.25",
		labelled(names.AlarmStanding, "priority", "caution"):     "2",
		labelled(names.BusStuckSeconds, "bus", "/dev/spidev0.0"): "0",
	})
}
