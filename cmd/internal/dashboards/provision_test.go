package dashboards

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Provisioning needs version 1, a uid that stays, and the server of the README.
// The keys are those of Grafana's documentation, "Provision Grafana".
func TestProvisioning(t *testing.T) {
	for name, want := range map[string][]string{
		"datasource.yaml": {"\napiVersion: 1\n", "\ndatasources:\n", "    uid: charwarden-runs\n", "    type: prometheus\n", "    url: http://127.0.0.1:9099\n", "      timeInterval: 1s\n"},
		"provider.yaml":   {"\napiVersion: 1\n", "\nproviders:\n", "    type: file\n", "      path: /var/lib/grafana/dashboards/charwarden\n"},
	} {
		text, err := os.ReadFile(filepath.Join(deploy, "grafana", name))
		if err != nil {
			t.Error(err)
			continue
		}
		for _, line := range want {
			if !strings.Contains(string(text), line) {
				t.Errorf("%s: no line %q", name, strings.TrimSpace(line))
			}
		}
	}
}

// The daemon holds none of this: the library is for the generator alone.
func TestDaemonDoesNotLinkIt(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "charwarden/cmd/charwarden").CombinedOutput()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, out)
	}
	deps := string(out)
	if !strings.Contains(deps, "charwarden/cmd/internal/names\n") {
		t.Fatalf("the daemon's packages are\n%s", deps)
	}
	for _, p := range []string{"charwarden/cmd/internal/dashboards", "github.com/grafana/"} {
		if strings.Contains(deps, p) {
			t.Errorf("the daemon imports %s", p)
		}
	}
}
