package mib

import (
	"fmt"
	"maps"
	"printround/internal/needtest"
	"slices"
	"strconv"
	"testing"
)

// labelled finds a generated enumeration by its convention.
var labelled = map[string]func(int) (label string, back int, ok bool){
	"FinAttributeTypeTC":              lookup(FinAttributeType.Label, ParseFinAttributeType),
	"FinDeviceTypeTC":                 lookup(FinDeviceType.Label, ParseFinDeviceType),
	"PresentOnOff":                    lookup(PresentOnOff.Label, ParsePresentOnOff),
	"PrtAlertCodeTC":                  lookup(AlertCode.Label, ParseAlertCode),
	"PrtAlertGroupTC":                 lookup(AlertGroup.Label, ParseAlertGroup),
	"PrtAlertSeverityLevelTC":         lookup(AlertSeverityLevel.Label, ParseAlertSeverityLevel),
	"PrtAlertTrainingLevelTC":         lookup(AlertTrainingLevel.Label, ParseAlertTrainingLevel),
	"PrtCapacityUnitTC":               lookup(CapacityUnit.Label, ParseCapacityUnit),
	"PrtChannelStateTC":               lookup(ChannelState.Label, ParseChannelState),
	"PrtChannelTypeTC":                lookup(ChannelType.Label, ParseChannelType),
	"PrtConsoleColorTC":               lookup(ConsoleColor.Label, ParseConsoleColor),
	"PrtCoverStatusTC":                lookup(CoverStatus.Label, ParseCoverStatus),
	"PrtInputTypeTC":                  lookup(InputType.Label, ParseInputType),
	"PrtInterpreterLangFamilyTC":      lookup(InterpreterLangFamily.Label, ParseInterpreterLangFamily),
	"PrtMarkerColorantRoleTC":         lookup(MarkerColorantRole.Label, ParseMarkerColorantRole),
	"PrtMarkerCounterUnitTC":          lookup(MarkerCounterUnit.Label, ParseMarkerCounterUnit),
	"PrtMarkerMarkTechTC":             lookup(MarkerMarkTech.Label, ParseMarkerMarkTech),
	"PrtMarkerSuppliesClassTC":        lookup(MarkerSuppliesClass.Label, ParseMarkerSuppliesClass),
	"PrtMarkerSuppliesSupplyUnitTC":   lookup(MarkerSuppliesSupplyUnit.Label, ParseMarkerSuppliesSupplyUnit),
	"PrtMarkerSuppliesTypeTC":         lookup(MarkerSuppliesType.Label, ParseMarkerSuppliesType),
	"PrtMediaPathMaxSpeedPrintUnitTC": lookup(MediaPathMaxSpeedPrintUnit.Label, ParseMediaPathMaxSpeedPrintUnit),
	"PrtMediaPathTypeTC":              lookup(MediaPathType.Label, ParseMediaPathType),
	"PrtMediaUnitTC":                  lookup(MediaUnit.Label, ParseMediaUnit),
	"PrtOutputTypeTC":                 lookup(OutputType.Label, ParseOutputType),
	"PrtPrintOrientationTC":           lookup(PrintOrientation.Label, ParsePrintOrientation),
	"hrDeviceStatus":                  lookup(HostDeviceStatus.Label, ParseHostDeviceStatus),
	"hrPrinterStatus":                 lookup(HostPrinterStatus.Label, ParseHostPrinterStatus),
	"hrPrinterDetectedErrorState":     lookup(ErrorBit.Label, ParseErrorBit),
}

func lookup[T ~int32](label func(T) string, parse func(string) (T, bool)) func(int) (string, int, bool) {
	return func(v int) (string, int, bool) {
		l := label(T(v))
		back, ok := parse(l)
		return l, int(back), ok
	}
}

