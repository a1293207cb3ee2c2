// Package diagnosis ranks what may be wrong with the rig from how its channels
// move together, against how this rig behaves when it is well. It is advice
// beside the alarms and gates none of them.
//
// The arithmetic, from the readings on:
//
//  1. Load. Four witnesses tell the flow of gas: the root of suction (nozzle and
//     bed take the square of the flow), the filter's drop over its resistance
//     (first power), the speed (a governor with droop opens as speed sags) and a
//     flow meter, if there is one. Each is put on one scale by what was learned;
//     the load is the logarithm of their median, so that one that is wrong does
//     not move it.
//
//  2. Signs. Each thing that can be compared is: suction, drop and speed against
//     the load; walls, gas, cooler and return line against the load as they
//     follow it; what moved within minutes; carbon monoxide; after a stop the
//     cooling of the walls and the pressure behind the caps. A sign's usual is a
//     line over the load, and its mark is the distance from that in spreads,
//     which are learned too and have a floor.
//
//  3. Odds. For each cause a table says which signs go up, down, stay or are left
//     open, and how much each weighs. Signs are taken as independent:
//
//     odds = prior + sum of weight ln(P(mark | cause) / P(mark | well))
//
//     all as natural logarithms. P is 0.78 for a move that is expected, 0.04 for
//     one of a sign that should not move, and so on; a mark between moved and
//     still counts as partly both. An unknown mark adds nothing, so that with
//     fewer channels the odds are nearer to the prior.
//
//  4. Certainty. The odds are smoothed over 20 s; the certainty of a cause is its
//     share in the sum of all causes and of being well. A mark that denies the
//     cause leaves it possible; to be nearly certain takes two places of
//     measurement that moved as they should, or one sign that hardly anything
//     else makes, and a minute of it.
//
// The rig's usual is learned while it runs, over tens of minutes, and not while a
// cause is likely, a sign is far off or an input is bad. It is kept from run to
// run, so that the next run is compared from the start.
//
// What such readings cannot tell apart:
//
//   - An air leak behind the hearth, once the trim air hides it, shows only by
//     its backfires, and is called that.
//   - Hot gas is a bridge, a low hopper or air at the ash door: only the count of
//     charcoal, and suction if it falls, parts them.
//   - A return or a nozzle left open at the stop and a gasket that leaks are the
//     same hole; the first cools slower.
//   - Wet charcoal and too much exhaust both cool the hearth where the filter
//     stays dry; fines and a blocked nozzle both raise suction until the walls cool.
//   - Wear from run to run is learned as the usual; worn at once it is Unclear.
//   - Two pressures alone do not show that a tap is blocked, nor does one
//     temperature that is off by less than 90 degC show that its thermocouple lies.
//
// Where no cause stands out although something is off, the verdict is Unclear.
package diagnosis
