package config

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "write the .golden parts of testdata/broken.txtar anew")

// Every message of every broken file, word for word.
func TestBroken(t *testing.T) {
	const archive = "testdata/broken.txtar"
	a, err := txtar.ParseFile(archive)
	if err != nil {
		t.Fatal(err)
	}
	golden := map[string]string{}
	for _, f := range a.Files {
		if name, ok := strings.CutSuffix(f.Name, ".golden"); ok {
			golden[name] = string(f.Data)
		}
	}
	var fresh []txtar.File
	broken := 0
	for _, f := range a.Files {
		name, ok := strings.CutSuffix(f.Name, ".toml")
		if !ok {
			continue
		}
		broken++
		got := ""
		t.Run(name, func(t *testing.T) {
			c, err := Parse(f.Name, f.Data)
			var errs *Errors
			if !errors.As(err, &errs) || len(*errs) == 0 || c != nil {
				t.Fatalf("config %v, error %v: want no config and *Errors", c, err)
			}
			got = err.Error() + "\n"
			if want := golden[name]; got != want && !*update {
				t.Errorf("got:\n%swant:\n%s", got, want)
			}
			checkErrors(t, f.Name, f.Data, *errs)
		})
		fresh = append(fresh, f, txtar.File{Name: name + ".golden", Data: []byte(got)})
	}
	if broken < 30 {
		t.Errorf("only %d broken files", broken)
	}
	if *update {
		a.Files = fresh
		if err := os.WriteFile(archive, txtar.Format(a), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// checkErrors holds for every error: file, line inside it, key, message, and
// the order of the file.
func checkErrors(t *testing.T, file string, data []byte, errs Errors) {
	t.Helper()
	last, count := 1, strings.Count(string(data), "\n")+1
	for _, e := range errs {
		if e.File != file || e.Line < last || e.Line > count || e.Key == "" || e.Msg == "" {
			t.Errorf("%+v: after line %d of %d", e, last, count)
		}
		if !strings.HasPrefix(e.Error(), fmt.Sprintf("%s:%d: %s: ", file, e.Line, e.Key)) {
			t.Errorf("%q: want FILE:LINE: key: ...", e.Error())
		}
		last = e.Line
	}
}

// Six different mistakes are six messages, not one.
func TestAllAtOnce(t *testing.T) {
	a, err := txtar.ParseFile("testdata/broken.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range a.Files {
		if f.Name != "six-at-once.toml" {
			continue
		}
		_, err := Parse(f.Name, f.Data)
		var errs *Errors
		if !errors.As(err, &errs) {
			t.Fatal(err)
		}
		got := map[string]int{}
		for _, e := range *errs {
			got[e.Key] = e.Line
		}
		for key, line := range map[string]int{"rig.tick": 3, "adc.address": 8, "thermocouple.port": 10, "thermocouple.prt": 13, "supply.channel": 16, "alarm.limit": 24} {
			if got[key] != line {
				t.Errorf("%s: line %d, want %d", key, got[key], line)
			}
		}
		return
	}
	t.Fatal("no six-at-once.toml")
}

func TestTooLong(t *testing.T) {
	_, err := Parse("long.toml", []byte(strings.Repeat("# a comment\n", 1+maxSize/12)))
	if err == nil || !strings.Contains(err.Error(), "long.toml:1: toml: ") {
		t.Errorf("%v", err)
	}
}
