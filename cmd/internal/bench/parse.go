package main

import (
	"bufio"
	"bytes"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// figures are what benchmarks of a package printed: by benchmark and unit, one
// for each time that it ran.
type figures map[string]map[string][]float64

// processors is what `go test` adds to a benchmark's name.
var processors = regexp.MustCompile(`-\d+$`)

// parse reads the output of `go test -bench`: a name, how many times it ran, and
// pairs of a number and its unit (golang.org/design/14313-benchmark-format).
// Other lines are passed over.
func parse(out []byte) figures {
	f := figures{}
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		words := strings.Fields(lines.Text())
		if len(words) < 4 || len(words)%2 != 0 || !strings.HasPrefix(words[0], "Benchmark") {
			continue
		}
		if _, err := strconv.Atoi(words[1]); err != nil {
			continue
		}
		name := processors.ReplaceAllString(words[0], "")
		for i := 2; i < len(words); i += 2 {
			v, err := strconv.ParseFloat(words[i], 64)
			if err != nil {
				break
			}
			if f[name] == nil {
				f[name] = map[string][]float64{}
			}
			f[name][words[i+1]] = append(f[name][words[i+1]], v)
		}
	}
	return f
}

// figure is the middle one of all that a benchmark printed of a unit; false if
// it printed none.
func (f figures) figure(benchmark, unit string) (float64, bool) {
	all := slices.Sorted(slices.Values(f[benchmark][unit]))
	if len(all) == 0 {
		return 0, false
	}
	n := len(all)
	return (all[(n-1)/2] + all[n/2]) / 2, true
}
