package report

import (
	"io"
	"strconv"

	"printround/internal/color"
)

// colorRow is one patch.
type colorRow struct {
	c *color.Comparison
	color.Result
	there   bool // it was measured
	channel string
	step    *color.Step // nil: no tint of a channel
}

// figure writes a number of a patch that was measured.
func (r *colorRow) figure(v float64) string {
	if !r.there {
		return ""
	}
	return number(v)
}

// colorColumns are the columns of a colour comparison in CSV, one row for each
// patch of the reference.
var colorColumns = []column[*colorRow]{
	{"measured", "file of the readings", func(r *colorRow) string { return inert(string(r.c.Measured.Name)) }},
	{"reference", "file of the reference, or the page", func(r *colorRow) string { return inert(string(r.c.Reference.Name)) }},
	{"verdict", "of all patches together: within, beyond or undecided", func(r *colorRow) string { return string(r.c.Verdict) }},
	{"id", "name of the patch", func(r *colorRow) string { return inert(r.ID) }},
	{"name", "its longer name", func(r *colorRow) string { return inert(string(r.Name)) }},
	{"readings", "how often it was read; 0: not measured", func(r *colorRow) string { return strconv.Itoa(r.Readings) }},
	{"reference_l", "L* as it should be", func(r *colorRow) string { return r.figure(r.Reference.L) }},
	{"reference_a", "a*", func(r *colorRow) string { return r.figure(r.Reference.A) }},
	{"reference_b", "b*", func(r *colorRow) string { return r.figure(r.Reference.B) }},
	{"measured_l", "L* as measured", func(r *colorRow) string { return r.figure(r.Measured.L) }},
	{"measured_a", "a*", func(r *colorRow) string { return r.figure(r.Measured.A) }},
	{"measured_b", "b*", func(r *colorRow) string { return r.figure(r.Measured.B) }},
	{"delta_e_ab", "CIE 1976, as measured", func(r *colorRow) string { return r.figure(r.DeltaEAB) }},
	{"delta_e_00", "CIEDE2000, as measured", func(r *colorRow) string { return r.figure(r.DeltaE00) }},
	{"on_paper_ab", "CIE 1976, both sides relative to their paper; empty: the paper is not known", func(r *colorRow) string { return floatCell(r.PaperAB) }},
	{"on_paper_00", "CIEDE2000, likewise", func(r *colorRow) string { return floatCell(r.Paper00) }},
	{"channel", "of a tint: cyan, magenta, yellow or black", func(r *colorRow) string { return r.channel }},
	{"percent", "of a tint, as sent", func(r *colorRow) string { return r.tint(func(s *color.Step) float64 { return s.Percent }) }},
	{"tone_reference", "of a tint: percent of the way from paper to its solid", func(r *colorRow) string { return r.tint(func(s *color.Step) float64 { return s.Reference }) }},
	{"tone_measured", "likewise, as measured", func(r *colorRow) string { return r.tint(func(s *color.Step) float64 { return s.Measured }) }},
}

func (r *colorRow) tint(f func(*color.Step) float64) string {
	if r.step == nil {
		return ""
	}
	return number(f(r.step))
}

func writeColorCSV(w io.Writer, c *color.Comparison, o Options) error {
	// Numbers may be negative: texts are made inert one by one.
	cell, err := beginCSV(w, o, func(s string) string { return s })
	if err != nil {
		return err
	}
	return writeRecords(w, colorColumns, colorRows(c), cell)
}

// colorRows are the patches that were measured, then those that were not.
func colorRows(c *color.Comparison) []*colorRow {
	type tint struct {
		channel string
		step    *color.Step
	}
	tints := map[string]tint{}
	for i := range c.Channels {
		ch := &c.Channels[i]
		for k := range ch.Steps {
			tints[ch.Steps[k].ID] = tint{ch.Channel, &ch.Steps[k]}
		}
		if ch.Solid != nil {
			tints[ch.Solid.ID] = tint{channel: ch.Channel}
		}
	}
	var out []*colorRow
	for _, p := range c.Patches {
		t := tints[p.ID]
		out = append(out, &colorRow{c, p, true, t.channel, t.step})
	}
	for _, id := range c.Missing {
		out = append(out, &colorRow{c: c, Result: color.Result{ID: id}})
	}
	return out
}
