package lab

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"net/netip"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

//go:embed scenario/*.toml
var scenarioFiles embed.FS

// scenario is the invented organisation as its data files describe it.
type scenario struct {
	Organisation string       `toml:"organisation"`
	Branches     []branch     `toml:"branch"`
	Models       []*model     `toml:"model"`
	Devices      []*placement `toml:"device"`
	Others       []*other     `toml:"other"`
}

// branch is one site of the organisation.
type branch struct {
	ID       string   `toml:"id"`
	Name     string   `toml:"name"`
	Location string   `toml:"location"`
	Contact  string   `toml:"contact"`
	Targets  []string `toml:"targets"`
	Skip     []string `toml:"skip"`
	Media    []string `toml:"expected_media"`
	Access   []access `toml:"access"`
}

// access is one credential of a branch.
type access struct {
	Label        string `toml:"label"`
	Version      string `toml:"version"`
	Community    string `toml:"community"`
	User         string `toml:"user"`
	AuthProtocol string `toml:"auth_protocol"`
	Auth         string `toml:"auth"`
	PrivProtocol string `toml:"priv_protocol"`
	Priv         string `toml:"priv"`
}

// model is one product of an invented maker.
type model struct {
	ID          string      `toml:"id"`
	Make        string      `toml:"make"`
	Name        string      `toml:"name"`
	Kind        string      `toml:"kind"`
	Technology  string      `toml:"technology"` // PrtMarkerMarkTechTC label
	ObjectID    string      `toml:"object_id"`  // sysObjectID
	Color       bool        `toml:"color"`
	Duplex      bool        `toml:"duplex"`
	Scanner     bool        `toml:"scanner"`
	Speed       int         `toml:"speed"`      // per minute, in CounterUnit
	Resolution  int         `toml:"resolution"` // dots per inch
	CounterUnit string      `toml:"counter"`    // PrtMarkerCounterUnitTC label
	Memory      int         `toml:"memory"`     // MiB
	Disk        int         `toml:"disk"`       // GiB, 0: none
	Firmware    string      `toml:"firmware"`   // version
	Charset     int         `toml:"charset"`    // IANACharset number of the localisation
	Language    string      `toml:"language"`   // of the localisation, such as en
	Country     string      `toml:"country"`    // of the localisation, such as IE
	Lines       int         `toml:"lines"`      // of the panel
	Chars       int         `toml:"chars"`      // of a panel line
	MaxMedia    string      `toml:"max_media"`  // largest medium, PWG 5101.1 name
	MinMedia    string      `toml:"min_media"`  // smallest
	Languages   []language  `toml:"language_row"`
	Covers      []string    `toml:"covers"`
	Trays       []trayType  `toml:"tray"`
	Bins        []binType   `toml:"bin"`
	Supplies    []supplyRow `toml:"supply"`
	Finishers   []finType   `toml:"finisher"`
}

type language struct {
	Family  string `toml:"family"` // PrtInterpreterLangFamilyTC label
	Level   string `toml:"level"`
	Version string `toml:"version"`
	Name    string `toml:"name"`
	MIME    string `toml:"mime"` // document-format; empty: none
}

type trayType struct {
	Name     string `toml:"name"`
	Kind     string `toml:"kind"` // PrtInputTypeTC label
	Source   string `toml:"source"`
	Unit     string `toml:"unit"`
	Capacity int    `toml:"capacity"`
	Media    string `toml:"media"`
	Type     string `toml:"type"`
	Weight   int    `toml:"weight"` // g/m²
	Unsensed bool   `toml:"unsensed"`
}

type binType struct {
	Name     string `toml:"name"`
	Kind     string `toml:"kind"` // PrtOutputTypeTC label
	Keyword  string `toml:"keyword"`
	Capacity int    `toml:"capacity"`
	FaceUp   bool   `toml:"face_up"`
	Unsensed bool   `toml:"unsensed"`
}

type supplyRow struct {
	Name     string `toml:"name"`
	Kind     string `toml:"kind"` // PrtMarkerSuppliesTypeTC label
	Colorant string `toml:"colorant"`
	Unit     string `toml:"unit"` // PrtMarkerSuppliesSupplyUnitTC label
	Capacity int    `toml:"capacity"`
	Low      int    `toml:"low"` // the device's own low level, percent
}

type finType struct {
	Name     string      `toml:"name"`
	Kind     string      `toml:"kind"` // FinDeviceTypeTC label
	Unit     string      `toml:"unit"`
	Capacity int         `toml:"capacity"`
	Model    string      `toml:"model"`
	Sheets   int         `toml:"sheets"` // the most it handles at once
	Numbers  []finNumber `toml:"attribute"`
	Supplies []supplyRow `toml:"supply"`
	Inputs   []trayType  `toml:"input"` // finSupplyMediaInputTable
}

// finNumber is one row of finDeviceAttributeTable with a number.
type finNumber struct {
	Type  string `toml:"type"` // FinAttributeTypeTC label
	Value int    `toml:"value"`
}

// placement is one printer of the organisation.
type placement struct {
	Name      string   `toml:"name"`
	Branch    string   `toml:"branch"`
	Address   string   `toml:"address"`
	Second    string   `toml:"second_address"`
	Model     string   `toml:"model"`
	Hostname  string   `toml:"hostname"`
	Title     string   `toml:"title"` // prtGeneralPrinterName and printer-name
	Location  string   `toml:"location"`
	Index     int      `toml:"index"`     // hrDeviceIndex
	SNMP      []string `toml:"snmp"`      // versions
	IPP       bool     `toml:"ipp"`       //
	Path      string   `toml:"path"`      // of the IPP service; /ipp/print
	Announced bool     `toml:"announced"` // over DNS-SD
	Expected  bool     `toml:"expected"`  // named in the site file
	Sole      bool     `toml:"sole"`
	Behind    string   `toml:"behind"` // name of the print-server box that answers for it
	Community string   `toml:"community"`
	Days      int      `toml:"up_days"`
	Pages     int      `toml:"pages"` // about how many in its life
	Faults    []string `toml:"faults"`
}

