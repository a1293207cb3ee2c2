// Package cocell turns the output of an electrochemical carbon monoxide cell
// behind a transimpedance stage into ppm and back.
//
// # What the trade knows and a formula does not
//
//   - A dead, dried-out or unplugged cell gives no current: 0 ppm, just like
//     clean air. No reading can tell them apart. Only gas can: bump test the
//     cell before each day's use (ISEA and OSHA guidance on portable gas
//     monitors) and never take "0 ppm" alone for proof of clean air.
//   - Hydrogen reads as CO: under 10 % of its ppm on a compensated cell
//     (Alphasense CO-B4 datasheet), up to 60 % on a plain one. Charcoal gas
//     and a lead-acid battery on charge both carry it. High is the right side
//     to err on: never subtract a guess of the hydrogen.
//   - Set the zero by hand, in air that is known to be clean. A zero taken
//     beside a lit hearth hides that much CO from every later reading.
//   - Raw charcoal gas has some hundred times the CO that a cell survives
//     unharmed (2000 ppm over-gas, CO-B4). After a clip the cell is suspect
//     until it has passed a bump test.
//   - Petrol and solvent vapours shift the zero for hours. Small negative
//     readings are normal and are returned as they are.
package cocell
