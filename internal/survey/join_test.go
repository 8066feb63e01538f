package survey

import (
	"slices"
	"testing"

	"printround/internal/device"
)

func supply(index int, name, kind, colorant string, l device.Level, src device.Source) device.Supply {
	role := device.Consumed
	if kind == "wasteToner" {
		role = device.Receptacle
	}
	return device.Supply{Index: index, Name: device.Text(name), Kind: device.Text(kind), Colorant: device.Text(colorant), Role: role, Level: l, Source: src}
}

func left(v, c int64) device.Level  { return device.KnownLevel(v, c, device.Remaining) }
func space(v, c int64) device.Level { return device.KnownLevel(v, c, device.SpaceLeft) }

func TestJoinSupplies(t *testing.T) {
	snmp := func(i int, n, k, c string, l device.Level) device.Supply {
		return supply(i, n, k, c, l, device.SourceSNMP)
	}
	ipp := func(i int, n, k, c string, l device.Level) device.Supply {
		return supply(i, n, k, c, l, device.SourceIPP)
	}
	unknown, some := device.NoLevel(device.LevelUnknown), device.NoLevel(device.LevelSomeLeft)
	tests := []struct {
		name string
		a, b []device.Supply
		want []string // name level source, as printed below
		odd  int
	}{
		{
			name: "real units win over percent",
			a:    []device.Supply{snmp(1, "K", "toner", "black", left(1800, 6000))},
			b:    []device.Supply{ipp(1, "Black", "tonerCartridge", "black", left(30, 100))},
			want: []string{"K 30% snmp"},
		},
		{
			name: "a level only IPP knows",
			a:    []device.Supply{snmp(1, "K", "toner", "black", some)},
			b:    []device.Supply{ipp(1, "Black", "toner", "black", left(30, 100))},
			want: []string{"K 30% ipp"},
		},
		{
			name: "both unknown stays unknown",
			a:    []device.Supply{snmp(1, "K", "toner", "black", some)},
			b:    []device.Supply{ipp(1, "Black", "toner", "black", unknown)},
			want: []string{"K some-left snmp"},
		},
		{
			name: "beyond tolerance both are kept and it is said",
			a:    []device.Supply{snmp(1, "K", "toner", "black", left(10, 100))},
			b:    []device.Supply{ipp(1, "Black", "toner", "black", left(60, 100))},
			want: []string{"K 10% snmp"}, odd: 1,
		},
		{
			name: "another order",
			a: []device.Supply{
				snmp(1, "Black", "ink", "black", left(10, 100)), snmp(2, "Cyan", "ink", "cyan", left(20, 100)),
				snmp(3, "Magenta", "ink", "magenta", left(30, 100)),
			},
			b: []device.Supply{
				ipp(1, "M", "inkCartridge", "magenta", left(30, 100)), ipp(2, "C", "inkCartridge", "cyan", left(20, 100)),
				ipp(3, "BK", "inkCartridge", "black", left(10, 100)),
			},
			want: []string{"Black 10% snmp", "Cyan 20% snmp", "Magenta 30% snmp"},
		},
		{
			name: "drum and toner of one colour stay apart",
			a:    []device.Supply{snmp(1, "Toner K", "toner", "black", some), snmp(2, "Drum K", "opc", "black", some)},
			b:    []device.Supply{ipp(1, "drum", "opc", "black", left(80, 100)), ipp(2, "toner", "toner", "black", left(5, 100))},
			want: []string{"Toner K 5% ipp", "Drum K 80% ipp"},
		},
		{
			name: "waste never takes a consumable's number",
			a:    []device.Supply{snmp(1, "Waste", "wasteToner", "", device.LevelFrom(-2, 100, "percent", device.SpaceLeft))},
			b:    []device.Supply{ipp(1, "Black", "toner", "black", left(5, 100))},
			want: []string{"Waste unknown snmp"},
		},
		{
			name: "only IPP",
			b:    []device.Supply{ipp(1, "Black", "toner", "black", left(5, 100))},
			want: []string{"Black 5% ipp"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, odd := joinSupplies(tt.a, tt.b)
			var words []string
			for _, s := range got {
				words = append(words, string(s.Name)+" "+s.Level.String()+" "+string(s.Source))
			}
			if !slices.Equal(words, tt.want) || len(odd) != tt.odd {
				t.Errorf("got %q with %d disagreements, want %q with %d", words, len(odd), tt.want, tt.odd)
			}
		})
	}
}

