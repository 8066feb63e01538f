package device

import "testing"

func TestMatchModel(t *testing.T) {
	tests := []struct {
		pattern, model string
		want           bool
	}{
		{"Okvarna L420dn", "Okvarna L420dn", true},
		{"okvarna  l420DN", "Okvarna L420dn", true},
		{"Okvarna L420", "Okvarna L420dn", false},
		{"Okvarna L420*", "Okvarna L420dn", true},
		{"Okvarna L420*", "Okvarna L420", true},
		{"Okvarna *", "Okvarna L420dn", true},
		{"*", "Okvarna L420dn", true},
		{"*", "", false},
		{"", "Okvarna L420dn", false},
		{"L420*", "Okvarna L420dn", false},
	}
	for _, tt := range tests {
		if got := MatchModel(tt.pattern, tt.model); got != tt.want {
			t.Errorf("MatchModel(%q, %q) = %v", tt.pattern, tt.model, got)
		}
	}
}

func TestSameSupply(t *testing.T) {
	same := [][]string{
		{"toner", "tonerCartridge", "toner cartridge", "Toner-Cartridge"},
		{"opc", "drum", "drum unit", "Drum Unit", "photoconductor drum"},
		{"ink", "inkCartridge", "ink cartridge or bottle"},
		{"wasteToner", "waste toner box", "waste toner container"},
		{"wasteInk", "waste ink box or maintenance box", "maintenance box"},
		{"fuser", "fuser unit"},
		{"staples", "staple cartridge"},
		{"transferUnit", "transfer belt"},
		{"feed roller kit", "Feed roller kit"},
		{"cleanerUnit", "cleaning unit"},
		{"inkRibbon", "print ribbon"},
	}
	for i, a := range same {
		for k, b := range same {
			for _, x := range a {
				for _, y := range b {
					if got := SameSupply(x, y); got != (i == k) {
						t.Errorf("SameSupply(%q, %q) = %v", x, y, got)
					}
				}
			}
		}
	}
	for _, s := range []string{"", "cartridge", "unit", "-"} {
		if SameSupply(s, "toner") || SameSupply("", s) {
			t.Errorf("%q is a supply", s)
		}
	}
}

func TestCatalogueTakesTheEntryThatSaysMost(t *testing.T) {
	c := Catalogue{
		Parts: []CataloguePart{
			{Supply: "toner", Number: "any"},
			{Supply: "toner", Colorant: "black", Number: "any black"},
			{Model: "Okvarna *", Supply: "toner", Number: "maker"},
			{Model: "Okvarna L4*", Supply: "toner", Number: "line"},
			{Model: "Okvarna L420dn", Supply: "tonerCartridge", Colorant: "black", Number: "model black"},
			{Model: "Okvarna L420dn", Supply: "fuser", Number: "first"},
			{Model: "Okvarna L420dn", Supply: "fuser unit", Number: "second"},
		},
		Models: []Model{{Match: "*", PagesPerMonth: 1}, {Match: "Okvarna L420dn", PagesPerMonth: 3}, {Match: "Okvarna*", PagesPerMonth: 2}},
	}
	tests := []struct{ model, colorant, supply, want string }{
		{"Okvarna L420dn", "black", "toner", "model black"},
		{"Okvarna L420dn", "cyan", "toner", "line"},
		{"Okvarna L300", "black", "toner cartridge", "maker"},
		{"Brindlecote B30", "black", "toner", "any black"},
		{"", "black", "toner", "any black"},
		{"Brindlecote B30", "", "toner", "any"},
		{"Okvarna L420dn", "", "fuser", "first"},
		{"Okvarna L420dn", "", "opc", ""},
	}
	for _, tt := range tests {
		got, ok := c.Part(tt.model, tt.colorant, "no such thing", tt.supply)
		if got.Number != tt.want || ok != (tt.want != "") {
			t.Errorf("%s, %s, %s: %q, %v; want %q", tt.model, tt.colorant, tt.supply, got.Number, ok, tt.want)
		}
	}
	for model, want := range map[string]int{"okvarna l420dn": 3, "Okvarna L300": 2, "Brindlecote B30": 1, "": 0} {
		got, ok := c.Model(model)
		if got.PagesPerMonth != want || ok != (want > 0) {
			t.Errorf("%q: %d, %v; want %d", model, got.PagesPerMonth, ok, want)
		}
	}
}
