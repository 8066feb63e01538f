package report

import (
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

// axePackage is the accessibility checker that the page is looked at with, by
// its name at the npm registry. It is fetched into a temporary folder.
const axePackage = "axe-core@4.14.1"

// TestPageInABrowser opens pages in a real browser: they run under their own
// policy, the script works, and the accessibility checker has no serious finding
// (it checks against WCAG 2.2 levels A and AA and its own good practices), in
// light and dark, wide and narrow.
func TestPageInABrowser(t *testing.T) {
	if os.Getenv("PRINTROUND_BROWSER") == "" {
		t.Skip("a browser takes its time, and its checker is fetched: set PRINTROUND_BROWSER=1")
	}
	browser := program(t, "chromium")
	axe := fetchAxe(t, program(t, "npm"))
	dir := t.TempDir()
	write := func(name string, text []byte) string {
		path := filepath.Join(dir, name+".html")
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	partial := sampleSurvey()
	partial.Partial, partial.PartialReason = true, "interrupted by the user after 40 s"
	partial.Devices[1].Site = "South branch"
	full := fullDevice()
	survey := write("survey", render(t, partial, Options{Format: HTML, Beside: besideOf(partial)}))
	one := write("device", renderDevice(t, &full, Options{Format: HTML, Explain: true}))
	hostile := write("hostile", render(t, hostileSurvey(), Options{Format: HTML, Explain: true}))
	for _, v := range []struct {
		name, page string
		width      int
		dark       bool
	}{
		{"survey", survey, 1280, false}, {"survey, dark and narrow", survey, 400, true}, {"one device", one, 1280, false}, {"hostile", hostile, 1280, false},
	} {
		t.Run(v.name, func(t *testing.T) {
			for _, f := range violations(t, browser, axe, v.page, v.width, v.dark) {
				t.Error(f)
			}
		})
	}
	t.Run("under its policy", func(t *testing.T) { underPolicy(t, browser, survey) })
	t.Run("finding and sorting", func(t *testing.T) { findAndSort(t, browser, survey) })
	t.Run("the checker finds what is wrong", func(t *testing.T) {
		const text = `<!doctype html><html><head><title>bad</title></head><body><img src="data:,x"><p style="color:#ccc;background:#fff">pale</p></body></html>`
		found := strings.Join(violations(t, browser, axe, write("bad", []byte(text)), 1280, false), " ")
		for _, want := range []string{"image-alt", "color-contrast", "html-has-lang"} {
			if !strings.Contains(found, want) {
				t.Errorf("%s is not among %q", want, found)
			}
		}
	})
}

// lacking ends a test that lacks something: a skip with the reason, or a failure
// where everything is supposed to be there.
func lacking(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("PRINTROUND_CI") != "" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

func program(t *testing.T, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		lacking(t, "%s is not installed", name)
	}
	return p
}

// fetchAxe fetches the checker and returns its source.
func fetchAxe(t *testing.T, npm string) string {
	t.Helper()
	dir := t.TempDir()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, npm, "install", "--prefix", dir, "--no-save", "--ignore-scripts", "--no-audit", "--no-fund", "--cache", filepath.Join(dir, "cache"), axePackage)
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		lacking(t, "%s cannot be fetched: %v\n%s", axePackage, err, out)
	}
	b, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// openPage opens a page and returns the document as it is when its scripts have
// run, and what the browser logged.
func openPage(t *testing.T, browser, page string, width int, dark bool) (document, log string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	scheme := "1" // light
	if dark {
		scheme = "0"
	}
	c := exec.CommandContext(ctx, browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
		"--user-data-dir="+t.TempDir(), fmt.Sprintf("--window-size=%d,900", width), "--blink-settings=preferredColorScheme="+scheme,
		"--enable-logging=stderr", "--v=0", "--virtual-time-budget=60000", "--dump-dom", "file://"+page)
	var out, errs strings.Builder
	c.Stdout, c.Stderr = &out, &errs
	if err := c.Run(); err != nil {
		t.Fatalf("%v\n%s", err, errs.String())
	}
	return out.String(), errs.String()
}

// policyTag is what keeps the scripts of a test out of a page.
var policyTag = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`)

// result is what stands where the checker leaves its findings.
var result = regexp.MustCompile(`(?s)<pre id="axe-result">(.*?)</pre>`)

// violations adds the checker to a copy of a page, without the policy that would
// keep it out, opens everything, and returns the findings that are serious or
// worse.
func violations(t *testing.T, browser, axe, page string, width int, dark bool) []string {
	t.Helper()
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := policyTag.ReplaceAllString(string(b), "")
	const ask = `<script>addEventListener("load", function () {
		document.querySelectorAll("details").forEach(function (d) { d.open = true; });
		var seen = {width: innerWidth, dark: matchMedia("(prefers-color-scheme: dark)").matches};
		axe.run(document).then(function (r) {
			seen.passes = r.passes.length;
			seen.violations = r.violations.map(function (v) {
				return {id: v.id, impact: v.impact, nodes: v.nodes.slice(0, 3).map(function (n) { return n.html + " " + n.failureSummary; })};
			});
		}, function (e) { seen.error = String(e); }).then(function () {
			var p = document.createElement("pre");
			p.id = "axe-result";
			p.textContent = JSON.stringify(seen);
			document.body.appendChild(p);
		});
	});</script>`
	text = strings.Replace(text, "</body>", "<script>"+axe+"</script>"+ask+"</body>", 1)
	copied := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(copied, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	document, log := openPage(t, browser, copied, width, dark)
	found := result.FindStringSubmatch(document)
	if found == nil {
		t.Fatalf("the checker left nothing; the browser says\n%s", log)
	}
	var r struct {
		Width      int
		Dark       bool
		Passes     int
		Error      string
		Violations []struct {
			ID, Impact string
			Nodes      []string
		}
	}
	if err := json.Unmarshal([]byte(html.UnescapeString(found[1])), &r); err != nil {
		t.Fatal(err)
	}
	if r.Error != "" || r.Passes == 0 {
		t.Fatalf("the checker failed: %s, %d rules passed", r.Error, r.Passes)
	}
	if r.Dark != dark {
		t.Errorf("dark is %t, want %t", r.Dark, dark)
	}
	t.Logf("width %d, %d rules passed, %d violated", r.Width, r.Passes, len(r.Violations))
	var out []string
	for _, v := range r.Violations {
		line := fmt.Sprintf("%s (%s): %s", v.ID, v.Impact, strings.Join(v.Nodes, "\n  "))
		if v.Impact == "serious" || v.Impact == "critical" {
			out = append(out, line)
		} else {
			t.Log(line)
		}
	}
	return out
}

// underPolicy opens the page as it is: its script runs, and the browser reports
// nothing that the policy forbids.
func underPolicy(t *testing.T, browser, page string) {
	document, log := openPage(t, browser, page, 1280, false)
	if strings.Contains(log, "Content Security Policy") {
		t.Errorf("the policy forbids what the page does:\n%s", log)
	}
	if strings.Contains(document, `id="tools"`) && !regexp.MustCompile(`<output id="shown">\d+ of \d+ shown</output>`).MatchString(document) {
		t.Error("the script did not run")
	}
	// The same page with another script in it: the policy must keep that out.
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.html")
	text := strings.Replace(string(b), "<main>", `<main><script>document.title = "taken over"</script><p style="color:red" onclick="x()">x</p>`, 1)
	if err := os.WriteFile(other, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	document, log = openPage(t, browser, other, 1280, false)
	if strings.Contains(document, "<title>taken over") || !strings.Contains(log, "Content Security Policy") {
		t.Errorf("a script of somebody else ran:\n%s", log)
	}
}

// findAndSort types into the search field, unticks a level and sorts, as a
// person would.
func findAndSort(t *testing.T, browser, page string) {
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	const person = `<script>addEventListener("load", function () {
		function act(id, value, event) { var e = document.getElementById(id); e.value = value; e.dispatchEvent(new Event(event, {bubbles: true})); }
		function names() { return Array.from(document.querySelectorAll("details.dev:not([hidden]) strong"), function (n) { return n.textContent; }).join(","); }
		var said = [];
		act("find", "finance", "input"); said.push(names());
		act("find", "", "input"); act("order", "name", "change"); said.push(names().split(",").slice(0, 3).join(","));
		act("order", "low", "change"); said.push(names().split(",")[0]);
		act("order", "pages", "change"); said.push(names().split(",")[0]);
		document.querySelector("[name=level][value=due]").click(); said.push(document.getElementById("shown").textContent);
		document.getElementById("all").click(); said.push(document.querySelectorAll("details.dev[open]").length);
		document.title = said.join("|");
	});</script>`
	path := filepath.Join(t.TempDir(), "page.html")
	text := strings.Replace(policyTag.ReplaceAllString(string(b), ""), "</body>", person+"</body>", 1)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	document, log := openPage(t, browser, path, 1280, false)
	const want = "<title>Finance MFP|Dispatch labels,Finance MFP,Front desk|Ground floor MFP|Ground floor MFP|5 of 10 shown|5</title>"
	if !strings.Contains(document, want) {
		t.Errorf("%s, want %s\n%s", regexp.MustCompile("<title>.*</title>").FindString(document), want, log)
	}
}
