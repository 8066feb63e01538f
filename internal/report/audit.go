package report

import (
	"fmt"
	"io"
	"strings"

	"printround/internal/device"
)

// WriteAudit writes how a device is set, beside how it should be.
func WriteAudit(w io.Writer, a *device.Audit, o Options) error {
	return forms[*device.Audit]{"settings", writeAuditText, writeAuditCSV, writeAuditMarkdown}.write(w, a, o)
}

// auditHead says how many settings stand how.
func auditHead(a *device.Audit) string {
	n := map[device.SettingVerdict]int{}
	for i := range a.Settings {
		n[a.Settings[i].Verdict]++
	}
	line := fmt.Sprintf("%s, %d as they should be", device.Counted(n[device.SettingDiffers], "setting differs", "settings differ"), n[device.SettingFits])
	if k := n[device.SettingNoNorm]; k > 0 {
		line += fmt.Sprintf(", %d without a norm", k)
	}
	if k := n[device.SettingNotJudged]; k > 0 {
		line += fmt.Sprintf(", %d not judged", k)
	}
	return line
}

// whose names a device: name, model, serial number and location as far as known.
func (s style) whose(name, model, serial, location device.Text) string {
	var parts []string
	for _, t := range []device.Text{name, model} {
		if t != "" {
			parts = append(parts, string(t))
		}
	}
	if serial != "" {
		parts = append(parts, "serial number "+string(serial))
	}
	if location != "" {
		parts = append(parts, string(location))
	}
	return strings.Join(parts, ", ")
}

// verdictWords of settings, so that no colour is needed.
var verdictWords = map[device.SettingVerdict]string{
	device.SettingDiffers: "DIFFERS", device.SettingFits: "fits", device.SettingNoNorm: "no norm", device.SettingNotJudged: "not judged",
}

func auditCells(s *device.Setting) []string {
	return []string{verdictWords[s.Verdict], s.Name, orUnknown(string(s.Value)), string(s.Norm)}
}

var auditHeadings = []tableColumn{
	{heading: "VERDICT", least: 10, most: 10}, {heading: "SETTING", least: 10, most: 30, lines: 3},
	{heading: "IS", least: 10, most: 40, lines: 4}, {heading: "SHOULD BE", least: 9, most: 40, lines: 4},
}

func writeAuditText(w io.Writer, a *device.Audit, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.painted(sgrBold, auditHead(a))
	if whose := p.whose(a.Name, a.MakeModel, a.Serial, a.Location); whose != "" {
		p.wrapped("", "", whose+", looked at "+p.time(a.ObservedAt))
	}
	p.blank()
	g := grid{columns: auditHeadings}
	for i := range a.Settings {
		g.rows = append(g.rows, p.safeRow(auditCells(&a.Settings[i])...))
	}
	p.block(g)
	for i, l := range auditSteps(a, o.Explain) {
		if i == 0 {
			p.heading("What differs, and what to do")
		}
		p.wrapped("  ", fmt.Sprintf("%d. ", i+1), l.what)
		for k, s := range l.steps {
			p.wrapped("     ", fmt.Sprintf("%d) ", k+1), s)
		}
	}
	p.list(notJudgedHeading, auditGaps(a))
	return p.err
}

// auditLine is one finding with what to do.
type auditLine struct {
	what  string
	steps []string
}

func auditSteps(a *device.Audit, explain bool) []auditLine {
	var out []auditLine
	for i := range a.Findings {
		f := &a.Findings[i]
		line := auditLine{what: fmt.Sprintf("%s (%s)", f.Summary, f.Impact), steps: f.Advice.Steps}
		if f.Subunit.Name != "" && !strings.Contains(f.Summary, string(f.Subunit.Name)) {
			line.what = fmt.Sprintf("%s: %s", f.Subunit.Name, line.what)
		}
		if explain && f.Why != "" {
			line.what += ": " + f.Why
		}
		out = append(out, line)
	}
	return out
}

func auditGaps(a *device.Audit) []string {
	var out []string
	for i := range a.Settings {
		if s := &a.Settings[i]; s.Verdict == device.SettingNotJudged {
			out = append(out, s.Name+": "+strings.Join(s.Why, "; "))
		}
	}
	return out
}

func writeAuditMarkdown(w io.Writer, a *device.Audit, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	p.line("# " + p.md(auditHead(a)))
	p.blank()
	if whose := p.whose(a.Name, a.MakeModel, a.Serial, a.Location); whose != "" {
		p.line(p.md(whose + ", looked at " + p.time(a.ObservedAt)))
		p.blank()
	}
	rows := make([][]string, len(a.Settings))
	for i := range a.Settings {
		rows[i] = auditCells(&a.Settings[i])
	}
	p.mdGrid([]tableColumn{{heading: "Verdict"}, {heading: "Setting"}, {heading: "Is"}, {heading: "Should be"}}, rows)
	for i, l := range auditSteps(a, o.Explain) {
		if i == 0 {
			p.blank()
			p.line("## What differs, and what to do")
			p.blank()
		}
		p.line(fmt.Sprintf("%d. %s", i+1, p.md(l.what)))
		for _, s := range l.steps {
			p.line("   - " + p.md(s))
		}
	}
	p.mdList(notJudgedHeading, auditGaps(a))
	return p.err
}

// settingRow is one setting in CSV.
type settingRow struct {
	*device.Setting
	a *device.Audit
}

var settingColumns = []column[settingRow]{
	{"observed_at", "RFC 3339 in UTC", func(r settingRow) string { return timeCell(r.a.ObservedAt) }},
	{"site", "site of the device", func(r settingRow) string { return string(r.a.Site) }},
	{"key", "key of the device", func(r settingRow) string { return r.a.Key }},
	{"name", "name of the device", func(r settingRow) string { return string(r.a.Name) }},
	{"setting", "name of the setting", func(r settingRow) string { return r.Name }},
	{"value", "as the device tells it; empty: not known", func(r settingRow) string { return string(r.Value) }},
	{"norm", "as it should be; empty: no norm", func(r settingRow) string { return string(r.Norm) }},
	{"verdict", "fits, differs, no-norm, not-judged", func(r settingRow) string { return string(r.Verdict) }},
	{"codes", "codes of the findings that say so", func(r settingRow) string { return strings.Join(r.Codes, " ") }},
	{"why", "what differs, or what is missing", func(r settingRow) string { return strings.Join(r.Why, "; ") }},
}

func writeAuditCSV(w io.Writer, a *device.Audit, o Options) error {
	rows := make([]settingRow, len(a.Settings))
	for i := range a.Settings {
		rows[i] = settingRow{&a.Settings[i], a}
	}
	return writeRows(w, settingColumns, rows, o)
}
