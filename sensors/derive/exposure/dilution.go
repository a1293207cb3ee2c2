package exposure

// Diluted is the CO in ppm that gas makes when it leaks into fresh air and both
// mix well: leak and air in one unit of flow, share the mole fraction of CO in
// the gas. Still air, a shed or a lee mixes worse, and reads higher in places.
func Diluted(leak, share, air float64) float64 {
	if leak == 0 {
		return 0
	}
	return 1e6 * leak * share / (leak + air)
}
