package config

import (
	_ "embed"
	"slices"
)

//go:embed reference.toml
var reference []byte

// Reference returns the annotated file of the reference rig, an irrigation
// pump on a smallholding. It parses without a warning; the caller may change
// the copy.
func Reference() []byte { return slices.Clone(reference) }
