package main

import (
	"bytes"
	"fmt"
	"os/exec"
	"regexp"
	"slices"
	"strings"
)

// usual are the flags of a benchmark that names none: three short times, of
// which the middle one counts.
const usual = "-benchtime=300ms -count=3"

// job is one run of `go test`: benchmarks of a package with the same flags.
type job struct {
	pkg, flags string
	aims       []aim
}

func (j *job) String() string {
	return j.pkg + ": " + strings.Join(j.functions(), " ")
}

func (j *job) functions() (names []string) {
	for i := range j.aims {
		if f := j.aims[i].function(); !slices.Contains(names, f) {
			names = append(names, f)
		}
	}
	return names
}

// jobsOf sorts aims into runs, in the order of the file.
func jobsOf(aims []aim, pick *regexp.Regexp) (jobs []*job) {
	for _, a := range aims {
		if !pick.MatchString(a.pkg + "." + a.benchmark) {
			continue
		}
		i := slices.IndexFunc(jobs, func(j *job) bool { return j.pkg == a.pkg && j.flags == a.flags })
		if i < 0 {
			i = len(jobs)
			jobs = append(jobs, &job{pkg: a.pkg, flags: a.flags})
		}
		jobs[i].aims = append(jobs[i].aims, a)
	}
	return jobs
}

// run runs the benchmarks. What could be read comes back even where something
// went wrong.
func (j *job) run() (figures, error) {
	flags := j.flags
	if flags == "" {
		flags = usual
	}
	args := []string{"test", "-run=^$", "-bench=^(" + strings.Join(j.functions(), "|") + ")$", "-benchmem", "-timeout=30m"}
	cmd := exec.Command("go", append(append(args, "./"+j.pkg), strings.Fields(flags)...)...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	f := parse(out)
	if err != nil {
		return f, fmt.Errorf("go %s: %w\n%s%s", strings.Join(cmd.Args[1:], " "), err, out, errs.Bytes())
	}
	return f, nil
}