// TestEnums compares every value of every convention with the published lists
// (IANA-PRINTER-MIB, IANA-FINISHER-MIB, IANA-CHARSET-MIB, IANAifType-MIB, RFC
// 3805, 2790, 2863, 3411, 3418, SNMPv2-TC), both ways; those the program
// computes with also through their types.
func TestEnums(t *testing.T) {
	published := map[string]int{}
	for _, f := range needtest.Rows(t, "enums.tsv") {
		v, err := strconv.Atoi(f[1])
		if err != nil {
			t.Fatal(err)
		}
		published[f[0]]++
		if label, ok := Label(f[0], v); !ok || label != f[2] {
			t.Errorf("%s %d = %q, %v, published as %q", f[0], v, label, ok, f[2])
		}
		if find := labelled[f[0]]; find != nil {
			if label, back, ok := find(v); label != f[2] || !ok || back != v {
				t.Errorf("%s %d = %q (and back: %d, %v), published as %q", f[0], v, label, back, ok, f[2])
			}
		}
	}
	ours := map[string]int{}
	rows := 0
	for _, c := range conventions {
		ours[c.name] = len(c.values)
		rows += len(c.values)
	}
	if !maps.Equal(ours, published) {
		t.Errorf("values by convention %v, published %v", ours, published)
	}
	t.Logf("%d values of %d conventions equal", rows, len(published))
}

// The types that are generated are those that are tested.
func TestEnumTypes(t *testing.T) {
	types := map[string]int{}
	for _, r := range tsv(t, "enums.tsv") {
		types[r[0]]++
	}
	for c, n := range types {
		if labelled[c] == nil {
			t.Errorf("%s has a type, but no test", c)
		}
		i, ok := slices.BinarySearch(Conventions(), c)
		if !ok || len(conventions[i].values) != n {
			t.Errorf("%s: %d values in enums.tsv, another number in the table of labels", c, n)
		}
	}
	if len(types) != len(labelled) {
		t.Errorf("%d conventions have types, %d are tested", len(types), len(labelled))
	}
}

// Values of conventions without a type (IANA-FINISHER-MIB, IANAifType-MIB,
// IANA-CHARSET-MIB), and what is not registered.
func TestLabel(t *testing.T) {
	tests := []struct {
		of    string
		value int
		want  string
		ok    bool
	}{
		{"FinPunchPatternTC", 6, "twoHoleDIN", true},
		{"FinPunchPatternTC", 3, "", false}, // a gap
		{"IANAifType", 6, "ethernetCsmacd", true},
		{"IANAifType", 145, "if-gsn", true},
		{"IANACharset", 106, "csUTF8", true},
		{"IANACharset", -1, "", false},
		{"", 1, "", false},
		{"NoSuchTC", 1, "", false},
	}
	for _, tt := range tests {
		if got, ok := Label(tt.of, tt.value); got != tt.want || ok != tt.ok {
			t.Errorf("Label(%q, %d) = %q, %v, want %q, %v", tt.of, tt.value, got, ok, tt.want, tt.ok)
		}
	}
}

// Each convention that an attribute of a finisher points to exists.
func TestAttributeConventions(t *testing.T) {
	for kind, of := range attributeConventions {
		if !slices.Contains(Conventions(), of) {
			t.Errorf("%s: no convention %s", kind.Label(), of)
		}
	}
	if of, ok := FinAttributeTypeMaximumSheets.ValueConvention(); ok {
		t.Errorf("maximumSheets is a number, not a %s", of)
	}
}

// Values that nobody registered stay numbers.
func TestUnregisteredValues(t *testing.T) {
	if got := AlertCode(99999).Label(); got != "99999" {
		t.Errorf("label %q", got)
	}
	if got := fmt.Sprint(AlertCode(99999)); got != "AlertCode(99999)" {
		t.Errorf("printed %q", got)
	}
	if got := AlertCode(0).Label(); got != "" {
		t.Errorf("not reported: label %q", got)
	}
	if got := fmt.Sprint(MarkerSuppliesTypeToner); got != "toner" {
		t.Errorf("printed %q", got)
	}
	if _, ok := ParseMarkerSuppliesType("no such"); ok {
		t.Error("parsed a label that does not exist")
	}
}

