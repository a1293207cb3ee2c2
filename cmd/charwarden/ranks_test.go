package main

import (
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What is derived from readings, and of what else it is derived.
var derived = map[string]int{
	"sensors/derive/exposure": 3, "sensors/derive/filter": 3, "sensors/derive/phase": 3,
	"sensors/derive/hearth": 3, "sensors/derive/wall": 3, "sensors/derive/cooldown": 3,
	"sensors/derive/engine": 4, "sensors/derive/flow": 4, "sensors/derive/fuel": 4, "sensors/derive/blast": 4,
	"sensors/derive/diagnosis": 5,
}

// siblings are what one package may take from another of its rank.
var siblings = map[string]bool{
	"sensors/derive/flow sensors/derive/engine":  true,
	"sensors/derive/wall sensors/derive/phase":   true,
	"sensors/derive/blast sensors/derive/engine": true,
	"cmd/internal/report cmd/internal/runlog":    true, // a run is made into a page
}

// rank of a package; it may import lower ranks only. A new package needs a
// place here first.
func rank(t *testing.T, pkg string) int {
	chips := map[string]bool{"max31855": true, "ads1115": true, "i2cdev": true, // chips and buses
		"membrane": true, "cocell": true, "tacho": true} // transducers
	switch dir, name := path.Split(pkg); {
	case pkg == "sensors/its90":
		return 0
	case dir == "sensors/" && chips[name]:
		return 1
	case pkg == "sensors", pkg == "sensors/derive/gas": // the latter as data sheets of gases
		return 2
	case derived[pkg] > 0:
		return derived[pkg]
	case pkg == "sensors/sim":
		return 5
	case pkg == "alarms":
		return 6
	case pkg == "config":
		return 7
	case dir == "cmd/internal/":
		return 8
	case pkg == "cmd/charwarden":
		return 9
	}
	t.Fatalf("package %s: no rank: see DEVELOPERS.md for where things go", pkg)
	return 0
}

func TestImportRanks(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "charwarden/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) < 14 {
		t.Fatalf("only %d packages seen:\n%s", len(lines), out)
	}
	for _, line := range lines {
		f := strings.Fields(line)
		pkg := strings.TrimPrefix(f[0], "charwarden/")
		for _, imp := range f[1:] {
			imp, ours := strings.CutPrefix(imp, "charwarden/")
			if !ours {
				continue
			}
			if imp == "cmd/internal/names" && strings.HasPrefix(pkg, "cmd/") && pkg != imp {
				continue // all of cmd may
			}
			if rank(t, imp) >= rank(t, pkg) && !siblings[pkg+" "+imp] {
				t.Errorf("%s imports %s: data flows the other way", pkg, imp)
			}
			if strings.HasPrefix(pkg, "cmd/internal/") && imp == "config" {
				t.Errorf("%s imports config: it takes its own Opts", pkg)
			}
		}
	}
}

// The clock is read in cmd only: below it time is an argument.
func TestNoClockBelowCmd(t *testing.T) {
	clock := regexp.MustCompile(`\btime\.(Now|Since|Until|After|Sleep|NewTicker|Tick|NewTimer|AfterFunc)\b`)
	files := 0
	for _, root := range []string{"../../sensors", "../../alarms", "../../config"} {
		err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			files++
			src, err := os.ReadFile(name)
			if found := clock.Find(src); found != nil {
				t.Errorf("%s: %s", name, found)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 50 {
		t.Errorf("only %d files seen", files)
	}
}
