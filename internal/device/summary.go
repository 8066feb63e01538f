package device

// Why says in one line why the device needs somebody: the summary of its
// worst finding. It is empty when nothing asks for attention.
func (d *Device) Why() string {
	if f := d.worst(); f != nil {
		return f.Summary
	}
	return ""
}

// NextStep is the first thing to do about the worst finding. It is empty when
// nothing asks for attention; a stale finding never gives a step.
func (d *Device) NextStep() string {
	if f := d.worst(); f != nil && len(f.Advice.Steps) > 0 {
		return f.Advice.Steps[0]
	}
	return ""
}

// worst returns the finding that gives the device its attention level: the
// worst impact, then the greatest weight, then the first. Notes and stale
// findings are none; nil when nothing is left.
func (d *Device) worst() *Finding {
	var worst *Finding
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Stale || f.Impact.Rank() >= ImpactNote.Rank() {
			continue
		}
		if worst == nil || f.Impact.Rank() < worst.Impact.Rank() ||
			f.Impact == worst.Impact && f.Weight > worst.Weight {
			worst = f
		}
	}
	return worst
}

// Lowest returns the supply with the smallest known level, of those that are
// used up or filled; for both kinds a small percentage means that somebody has
// to act. ok is false when no such level is known.
func (d *Device) Lowest() (lowest Supply, ok bool) {
	var least float64
	for _, s := range d.Supplies {
		if s.Role != Consumed && s.Role != Receptacle {
			continue
		}
		p, known := s.Level.Percent()
		if known && (!ok || p < least) {
			lowest, least, ok = s, p, true
		}
	}
	return lowest, ok
}