// other is a machine that is no printer.
type other struct {
	Name        string   `toml:"name"`
	Branch      string   `toml:"branch"`
	Address     string   `toml:"address"`
	Kind        string   `toml:"kind"`
	Description string   `toml:"description"`
	ObjectID    string   `toml:"object_id"`
	Location    string   `toml:"location"`
	Ports       int      `toml:"ports"`
	Queues      []string `toml:"queues"`   // hrDeviceType printer rows of a computer
	Serves      string   `toml:"serves"`   // an IPP queue for this device
	Services    int      `toml:"services"` // sysServices
}

// loadScenario reads the embedded organisation.
func loadScenario() (*scenario, error) {
	var s scenario
	for _, name := range []string{"organisation", "models", "finishing", "devices"} {
		path := "scenario/" + name + ".toml"
		b, err := scenarioFiles.ReadFile(path)
		if err != nil {
			return nil, fmt.Errorf("reading the scenario: %w", err)
		}
		var part scenario
		if err := decodeStrict(b, &part); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		if part.Organisation != "" {
			s.Organisation = part.Organisation
		}
		s.Branches = append(s.Branches, part.Branches...)
		s.Models = append(s.Models, part.Models...)
		s.Devices = append(s.Devices, part.Devices...)
		s.Others = append(s.Others, part.Others...)
	}
	return &s, s.check()
}

func decodeStrict(b []byte, into any) error {
	err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(into)
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		return errors.New(strings.TrimSpace(strict.String()))
	}
	return err
}

// check finds mistakes of the data files: names that do not exist, labels that
// no standard has, addresses that are not loopback.
func (s *scenario) check() error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	for _, m := range s.Models {
		for _, err := range m.check() {
			bad("model %s: %w", m.ID, err)
		}
	}
	names := map[string]bool{}
	for _, d := range s.Devices {
		if names[d.Name] {
			bad("device %s: named twice", d.Name)
		}
		names[d.Name] = true
		if s.model(d.Model) == nil || s.branch(d.Branch) == nil {
			bad("device %s: model %q or branch %q does not exist", d.Name, d.Model, d.Branch)
		}
		if a, err := netip.ParseAddr(d.Address); err != nil || !a.IsLoopback() {
			bad("device %s: %q is no loopback address", d.Name, d.Address)
		}
	}
	for _, o := range s.Others {
		if a, err := netip.ParseAddr(o.Address); err != nil || !a.IsLoopback() || s.branch(o.Branch) == nil {
			bad("%s: address %q or branch %q is wrong", o.Name, o.Address, o.Branch)
		}
	}
	return errors.Join(errs...)
}

func (m *model) check() (errs []error) {
	want := func(table enum, label, what string) {
		if _, ok := table[label]; !ok {
			errs = append(errs, fmt.Errorf("%s %q is not known", what, label))
		}
	}
	want(prtMarkerMarkTechTC, m.Technology, "technology")
	want(prtMarkerCounterUnitTC, m.CounterUnit, "counter unit")
	for _, l := range m.Languages {
		want(prtLangFamilyTC, l.Family, "language family")
	}
	for _, t := range m.Trays {
		want(prtInputTypeTC, t.Kind, "tray kind")
		want(prtCapacityUnitTC, t.Unit, "tray unit")
		if _, err := parseMedia(t.Media); err != nil {
			errs = append(errs, err)
		}
	}
	for _, b := range m.Bins {
		want(prtOutputTypeTC, b.Kind, "bin kind")
	}
	supplies := append([]supplyRow(nil), m.Supplies...)
	for _, f := range m.Finishers {
		want(finDeviceTypeTC, f.Kind, "finisher kind")
		want(prtCapacityUnitTC, f.Unit, "finisher unit")
		supplies = append(supplies, f.Supplies...)
		for _, t := range f.Inputs {
			want(prtInputTypeTC, t.Kind, "finisher input kind")
			if _, err := parseMedia(t.Media); err != nil {
				errs = append(errs, err)
			}
		}
		for _, a := range f.Numbers {
			want(finAttributeTypeTC, a.Type, "finisher attribute")
		}
	}
	for _, r := range supplies {
		want(prtMarkerSuppliesTypeTC, r.Kind, "supply kind")
		want(prtMarkerSuppliesUnitTC, r.Unit, "supply unit")
	}
	for _, name := range []string{m.MaxMedia, m.MinMedia} {
		if _, err := parseMedia(name); err != nil {
			errs = append(errs, err)
		}
	}
	if m.Lines < 1 || m.Chars < 1 || len(m.Trays) == 0 || len(m.Bins) == 0 || len(m.Covers) == 0 {
		errs = append(errs, errors.New("a panel, a tray, a bin and a cover are wanted"))
	}
	return errs
}

func (s *scenario) model(id string) *model {
	for _, m := range s.Models {
		if m.ID == id {
			return m
		}
	}
	return nil
}

func (s *scenario) branch(id string) *branch {
	for i := range s.Branches {
		if s.Branches[i].ID == id {
			return &s.Branches[i]
		}
	}
	return nil
}
