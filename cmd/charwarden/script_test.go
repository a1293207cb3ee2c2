package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"benchdaemon": benchDaemon,
		"soakdaemon":  soakDaemon,
		"charwarden": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			os.Exit(dispatch(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
		},
	})
}

// The command line as a person or a script calls it: text files in
// testdata/script.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("GORACE", "atexit_sleep_ms=0") // under the race detector each command would end a second late
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits,
		},
	})
}

// exits CODE CMD ARGS...: runs a command and wants this exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE CMD ARGS...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if exit, ok := err.(interface{ ExitCode() int }); ok {
		got = map[int]string{1: "1", 2: "2", 78: "78"}[exit.ExitCode()]
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != args[0] {
		ts.Fatalf("exit code %s, want %s", got, args[0])
	}
}
