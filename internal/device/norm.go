package device

import "cmp"

// Norm is how a site wants devices of a model to be set, and what is to lie in
// their trays. An empty field is no norm.
type Norm struct {
	Model       string   // make and model it is for, matched as in CataloguePart; empty: every model
	Media       string   // default medium
	Ready       []string // each of these media has to be in a tray
	Orientation string   // default orientation: a keyword of orientation-requested
	Sides       string   // default sides, such as two-sided-long-edge
	ColorMode   string   // default print-color-mode, such as monochrome
	Resolution  int      // default resolution, dots an inch
	OutputBin   string   // default output bin, such as face-down
	Finishings  []string // default finishings, such as none
	Languages   []string // page languages that the site's drivers send
	Punch       []string // punch patterns to be there: FinPunchPatternTC labels or finishings keywords
	Trays       []TrayNorm
}

// TrayNorm is what lies in a tray by the site's stock.
type TrayNorm struct {
	Tray   string // the device's own name of the tray, or its index
	Media  string // size by name
	Type   string // media-type keyword, such as stationery
	Weight float64
}

// NormFor puts the norms that fit a make and model together: of each field the
// one of the norm with the longest pattern, a norm without a model last. Trays
// are taken by their name.
func NormFor(norms []Norm, makeModel string) Norm {
	var out Norm
	for said := -1; ; {
		next := -1
		for i := range norms {
			n := &norms[i]
			if s := specificity(n.Model); s > said && (n.Model == "" || MatchModel(n.Model, makeModel)) && (next < 0 || s < specificity(norms[next].Model)) {
				next = i
			}
		}
		if next < 0 {
			out.Model = makeModel
			return out
		}
		said = specificity(norms[next].Model)
		out.take(&norms[next])
	}
}

// take puts what another norm states over what is there.
func (n *Norm) take(m *Norm) {
	n.Media, n.Orientation, n.Sides = cmp.Or(m.Media, n.Media), cmp.Or(m.Orientation, n.Orientation), cmp.Or(m.Sides, n.Sides)
	n.ColorMode, n.OutputBin = cmp.Or(m.ColorMode, n.ColorMode), cmp.Or(m.OutputBin, n.OutputBin)
	if m.Resolution > 0 {
		n.Resolution = m.Resolution
	}
	n.Ready, n.Finishings = orList(m.Ready, n.Ready), orList(m.Finishings, n.Finishings)
	n.Languages, n.Punch = orList(m.Languages, n.Languages), orList(m.Punch, n.Punch)
	for _, t := range m.Trays {
		i := len(n.Trays)
		for k := range n.Trays {
			if foldSpace(n.Trays[k].Tray) == foldSpace(t.Tray) {
				i = k
			}
		}
		n.Trays = append(n.Trays[:i:i], append([]TrayNorm{t}, n.Trays[min(i+1, len(n.Trays)):]...)...)
	}
}

func orList(a, b []string) []string {
	if len(a) > 0 {
		return a
	}
	return b
}
