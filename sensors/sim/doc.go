// Package sim plays the rig to the daemon: chips that answer at the bus in
// their own wire formats, and a model of the rig that moves them. `demo` and
// tests open a Board where `run` opens the machine's own; nothing else differs.
//
// Time comes from a sensors.Clock, so a rig may run faster than real time and
// tests may run in a testing/synctest bubble. Everything random comes from a
// seed: the same seed, times and requests give the same numbers.
//
// MAX31855 pages and tables are as printed; section names and numbers of the
// ADS1115, INA219 and Bosch datasheets, and details of Linux, are from memory.
//
// The functions that chips take (temperatures, volts, pulses per second) are
// called while the chip is locked: they must not call the chip or the board.
package sim
