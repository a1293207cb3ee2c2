package metrics

import (
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// family is one metric name with its help, type and label names.
type family struct {
	name, help string
	labels     []string
	counter    bool // else a gauge
}

func gauge(name, help string, labels ...string) *family {
	return &family{name: name, help: help, labels: labels}
}

func counter(name, help string, labels ...string) *family {
	return &family{name: name, help: help, labels: labels, counter: true}
}

// quantity is the family of one quantity. A scrape is not a measurement (the
// rig is read far more often), which the help says.
func quantity(q sensors.Quantity, what string) *family {
	return gauge(names.Quantity(q), what+"; absent unless good; latest value at scrape; see "+
		names.ChannelAgeSeconds+".", names.LabelChannel)
}

// Values: one family per quantity.
var quantities = [...]*family{
	sensors.Temperature: quantity(sensors.Temperature, "Temperature in degrees Celsius"),
	sensors.Pressure:    quantity(sensors.Pressure, "Pressure in pascals, differential or absolute as the channel is"),
	sensors.CO:          quantity(sensors.CO, "Carbon monoxide in ppm (1 ppm = 1e-6 by volume), the unit in which every limit for people is written"),
	sensors.Speed:       quantity(sensors.Speed, "Speed in revolutions per minute, the unit on every engine's plate"),
	sensors.Voltage:     quantity(sensors.Voltage, "Voltage in volts"),
	sensors.Humidity:    quantity(sensors.Humidity, "Relative humidity as a ratio, 0 to 1"),
	sensors.Age:         quantity(sensors.Age, "Seconds since something was last done or last right"),
	sensors.Mean:        quantity(sensors.Mean, "Carbon monoxide in ppm, averaged over the time that the channel's name says"),
	sensors.COHb:        quantity(sensors.COHb, "Estimated carboxyhaemoglobin in percent of the blood's haemoglobin, the unit in which every limit is written; not a blood test"),
	sensors.Ratio:       quantity(sensors.Ratio, "Ratio to a reference; 1 is as the reference"),

	sensors.GasFlow:      quantity(sensors.GasFlow, "Flow of wet gas in cubic metres an hour at 0 degC and 101.325 kPa, the trade's unit"),
	sensors.Mass:         quantity(sensors.Mass, "Mass in kilograms"),
	sensors.MassFlow:     quantity(sensors.MassFlow, "Mass flow in kilograms an hour, the trade's unit"),
	sensors.HeatingValue: quantity(sensors.HeatingValue, "Lower heating value in MJ per cubic metre at 0 degC and 101.325 kPa"),
	sensors.Power:        quantity(sensors.Power, "Power in watts"),
	sensors.Difference:   quantity(sensors.Difference, "Difference of two temperatures in kelvins"),
	sensors.Thickness:    quantity(sensors.Thickness, "Thickness in millimetres"),
	sensors.Leak:         quantity(sensors.Leak, "Pressure that a closed vessel loses, in pascals a minute"),
	sensors.Loading:      quantity(sensors.Loading, "Dust in a filter in percent of what it may hold; 0 is clean, 100 is due for cleaning, below 0 is a hole"),
}

// About each channel.
var (
	channelUp = gauge(names.ChannelUp,
		"1 if the channel's newest reading is good, else 0; 0 too when the loop is dead.",
		names.LabelChannel)
	channelAge = gauge(names.ChannelAgeSeconds,
		"Age of the channel's newest reading at scrape, good or not; absent if it was never read.",
		names.LabelChannel)
	channelFaults = counter(names.ChannelFaults,
		"How often the channel went into this fault, from good or from another fault.",
		names.LabelChannel, names.LabelFault)
)

// About the alarms.
var (
	alarmState = gauge(names.AlarmState,
		"1 for the state that the alarm is in, else 0. When the loop is dead only alarms that stood are left, as they were: nothing goes back to normal that way.",
		names.LabelAlarm, names.LabelPriority, names.LabelState)
	alarmStanding = gauge(names.AlarmStanding,
		"Alarms of this priority that are not in state normal. When the loop is dead a zero is absent.",
		names.LabelPriority)
)

// About the daemon.
var (
	buildInfo = gauge(names.BuildInfo,
		"Always 1; which build this is.",
		names.LabelVersion, names.LabelRevision, names.LabelGoVersion)
	loopAge = gauge(names.LoopAgeSeconds,
		"Seconds since the loop last reported, at scrape; since start before its first report. Above 3 nobody is watching the rig and values are absent.")
	ticks = counter(names.Ticks,
		"Ticks that the loop has completed.")
	ticksMissed = counter(names.TicksMissed,
		"Ticks that the loop was too late for.")
	tickLast = gauge(names.TickSeconds,
		"How long the loop's last tick took.")
	tickMax = gauge(names.TickMaxSeconds,
		"How long the loop's longest tick since start took.")
	readingsDropped = counter(names.ReadingsDropped,
		"Readings thrown away because the loop had not taken the ones before.")
	readingsMissed = counter(names.ReadingsMissed,
		"Readings that were not taken when they were due, because the bus was too slow or hung.")
	phaseNow = gauge(names.Phase,
		"1 for the phase that the rig is in, inferred or set by hand, else 0; all 0 while it is not known, absent when the loop is dead.",
		names.LabelPhase)
	runPermit = gauge(names.RunPermit,
		"1 while the engine may run, else 0; absent where no run permit is fitted and when the loop is dead.")
	busStuck = gauge(names.BusStuckSeconds,
		"How long the bus transfer under way has been stuck, 0 if it is not; absent when the loop is dead.",
		names.LabelBus)
)

// About MQTT; all absent when it is switched off.
var (
	mqttConnected = gauge(names.MQTTConnected,
		"1 if a broker is connected, else 0; absent when the loop is dead.")
	mqttConnects = counter(names.MQTTConnects,
		"Connections made to the broker.")
	mqttRebuilds = counter(names.MQTTRebuilds,
		"Connections thrown away because the broker stopped confirming.")
	mqttPublished = counter(names.MQTTPublished,
		"Messages that the broker took.")
	mqttDropped = counter(names.MQTTDropped,
		"Messages thrown away because the queue to the broker was full.")
)

// About the run log; all absent when it is switched off.
var (
	logQueued = gauge(names.RunLogQueuedBytes,
		"Rows that wait for the disk; absent when the loop is dead.")
	logFile = gauge(names.RunLogFileBytes,
		"Size of the file that is written, with its companions; absent when the loop is dead.")
	logDropped = counter(names.RunLogDropped,
		"Rows and records thrown away because the disk had not taken the ones before.")
	logFaults = counter(names.RunLogFaults,
		"Attempts to write that went wrong.")
)

// families lists them all.
func families() []*family {
	return append(quantities[:len(quantities):len(quantities)],
		channelUp, channelAge, channelFaults, alarmState, alarmStanding,
		buildInfo, loopAge, ticks, ticksMissed, tickLast, tickMax, readingsDropped, readingsMissed, phaseNow, runPermit, busStuck,
		mqttConnected, mqttConnects, mqttRebuilds, mqttPublished, mqttDropped,
		logQueued, logFile, logDropped, logFaults)
}