// TestObjects compares identifiers, index lengths and conventions of the
// objects read with the MIB modules.
func TestObjects(t *testing.T) {
	published := map[string][]string{}
	for _, f := range needtest.Rows(t, "objects.tsv") {
		published[f[0]] = f
	}
	kinds := map[string]string{}
	for _, r := range tsv(t, "objects.tsv") {
		kinds[r[1]] = r[3]
	}
	for i := range tables {
		tab := &tables[i]
		for _, c := range tab.columns {
			f := published[c.name]
			if f == nil {
				t.Errorf("%s is not published", c.name)
				continue
			}
			if got := tab.entry.Append(c.sub).String(); got != f[1] {
				t.Errorf("%s = %s, published as %s", c.name, got, f[1])
			}
			if indices := len(splitComma(f[7])); indices != 0 && indices != tab.arity {
				t.Errorf("%s: %d indices, published %q", c.name, tab.arity, f[7])
			}
			if _, isEnum := labelled[kinds[c.name]]; isEnum && f[4] != kinds[c.name] && c.name != kinds[c.name] {
				t.Errorf("%s: convention %s, published %s", c.name, kinds[c.name], f[4])
			}
			octets := len(f[3]) > 5 && f[3][:5] == "OCTET"
			if octets != (c.class == isOctets) || (f[3] == "OBJECT IDENTIFIER") != (c.class == isOID) {
				t.Errorf("%s: read as %v, published as %s", c.name, c.class, f[3])
			}
			localized := map[string]string{"PrtLocalizedDescriptionStringTC": "localized", "PrtConsoleDescriptionStringTC": "console"}[f[4]]
			if localized != "" && kinds[c.name] != localized {
				t.Errorf("%s: kind %s, published as %s", c.name, kinds[c.name], f[4])
			}
		}
	}
}

// Bit 0 of hrPrinterDetectedErrorState is the most significant bit of the
// first octet (RFC 2790 section 4; bits 7 and up of RFC 3805 section
// 2.2.13.2.1). A length is not fixed: missing octets read as 0, further ones
// say nothing.
func TestErrorBits(t *testing.T) {
	tests := []struct {
		octets []byte
		want   []string
	}{
		{nil, nil},
		{[]byte{}, nil},
		{[]byte{0}, nil},
		{[]byte{0, 0}, nil},
		{[]byte{0x80}, []string{"lowPaper"}},
		{[]byte{0x40}, []string{"noPaper"}},
		{[]byte{0x44}, []string{"noPaper", "jammed"}},
		{[]byte{0xa0}, []string{"lowPaper", "lowToner"}},
		{[]byte{0x10}, []string{"noToner"}},
		{[]byte{0x08}, []string{"doorOpen"}},
		{[]byte{0x02}, []string{"offline"}},
		{[]byte{0, 0x20}, []string{"markerSupplyMissing"}},
		{[]byte{0x40, 0x04}, []string{"noPaper", "inputTrayEmpty"}},
		{[]byte{0x02, 0x10}, []string{"offline", "outputNearFull"}},
		{[]byte{0x01, 0x02}, []string{"serviceRequested", "overduePreventMaint"}},
		{[]byte{0, 0x01}, nil}, // not assigned
		{[]byte{0x20, 0, 0, 0}, []string{"lowToner"}},
		{[]byte{0, 0, 0xff, 0xff}, nil},
		{[]byte{0xff, 0xfe}, []string{"lowPaper", "noPaper", "lowToner", "noToner", "doorOpen", "jammed", "offline", "serviceRequested",
			"inputTrayMissing", "outputTrayMissing", "markerSupplyMissing", "outputNearFull", "outputFull", "inputTrayEmpty", "overduePreventMaint"}},
	}
	for _, tt := range tests {
		var got []string
		for _, b := range ErrorBits(tt.octets) {
			got = append(got, b.Label())
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("% x: %v, want %v", tt.octets, got, tt.want)
		}
	}
}
