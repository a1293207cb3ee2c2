package report

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// browser is the reference that shows the pages.
func browser(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("chromium is missing: apt-get install chromium")
	}
	t.Skip("chromium is missing: apt-get install chromium")
	return ""
}

// measuring shows pages at widths and says what does not fit. The virtual clock
// of a headless browser waits for all of them.
const measuring = `<!DOCTYPE html><meta charset="utf-8"><body><pre id="r"></pre><script>
var all = [];
function look(frame) {
  var d = frame.contentDocument, wide = d.documentElement.clientWidth, bad = [], n = 0;
  if (d.documentElement.scrollWidth > wide) bad.push('page is ' + d.documentElement.scrollWidth + ' px wide');
  function box(e) { var b = e.getBoundingClientRect(); return {l: b.left, r: b.right, t: b.top, b: b.bottom, s: e.className + ' "' + e.textContent + '"'}; }
  d.querySelectorAll('.field, .lane').forEach(function (f) {
    var boxes = Array.prototype.map.call(f.querySelectorAll('i'), box);
    n += boxes.length;
    boxes.forEach(function (a, i) {
      if (a.l < 0 || a.r > wide) bad.push('off the screen: ' + a.s);
      for (var j = 0; j < i; j++) { var b = boxes[j];
        if (Math.min(a.r, b.r) - Math.max(a.l, b.l) > 1.5 && Math.min(a.b, b.b) - Math.max(a.t, b.t) > 3) bad.push('one upon the other: ' + a.s + ' and ' + b.s); }
    });
  });
  d.querySelectorAll('p, li, td, figcaption').forEach(function (e) {
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display != 'inline') bad.push('cut off: ' + e.textContent);
  });
  all.push({name: frame.id, wide: wide, labels: n, pictures: d.querySelectorAll('figure').length, bad: bad});
  document.getElementById('r').textContent = JSON.stringify(all);
}
</script>`

// Chromium shows every page on a narrow phone, a usual one, and a desk: nothing
// hangs over the edge, no label lies upon another, and it has nothing to say at
// its console.
func TestInChromium(t *testing.T) {
	path := browser(t)
	dir := t.TempDir()
	all := pages(t)
	widths := []int{360, 390, 1200}
	page := bytes.NewBufferString(measuring)
	for name, p := range all {
		for _, wide := range widths {
			fmt.Fprintf(page, `<iframe id="%s" onload="look(this)" style="border:0;width:%dpx;height:2000px" srcdoc="%s"></iframe>`, name, wide, html.EscapeString(string(p)))
		}
	}
	file := filepath.Join(dir, "all.html")
	if err := os.WriteFile(file, page.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr", "--user-data-dir="+filepath.Join(dir, "user"),
		"--virtual-time-budget=60000", "--window-size=1300,3000", "--dump-dom", "file://"+file)
	var out, console bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &console
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s", err, console.Bytes())
	}
	for line := range strings.Lines(console.String()) {
		if strings.Contains(line, "CONSOLE") {
			t.Error(line)
		}
	}
	found := regexp.MustCompile(`<pre id="r">(.*?)</pre>`).FindSubmatch(out.Bytes())
	if found == nil {
		t.Fatalf("no result in %.300q", out.Bytes())
	}
	var got []struct {
		Name                   string
		Wide, Labels, Pictures int
		Bad                    []string
	}
	if err := json.Unmarshal([]byte(html.UnescapeString(string(found[1]))), &got); err != nil {
		t.Fatalf("%q: %v", found[1], err)
	}
	if len(got) != len(all)*len(widths) {
		t.Errorf("%d pages seen, want %d", len(got), len(all)*len(widths))
	}
	for _, g := range got {
		for _, b := range g.Bad {
			t.Errorf("%s at %d px: %s", g.Name, g.Wide, b)
		}
		if want := bytes.Count(all[g.Name], []byte("<figure")); g.Wide < 300 || g.Pictures != want || want > 0 && g.Labels < 6*want {
			t.Errorf("%+v: want %d pictures", g, want)
		}
	}
}
