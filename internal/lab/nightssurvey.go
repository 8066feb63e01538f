package lab

import (
	"encoding/json"
	"io"
	"net/netip"
	"sort"
	"strings"
	"time"
	"unicode"

	"printround/internal/device"
)

// Survey returns what was read on night n, from 0, as a survey that nobody has
// judged yet; false: nothing was.
func (h *History) Survey(n int) (*device.Survey, bool) {
	from := h.zoned().AddDate(0, 0, n)
	to := from.AddDate(0, 0, 1)
	s := &device.Survey{Schema: device.SurveySchema, Site: "simulated", Started: to}
	for i := range h.Devices {
		d := &h.Devices[i]
		for k := d.from(from); k < len(d.Nights) && d.Nights[k].At.Before(to); k++ {
			s.Devices = append(s.Devices, d.at(&d.Nights[k]))
			if at := d.Nights[k].At; at.Before(s.Started) {
				s.Started = at
			}
			if at := d.Nights[k].At; at.After(s.Finished) {
				s.Finished = at
			}
		}
	}
	s.Scope = device.Scope{Addresses: len(h.Devices), Probed: len(h.Devices), Answered: len(s.Devices)}
	return s, len(s.Devices) > 0
}

// zoned is the first midnight in the offices' time.
func (h *History) zoned() time.Time {
	zone, err := time.LoadLocation(nightsZone)
	if err != nil {
		panic(err) // it was there when the history was made
	}
	return h.First.In(zone)
}

// from is the index of the first night at or after a moment.
func (d *NightsDevice) from(t time.Time) int {
	return sort.Search(len(d.Nights), func(i int) bool { return !d.Nights[i].At.Before(t) })
}

// at returns a device as it was one night.
func (d *NightsDevice) at(n *device.Night) device.Device {
	out := device.Device{
		Key: d.Key, Aliases: d.aliases(), Site: device.Text(d.Site), Name: device.Text(d.Name), Role: device.RolePrinter,
		ObservedAt: n.At, Hostname: device.Text(d.Hostname), MakeModel: device.Text(d.MakeModel), Serial: device.Text(d.Serial),
		Location: device.Text(d.Location), UUID: device.Text(d.UUID), MAC: device.Text(d.MAC),
		Reached: device.Reached{SNMP: device.SNMPReach{OK: true, Tried: true, Version: "2c", RoundTrips: n.RoundTrips}},
		State:   device.State{Device: "running", Printer: "idle", UptimeS: n.UptimeS},
	}
	if a, err := netip.ParseAddr(n.Address); err == nil {
		out.Addresses = []netip.Addr{a}
	}
	out.Counters.Life = device.Count{Value: n.LifeCount, Unit: device.Text(n.LifeUnit), Source: n.LifeSource}
	if n.LifeCount == nil {
		out.Counters.Life.Reason = "not reported"
	}
	for _, r := range n.Supplies {
		s := device.Supply{
			Index: r.Index, Name: device.Text(r.Name), Kind: device.Text(r.Kind), Role: device.SupplyRole(r.Role), Colorant: device.Text(r.Colorant),
			Unit: device.Text(r.Unit), Capacity: r.Capacity, Source: r.Source, Level: device.NoLevel(device.LevelReason(r.Reason)),
		}
		measures := device.Remaining
		if s.Role == device.Receptacle {
			measures = device.SpaceLeft
		}
		if r.Value != nil && r.Capacity != nil {
			s.Level = device.KnownLevel(*r.Value, *r.Capacity, measures)
		}
		out.Supplies = append(out.Supplies, s)
	}
	return out
}

// aliases are the names that a device is known by, strong ones first.
func (d *NightsDevice) aliases() []string {
	var out []string
	if d.UUID != "" {
		out = append(out, "uuid:"+d.UUID)
	}
	if d.Serial != "" {
		out = append(out, serialKey(d.MakeModel, d.Serial))
	}
	if d.MAC != "" {
		out = append(out, "mac:"+d.MAC)
	}
	return append(out, "addr:"+d.Address)
}

// serialKey names a device by its model and serial number.
func serialKey(model, serial string) string {
	words := strings.FieldsFunc(strings.ToLower(model), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	return "serial:" + strings.Join(words[:min(3, len(words))], "-") + ":" + serial
}

// WriteTruth writes what really happened, as JSON.
func (h *History) WriteTruth(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(struct {
		Seed    int64         `json:"seed"`
		Nights  int           `json:"nights"`
		Devices int           `json:"devices"`
		Volume  float64       `json:"volume"`  // factor on everybody's pages
		Step    float64       `json:"step"`    // percent, of every gauge; 0: each its own
		Missing float64       `json:"missing"` // share of readings lost beside the usual ones
		First   time.Time     `json:"first"`
		Lives   []SupplyLife  `json:"lives"`
		Events  []NightsEvent `json:"events"`
	}{h.Options.Seed, h.Options.Nights, h.Options.Devices, h.Options.Volume, h.Options.Step, h.Options.Missing, h.First, h.Lives, h.Events})
}
