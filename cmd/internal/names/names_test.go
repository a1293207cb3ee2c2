package names

import (
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"charwarden/sensors"
)

// constants returns the string constants of metric.go by name.
func constants(t *testing.T) map[string]string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), "metric.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	ast.Inspect(f, func(n ast.Node) bool {
		if s, ok := n.(*ast.ValueSpec); ok {
			v, err := strconv.Unquote(s.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			all[s.Names[0].Name] = v
		}
		return true
	})
	return all
}

// The rules are those of prometheus.io/docs/practices/naming and of the data
// model: [a-zA-Z_:][a-zA-Z0-9_:]* for metrics (colons are for rules only),
// [a-zA-Z_][a-zA-Z0-9_]* for labels, no leading __.
func TestNamesFollowPrometheus(t *testing.T) {
	metric := regexp.MustCompile(`^charwarden_[a-z][a-z0-9_]*[a-z0-9]$`)
	label := regexp.MustCompile(`^[a-z][a-z0-9]*$`)
	seen := map[string]string{}
	all := constants(t)
	if len(all) < 25 {
		t.Fatalf("found only %d constants in metric.go", len(all))
	}
	for id, name := range all {
		want := metric
		if strings.HasPrefix(id, "Label") {
			want = label
		}
		if !want.MatchString(name) {
			t.Errorf("%s = %q, want %s", id, name, want)
		}
		if other, ok := seen[name]; ok {
			t.Errorf("%s and %s are both %q", id, other, name)
		}
		seen[name] = id
	}
}

func TestQuantity(t *testing.T) {
	// The suffix of each family against the unit of its quantity.
	suffix := map[string]string{
		"degC": "_celsius", "Pa": "_pascals", "ppm": "_ppm", "rpm": "_rpm",
		"V": "_volts", "ratio": "_ratio", "s": "_seconds",
	}
	for q := sensors.Temperature; q <= sensors.Age; q++ {
		if got, want := Quantity(q), suffix[q.Unit()]; want == "" || !strings.HasSuffix(got, want) {
			t.Errorf("Quantity(%d) = %q, its unit %q wants suffix %q", q, got, q.Unit(), want)
		}
	}
}

func TestQuantityUnknownPanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a quantity without a family did not panic")
		}
	}()
	Quantity(200)
}
