// Package names holds the names of charwarden's metrics and MQTT topics, and
// nothing else. Live metrics, backfilled runs, dashboards and alert rules all
// take them from here, so that one series keeps one name.
//
// Metric names follow the naming rules of the Prometheus documentation
// ("Metric and label naming", "Writing exporters"): one prefix, base units as
// plural suffix, _total on counters only, _info for a constant 1.
package names

import (
	"fmt"

	"charwarden/sensors"
)

// One gauge family per quantity, label channel. A channel whose reading is not
// good has no sample. CO is in ppm and not in the base unit ratio, because
// every limit for people is written in ppm.
const (
	TemperatureCelsius = "charwarden_temperature_celsius"
	PressurePascals    = "charwarden_pressure_pascals"
	COPpm              = "charwarden_co_ppm"
	SpeedRpm           = "charwarden_speed_rpm"
	SupplyVolts        = "charwarden_supply_volts"
	HumidityRatio      = "charwarden_humidity_ratio"
	AgeSeconds         = "charwarden_age_seconds" // since something was last done or last right
	COMeanPpm          = "charwarden_co_mean_ppm"
	COHbPercent        = "charwarden_cohb_percent"
	Ratio              = "charwarden_ratio"
	GasFlowNm3PerHour  = "charwarden_gas_flow_nm3_per_hour"
	MassKilograms      = "charwarden_mass_kilograms"
	MassFlowKgPerHour  = "charwarden_mass_flow_kilograms_per_hour"
	HeatMJPerNm3       = "charwarden_heating_value_megajoules_per_nm3"
	PowerWatts         = "charwarden_power_watts"
	DifferenceKelvins  = "charwarden_temperature_difference_kelvins"
	ThicknessMM        = "charwarden_thickness_millimeters"
	LeakPaPerMinute    = "charwarden_leak_pascals_per_minute"
	LoadingPercent     = "charwarden_loading_percent"
)

// About each channel.
const (
	ChannelUp         = "charwarden_channel_up"          // gauge 0/1 {channel}
	ChannelAgeSeconds = "charwarden_channel_age_seconds" // gauge {channel}
	ChannelFaults     = "charwarden_channel_faults_total"
)

// About the alarms.
const (
	AlarmState    = "charwarden_alarm_state"    // gauge 0/1 {alarm,priority,state}
	AlarmStanding = "charwarden_alarm_standing" // gauge, a count {priority}
)

// About the daemon.
const (
	BuildInfo       = "charwarden_build_info" // gauge 1 {version,revision,goversion}
	Ticks           = "charwarden_ticks_total"
	TicksMissed     = "charwarden_ticks_missed_total"
	TickSeconds     = "charwarden_tick_duration_seconds"     // gauge, the last tick
	TickMaxSeconds  = "charwarden_tick_duration_max_seconds" // gauge, the longest since start
	LoopAgeSeconds  = "charwarden_loop_age_seconds"          // gauge, since the loop's last report
	ReadingsDropped = "charwarden_readings_dropped_total"
	ReadingsMissed  = "charwarden_readings_missed_total"
	Phase           = "charwarden_phase"             // gauge 0/1 {phase}
	RunPermit       = "charwarden_run_permit"        // gauge 0/1, absent where none is fitted
	BusStuckSeconds = "charwarden_bus_stuck_seconds" // gauge, 0 if not stuck {bus}
	MQTTConnected   = "charwarden_mqtt_connected"    // gauge 0/1
	MQTTConnects    = "charwarden_mqtt_connects_total"
	MQTTRebuilds    = "charwarden_mqtt_rebuilds_total" // clients thrown away because a broker stopped confirming
	MQTTPublished   = "charwarden_mqtt_published_total"
	MQTTDropped     = "charwarden_mqtt_dropped_total"

	RunLogQueuedBytes = "charwarden_runlog_queued_bytes" // gauge
	RunLogFileBytes   = "charwarden_runlog_file_bytes"   // gauge
	RunLogDropped     = "charwarden_runlog_dropped_total"
	RunLogFaults      = "charwarden_runlog_faults_total"
)

// Label names.
const (
	LabelChannel   = "channel"
	LabelFault     = "fault"
	LabelAlarm     = "alarm"
	LabelPriority  = "priority"
	LabelState     = "state"
	LabelBus       = "bus"
	LabelPhase     = "phase"
	LabelVersion   = "version"
	LabelRevision  = "revision"
	LabelGoVersion = "goversion"
)

// Quantity returns the metric family of q. It panics for a number that is no
// Quantity: every channel was made with one.
func Quantity(q sensors.Quantity) string {
	switch q {
	case sensors.Temperature:
		return TemperatureCelsius
	case sensors.Pressure:
		return PressurePascals
	case sensors.CO:
		return COPpm
	case sensors.Speed:
		return SpeedRpm
	case sensors.Voltage:
		return SupplyVolts
	case sensors.Humidity:
		return HumidityRatio
	case sensors.Age:
		return AgeSeconds
	case sensors.Mean:
		return COMeanPpm
	case sensors.COHb:
		return COHbPercent
	case sensors.Ratio:
		return Ratio
	case sensors.GasFlow:
		return GasFlowNm3PerHour
	case sensors.Mass:
		return MassKilograms
	case sensors.MassFlow:
		return MassFlowKgPerHour
	case sensors.HeatingValue:
		return HeatMJPerNm3
	case sensors.Power:
		return PowerWatts
	case sensors.Difference:
		return DifferenceKelvins
	case sensors.Thickness:
		return ThicknessMM
	case sensors.Leak:
		return LeakPaPerMinute
	case sensors.Loading:
		return LoadingPercent
	}
	panic(fmt.Sprintf("names: quantity %d: has no metric family", q))
}
