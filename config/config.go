// Package config reads the daemon's one file, strictly, into plain structs.
// Everything that is wrong is reported at once, each with file, line, key and
// what is allowed. Values carry their units as people write them.
package config

import (
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/ads1115"
	"charwarden/sensors/cocell"
	"charwarden/sensors/its90"
	"charwarden/sensors/membrane"
)

// Config is a whole file, checked. All values are SI as sensors.Quantity.Unit
// has them.
type Config struct {
	Rig     Rig
	Tick    time.Duration // of the loop
	Text    string        // the file as it was read, logins and passwords in comments starred
	State   string        // directory for what outlives the process: zeros
	Socket  string        // where local commands ask
	RunLog  RunLog
	MQTT    MQTT
	Metrics Metrics
	Display Display
	Outputs Outputs
	Board   Board
	Roles   Roles

	Charcoal Charcoal
	Hearth   Hearth
	Nozzle   Nozzle
	Engine   Engine

	ADCs          []ADC
	Thermocouples []Thermocouple
	Pressures     []Pressure
	COs           []CO
	Tachos        []Tacho
	Ambients      []Ambient
	Supplies      []Supply
	Scales        []Scale

	// Channels in the order of the file, with what each sensor table says about
	// gain, offset and plausibility; after them what the board says of itself:
	// "board_temp" (if Board.Thermal is set), "disk_free" (of State) and
	// "clock_unsynced".
	Channels []sensors.Channel

	// Derived are the channels that the loop reckons. For every CO channel those
	// of exposure.Channels and its ages, "<co>_zero_age" and "<co>_bump_age";
	// then "filter_loading" (if Roles has it), "bus_stall", "broker_away" (if
	// MQTT.Broker is set) "log_unsaved" (if RunLog.Dir is set) and "tick_late",
	// "state_unsaved", "output_fault".
	Derived []sensors.Channel

	// Rules are the built-in alarms of every channel and derived channel, as the
	// file changed them, then the file's own, in the order of the file.
	Rules []alarms.Rule

	// Warnings are what a person should hear at every start although the file
	// is valid, each with file and line.
	Warnings []string
}

// Rig names the machine that is watched.
type Rig struct {
	Name string // 1 to 32 of a-z, 0-9 and "-": part of every MQTT topic
}

// RunLog is where runs are remembered, and how many. An empty Dir is off.
type RunLog struct {
	Dir   string
	Age   time.Duration // files older than this are deleted,
	Bytes int64         // and the oldest while all are larger than this,
	Runs  int           // but never the newest runs
}

// MQTT is the way to phones. An empty Broker is off.
type MQTT struct {
	Broker   string // "tcp://127.0.0.1:1883" or "ssl://host:8883"
	ClientID string
	User     string // "" = none

	// Absolute paths; "" = none. Parse does not look at them.
	PasswordFile, CAFile, CertFile, KeyFile string

	Refresh time.Duration // an unchanged reading is sent again after this long
	Prefix  string        // first level of every topic
}

// Outputs are the pins that the daemon drives, and the one button that it
// reads: "GPIO22". "" = not fitted.
type Outputs struct {
	Horn, LampRed, LampYellow, LampGreen string
	WatchPulse                           string // one edge a tick
	RunPermit                            string // the same while the engine may run
	ResetButton                          string
}

// Board is what the board can say of itself.
type Board struct {
	Thermal string // file with its temperature in 1/1000 degC; "" = none
}

// Roles are the places whose meaning the file tells, as names of channels. ""
// is none, or more than one.
type Roles struct {
	Walls                               []string       // in the order of the file
	Steels                              []alarms.Steel // of Walls
	GasOut, FilterIn, FilterOut, Return string
	Suction, FilterDrop, Speed, Scale   string
	FilterLoading                       string // derived; needs both clean values, or the gas flow

	CleanDrop, CleanSuction float64 // Pa with a clean filter at the usual load; 0 = not in the file
}

// Metrics is the listener for Prometheus. An empty Listen is off.
type Metrics struct {
	Listen string // "127.0.0.1:9455"
}

// ADC is an ADS1115.
type ADC struct {
	Name    string
	Bus     string  // "/dev/i2c-1"
	Address uint16  // 0x48 to 0x4b
	VDD     float64 // V; no input may go above
}

// Thermocouple is a couple on a MAX31855.
type Thermocouple struct {
	Channel string
	Type    its90.Type
	Port    string // "/dev/spidev0.0"
	Select  string // "GPIO5"; "" = the port's own select
	Every   time.Duration
}

// Pressure is an analog pressure sensor on an ADC.
type Pressure struct {
	Channel string
	Law     membrane.Law
	ADC     string
	Input   ads1115.Input
	Divider float64 // V at the ADC per V at the sensor, above 0 to 1
	Supply  string  // voltage channel it is ratiometric to; "" = 5 V is taken
	Every   time.Duration
}

// CO is an electrochemical cell with its amplifier on an ADC.
type CO struct {
	Channel     string
	ADC         string
	Input       ads1115.Input
	Cell        cocell.Cell
	Temperature string // channel of the air at the cell; "" = not corrected
	Every       time.Duration
	ZeroDate    time.Time     // last zero in clean air, midnight UTC; zero = not in the file
	BumpDate    time.Time     // last test with gas, the same
	StuckAfter  time.Duration // unchanged to the last bit for this long is a fault; 0 = not judged
}

// Tacho counts the engine's ignition or shaft pulses.
type Tacho struct {
	Channel      string
	Pin          string  // "GPIO17"
	PulsesPerRev float64 // 0.5 = one pulse in two turns
	Max          float64 // rpm; faster is a fault of the pick-up
	Every        time.Duration
}

// Ambient is a BMP280 or BME280. Channels that are not wanted are "".
type Ambient struct {
	Bus                             string
	Address                         uint16 // 0x76 or 0x77
	Temperature, Pressure, Humidity string // channels
	Every                           time.Duration
}

// Supply is an INA219.
type Supply struct {
	Channel string
	Bus     string
	Address uint16 // 0x40 to 0x4f
	Every   time.Duration
}
