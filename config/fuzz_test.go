package config

import (
	"errors"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
)

// Parse never panics, never gives a config beside errors, names a line of the
// file in each, and what it accepts runs.
func FuzzParse(f *testing.F) {
	f.Add(Reference())
	f.Add([]byte(co))
	a, err := txtar.ParseFile("testdata/broken.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range a.Files {
		if strings.HasSuffix(file.Name, ".toml") {
			f.Add(file.Data)
		}
	}
	f.Add([]byte("[[a]]\n[a.b]\n[[a.c]]\n\"x.y\".z = [[{q = 1}], []]\n[[a]]\nb.c = 1\n"))
	f.Add([]byte(`""=1`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("f.toml", data)
		if err == nil {
			runs(t, c)
			return
		}
		var errs *Errors
		if c != nil || !errors.As(err, &errs) || len(*errs) == 0 {
			t.Fatalf("%v beside %v", c, err)
		}
		checkErrors(t, "f.toml", data, *errs)
	})
}

func BenchmarkParse(b *testing.B) {
	data := Reference()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse("reference.toml", data); err != nil {
			b.Fatal(err)
		}
	}
}
