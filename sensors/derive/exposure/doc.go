// Package exposure follows what carbon monoxide in the air does to a person:
// time-weighted means of the concentration, and two models of the share of
// haemoglobin that CO holds in the blood (COHb).
//
// Work.COHb is the non-linear Coburn-Forster-Kane (CFK) equation, Linear its
// linear form, as NIOSH 1972 and UL 2034 have it. The linear form reads about a
// quarter high (Tikuisis 1987, AIHAJ 48:208: slopes 1.28 and 1.04), which is
// the right side for an alarm and the wrong one for a display.
//
// Both are models of an average adult, not blood tests. Measured people lie
// -15 to +42 % around CFK; a small body or little haemoglobin takes up half as
// much again; and blood in the arteries, which feed brain and heart, runs ahead
// of the estimate in short high exposures (Benignus 1994). Read any COHb here
// as ±30 % at best, and never let one cancel an alarm on ppm.
package exposure
