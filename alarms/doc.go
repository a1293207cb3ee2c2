// Package alarms judges readings against rules. Rules are data, the states and
// their transitions are one table (table.go), and the Engine steps every rule
// through it: a pure function of its state, the readings and the time that it
// is told. It does no I/O, reads no clock and starts no goroutine, so the same
// readings always give the same alarms, bit for bit.
//
// The vocabulary (deadband, on-delay, off-delay, latch, acknowledge, reset) and
// the states are those of ISA-18.2 and IEC 62682. Where data are missing, an
// alarm keeps what it was: bad data never clears one.
package alarms
