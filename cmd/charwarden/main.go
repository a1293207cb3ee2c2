// Command charwarden watches a small charcoal gas rig: it reads its sensors,
// raises alarms, and sends readings and alarms over MQTT and to Prometheus.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"charwarden/config"
)

// Exit codes that scripts can use.
const (
	exitOK     = 0
	exitFailed = 1  // the work failed, or a thing is not good
	exitUsage  = 2  // the words of the call are wrong
	exitUndead = 71 // the board is held by a process that cannot die (EX_OSERR of sysexits.h): a retry is no use, the unit restarts the board
	exitConfig = 78 // the configuration is wrong (EX_CONFIG of sysexits.h)
)

// call is one run of a subcommand.
type call struct {
	args     []string
	in       io.Reader
	out, err io.Writer
}

type command struct {
	name, does string
	run        func(context.Context, *call) error
}

// commands in the order in which help lists them.
func commands() []command {
	return []command{
		{"demo", "show a whole run on a simulated rig; needs nothing", demo},
		{"run", "watch the rig", run},
		{"check", "ask every chip once and say what is wrong", check},
		{"ready", "list what must be true before the fire, or --after the stop", ready},
		{"watch", "show the running rig live in the terminal", watchLive},
		{"alarms", "list the alarms that are not normal", listAlarms},
		{"ack", "say that you have seen an alarm", turning("ack")},
		{"silence", "silence the horn for 2 minutes", silence},
		{"shelve", "put an alarm aside for a time", shelve},
		{"unshelve", "take it back before that", turning("unshelve")},
		{"reset", "release a latched alarm, or the run permit", reset},
		{"out", "take an alarm out of service, with a reason", takeOut},
		{"in", "put it back into service", turning("in")},
		{"phase", "show the phase of the rig, or set it by hand", showPhase},
		{"note", "write a line into the log", note},
		{"filled", "say how many kilograms of charcoal were put in", filled},
		{"weighed", "say how many kilograms are in it", weighed},
		{"cleaned", "say that the filter is clean, to learn it anew", cleaned},
		{"holdtest", "test all seals with the rig's own suction", holdTest},
		{"fire", "show the gas expected now, and what more return would do", fire},
		{"why", "list what may be wrong with the rig, and the signs", why},
		{"calibrate", "zero or span a channel, step by step", calibrate},
		{"bumptest", "test a CO channel with gas, step by step", bumpTest},
		{"runs", "list the runs that are remembered; show, verify, start, stop one", logRuns},
		{"export", "write runs as csv, openmetrics or sqlite", export},
		{"report", "make the report of one run, or of several side by side", writeReport},
		{"replay", "judge a run or a recording by the rules", replay},
		{"config", "print the annotated reference configuration", printConfig},
		{"calc", "reckon at the bench: couple, exposure, hearth, engine, filter, ...", calc},
		{"version", "say which build this is", version},
	}
}

// usageError is a call with wrong words; its text says what is right.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

// errNotGood ends a command whose output has said already what is wrong.
var errNotGood = errors.New("not all is good")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := dispatch(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// dispatch runs one call and returns its exit code.
func dispatch(ctx context.Context, args []string, in io.Reader, out, errw io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(errw, help())
		return exitUsage
	}
	if h := args[0]; h == "help" || h == "-h" || h == "--help" {
		fmt.Fprint(out, help())
		return exitOK
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return exitCode(c.run(ctx, &call{args: args[1:], in: in, out: out, err: errw}), errw)
		}
	}
	fmt.Fprintf(errw, "charwarden: %s: no such command; `charwarden help` lists them\n", args[0])
	return exitUsage
}

func exitCode(err error, errw io.Writer) int {
	var usage *usageError
	var conf *config.Errors
	var held *heldError
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return exitOK
	case errors.Is(err, errNotGood):
		return exitFailed
	case errors.As(err, &usage):
		fmt.Fprintln(errw, "charwarden:", err)
		return exitUsage
	case errors.As(err, &conf):
		fmt.Fprintln(errw, err)
		return exitConfig
	case errors.As(err, &held) && held.undead:
		fmt.Fprintln(errw, "charwarden:", err)
		return exitUndead
	}
	fmt.Fprintln(errw, "charwarden:", err)
	return exitFailed
}

func help() string {
	var b strings.Builder
	b.WriteString("charwarden watches a small charcoal gas rig and raises alarms.\n\n")
	for _, c := range commands() {
		fmt.Fprintf(&b, "  charwarden %-9s  %s\n", c.name, c.does)
	}
	b.WriteString("\n`charwarden COMMAND -h` shows a command's flags.\n\n" + caution + "\n")
	return b.String()
}

// caution stands wherever a person starts.
const caution = `An aid, not a certified life-safety device: keep a certified CO alarm on you,
work outdoors and upwind, and follow local codes and licensed practice.`

// flags makes a flag set whose errors are usage errors.
func (c *call) flags(name, usage string) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.Usage = func() {
		fmt.Fprintf(c.out, "usage: charwarden %s\n", usage)
		fs.SetOutput(c.out)
		fs.PrintDefaults()
		fs.SetOutput(io.Discard)
	}
	return fs
}

// parse parses flags and refuses what is left over.
func (c *call) parse(fs *flag.FlagSet) error {
	if err := fs.Parse(c.args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return err
		}
		return &usageError{fmt.Sprintf("%s: %v; `charwarden %s -h` shows the flags", fs.Name(), err, fs.Name())}
	}
	if fs.NArg() > 0 {
		return &usageError{fmt.Sprintf("%s: %q: not expected here; `charwarden %s -h` shows the flags", fs.Name(), fs.Arg(0), fs.Name())}
	}
	return nil
}

// loadConfig reads the file that -c names.
func loadConfig(cmd, file string) (*config.Config, error) {
	if file == "" {
		return nil, &usageError{cmd + ": -c FILE is missing; `charwarden config > rig.toml` makes a file to start from"}
	}
	data, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("configuration: %w: `charwarden config > %s` makes one to start from", err, file)
	case errors.Is(err, syscall.EISDIR):
		return nil, fmt.Errorf("configuration: %w: name the file in it", err)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("configuration: %w: join the group that may read it (sudo adduser YOU charwarden) and log in again", err)
	case err != nil:
		return nil, fmt.Errorf("configuration: %w", err)
	}
	return config.Parse(file, data)
}
