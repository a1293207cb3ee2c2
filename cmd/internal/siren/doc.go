// Package siren reaches the person at the rig without any network: horn, lamps
// and a button, the watch pulse and the engine's run permit.
//
// The Siren sounds and shows what stands; a Pulse is one edge a completed tick;
// a Permit says whether the second Pulse may go on; a Button is read once a
// tick. An output is never read back: reading one makes it an input with
// pull-up (gpioioctl of periph's host v3.8.5).
//
// # Wiring
//
// All outputs are active high and drive a transistor, never a load.
//
// An output keeps its level after its process has died (Raspberry Pi OS sets
// pinctrl_bcm2835.persist_gpio_outputs). A level therefore proves nothing, and
// what must drop out with the daemon hangs on edges:
//
//   - Watch pulse: one edge a completed tick, so 5 Hz at the default tick of
//     100 ms. It feeds a missing-pulse detector (a retriggered monostable, or a
//     charge pump) that bears 0.5 s without an edge and drops its relay within
//     1 s, whatever level is left on the pin. The relay's normally closed
//     contact feeds a small sounder or lamp of its own: nobody is watching. Its
//     normally open contact feeds the green lamp, which would otherwise stay lit
//     by a daemon that is dead.
//   - Run permit: a pulse train of the same kind on a pin, a detector and a relay
//     of its own, given only while the Permit is held. Permit lost, daemon dead,
//     board without power or a wire of the coil broken all drop the coil.
//   - Magneto: the relay's normally closed contact grounds the kill wire, so that
//     the engine stops when the coil drops. The wire carries some hundred volts
//     of the primary (from memory): a relay whose contacts bear them, an
//     insulated coil, the wire away from thermocouples. A kill wire that is off
//     or broken stops nothing: prove it before each run.
//   - Battery ignition: the normally open contact stands in the ignition's feed
//     and opens it when the coil drops.
//
// Getting the permit back restarts nothing: the contact only leaves the ignition
// alone, and somebody must start the engine. A stopped engine does not stop the
// fire: gas may now come out where the engine drew it in.
//
// The button is one make contact from its pin to ground; the pin pulls up.
package siren
