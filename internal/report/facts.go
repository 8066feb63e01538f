package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"printround/internal/device"
)

// facts writes everything known of the device, unknown things as unknown.
func (p *page) facts(d *device.Device) {
	p.identity(d)
	p.reach(&d.Reached)
	if answered(d) {
		p.state(d)
		p.supplies(d.Supplies)
		p.trays(d.Trays)
		p.outputs(d.Outputs)
		p.covers(d.Covers)
		p.finishers(d.Finishers)
		p.paths(d)
		p.languages(d.Languages)
		p.counters(&d.Counters)
		p.storage(d.Storage)
		p.queue(&d.Queue)
		p.defaults(&d.Defaults)
		p.alerts(d.Alerts)
		p.disagreements(d.Disagreements)
		p.problems("Errors while reading", d.Errors, true)
	}
	p.list(notJudgedHeading, notJudged(d))
}

const notReported = "not reported"

// fact writes one labelled value.
func (p *page) fact(label, v string) {
	p.wrapped("  ", fmt.Sprintf("%-20s ", label), v)
}

// facts2 writes pairs of label and value, and last the labels of what the
// device does not report.
func (p *page) facts2(pairs ...string) {
	var missing []string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] == "" {
			missing = append(missing, pairs[i])
			continue
		}
		p.fact(pairs[i], pairs[i+1])
	}
	if missing != nil {
		p.fact("Not reported", strings.Join(missing, ", "))
	}
}

func (p *page) identity(d *device.Device) {
	p.heading("Identity")
	p.facts2(
		"Key", d.Key,
		"Also known as", strings.Join(d.Aliases, ", "),
		"Name", string(d.Name),
		"Make and model", string(d.MakeModel),
		"Serial number", string(d.Serial),
		"Firmware", string(d.Firmware),
		"Technology", string(d.Technology),
		"Site", string(d.Site),
		"Location", string(d.Location),
		"Contact", string(d.Contact),
		"Host name", string(d.Hostname),
		"Addresses", addressesCell(d.Addresses),
		"MAC", string(d.MAC),
		"UUID", string(d.UUID),
	)
	if d.Sole {
		p.fact("At its site", "the only one")
	}
}

func (p *page) state(d *device.Device) {
	s := &d.State
	// No error bits and no reasons mean none only if the device was asked.
	bits, reasons := "", ""
	if s.Printer != "" {
		bits = "none"
	}
	if d.Reached.IPP.OK {
		reasons = "none"
	}
	var lights []string
	for _, l := range s.Lights {
		lights = append(lights, strings.TrimSpace(fmt.Sprintf("%s %s %s", l.Name, l.Color, l.State)))
	}
	clock := ""
	if s.ClockOffS != nil {
		clock = clockWords(*s.ClockOffS)
	}
	uptime := ""
	if s.UptimeS != nil {
		uptime = span(*s.UptimeS)
	}
	p.heading("State")
	p.facts2(
		"hrDeviceStatus", string(s.Device),
		"hrPrinterStatus", string(s.Printer),
		"Overall (RFC 3805)", string(s.Overall),
		"Error bits", list(s.ErrorBits, bits),
		"printer-state", string(s.PrinterState),
		"Reasons", list(s.Reasons, reasons),
		"Conditions", list(s.Conditions, "none"),
		"Lamps", strings.Join(lights, ", "),
		"Running for", uptime,
		"Clock", clock,
	)
}

// clockWords says how far a clock is off from that of the machine that asked.
func clockWords(s int64) string {
	switch {
	case s > 1:
		return span(s) + " ahead"
	case s < -1:
		return span(-s) + " behind"
	}
	return "right"
}

func list(words []string, none string) string {
	if len(words) == 0 {
		return none
	}
	return strings.Join(words, ", ")
}

func (p *page) reach(r *device.Reached) {
	p.heading("Network")
	snmp := triedWords(r.SNMP.OK, r.SNMP.Tried)
	if r.SNMP.OK {
		snmp = fmt.Sprintf("version %s, credential %s, %s, %s, %s", r.SNMP.Version, r.SNMP.Credential,
			device.Counted(r.SNMP.RoundTrips, "round trip", "round trips"), device.Counted(r.SNMP.Values, "value", "values"), device.Counted(r.SNMP.Bytes, "byte", "bytes"))
		if r.SNMP.Partial {
			snmp += ", incomplete"
		}
	}
	p.fact("SNMP", snmp)
	ipp := triedWords(r.IPP.OK, r.IPP.Tried)
	if r.IPP.OK {
		ipp = string(r.IPP.URI)
	}
	p.fact("IPP", ipp)
	if t := r.IPP.TLS; t != nil {
		p.fact("TLS", p.tls(t))
	} else if r.IPP.OK {
		p.fact("TLS", "not encrypted")
	}
	mdns := "no announcement seen"
	if r.MDNS.OK {
		mdns = string(r.MDNS.Instance)
	}
	p.fact("DNS-SD", mdns)
}

