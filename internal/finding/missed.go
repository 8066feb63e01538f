package finding

import (
	"slices"

	"printround/internal/device"
)

// Missed changes the judgement of a known device that gave no answer, where
// that says nothing yet: printers sleep, and offices are dark. No answer becomes
// a note with the given words, and what asked for attention when the device
// last answered stands, for nobody has seen it gone.
func Missed(d *device.Device, summary, why string, standing []device.Finding) {
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Code == NoAnswer {
			f.Impact, f.Weight, f.Summary, f.Why = device.ImpactNote, 0, summary, why
		}
	}
	for _, f := range standing {
		if f.Code == NoAnswer || f.Code == NoPrinter {
			continue
		}
		d.Findings = append(d.Findings, f)
		if !slices.Contains(d.State.Conditions, f.Code) {
			d.State.Conditions = append(d.State.Conditions, f.Code)
		}
	}
	slices.Sort(d.State.Conditions)
	slices.SortStableFunc(d.Findings, worstFirst)
	d.Attention, d.Urgency = urgency(d)
}
