// Package sensors turns chip traffic into honest readings: what a Reading is,
// who owns a bus, which readings are plausible, and when one is too old.
//
// Drivers of chips and transducers live in packages of their own below this
// one and know nothing of it; the adapters here wrap each of them once into
// Readings. Nothing here reads the system clock: time comes from a Clock.
package sensors
