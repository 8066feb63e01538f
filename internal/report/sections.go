package report

import (
	"fmt"
	"slices"
	"strings"

	"printround/internal/device"
)

// listed bounds the lists below the table, so that the table stays on a page;
// what is left out is counted, and JSON and CSV have all of it.
const listed = 10

// changeKind is one kind of difference between two surveys.
type changeKind struct {
	word string
	list []device.Change
}

func changeKinds(c *device.Changes) []changeKind {
	return []changeKind{
		{"new", c.New}, {"silent", c.Silent}, {"cleared", c.Cleared}, {"replaced", c.Replaced},
		{"moved", c.Moved}, {"arrived", c.Arrived}, {"gone", c.Gone},
	}
}

// changeCounts says how many differences of each kind there are, as far as there
// are any.
func changeCounts(c *device.Changes) []string {
	var counts []string
	for _, k := range changeKinds(c) {
		if len(k.list) > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", len(k.list), k.word))
		}
	}
	return counts
}

// changes says what differs from an earlier survey.
func (p *page) changes(c *device.Changes) {
	if c == nil {
		return
	}
	p.heading("Changes since " + p.time(c.Since) + ": " + list(changeCounts(c), "none") + pagesPrinted(c.Pages))
	for _, k := range changeKinds(c) {
		for i, change := range k.list {
			if i == listed {
				p.more(len(k.list)-listed, k.word)
				break
			}
			p.wrapped("  ", fmt.Sprintf("%-8s ", k.word), changeLine(change))
		}
	}
}

// pagesPrinted says how many pages were printed meanwhile, empty when it is
// not told.
func pagesPrinted(p *device.PagesPrinted) string {
	if p == nil || p.Devices == 0 {
		return ""
	}
	pages := grouped(p.Total) + " pages"
	if p.Total == 1 {
		pages = "1 page"
	}
	text := fmt.Sprintf("; %s printed on %s", pages, device.Counted(p.Devices, "printer", "printers"))
	if p.Unknown > 0 {
		text += fmt.Sprintf(", not known of %d", p.Unknown)
	}
	return text
}

func changeLine(c device.Change) string {
	name := c.Device
	if name == "" {
		name = c.Key
	}
	what := c.What
	if what == "" {
		what = c.Code
	}
	if what == "" {
		return name
	}
	return name + ": " + what
}

func (p *page) more(n int, what string) {
	p.wrapped("  ", "", fmt.Sprintf("and %d more %s, see --format json", n, what))
}

// silent names the expected devices that did not answer.
func (p *page) silent(ranked []*device.Device) {
	var names []string
	for _, d := range ranked {
		if d.Attention == device.Silent {
			names = append(names, p.describe(d))
		}
	}
	if len(names) == 0 {
		return
	}
	p.heading(fmt.Sprintf("Expected but silent: %d", len(names)))
	for i, n := range names {
		if i == listed {
			p.more(len(names)-listed, "silent")
			return
		}
		p.wrapped("  ", "", n)
	}
}

// describe names a device with all that helps to find it.
func (s style) describe(d *device.Device) string {
	parts := []string{d.Label()}
	site := ""
	if s.sites {
		site = string(d.Site)
	}
	for _, v := range []string{site, string(d.Location), string(d.Hostname), addressesCell(d.Addresses)} {
		if v != "" && !slices.Contains(parts, v) {
			parts = append(parts, v)
		}
	}
	return strings.Join(parts, ", ")
}

// scope says what was looked at and what was not reached.
func (p *page) scope(s *device.Scope) {
	p.heading("What was looked at")
	p.wrapped("  ", "", scopeLine(s))
	prefixes := silentFirst(s.Prefixes)
	for i, x := range prefixes {
		if i == listed {
			p.more(len(prefixes)-listed, "prefixes")
			break
		}
		p.wrapped("  ", p.cut(p.text(x.Target), p.width/2)+"  ", prefixLine(x))
	}
	for _, n := range s.Notes {
		p.wrapped("  ", "", n)
	}
}

// silentFirst puts prefixes without an answer before the others.
func silentFirst(list []device.Prefix) []device.Prefix {
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b device.Prefix) int { return min(a.Answered, 1) - min(b.Answered, 1) })
	return out
}

func scopeLine(s *device.Scope) string {
	return fmt.Sprintf("%s in scope, %d probed, %d answered; %d answered and are no printers, %d unconfirmed, %d expected but silent",
		device.Counted(s.Addresses, "address", "addresses"), s.Probed, s.Answered, s.NotPrinters, s.Unconfirmed, s.SilentExpected)
}

func prefixLine(x device.Prefix) string {
	line := fmt.Sprintf("%d probed, %d answered, %s", x.Probed, x.Answered, device.Counted(x.Printers, "printer", "printers"))
	if x.Answered == 0 {
		line = fmt.Sprintf("not reached: %d probed, none answered", x.Probed)
	}
	if x.Note != "" {
		line += ": " + string(x.Note)
	}
	return line
}

// unconfirmed lists hosts that look like printers but did not show to be one.
func (p *page) unconfirmed(hosts []device.Unconfirmed) {
	if len(hosts) == 0 {
		return
	}
	p.heading(fmt.Sprintf("Unconfirmed, not ranked: %d", len(hosts)))
	for i, h := range hosts {
		if i == listed {
			p.more(len(hosts)-listed, "unconfirmed")
			return
		}
		p.wrapped("  ", h.Address.String()+"  ", hostLine(h))
	}
}

func hostLine(h device.Unconfirmed) string {
	if h.Description == "" {
		return h.Reason
	}
	return h.Reason + " (" + string(h.Description) + ")"
}

// sharedQueues lists what a server shares: it is no device of its own.
func (p *page) sharedQueues(queues []*device.Device) {
	if len(queues) == 0 {
		return
	}
	p.heading(fmt.Sprintf("Shared queues, not ranked: %d", len(queues)))
	for i, d := range queues {
		if i == listed {
			p.more(len(queues)-listed, "shared queues")
			return
		}
		p.wrapped("  ", "", p.queueLine(d))
	}
}

func (s style) queueLine(d *device.Device) string {
	if d.Reached.IPP.URI == "" {
		return s.describe(d)
	}
	return s.describe(d) + ", " + string(d.Reached.IPP.URI)
}

// problems lists what went wrong; all of it when asked to explain.
func (p *page) problems(title string, list []device.Problem, all bool) {
	if len(list) == 0 {
		return
	}
	p.heading(fmt.Sprintf("%s: %d", title, len(list)))
	for i, x := range list {
		if i == listed && !all {
			p.more(len(list)-listed, "errors")
			return
		}
		p.wrapped("  ", "", problemLine(x))
	}
}

// problemLine writes where, at which step, and what.
func problemLine(x device.Problem) string {
	parts := make([]string, 0, 3)
	for _, v := range []string{x.Address, stageWords(x.Stage), x.Message} {
		if v != "" {
			parts = append(parts, v)
		}
	}
	return strings.Join(parts, ": ")
}

// stageWords names the step of reaching a device for people.
func stageWords(stage string) string {
	switch stage {
	case "snmp":
		return "SNMP over UDP"
	case "tcp":
		return "TCP connection"
	case "tls":
		return "TLS"
	case "http":
		return "HTTP"
	case "ipp":
		return "IPP"
	case "mdns":
		return "DNS-SD"
	}
	return stage
}
