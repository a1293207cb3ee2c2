//go:build race

package main

// underRace is that every step takes ten times as long.
const underRace = true
