package finding

import (
	"slices"

	"printround/internal/device"
)

// need says which facts a group of conditions rests on. Where they are missing
// the conditions are not judged, which is not the same as fine.
type need struct {
	code    string
	reason  string
	missing func(*device.Device, Options) bool
}

var needs = []need{
	{"media-jam", "the device reports no state, reasons, error bits or alerts", func(d *device.Device, _ Options) bool {
		s := &d.State
		return s.Device == "" && s.PrinterState == "" && len(s.ErrorBits) == 0 && len(s.Reasons) == 0 && len(d.Alerts) == 0
	}},
	{"cover-open", "the device reports no covers and no reasons", func(d *device.Device, _ Options) bool {
		return len(d.Covers) == 0 && d.State.PrinterState == "" && len(d.State.ErrorBits) == 0 && len(d.State.Reasons) == 0 && len(d.Alerts) == 0
	}},
	{"media-empty", "the device reports no trays", func(d *device.Device, _ Options) bool { return len(d.Trays) == 0 }},
	{"output-area-full", "the device reports no output bins", func(d *device.Device, _ Options) bool { return len(d.Outputs) == 0 }},
	{"marker-supply-low", "the device reports no supplies", func(d *device.Device, _ Options) bool { return len(d.Supplies) == 0 }},
	{"marker-waste-full", "the device reports no waste box", func(d *device.Device, _ Options) bool {
		return !slices.ContainsFunc(d.Supplies, func(s device.Supply) bool { return kindOf(&s).class == classWaste })
	}},
	{ServiceDue, "the device reports no long-life parts", func(d *device.Device, _ Options) bool {
		return !slices.ContainsFunc(d.Supplies, func(s device.Supply) bool { return kindOf(&s).class == classLongLife })
	}},
	{MediaMismatch, "the default size is not known", func(d *device.Device, _ Options) bool { return d.Defaults.Media == "" }},
	{DefaultOrientation, "the default orientation is not known", func(d *device.Device, o Options) bool {
		return o.ExpectedOrientation != "" && d.Defaults.Orientation == ""
	}},
	{LanguageMissing, "the page languages are not known", func(d *device.Device, o Options) bool {
		return len(o.ExpectedLanguages) > 0 && len(d.Languages) == 0
	}},
	{QueueStalled, "the queue was not read", func(d *device.Device, _ Options) bool {
		return !d.Reached.IPP.OK || d.Queue.Accepting == nil && d.Queue.Queued == nil && len(d.Queue.Jobs) == 0
	}},
	{SourcesDisagree, "only one protocol answered", func(d *device.Device, _ Options) bool {
		return !d.Reached.SNMP.OK || !d.Reached.IPP.OK
	}},
	{RunOut, "there is no history of this device", func(*device.Device, Options) bool { return true }},
}

// notJudged lists what could not be judged, each a condition, a colon and what
// is missing, sorted. Of a device that answered nothing everything is.
func (j *judge) notJudged(answered bool) []string {
	list := slices.Clone(j.gaps)
	for _, n := range needs {
		switch {
		case !answered:
			list = append(list, n.code+": the device did not answer")
		case n.missing(j.d, j.o):
			list = append(list, n.code+": "+n.reason)
		}
	}
	slices.Sort(list)
	list = slices.Compact(list)
	if list == nil {
		list = []string{}
	}
	return list
}