func triedWords(ok, tried bool) string {
	switch {
	case ok:
		return "answered"
	case tried:
		return "no answer"
	}
	return "not tried"
}

func (p *page) tls(t *device.TLS) string {
	parts := []string{string(t.Version)}
	if t.SelfSigned {
		parts = append(parts, "self-signed certificate")
	}
	if t.NotAfter != nil {
		parts = append(parts, "valid until "+p.time(*t.NotAfter))
	}
	if t.Fingerprint != "" {
		parts = append(parts, "SHA-256 "+string(t.Fingerprint))
	}
	return strings.Join(parts, ", ")
}

func (p *page) languages(languages []device.Language) {
	if len(languages) == 0 {
		return
	}
	p.heading("Page languages")
	for _, l := range languages {
		line := string(l.Family)
		for _, v := range []struct {
			word  string
			value device.Text
		}{{"level", l.Level}, {"version", l.Version}, {"orientation", l.Orientation}} {
			if v.value != "" {
				line += fmt.Sprintf(", %s %s", v.word, v.value)
			}
		}
		p.wrapped("  ", "", line)
	}
}

func (p *page) counters(c *device.Counters) {
	p.heading("Counters")
	p.facts2("Life", p.countWords(c.Life), "Since power on", p.countWords(c.SincePowerOn),
		"Colour", p.countWords(c.Color), "Monochrome", p.countWords(c.Monochrome))
}

func (p *page) countWords(c device.Count) string {
	if c.Value == nil {
		if c.Reason == "" {
			return "unknown: not reported"
		}
		return "unknown: " + string(c.Reason)
	}
	words := strings.TrimSpace(grouped(*c.Value) + " " + string(c.Unit))
	if c.Source != "" {
		words += " (" + p.from(c.Source, c.Object) + ")"
	}
	return words
}

func (p *page) queue(q *device.Queue) {
	accepting, queued := "", ""
	if q.Accepting != nil {
		accepting = yesNo(*q.Accepting)
	}
	if q.Queued != nil {
		queued = device.Counted(*q.Queued, "job", "jobs")
	}
	p.heading("Queue")
	p.facts2("Accepting jobs", accepting, "Waiting", queued)
	if len(q.Jobs) == 0 {
		return
	}
	g := grid{columns: []tableColumn{{heading: "JOB", right: true}, {heading: "STATE", least: 10, most: 20, lines: 4}, {heading: "AGE", right: true},
		{heading: "PAGES", right: true}, {heading: "REASONS", least: 10, most: 40, lines: 4}, {heading: "NAME", least: 8, most: 30, lines: 4}, {heading: "OWNER", least: 8, most: 20, lines: 4}}}
	for _, j := range q.Jobs {
		age, pages := "?", "?"
		if j.AgeS != nil {
			age = span(*j.AgeS)
		}
		if j.Pages != nil {
			pages = grouped(*j.Pages)
		}
		g.rows = append(g.rows, p.safeRow(fmt.Sprint(j.ID), string(j.State), age, pages,
			strings.Join(j.Reasons, " "), string(j.Name), string(j.Owner)))
	}
	p.block(g)
}

func (p *page) defaults(d *device.Defaults) {
	p.heading("Defaults")
	p.facts2("Media", string(d.Media), "Orientation", string(d.Orientation), "Sides", string(d.Sides),
		"Finishings", list(d.Finishings, ""), "Colour mode", string(d.ColorMode), "Resolution", string(d.Resolution),
		"Output bin", string(d.OutputBin), "Finishing offered", list(d.CanFinish, ""), "Media ready", list(d.Ready, ""))
}

func (p *page) alerts(alerts []device.Alert) {
	if len(alerts) == 0 {
		return
	}
	p.heading(fmt.Sprintf("Alerts as reported: %d", len(alerts)))
	for _, a := range alerts {
		words := []string{a.Code, a.Severity}
		if a.Group != "" {
			words = append(words, fmt.Sprintf("%s %d", a.Group, a.GroupIndex))
		}
		if a.Training != "" {
			words = append(words, "for "+a.Training)
		}
		switch {
		case a.AgeS != nil:
			words = append(words, span(*a.AgeS)+" old")
		case a.AgeReason != "":
			words = append(words, "age unknown: "+string(a.AgeReason))
		}
		line := strings.Join(words, ", ")
		if a.Description != "" {
			line += ": " + p.quoted(string(a.Description))
		}
		p.wrapped("  ", "- ", line+" ("+p.from(a.Source, a.Object)+")")
	}
}

func (p *page) disagreements(list []device.Disagreement) {
	if len(list) == 0 {
		return
	}
	p.heading("Where SNMP and IPP disagree")
	for _, x := range list {
		p.wrapped("  ", "- ", fmt.Sprintf("%s: SNMP says %s, IPP says %s, used: %s", x.Fact, x.SNMP, x.IPP, x.Kept))
	}
}

func attributeWords(m map[string]string) string {
	var words []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		words = append(words, k+" "+m[k])
	}
	return strings.Join(words, ", ")
}
