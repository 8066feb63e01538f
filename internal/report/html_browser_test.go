package report

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"printround/internal/device"
	"printround/internal/needtest"
	"regexp"
	"strings"
	"testing"
	"time"
)

// axePackage is the accessibility checker that the page is looked at with, by
// its name for npm. Nothing here fetches it.
const axePackage = "axe-core@4.14.1"

// TestPageInABrowser opens pages in a real browser. They run under their own
// policy, and the script works.
func TestPageInABrowser(t *testing.T) {
	browser := needtest.Program(t, "chromium")
	survey := writePage(t, "survey", render(t, partialSurvey(), Options{Format: HTML, Beside: besideOf(partialSurvey())}))
	t.Run("under its policy", func(t *testing.T) { underPolicy(t, browser, survey) })
	t.Run("finding and sorting", func(t *testing.T) { findAndSort(t, browser, survey) })
}

// writePage puts a page into a file.
func writePage(t *testing.T, name string, text []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name+".html")
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// partialSurvey is a survey of two sites that was interrupted.
func partialSurvey() *device.Survey {
	s := sampleSurvey()
	s.Partial, s.PartialReason = true, "interrupted by the user after 40 s"
	s.Devices[1].Site = "South branch"
	return s
}

// TestPageIsAccessible has pages looked at by an accessibility checker in a real
// browser: no serious finding (WCAG 2.2 levels A and AA and its own good
// practices), in light and dark, wide and narrow.
func TestPageIsAccessible(t *testing.T) {
	browser := needtest.Program(t, "chromium")
	axe := checker(t)
	partial, full := partialSurvey(), fullDevice()
	survey := writePage(t, "survey", render(t, partial, Options{Format: HTML, Beside: besideOf(partial)}))
	one := writePage(t, "device", renderDevice(t, &full, Options{Format: HTML, Explain: true}))
	hostile := writePage(t, "hostile", render(t, hostileSurvey(), Options{Format: HTML, Explain: true}))
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
	t.Run("the checker finds what is wrong", func(t *testing.T) {
		const text = `<!doctype html><html><head><title>bad</title></head><body><img src="data:,x"><p style="color:#ccc;background:#fff">pale</p></body></html>`
		found := strings.Join(violations(t, browser, axe, writePage(t, "bad", []byte(text)), 1280, false), " ")
		for _, want := range []string{"image-alt", "color-contrast", "html-has-lang"} {
			if !strings.Contains(found, want) {
				t.Errorf("%s is not among %q", want, found)
			}
		}
	})
}

// checker returns the source of the accessibility checker.
func checker(t *testing.T) string {
	t.Helper()
	path := os.Getenv("PRINTROUND_AXE")
	if path == "" {
		needtest.Missing(t, "%s: npm installs it, PRINTROUND_AXE names its axe.min.js", axePackage)
	}
	b, err := os.ReadFile(path)
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
