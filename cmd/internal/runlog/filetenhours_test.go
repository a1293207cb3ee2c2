package runlog

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// referenceLoad is the load that all our figures are for: six thermocouples at
// 4 Hz; two pressures, CO and speed at 10 Hz; supply and air at 1 Hz; six that
// the daemon tells of itself; thirty reckoned.
func referenceLoad() Head {
	h := pump()
	h.Channels = nil
	add := func(q sensors.Quantity, input bool, names ...string) {
		for _, n := range names {
			h.Channels = append(h.Channels, Channel{Name: n, Quantity: q, Unit: q.Unit(), Step: StepOf(q), Input: input})
		}
	}
	add(sensors.Temperature, true, "wall_near", "wall_far", "gas_out", "filter_in", "filter_out", "return_line")
	add(sensors.Pressure, true, "suction", "filter_drop")
	add(sensors.CO, true, "co")
	add(sensors.Speed, true, "speed")
	add(sensors.Voltage, true, "supply")
	add(sensors.Temperature, true, "air_temp")
	add(sensors.Pressure, true, "air_pressure")
	add(sensors.Humidity, true, "air_humidity")
	add(sensors.Age, true, "zero_age", "bump_age", "loop_age", "disk_age", "clock_age", "light_age")
	for i := range 30 {
		add([]sensors.Quantity{sensors.GasFlow, sensors.Mass, sensors.Mean, sensors.Power, sensors.Difference}[i%5], false, fmt.Sprintf("reckoned_%d", i))
	}
	return h
}

// tenHours is ten hours of the reference load, made by SQL.
func tenHours(tb testing.TB) string {
	tb.Helper()
	h := referenceLoad()
	m := makeFile(tb, tb.TempDir(), 1, h)
	inputs, reckoned := split(h.Channels)
	var cells []string
	for i, c := range inputs {
		value := fmt.Sprintf("(i * %d + i / 7 * 13) %% 9000 + %d", i+1, 100*i)
		switch {
		case i < 6: // 4 Hz on a grid of 10 Hz
			value = fmt.Sprintf("CASE WHEN (i + %d) %% 5 IN (0, 2) THEN %s END", i, value)
		case i >= 10:
			value = fmt.Sprintf("CASE WHEN (i + %d) %% 10 = 0 THEN %s END", i, value)
		}
		if c.Name == "co" {
			value = "CASE WHEN i % 5000 < 20 THEN 'checksum' ELSE " + value + " END"
		}
		cells = append(cells, value)
	}
	m.exec("BEGIN")
	const count = "WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < %d) INSERT INTO %s SELECT 1000 + i * %d, %s FROM n"
	m.exec(fmt.Sprintf(count, 360_000-1, "ticks", 100, strings.Join(cells, ", ")))
	cells = nil
	for i := range reckoned {
		cells = append(cells, fmt.Sprintf("(i * %d) %% 7000", i+3))
	}
	m.exec(fmt.Sprintf(count, 36_000-1, "seconds", 1000, strings.Join(cells, ", ")))
	m.exec("COMMIT")
	m.anchor(1000, time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC), Synced)
	m.run(1000, 36_000_900)
	m.put("INSERT INTO phases VALUES (NULL, 1000, 'running', 0)")
	for i := range 40 {
		m.transition(int64(60_000*i+1000), "co_alarm", "alarm", []string{"normal", "unacknowledged"}[i%2], []string{"unacknowledged", "normal"}[i%2])
	}
	return m.done()
}
