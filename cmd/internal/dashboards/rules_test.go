package dashboards

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const rulesFile = "charwarden.rules.yml"

// promtool takes the configurations and rules, and their own tests pass.
func TestPrometheusFiles(t *testing.T) {
	promtool := tool(t, "promtool")
	for _, args := range [][]string{
		{"check", "config", "prometheus.yml"},
		{"check", "config", "analysis.yml"},
		{"check", "rules", rulesFile},
		{"test", "rules", "charwarden.rules_test.yml"},
	} {
		cmd := exec.CommandContext(t.Context(), promtool, args...)
		cmd.Dir = filepath.Join(deploy, "prometheus")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
}

// The rules' tests can fail: a rule that forgets when data goes missing, is
// blind to a missing target or takes an unknown phase for cold does not pass.
func TestRulesTestsCanFail(t *testing.T) {
	promtool := tool(t, "promtool")
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(deploy, "prometheus", name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	rules := read(rulesFile)
	for name, change := range map[string][2]string{
		"alarms forget":        {`last_over_time(charwarden:alarm_standing:last[1h])`, `vector(0) < 0`},
		"phase forgets":        {`or last_over_time(charwarden:cold:last[1h])`, ``},
		"age forgets":          {`or last_over_time(charwarden:loop_age_seconds:last[1h])`, ``},
		"cell forgets":         {`last_over_time(charwarden:air_unwatched:last[1h])`, `vector(0) < 0`},
		"alarms for ever":      {`(charwarden_alarm_state and on (instance) charwarden_loop_age_seconds <= 3)`, `up == 2`},
		"dropped too early":    {`(charwarden_alarm_state and on (instance) charwarden_loop_age_seconds <= 3)`, `charwarden_loop_age_seconds <= 3`},
		"missing target":       {` or absent(up{job="charwarden"})`, ``},
		"late loop":            {`loop_age_seconds:last > 3`, `loop_age_seconds:last > 3000`},
		"dead loop is a watch": {"on (instance) charwarden_loop_age_seconds <= 3\n        for", "on (instance) charwarden_loop_age_seconds\n        for"},
		"latched is over":      {`|latched|`, `|`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			broken := strings.ReplaceAll(rules, change[0], change[1])
			if broken == rules {
				t.Fatal("nothing to change")
			}
			dir := t.TempDir()
			for file, text := range map[string]string{rulesFile: broken, "charwarden.rules_test.yml": read("charwarden.rules_test.yml")} {
				if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			cmd := exec.CommandContext(t.Context(), promtool, "test", "rules", "charwarden.rules_test.yml")
			cmd.Dir = dir
			if out, err := cmd.CombinedOutput(); err == nil {
				t.Errorf("the rules' tests pass\n%s", out)
			}
		})
	}
}

// The states that stand are the engine's.
func TestRulesKnowTheStates(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(deploy, "prometheus", rulesFile))
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), standing); n != 1 {
		t.Errorf("%d rules look for %s, want 1", n, standing)
	}
}
