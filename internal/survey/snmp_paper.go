package survey

import (
	"slices"

	"printround/internal/device"
	"printround/internal/media"
	"printround/internal/mib"
)

// paper maps what paper runs through: trays, outputs, covers and paths.
func (v *view) paper(d *device.Device) {
	covers, inputs, outputs, paths := of(v.f.Covers, v.index), of(v.f.Inputs, v.index), of(v.f.Outputs, v.index), of(v.f.MediaPaths, v.index)
	d.Covers, d.Trays = slices.Grow(d.Covers, len(covers)), slices.Grow(d.Trays, len(inputs))
	d.Outputs, d.Paths = slices.Grow(d.Outputs, len(outputs)), slices.Grow(d.Paths, len(paths))
	for _, c := range covers {
		d.Covers = append(d.Covers, device.Cover{
			Index: c.Index(), Name: device.Clean(c.Description), Status: device.Text(c.Status.Label()), Object: c.Instance("prtCoverStatus"),
		})
	}
	for _, i := range inputs {
		d.Trays = append(d.Trays, tray(i))
	}
	for _, o := range outputs {
		unit := o.CapacityUnit.Label()
		d.Outputs = append(d.Outputs, device.Output{
			Index: o.Index(), Name: first(device.Clean(o.Name), device.Clean(o.Description)), Kind: device.Text(o.Type.Label()),
			Unit: device.Text(unit), Capacity: positive(o.MaxCapacity),
			Level:  level(o.RemainingCapacity, o.MaxCapacity, unit, device.SpaceLeft),
			Status: status(o.Status), Source: device.SourceSNMP, Object: o.Instance("prtOutputRemainingCapacity"),
		})
	}
	for _, p := range paths {
		d.Paths = append(d.Paths, device.Path{
			Index: p.Index(), Name: device.Clean(p.Description), Kind: device.Text(p.Type.Label()),
			Speed: positive(p.MaxSpeed), Unit: device.Text(p.MaxSpeedPrintUnit.Label()), Status: status(p.Status),
		})
	}
}

// tray maps a row of prtInputTable. What the printer chose counts before what
// somebody declared: it is what the printer acts on, also when the tray is
// empty (RFC 3805 section 6, prtInputMediaDimFeedDirChosen).
func tray(i mib.Input) device.Tray {
	unit := i.CapacityUnit.Label()
	t := device.Tray{
		Index: i.Index(), Name: first(device.Clean(i.Name), device.Clean(i.Description)), Kind: device.Text(i.Type.Label()),
		Unit: device.Text(unit), Capacity: positive(i.MaxCapacity),
		Level:  level(i.CurrentLevel, i.MaxCapacity, unit, device.Remaining),
		Status: status(i.Status), Source: device.SourceSNMP, Object: i.Instance("prtInputCurrentLevel"),
	}
	dims := size{i.DimUnit, i.MediaDimFeedDirChosen, i.MediaDimXFeedDirChosen}
	if dims.feed.Or(0) <= 0 && dims.cross.Or(0) <= 0 {
		dims = size{i.DimUnit, i.MediaDimFeedDirDeclared, i.MediaDimXFeedDirDeclared}
	}
	t.Media = medium(dims, i.MediaName, i.MediaWeight)
	t.Media.Type, t.Media.Color = device.Clean(i.MediaType), device.Clean(i.MediaColor)
	return t
}

// size is a sheet by its edges along and across the feed direction.
type size struct {
	unit        mib.MediaUnit
	feed, cross mib.Num
}

// medium describes what is in a tray. The dimensions decide over the name: the
// name is for people and is often left as it was (RFC 3805 section 6,
// prtInputMediaName). Without them a standard name gives the dimensions.
func medium(s size, name string, weight mib.Num) device.Media {
	var m device.Media
	feed, cross := s.feed.Or(0), s.cross.Or(0)
	if s.unit.Label() != "" && (feed > 0 || cross > 0) {
		m.Name, m.WidthMM, m.LengthMM = feedSize(feed, cross, s.unit.Label())
	}
	if m.Name == "" {
		known, ok := media.ByName(name)
		switch {
		case ok && m.WidthMM == nil && m.LengthMM == nil:
			m.Name, m.WidthMM, m.LengthMM = device.Text(known.Name), &known.Width, &known.Length
		case !ok:
			m.Name = device.Clean(name)
		}
	}
	if w, ok := weight.Get(); ok && w > 0 {
		g := float64(w)
		m.WeightG = &g
	}
	return m
}
