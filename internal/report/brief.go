package report

import (
	"fmt"
	"io"

	"printround/internal/device"
)

// WriteSummary writes the few lines that a run every night prints: how many
// devices, which of them cannot print or are silent, and what changed.
func WriteSummary(w io.Writer, s *device.Survey, o Options) error {
	ranked, _ := split(s.Devices)
	p := &page{style: newStyle(o), w: w}
	p.sites = severalSites(ranked)
	p.partial(s)
	p.title(s)
	p.totals(ranked)
	shown, more := 0, 0
	for _, d := range ranked {
		if d.Attention != device.Stopped && d.Attention != device.Silent {
			continue
		}
		if shown == listed {
			more++
			continue
		}
		shown++
		name := p.text(d.Label())
		if where := p.text(d.Place(p.sites)); where != "" {
			name += " (" + where + ")"
		}
		p.wrapped("  ", fmt.Sprintf("%-8s ", d.Attention), name+": "+p.text(whyShort(d)))
	}
	if more > 0 {
		p.more(more, "that cannot print or are silent")
	}
	var missed []string
	for _, d := range ranked {
		if d.Attention != device.Silent && !answered(d) {
			missed = append(missed, p.text(d.Label()))
		}
	}
	if len(missed) > 0 {
		p.wrapped("", "", fmt.Sprintf("No answer this time from %d, not yet held to be silent: %s", len(missed), list(missed[:min(len(missed), listed)], "")))
	}
	if s.Changes == nil && !s.Partial {
		p.wrapped("", "", "Nothing to compare with: this is the first night kept.")
	}
	p.changes(s.Changes)
	return p.err
}
