package dashboards

import (
	"charwarden/alarms"
	"charwarden/cmd/internal/names"
)

// What the daemon tells of itself, in seconds since it was last right.
var troubles = channels("bus_stall", "broker_away", "tick_late", "state_unsaved", "output_fault", "log_unsaved")

func health() []panel {
	return []panel{
		{title: "Channels without a good value", draw: bands, width: 24, high: 9, unit: unitOf(names.ChannelUp),
			look:    "One row for each channel that had no good value, as long as it had none: nobody watched it then. Derived ones have none in phases in which they make no sense.",
			queries: []query{{"min by (channel) (" + low(series(names.ChannelUp)) + ") == 0", "{{channel}}"}},
			words:   map[string]word{"0": {"no value", colours[alarms.High]}}},
		{title: "Age of the readings", draw: lines, unit: unitOf(names.ChannelAgeSeconds),
			look:    "The ten oldest. A reading is no longer live after 3 seconds at most; a line that climbs is a hung bus or a dead chip.",
			queries: []query{{"topk(10, " + peak(series(names.ChannelAgeSeconds)) + ")", "{{channel}}"}},
			limits:  []limit{{at: 3, colour: colours[alarms.High]}}},
		{title: "Faults of the channels", draw: bars, unit: unitOf(names.ChannelFaults),
			look:    "How often a channel went into a fault, in each step. Many short ones of one channel: a loose plug. All of one bus at once: that bus.",
			queries: []query{{"sum by (channel, fault) (" + more(series(names.ChannelFaults)) + ") > 0", "{{channel}}: {{fault}}"}}},
		{title: "Age of the loop", draw: lines, width: 8, unit: unitOf(names.LoopAgeSeconds),
			look:    "Seconds since the loop last reported. Above 3 nobody watches the rig, and every value is absent.",
			queries: []query{{peak(series(names.LoopAgeSeconds)), "loop"}},
			limits:  []limit{{at: 3, colour: colours[alarms.Evacuate]}}},
		{title: "Length of a tick", draw: lines, width: 8, unit: unitOf(names.TickSeconds),
			look: "How long the loop's last tick and its longest one since start took. A tick is judged every 0.1 s unless your configuration says otherwise.",
			queries: []query{
				{peak(series(names.TickSeconds)), "last"},
				{series(names.TickMaxSeconds), "longest since start"}}},
		{title: "What the loop missed", draw: bars, width: 8, unit: unitOf(names.TicksMissed),
			look: "Ticks that came too late, readings that were not taken and readings that were thrown away, in each step. All should be absent or 0: the board is too busy or a bus hangs.",
			queries: []query{
				{more(series(names.TicksMissed)), "ticks missed"},
				{more(series(names.ReadingsMissed)), "readings not taken"},
				{more(series(names.ReadingsDropped)), "readings dropped"}}},
		{title: "What is not right, and for how long", draw: lines, width: 8, unit: unitOf(names.AgeSeconds),
			look:    "Hung bus, lost broker, late loop, state or run log that the disk does not take, failing output. All should lie at 0.",
			queries: []query{{top(names.AgeSeconds, troubles), "{{channel}}"}}},
		{title: "Transfers that are stuck", draw: lines, width: 8, unit: unitOf(names.BusStuckSeconds),
			look:    "How long a bus has not answered. Alarms of its channels follow within 3 seconds.",
			queries: []query{{peak(series(names.BusStuckSeconds)), "{{bus}}"}}},
		{title: "Messages to the phone", draw: bars, width: 8, unit: unitOf(names.MQTTDropped),
			look: "Whether a broker is connected (1), and messages that were thrown away because it did not take them. 0 means that the phone hears nothing.",
			queries: []query{
				{low(series(names.MQTTConnected)), "connected"},
				{more(series(names.MQTTDropped)), "dropped"}}},
		{title: "Size of the run log", draw: lines, width: 8, unit: unitOf(names.RunLogFileBytes),
			look: "The file that is written, and the rows that wait for the disk. What waits falls to nothing every 5 seconds; if it grows, the disk does not keep up.",
			queries: []query{
				{peak(series(names.RunLogFileBytes)), "file"},
				{peak(series(names.RunLogQueuedBytes)), "waits"}}},
		{title: "The run log", draw: bars, width: 8, unit: unitOf(names.RunLogDropped),
			look: "Rows that were thrown away, and attempts to write that went wrong. All should be absent or 0: the disk is full, slow or broken.",
			queries: []query{
				{more(series(names.RunLogDropped)), "rows dropped"},
				{more(series(names.RunLogFaults)), "failed attempts"}}},
		{title: "Supply of the sensors", draw: lines, width: 8, unit: unitOf(names.SupplyVolts),
			look:    "Pressures are right from 4.75 to 5.25 V only. A dip when the engine is cranked is the battery.",
			queries: []query{{bottom(names.SupplyVolts), "{{channel}}"}},
			limits:  limits("supply", alarms.SupplyRules("supply")...)},
		{title: "Temperature of the board and the air", draw: lines, width: 8, unit: unitOf(names.TemperatureCelsius),
			look:    "Boards slow down from 80 degC on. Shade it from the hearth.",
			queries: []query{{value(names.TemperatureCelsius, channels("board_temp", "air_temp")), "{{channel}}"}},
			limits:  limits("board_temp", alarms.BoardRule("board_temp"))},
		{title: "Room on the disk", draw: lines, width: 8, unit: unitOf(names.Ratio),
			look:    "Of the disk with the run log. Below 10 % copy old runs away.",
			queries: []query{{value(names.Ratio, channels("disk_free")), "{{channel}}"}},
			limits:  limits("disk_free", alarms.DiskRules("disk_free")...)},
		{title: "Care of the carbon monoxide cell and the clock", draw: lines, unit: unitOf(names.AgeSeconds),
			look:    "Time since the cell's zero and its last test with gas, and since the clock was last known to be right. Test with gas each day before the fire.",
			queries: []query{{value(names.AgeSeconds, channels(".+_zero_age", ".+_bump_age", "clock_unsynced")), "{{channel}}"}}},
		{title: "Humidity of the air", draw: lines, width: 6, unit: unitOf(names.HumidityRatio),
			look:    "Wet air makes wet gas and wet charcoal.",
			queries: []query{{value(names.HumidityRatio), "{{channel}}"}}},
		{title: "Pressure of the air", draw: lines, width: 6, unit: unitOf(names.PressurePascals),
			look:    "The open air, for comparing days.",
			queries: []query{{value(names.PressurePascals, channels("air_pressure")), "{{channel}}"}}},
	}
}
