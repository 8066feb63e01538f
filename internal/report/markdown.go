package report

import (
	"fmt"
	"io"
	"strings"

	"printround/internal/device"
)

// writeMarkdown writes the ranked table and the counts as Markdown (GitHub's
// table form). Cells are whole: nothing is cut.
func writeMarkdown(w io.Writer, s *device.Survey, o Options) error {
	p := &page{style: newStyle(o), w: w}
	p.color = false
	ranked, shared := split(s.Devices)
	p.sites = severalSites(ranked)
	if s.Partial {
		p.line("**PARTIAL SURVEY. " + p.md(partialLine(s)) + "**")
		p.blank()
	}
	p.line("# " + p.md(titleLine(s)))
	p.blank()
	p.line(p.time(latest(s)))
	p.blank()
	p.mdTable(ranked)
	p.blank()
	p.line(totalsLine(ranked))
	p.mdChanges(s.Changes)
	p.mdScope(&s.Scope)
	p.mdRest(s, shared)
	if o.Explain {
		for _, d := range ranked {
			p.mdExplain(d)
		}
	}
	return p.err
}

// md makes foreign text inert in Markdown and in the HTML made from it.
func (p *page) md(v string) string { return escapeMarkdown(p.text(v)) }

// escapeMarkdown escapes what Markdown, its table and mathematics extensions
// and HTML give a meaning, and breaks what would become a link by itself. The
// text has no line breaks.
func escapeMarkdown(v string) string {
	v = markdownEscapes.Replace(v)
	digits := len(v) - len(strings.TrimLeft(v, "0123456789"))
	switch rest := v[digits:]; {
	case digits == 0 && v != "" && strings.ContainsRune("-+=", rune(v[0])): // a list, a rule, an underline
		return `\` + v
	case digits > 0 && rest != "" && strings.ContainsRune(".)", rune(rest[0])): // a numbered list
		return v[:digits] + `\` + rest
	}
	return v
}

var markdownEscapes = strings.NewReplacer(
	`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "|", `\|`, "~", `\~`, "$", `\$`, "#", `\#`,
	"!", `\!`, "@", `\@`, "&", "&amp;", "<", "&lt;", ">", "&gt;",
	"://", `:\//`, "www.", `www\.`, "WWW.", `WWW\.`,
)

func (p *page) mdTable(ranked []*device.Device) {
	if len(ranked) == 0 {
		return
	}
	where := make([]string, len(ranked))
	for i, d := range ranked {
		where[i] = p.text(d.Place(p.sites))
	}
	rows := make([][]string, len(ranked))
	for i, name := range names(p.style, ranked, where, device.MaxText) {
		rows[i] = p.surveyRow(i, ranked[i])
		rows[i][colDevice] = strings.Replace(name, "\n", ", ", 1)
	}
	p.mdGrid(surveyColumns, rows)
}

// mdGrid writes a table of foreign text.
func (p *page) mdGrid(columns []tableColumn, rows [][]string) {
	headings, rules := make([]string, len(columns)), make([]string, len(columns))
	for i, c := range columns {
		headings[i], rules[i] = p.md(c.heading), "---"
		if c.right {
			rules[i] = "---:"
		}
	}
	p.mdRow(headings)
	p.mdRow(rules)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = p.md(c)
		}
		p.mdRow(cells)
	}
}

func (p *page) mdRow(cells []string) { p.line("| " + strings.Join(cells, " | ") + " |") }

func (p *page) mdList(title string, items []string) {
	if len(items) == 0 {
		return
	}
	p.blank()
	p.line("## " + title)
	p.blank()
	for _, v := range items {
		p.line("- " + p.md(v))
	}
}

func (p *page) mdChanges(c *device.Changes) {
	if c == nil {
		return
	}
	var items []string
	for _, k := range changeKinds(c) {
		for _, x := range k.list {
			items = append(items, k.word+": "+changeLine(x))
		}
	}
	if items == nil {
		items = []string{"none"}
	}
	p.mdList("Changes since "+p.time(c.Since)+pagesPrinted(c.Pages), items)
}

func (p *page) mdScope(s *device.Scope) {
	items := []string{scopeLine(s)}
	for _, x := range s.Prefixes {
		items = append(items, x.Target+": "+prefixLine(x))
	}
	p.mdList("What was looked at", append(items, s.Notes...))
}

func (p *page) mdRest(s *device.Survey, shared []*device.Device) {
	var hosts, queues, errors []string
	for _, h := range s.Unconfirmed {
		hosts = append(hosts, h.Address.String()+": "+hostLine(h))
	}
	for _, d := range shared {
		queues = append(queues, p.queueLine(d))
	}
	for _, x := range s.Errors {
		errors = append(errors, problemLine(x))
	}
	p.mdList("Unconfirmed, not ranked", hosts)
	p.mdList("Shared queues, not ranked", queues)
	p.mdList("Errors", errors)
}

// mdExplain writes the findings of one device with weights and evidence.
func (p *page) mdExplain(d *device.Device) {
	p.blank()
	p.line("## " + p.md(fmt.Sprintf("%s: %s, urgency %d", p.describe(d), d.Attention, d.Urgency)))
	p.blank()
	p.line("- " + p.md(urgencyLine(d)))
	for i := range d.Findings {
		f := &d.Findings[i]
		p.line("- " + p.md(fmt.Sprintf("%s%s: %s", f.Code, subunitWords(f.Subunit), f.Summary)))
		p.line("  - " + p.md(p.findingLine(f)))
		if f.Why != "" {
			p.line("  - because " + p.md(f.Why))
		}
		for _, e := range evidenceWords(f.Evidence) {
			p.line("  - evidence " + p.md(e))
		}
	}
	for _, l := range notJudged(d) {
		p.line("- not judged: " + p.md(l))
	}
}
