package survey

import (
	"slices"
	"strconv"
	"strings"

	"printround/internal/device"
	"printround/internal/mib"
)

// notStated is the special value for an unknown capacity (RFC 3805 section 6,
// prtMarkerSuppliesMaxCapacity).
const notStated = -2

// level resolves a level with its special values. A level that the device does
// not report at all is told apart from one that it does not know.
func level(value, capacity mib.Num, unit string, m device.Measures) device.Level {
	n, ok := value.Get()
	if !ok {
		return device.NoLevel(device.LevelNotReported)
	}
	return device.LevelFrom(n, capacity.Or(notStated), unit, m)
}

// positive returns a capacity that is a number, not a special value.
func positive(n mib.Num) *int64 {
	if v, ok := n.Get(); ok && v > 0 {
		return &v
	}
	return nil
}

// status reads PrtSubUnitStatusTC.
func status(n mib.Num) device.Status {
	if v, ok := n.Get(); ok {
		return device.StatusFrom(v)
	}
	return device.Status{}
}

// role reads the class of a supply: what is used up counts what is left, a
// receptacle the room in it (RFC 3805 section 6, prtMarkerSuppliesLevel). For
// a class that is not stated the type of waste supplies tells.
func role(class mib.MarkerSuppliesClass, kind mib.MarkerSuppliesType) (device.SupplyRole, device.Measures) {
	switch class {
	case mib.MarkerSuppliesClassSupplyThatIsConsumed:
		return device.Consumed, device.Remaining
	case mib.MarkerSuppliesClassReceptacleThatIsFilled:
		return device.Receptacle, device.SpaceLeft
	}
	if class == 0 && strings.HasPrefix(kind.Label(), "waste") {
		return device.Receptacle, device.SpaceLeft
	}
	return "", device.Remaining
}

// supplies maps prtMarkerSuppliesTable with the colours of
// prtMarkerColorantTable.
func (v *view) supplies(d *device.Device) {
	colors := map[int64]string{}
	for _, c := range of(v.f.Colorants, v.index) {
		colors[int64(c.Index())] = c.Value
	}
	rows := of(v.f.Supplies, v.index)
	d.Supplies = slices.Grow(d.Supplies, len(rows))
	for _, s := range rows {
		unit := s.SupplyUnit.Label()
		r, measures := role(s.Class, s.Type)
		supply := device.Supply{
			Index: s.Index(), Name: device.Clean(s.Description), Kind: device.Text(s.Type.Label()), Role: r,
			Unit: device.Text(unit), Capacity: positive(s.MaxCapacity),
			Level:  level(s.Level, s.MaxCapacity, unit, measures),
			Source: device.SourceSNMP, Object: s.Instance("prtMarkerSuppliesLevel"),
		}
		supply.Colorant = colorant(colors[s.ColorantIndex.Or(0)], "", string(supply.Name), supply.Kind)
		if r == device.Receptacle {
			supply.Colorant = namedColor(colors[s.ColorantIndex.Or(0)])
		}
		d.Supplies = append(d.Supplies, supply)
	}
}

// finishers maps finDeviceTable with the supplies, inputs and attributes that
// belong to each row (RFC 3806). Those that name no row of it are kept under a
// finisher of their own, which has no object.
func (v *view) finishers(d *device.Device) {
	var list []*device.Finisher
	byIndex := map[int64]*device.Finisher{}
	owner := func(index int64) *device.Finisher {
		if byIndex[index] == nil {
			f := &device.Finisher{Index: int(index)}
			byIndex[index] = f
			list = append(list, f)
		}
		return byIndex[index]
	}
	for _, r := range of(v.f.Finishers, v.index) {
		f := owner(int64(r.Index()))
		f.Name, f.Kind, f.Present = device.Clean(r.Description), device.Text(r.Type.Label()), device.Text(r.PresentOnOff.Label())
		f.Status, f.Object = status(r.Status), r.Instance("finDeviceStatus")
	}
	for _, s := range of(v.f.FinisherSupplies, v.index) {
		f := owner(s.DeviceIndex.Or(0))
		f.Supplies = append(f.Supplies, finisherSupply(s))
	}
	for _, i := range of(v.f.FinisherInputs, v.index) {
		f := owner(i.DeviceIndex.Or(0))
		f.Inputs = append(f.Inputs, finisherInput(i))
	}
	for _, a := range of(v.f.FinisherAttributes, v.index) {
		owner(int64(a.At()[1])).Attributes = attribute(owner(int64(a.At()[1])).Attributes, a)
	}
	d.Finishers = slices.Grow(d.Finishers, len(list))
	for _, f := range list {
		d.Finishers = append(d.Finishers, *f)
	}
}

func finisherSupply(s mib.FinisherSupply) device.Supply {
	unit := s.Unit.Label()
	r, measures := role(s.Class, s.Type)
	return device.Supply{
		Index: s.Index(), Name: device.Clean(s.Description), Kind: device.Text(s.Type.Label()), Role: r,
		Colorant: namedColor(s.ColorName), Unit: device.Text(unit), Capacity: positive(s.MaxCapacity),
		Level:  level(s.CurrentLevel, s.MaxCapacity, unit, measures),
		Source: device.SourceSNMP, Object: s.Instance("finSupplyCurrentLevel"),
	}
}

func finisherInput(i mib.FinisherInput) device.Tray {
	t := device.Tray{
		Index: i.Index(), Name: first(device.Clean(i.Name), device.Clean(i.Description)), Kind: device.Text(i.Type.Label()),
		Level: device.NoLevel(device.LevelNotReported), Status: status(i.Status),
		Source: device.SourceSNMP, Object: i.Instance("finSupplyMediaInputStatus"),
	}
	t.Media = medium(size{i.DimUnit, i.MediaDimFeedDir, i.MediaDimXFeedDir}, i.MediaName, i.MediaWeight)
	t.Media.Type = device.Clean(i.MediaType)
	return t
}

// attribute adds a row of finDeviceAttributeTable. The name is the label of
// its type; further instances of one type carry their number. A value that its
// convention enumerates is shown by its label.
func attribute(m map[string]string, a mib.FinisherAttribute) map[string]string {
	if m == nil {
		m = map[string]string{}
	}
	kind := mib.FinAttributeType(a.At()[2])
	key := kind.Label()
	if n := a.Index(); n > 1 {
		key += "." + strconv.Itoa(n)
	}
	value := string(device.Clean(a.ValueAsOctets))
	if n, ok := a.ValueAsInteger.Get(); ok && value == "" {
		value = strconv.FormatInt(n, 10)
		if of, enumerated := kind.ValueConvention(); enumerated {
			if l, known := mib.Label(of, int(n)); known {
				value = l
			}
		}
	}
	m[key] = value
	return m
}
