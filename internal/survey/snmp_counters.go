package survey

import (
	"fmt"
	"slices"

	"printround/internal/device"
	"printround/internal/mib"
	"printround/internal/oid"
)

// counters maps the counts of prtMarkerTable. The standard counts by marker,
// not by colour: only a marker with a single colorant tells monochrome pages.
func (v *view) counters(d *device.Device) {
	markers := of(v.f.Markers, v.index)
	for _, m := range markers {
		if d.Technology = device.Text(m.MarkTech.Label()); d.Technology != "" {
			break
		}
	}
	c := &d.Counters
	c.Life = total(markers, "prtMarkerLifeCount", func(m mib.Marker) mib.Num { return m.LifeCount })
	c.SincePowerOn = total(markers, "prtMarkerPowerOnCount", func(m mib.Marker) mib.Num { return m.PowerOnCount })
	c.Color = device.Count{Reason: "no standard object counts color pages", Source: device.SourceSNMP}
	single := slices.DeleteFunc(slices.Clone(markers), func(m mib.Marker) bool { return m.ProcessColorants.Or(0)+m.SpotColorants.Or(0) != 1 })
	if len(single) == 0 {
		c.Monochrome = device.Count{Reason: "no standard object counts monochrome pages of a color marker", Source: device.SourceSNMP}
		return
	}
	c.Monochrome = total(single, "prtMarkerLifeCount", func(m mib.Marker) mib.Num { return m.LifeCount })
	if len(single) == len(markers) {
		c.Color.Reason = "no marker has more than one colorant"
	}
}

// total adds up one counter over all markers if they count in the same unit;
// if not, the first one stands for the device, and the reason says so.
func total(markers []mib.Marker, object string, get func(mib.Marker) mib.Num) device.Count {
	var sum int64
	var counted []mib.Marker
	for _, m := range markers {
		if n, ok := get(m).Get(); ok {
			sum += n
			counted = append(counted, m)
		}
	}
	if len(counted) == 0 {
		return device.Count{Reason: device.Text(object + " is not reported"), Source: device.SourceSNMP}
	}
	lead := counted[0]
	c := device.Count{Value: &sum, Unit: device.Text(lead.CounterUnit.Label()), Source: device.SourceSNMP, Object: lead.Instance(object)}
	if len(counted) == 1 {
		return c
	}
	if slices.ContainsFunc(counted, func(m mib.Marker) bool { return m.CounterUnit != lead.CounterUnit }) {
		only := get(lead).Or(0)
		c.Value = &only
		c.Reason = device.Text(fmt.Sprintf("the first of %d markers: they count in different units", len(counted)))
		return c
	}
	c.Reason = device.Text(fmt.Sprintf("the sum of %d markers", len(counted)))
	return c
}

// languages maps prtInterpreterTable, and prtChannelTable with it. The default
// orientation is that of the device if all of its languages that state one
// agree.
func (v *view) languages(d *device.Device) {
	var orientations []string
	interpreters, channels := of(v.f.Interpreters, v.index), of(v.f.Channels, v.index)
	d.Languages, d.Channels = slices.Grow(d.Languages, len(interpreters)), slices.Grow(d.Channels, len(channels))
	for _, i := range interpreters {
		orientation := i.DefaultOrientation.Label()
		d.Languages = append(d.Languages, device.Language{
			Family: device.Text(i.LangFamily.Label()), Level: device.Clean(i.LangLevel), Version: device.Clean(i.LangVersion),
			Orientation: device.Text(orientation),
		})
		if i.DefaultOrientation == mib.PrintOrientationPortrait || i.DefaultOrientation == mib.PrintOrientationLandscape {
			orientations = append(orientations, orientation)
		}
	}
	slices.Sort(orientations)
	if orientations = slices.Compact(orientations); len(orientations) == 1 {
		d.Defaults.Orientation, d.Defaults.Source = device.Text(orientations[0]), device.SourceSNMP
	}
	for _, c := range channels {
		d.Channels = append(d.Channels, device.Channel{
			Index: c.Index(), Kind: device.Text(c.Type.Label()), State: device.Text(c.State.Label()), Status: status(c.Status),
		})
	}
}

// storageTypes is where the kinds of storage are registered (RFC 2790,
// appendix HOST-RESOURCES-TYPES).
var storageTypes = oid.OID{1, 3, 6, 1, 2, 1, 25, 2, 1}

var storageKinds = map[uint32]device.Text{
	1: "hrStorageOther", 2: "hrStorageRam", 3: "hrStorageVirtualMemory", 4: "hrStorageFixedDisk", 5: "hrStorageRemovableDisk",
	6: "hrStorageFloppyDisk", 7: "hrStorageCompactDisc", 8: "hrStorageRamDisk", 9: "hrStorageFlashMemory", 10: "hrStorageNetworkDisk",
}

// storages maps hrStorageTable, which belongs to the host.
func storages(rows []mib.Storage) []device.Storage {
	list := slices.Grow([]device.Storage(nil), len(rows))
	for _, r := range rows {
		s := device.Storage{Name: device.Clean(r.Descr), Size: storageBytes(r.Size, r.AllocationUnits), Used: storageBytes(r.Used, r.AllocationUnits)}
		if n := len(storageTypes); len(r.Type) == n+1 && r.Type.HasPrefix(storageTypes) {
			s.Kind = storageKinds[r.Type[n]]
		}
		if fails, ok := r.AllocationFailures.Get(); ok && fails >= 0 {
			s.Fails = &fails
		}
		list = append(list, s)
	}
	return list
}

// storageBytes multiplies a size with its unit; both are at most 2^31-1.
func storageBytes(n, unit mib.Num) *int64 {
	a, okA := n.Get()
	u, okU := unit.Get()
	if !okA || !okU || a < 0 || u <= 0 || a > 1<<31 || u > 1<<31 {
		return nil
	}
	a *= u
	return &a
}