// The MIB counts the room left in a receptacle (RFC 3805 section 6); a device
// that says "full" while the number says "plenty" is not believed either way.
func TestWasteAtOddsWithItsOwnCondition(t *testing.T) {
	waste := supply(5, "Waste box", "wasteToner", "", space(90, 100), device.SourceSNMP)
	tests := []struct {
		name   string
		level  device.Level
		reason string
		alert  device.Alert
		want   string
	}{
		{"nothing said", space(90, 100), "", device.Alert{}, "90%"},
		{"full by reason", space(90, 100), "marker-waste-full-error", device.Alert{}, "contradictory"},
		{"full by alert", space(90, 100), "", device.Alert{Code: "markerWasteTonerReceptacleFull", Severity: "critical"}, "contradictory"},
		{"an old notice", space(90, 100), "", device.Alert{Code: "markerWasteTonerReceptacleFull", Severity: "warning"}, "90%"},
		{"full and little room agree", space(4, 100), "marker-waste-full-error", device.Alert{}, "4%"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := waste
			s.Level = tt.level
			d := device.Device{Supplies: []device.Supply{s}, Alerts: []device.Alert{tt.alert}}
			if tt.reason != "" {
				d.State.Reasons = []string{tt.reason}
			}
			distrustWaste(&d)
			if got := d.Supplies[0].Level.String(); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

func TestJoinViewsKeepsBothSidesOfTheState(t *testing.T) {
	snmp := device.Device{Serial: "CV0011", MakeModel: "Corvane P310; fw 7"}
	snmp.State.Device, snmp.State.Printer = "down", "other"
	ipp := device.Device{Serial: "CV0012", MakeModel: "Corvane P310", UUID: "8d1f1c1e-0d1c-4c1b-9c51-2a1f00aa0001"}
	ipp.State.PrinterState = "idle"
	d := joinViews(&snmp, &ipp)
	if d.State.Device != "down" || d.State.PrinterState != "idle" {
		t.Errorf("state: %+v", d.State)
	}
	if d.Serial != "CV0011" || d.MakeModel != "Corvane P310" || d.UUID != ipp.UUID {
		t.Errorf("identity: %q %q %q", d.Serial, d.MakeModel, d.UUID)
	}
	var facts []string
	for _, o := range d.Disagreements {
		facts = append(facts, o.Fact+" "+string(o.Kept))
	}
	if !slices.Equal(facts, []string{"serial snmp", "state snmp"}) {
		t.Errorf("disagreements: %q", facts)
	}
}

func TestUsableAliases(t *testing.T) {
	serials := map[string]bool{
		"CV001122": true, " CV001122 ": true, "00CV12": true,
		"": false, "   ": false, "0000000000": false, "XXXXXXXX": false, "1234567890": false, "0123456789": false,
		"Unknown": false, "N/A": false, "not available": false, "abc": false,
	}
	for s, want := range serials {
		if got := usableSerial(s) != ""; got != want {
			t.Errorf("serial %q: got %v, want %v", s, got, want)
		}
	}
	// RFC 9562 sections 5.9 and 5.10: nil and max UUID.
	uuids := map[string]bool{
		"urn:uuid:8D1F1C1E-0d1c-4c1b-9c51-2a1f00aa0001": true,
		"00000000-0000-0000-0000-000000000000":          false,
		"ffffffff-ffff-ffff-ffff-ffffffffffff":          false,
		"not-a-uuid":                                    false,
	}
	for s, want := range uuids {
		if got := usableUUID(s) != ""; got != want {
			t.Errorf("UUID %q: got %v, want %v", s, got, want)
		}
	}
	macs := map[string]bool{
		"02:00:5e:00:00:01": true, "00:00:00:00:00:00": false, "ff:ff:ff:ff:ff:ff": false, "01:00:5e:00:00:01": false, "": false,
	}
	for s, want := range macs {
		if got := usableMAC(s) != ""; got != want {
			t.Errorf("MAC %q: got %v, want %v", s, got, want)
		}
	}
}
