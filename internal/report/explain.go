package report

import (
	"fmt"
	"strings"

	"printround/internal/device"
)

// bands are the urgencies of each attention level.
var bands = map[device.Attention][2]int{
	device.Stopped: {80, 100}, device.Silent: {60, 79}, device.Impaired: {40, 59}, device.Due: {10, 39}, device.Clear: {0, 9},
}

// explain writes how attention and urgency of one device came about.
func (p *page) explain(d *device.Device) {
	p.heading(p.text(fmt.Sprintf("%s: %s, urgency %d", p.describe(d), d.Attention, d.Urgency)))
	p.wrapped("  ", "", urgencyLine(d))
	for i := range d.Findings {
		p.explainFinding(&d.Findings[i])
	}
	for _, l := range notJudged(d) {
		p.wrapped("  ", "Not judged: ", l)
	}
	for _, e := range d.Errors {
		p.wrapped("  ", "Error: ", problemLine(e))
	}
}

// urgencyLine gives the weights that make up the urgency.
func urgencyLine(d *device.Device) string {
	var terms, factors []string
	rest := 1.0
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Weight <= 0 || f.Stale {
			continue
		}
		terms = append(terms, fmt.Sprintf("%s %.2f", f.Code, f.Weight))
		factors = append(factors, fmt.Sprintf("(1-%.2f)", f.Weight))
		rest *= 1 - f.Weight
	}
	line := "no finding has a weight"
	if terms != nil {
		line = fmt.Sprintf("weights %s; together 1-%s = %.2f", strings.Join(terms, ", "), strings.Join(factors, ""), 1-rest)
	}
	if b, ok := bands[d.Attention]; ok {
		line += fmt.Sprintf("; %s is %d to %d", d.Attention, b[0], b[1])
	}
	if d.Sole {
		line += "; the only one its site has: 5 more within these"
	}
	return fmt.Sprintf("urgency %d: %s", d.Urgency, line)
}

// explainFinding writes impact, weight, rule and evidence of one finding.
func (p *page) explainFinding(f *device.Finding) {
	p.wrapped("  ", "- ", fmt.Sprintf("%s%s: %s", f.Code, subunitWords(f.Subunit), f.Summary))
	p.wrapped("    ", "", p.findingLine(f))
	if f.Why != "" {
		p.wrapped("    ", "because   ", f.Why)
	}
	for _, e := range evidenceWords(f.Evidence) {
		p.wrapped("    ", "evidence  ", e)
	}
}

// findingLine gives impact, weight and age.
func (s style) findingLine(f *device.Finding) string {
	line := fmt.Sprintf("%s, weight %.2f", f.Impact, f.Weight)
	if f.Stale {
		line += ", stale: present status contradicts it"
	}
	if f.AgeS != nil {
		line += ", " + span(*f.AgeS) + " old"
	}
	if f.FirstSeen != nil {
		line += ", first seen " + s.time(*f.FirstSeen)
	}
	return line
}

// subunitWords names the part that a finding is about.
func subunitWords(s device.Subunit) string {
	if s.Group == "" {
		return ""
	}
	words := " (" + s.Group
	if s.Index > 0 {
		words += fmt.Sprintf(" %d", s.Index)
	}
	if s.Name != "" {
		words += ", " + string(s.Name)
	}
	return words + ")"
}

const notJudgedHeading = "Not judged, facts missing"

// notJudged groups the conditions that could not be judged by the reason, which
// stands behind a colon.
func notJudged(d *device.Device) []string {
	var reasons []string
	codes := map[string][]string{}
	for _, v := range d.NotJudged {
		code, reason, _ := strings.Cut(v, ": ")
		if _, ok := codes[reason]; !ok {
			reasons = append(reasons, reason)
		}
		codes[reason] = append(codes[reason], code)
	}
	lines := make([]string, len(reasons))
	for i, r := range reasons {
		lines[i] = strings.Join(codes[r], ", ")
		if r != "" {
			lines[i] = r + ": " + lines[i]
		}
	}
	return lines
}
